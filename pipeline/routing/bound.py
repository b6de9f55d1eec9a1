"""A stronger lower bound: strips of the board solved whole, with prices only between them.

The knots are split into strips, and only the wires that cross from one strip to another have prices (see
``prices``). Each strip is a program of its own in which every wire inside is shared exactly, and so is the
row's allowance of hand-overs, so the best bound of strips is never below that of single knots. Minima are
smoothed by entropy while climbing: a forward and a backward pass over the eliminations (Rabiner 1989,
section III, for chains) give the value, and how often each crossing wire carries each thread, its slope.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import fmin_l_bfgs_b

from pipeline.routing.board import Board
from pipeline.routing.compiled import compiled
from pipeline.routing.elimination import SLOTS, seat, ways
from pipeline.routing.prices import Enough, Prices, certified
from pipeline.routing.windows import FAR, Desk, desk, rest

STATES = 260
"""Most states of a strip; its width follows from it and the number of threads."""
FLOOR = 1e-140
"""Weights do not sink lower, so that the product of two is never lost."""
COARSE, FINE = (3.0, 1.0, 0.3), (0.1, 0.03)
"""Smoothing while climbing, in ΔE, one after another: from coarse prices, and from fine ones."""


class Strip(NamedTuple):
    """One strip: its knots in elimination order and the slots of their wires (see ``elimination.seat``)."""

    knots: NDArray[np.int32]
    sizes: NDArray[np.int16]
    seats: NDArray[np.int8]
    dims: NDArray[np.int16]
    total: int


@compiled
def _laid_out(board, desk, labels, order, sizes, seats, dims):  # type: ignore[no-untyped-def]
    left = np.zeros(len(desk.row_used), np.int64)
    for s in range(len(order)):
        desk.where[order[s]] = s
        left[board.row[order[s]]] += 1 if board.counted[order[s]] else 0
    threads = np.arange(board.threads)
    spare = np.full(board.threads, board.strands, np.int64)
    found = seat(board, desk, labels, desk.mask, order, left, threads, spare, 0, True, sizes, seats, dims)
    for v in order:
        desk.where[v] = -1
    return found


@compiled
def strip_value(board, desk, labels, strip, cross, prices, smooth, slope):  # type: ignore[no-untyped-def]
    """Return the least cost of a strip under ``prices`` (E, k), smoothed by ``smooth`` or hard at 0.

    ``cross`` (E,): wires that have a price; it is added where the wire's first knot is in the strip and
    taken off where its second one is. Slopes are added to ``slope`` (E, k) when smooth.
    """
    k, steps = board.threads, len(strip.knots)
    threads = np.arange(k)
    spare = np.full(k, board.strands, np.int64)
    free = np.zeros(len(board.wire))
    codes = np.empty(4 * k * k, np.uint16)
    come, local = np.empty(4 * k * k, np.int64), np.empty(4 * k * k, np.int64)
    price, part = np.empty(4 * k * k, np.float64), np.empty(4 * k * k, np.float64)
    out = np.empty(k, np.int64)
    old, new = np.ones(SLOTS, np.int64), np.ones(SLOTS, np.int64)
    most = np.int64(1)
    starts = np.zeros(steps + 2, np.int64)
    for s in range(steps + 1):
        size = np.int64(1)
        for p in range(SLOTS):
            size *= strip.dims[s, p]
        most = max(most, size)
        starts[s + 1] = starts[s] + size
    old_at, new_at = np.empty(most, np.uint64), np.empty(most, np.uint64)
    front = np.zeros(starts[steps + 1], np.float64)
    front[0] = 1.0 if smooth > 0 else 0.0
    lowered = 0.0
    after, before = np.zeros(most, np.float64), np.zeros(most, np.float64)
    for pass_ in range(2 if smooth > 0 else 1):
        if pass_ == 1:
            after[0] = 1.0
        for step in range(steps):
            s = step if pass_ == 0 else steps - 1 - step
            v = strip.knots[s]
            size = np.int64(1)
            wide = np.int64(1)
            for p in range(SLOTS):
                old[p], new[p] = size, wide
                size *= strip.dims[s, p]
                wide *= strip.dims[s + 1, p]
            count, _ = ways(
                board, board.cost, free, labels, desk.mask, v, strip.sizes[s], strip.seats[s],
                strip.dims[s + 1], threads, spare, 0, old, False, out, (codes, come, local, price),
            )  # fmt: skip
            least = 1e300
            for i in range(count):
                turn, pair = (codes[i] >> 1) & 1, codes[i] >> 2
                x, y = pair // k, pair % k
                for j in range(4):
                    w = board.wire[v, j]
                    if cross[w]:
                        t = (
                            (x if j == 0 else y)
                            if j < 2
                            else ((x if turn == 1 else y) if j == 2 else (y if turn == 1 else x))
                        )
                        price[i] += prices[w, t] if board.ends[w, 0] == v else -prices[w, t]
                least = min(least, price[i])
                place = np.int64(0)
                remains = local[i]
                for j in range(5):
                    if strip.seats[s, 1, j] >= 0:
                        values = strip.dims[s + 1, strip.seats[s, 1, j]]
                        place += (remains % values) * new[strip.seats[s, 1, j]]
                        remains //= values
                local[i] = place
            low, run, runs = rest(strip.dims[s], strip.seats[s], old, new, old_at, new_at)
            a, b = starts[s], starts[s + 1]
            if smooth == 0:
                for i in range(wide):
                    front[b + i] = FAR
                for i in range(count):
                    for r in range(runs):
                        f, g = a + come[i] + np.int64(old_at[r]), b + local[i] + np.int64(new_at[r])
                        for e in range(run):
                            front[g + e * new[low]] = min(
                                front[g + e * new[low]], front[f + e * old[low]] + price[i]
                            )
                continue
            for i in range(count):
                price[i] = np.exp(max(-700.0, (least - price[i]) / smooth))
            if pass_ == 0:
                lowered += least
                top = 0.0
                for i in range(count):
                    for r in range(runs):
                        f, g = a + come[i] + np.int64(old_at[r]), b + local[i] + np.int64(new_at[r])
                        for e in range(run):
                            front[g + e * new[low]] += front[f + e * old[low]] * price[i]
                for i in range(wide):
                    top = max(top, front[b + i])
                for i in range(wide):
                    front[b + i] = max(front[b + i] / top, FLOOR)
                lowered -= smooth * np.log(top)
                continue
            before[:size] = 0.0
            mass, top = 0.0, 0.0
            for i in range(count):
                share = 0.0
                for r in range(runs):
                    f, g = come[i] + np.int64(old_at[r]), local[i] + np.int64(new_at[r])
                    for e in range(run):
                        weight = after[g + e * new[low]] * price[i]
                        before[f + e * old[low]] += weight
                        share += weight * front[a + f + e * old[low]]
                part[i] = share
                mass += share
            for i in range(count):
                turn, pair = (codes[i] >> 1) & 1, codes[i] >> 2
                x, y = pair // k, pair % k
                for j in range(4):
                    w = board.wire[v, j]
                    if cross[w]:
                        t = (
                            (x if j == 0 else y)
                            if j < 2
                            else ((x if turn == 1 else y) if j == 2 else (y if turn == 1 else x))
                        )
                        slope[w, t] += (part[i] if board.ends[w, 0] == v else -part[i]) / mass
            for i in range(size):
                top = max(top, before[i])
            for i in range(size):
                before[i] = max(before[i] / top, FLOOR)
            after, before = before, after
    if smooth == 0:
        return front[starts[steps]]
    return lowered


def strip_bound(
    board: Board,
    prices: Prices,
    iterations: int,
    stop: Callable[[], bool],
    states: int = STATES,
    schedule: tuple[float, ...] = COARSE,
) -> tuple[Prices, float, float]:
    """Climb from ``prices`` (E, k) for ``iterations`` steps at each smoothing; return (prices, bound, work).

    Strips are of neighbouring positions, as wide as ``states`` states allow.
    """
    labels = np.where(board.pin >= 0, board.pin, 0).astype(np.int8)
    paper = desk(board, labels, states=1, memory=1)
    paper.row_used[:] = 0
    strips = _strips(board, paper, labels, states)
    owner = np.empty(len(board.wire), np.int64)
    for i, strip in enumerate(strips):
        owner[strip.knots] = i
    two = (board.ends >= 0).all(axis=1)
    cross = np.zeros(len(board.ends), np.bool_)
    cross[two] = owner[board.ends[two, 0]] != owner[board.ends[two, 1]]
    wires = np.flatnonzero(cross)
    k = board.threads
    work, best_bound = 0.0, 0.0
    best = prices.copy()
    pass_work = sum(strip.total for strip in strips) * k * 6.0 + 3000.0 * len(board.wire)
    slope = np.zeros_like(prices)

    def value(at: Prices, smooth: float) -> float:
        slope[:] = 0.0
        return sum(
            float(strip_value(board, paper, labels, strip, cross, at, smooth, slope)) for strip in strips
        )

    if stop():
        return best, best_bound, work
    now = prices.copy()
    best_bound = certified(value(now, 0.0), board)
    for smooth in schedule:
        latest = now[wires].ravel()

        def climb(flat: NDArray[np.float64], smooth: float = smooth) -> tuple[float, NDArray[np.float64]]:
            nonlocal work
            if stop():
                raise Enough
            work += pass_work
            at = now.copy()
            at[wires] = flat.reshape(-1, k)
            bound = value(at, smooth)
            return -bound, -slope[wires].ravel()

        def keep(flat: NDArray[np.float64]) -> None:
            nonlocal latest
            latest = flat.copy()

        with suppress(Enough):
            latest = fmin_l_bfgs_b(climb, latest, m=8, maxiter=iterations, callback=keep)[0]
        now[wires] = latest.reshape(-1, k)
        bound = certified(value(now, 0.0), board)
        if bound > best_bound:
            best_bound, best = bound, now.copy()
        if stop():
            break
    return best, best_bound, work


def _strips(board: Board, paper: Desk, labels: NDArray[np.int8], states: int) -> list[Strip]:
    """Split the board into strips of neighbouring positions, none with more than ``states`` states."""
    strips: list[Strip] = []
    low, high = 0, int(board.position.max(initial=-1))
    while low <= high:
        chosen = None
        for width in range(1, high - low + 2):
            inside = (board.position >= low) & (board.position < low + width)
            knots = np.flatnonzero(inside).astype(np.int32)
            sizes = np.zeros((len(knots), 4), np.int16)
            seats = np.zeros((len(knots), 2, 5), np.int8)
            dims = np.ones((len(knots) + 1, SLOTS), np.int16)
            most, total = _laid_out(board, paper, labels, knots, sizes, seats, dims)
            if chosen is not None and most > states:
                break
            chosen = Strip(knots, sizes, seats, dims, int(total)), width
        assert chosen is not None
        strips.append(chosen[0])
        low += chosen[1]
    return strips
