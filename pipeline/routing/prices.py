"""Prices of threads on wires: a certified lower bound, and guidance for the beam.

Give each wire e a price g(e, t) for carrying thread t, zero on the last wires. The cost of a routing is
then the sum over starting wires of g plus the sum over knots of the reduced cost, that is the knot's
cost plus the prices of what leaves minus the prices of what enters: everything in between cancels (on a
closed board, which has no first and last wires, that is all). So for any prices at all, the sum of the
least reduced costs is a lower bound (Lagrangian decomposition; Guignard and Kim 1987). The bound is raised
by smoothing the minima by entropy (Nesterov 2005) and climbing with L-BFGS.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import fmin_l_bfgs_b

from pipeline.routing.board import Board
from pipeline.routing.compiled import compiled

Prices = NDArray[np.float64]


@compiled
def knot_bound(board, prices, smooth, slope):  # type: ignore[no-untyped-def]
    """Return the bound at ``prices`` (E, k); minima smoothed by ``smooth`` > 0, or hard at 0.

    The smoothed bound is never above the hard one. ``slope`` (E, k) is filled with the derivatives.
    """
    k = board.threads
    slope[:] = 0.0
    total = 0.0
    weights = np.empty(k)
    value = np.empty(2 * k * k)
    for w in range(board.strands):
        if board.weight[w] == 0 or (board.weight[w] == 1 and board.ends[w, 1] >= 0):
            continue  # on a closed board a starting wire has a price at both its ends, like any other
        enters = 0.0  # a folded wire enters two knots, a strand without a knot none
        for e in range(2):
            enters += 1.0 if board.ends[w, e] >= 0 else 0.0
        if board.pin[w] >= 0:
            total += enters * prices[w, board.pin[w]]
            slope[w, board.pin[w]] += enters
            continue
        least = prices[w, 0]
        for t in range(1, k):
            least = min(least, prices[w, t])
        total += enters * least
        if smooth > 0:
            mass = 0.0
            for t in range(k):
                weights[t] = np.exp(enters * (least - prices[w, t]) / smooth)
                mass += weights[t]
            total -= smooth * np.log(mass)
            for t in range(k):
                slope[w, t] += enters * weights[t] / mass
    for v in range(board.wire.shape[0]):
        a, b, c, d = board.wire[v]
        least = 1e300
        i = 0
        for x in range(k):
            for y in range(k):
                reduced = min(board.cost[v, x], board.cost[v, y]) - prices[a, x] - prices[b, y]
                value[i] = reduced + prices[c, x] + prices[d, y]
                value[i + 1] = reduced + prices[c, y] + prices[d, x]
                least = min(least, value[i], value[i + 1])
                i += 2
        total += least
        if smooth > 0:
            mass = 0.0
            for i in range(2 * k * k):
                z = (value[i] - least) / smooth
                value[i] = np.exp(-z) if z < 40 else 0.0
                mass += value[i]
            total -= smooth * np.log(mass)
            i = 0
            for x in range(k):
                for y in range(k):
                    stay, swap = value[i] / mass, value[i + 1] / mass
                    slope[a, x] -= stay + swap
                    slope[b, y] -= stay + swap
                    slope[c, x] += stay
                    slope[d, y] += stay
                    slope[c, y] += swap
                    slope[d, x] += swap
                    i += 2
    return total


class Rung(NamedTuple):
    """Prices reached at one smoothing (ΔE), and their certified bound."""

    smooth: float
    prices: Prices
    bound: float


def climb(
    board: Board,
    iterations: int,
    stop: Callable[[], bool],
    schedule: tuple[float, ...],
    start: Prices | None = None,
) -> Iterator[Rung]:
    """Climb from ``start`` for ``iterations`` steps at each smoothing of ``schedule``; yield each reached.

    The bounds are certified: evaluated with hard minima, less a tolerance for rounding.
    """
    shape = (len(board.ends), board.threads)
    last = np.flatnonzero((board.ends[:, 1] < 0) & (board.weight == 0))
    prices, slope = np.zeros(shape) if start is None else start, np.zeros(shape)
    for smooth in schedule:
        if stop() or not len(board.wire):
            return
        latest = prices

        def down(flat: NDArray[np.float64], smooth: float = smooth) -> tuple[float, NDArray[np.float64]]:
            if stop():
                raise Enough
            bound = knot_bound(board, flat.reshape(shape), smooth, slope)
            slope[last] = 0.0
            return -bound, -slope.ravel()

        def keep(flat: NDArray[np.float64]) -> None:
            nonlocal latest
            latest = flat.reshape(shape).copy()

        with suppress(Enough):
            latest = fmin_l_bfgs_b(down, prices.ravel(), m=8, maxiter=iterations, callback=keep)[0]
        prices = latest.reshape(shape)
        yield Rung(smooth, prices, certified(float(knot_bound(board, prices, 0.0, slope)), board))


def knot_prices(
    board: Board,
    iterations: int,
    stop: Callable[[], bool],
    schedule: tuple[float, ...] = (10.0, 3.0, 1.0, 0.3),
) -> tuple[Prices, float]:
    """Climb, and return the prices of the best bound and that bound."""
    best, best_bound = np.zeros((len(board.ends), board.threads)), 0.0
    for rung in climb(board, iterations, stop, schedule):
        if rung.bound > best_bound:
            best, best_bound = rung.prices, rung.bound
    return best, best_bound


class Enough(Exception):
    """Leaves L-BFGS when the time is up."""


def certified(bound: float, board: Board) -> float:
    """Take off what rounding in a sum over all knots may have added (unit roundoff 2^-53 a term)."""
    size = float(board.cost.max(initial=0.0)) * max(1, len(board.wire))
    return max(0.0, bound - 1e-12 * size * 64)
