"""A strong lower bound: strips of the board solved whole, with prices only between them.

Give each wire e a price g(e, t) for carrying thread t: the knot that it enters is paid what the one that lets
it out pays, so in a routing everything cancels. For any prices at all, the least costs of the parts into
which a board is split then sum up to a lower bound (Lagrangian decomposition; Guignard and Kim 1987). Here
the parts are strips of neighbouring columns, and only the wires that cross from one to another have prices.
Each strip is a program of its own (``strips``) in which every wire inside is shared exactly. What else strips
have in common is relaxed in the same way: each starting strand of a thread with a limit has a price, and
each hand-over of a row that may have one, neither below zero; where a row may have none, they are beyond
price. Folded strands are priced like wires that cross.

Strips smoothed a little are climbed with L-BFGS (``ascent``), finer and finer, but not wire by wire: a price
is thought of as a sum of terms, its own and those of runs of 2, 4, 8 … rows, at its boundary, at some and at
all of them, as in the grids of a multigrid method. So what a thread is worth to a strip for a hundred rows
is found in a few steps.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.ascent import Ascent
from pipeline.routing.board import Board, Prices
from pipeline.routing.loops.codes import FAR
from pipeline.routing.strips import Split, split

Floats = NDArray[np.float64]

SMOOTHINGS = ((1.0, 0.4), (0.3, 0.4), (0.1, 0.2))
"""Smoothing δ while climbing, in ΔE, one after another, and the share of the steps at each."""
LIGHT_SMOOTHINGS = ((3.0, 0.4), (1.0, 0.3), (0.3, 0.3))
"""The same at light ease, where errors are larger."""
AVERAGED = 0.3
"""Smoothing δ, in ΔE, at which strands are counted."""
LEAST_STEPS, MOST_STEPS = 100, 400
"""A width is tried where the work suffices for so many steps in all; more steps than that are never made."""
SIGHT = 30_000_000
"""Entries of all tables by which a beam looks ahead over the strips (see ``lookahead``)."""
MEMORY = 16_000_000
"""Entries that the sweep of a strip may remember."""
ENTRY_WORK, PRICE_WORK = 1.7, 150.0
"""Units of work of a step, for each entry of the tensors and each price."""
CACHED, FETCHING = 2_000_000, 2.0
"""Entries of a strip that caches of a processor hold, and how much slower those of a larger one are."""
FADING = 0.2
"""How much less the terms of long runs weigh: a run of n wires has weight n^−FADING."""
HAND_OVER = 4.0
"""Weight of the price of a hand-over; there are few of them, and much depends on each."""
SPAN = 6
"""Columns of a run of wires at some boundaries."""


class Priced(NamedTuple):
    """A certified bound, the work it took, and the point where it holds.

    ``prices``: (E, k) of the wires that cross from strip to strip, else zero; ``toll``: (rows,) of a
    hand-over in each row; ``owner``: (V,) strip of each knot; ``strands``: (k,) how many starting strands of
    each thread the strips take, averaged by a smoothing.
    """

    bound: float
    work: float
    prices: Prices
    toll: Floats
    owner: NDArray[np.int64]
    strands: Floats
    dual: Dual
    at: Floats
    """The point itself, of the dual on these strips."""

    def under(self, cost: Floats, steps: int, stop: Callable[[], bool]) -> Priced:
        """Climb on for a few steps as if knots cost ``cost`` (V, k), without a bound."""
        dual = self.dual.under(cost, self.at)
        ascent = Ascent(dual.start, dual.free, dual.spread)
        ascent.climb(lambda at: dual.smoothed(at, AVERAGED), steps, stop)
        crossing, _, toll = dual.prices(ascent.at)
        return self._replace(bound=0.0, work=steps * dual.work, prices=crossing, toll=toll)


class Dual:
    """The bound as a function of a point: of all prices, those of wires first.

    ``kind``: float type for climbing, certified bounds are always float64.
    """

    def __init__(
        self,
        board: Board,
        parts: Split,
        start: Prices,
        *,
        kind: type[np.floating[Any]] = np.float32,
    ) -> None:
        self.board, self.strips, self.owner, self.cross = board, *parts
        self.scales = _scales(board, self.cross)
        self.limited = np.flatnonzero(board.at_most < board.strands)
        counted = board.row[board.counted]
        self.rows = np.unique(counted[board.allowance[counted] > 0])
        self.free = len(self.cross) * board.threads
        self.start = np.concatenate(
            [start[self.cross].ravel(), np.zeros(len(self.limited)), np.zeros(len(self.rows))]
        )
        self.memory = np.empty(max(strip.total for strip in self.strips), kind)
        self.scratch = np.empty((3, max(strip.most for strip in self.strips)), kind)
        self.cost = board.cost.astype(kind)

    def under(self, cost: Floats, start: Floats) -> Dual:
        """The same of a board whose knots cost ``cost`` (V, k), to climb from the point ``start``."""
        dual = copy(self)
        dual.board, dual.start = self.board._replace(cost=cost), start
        dual.cost = cost.astype(self.cost.dtype)
        return dual

    @property
    def work(self) -> float:
        """Units of work of ``smoothed``."""
        entries = sum(strip.total * (FETCHING if strip.total > CACHED else 1.0) for strip in self.strips)
        return ENTRY_WORK * entries + PRICE_WORK * len(self.start)

    def hard(self, at: Floats) -> float:
        """The bound at a point, but for rounding."""
        from pipeline.routing.loops.strips import forward

        prices, limit, toll = self.prices(at)
        bound = -float(limit @ self.board.at_most) - float(toll[self.rows].sum())
        for strip in self.strips:
            memory = np.empty(strip.total)
            bound += forward(self.board, strip, self.board.cost, prices, limit, toll, 0.0, 0.0, memory)
        return bound

    def smoothed(self, at: Floats, smooth: float) -> tuple[float, Floats]:
        """The smoothed bound at a point, never above the hard one, and its slope."""
        bound, slopes = self._swept(at, smooth)
        of_wires = slopes[0][self.cross].ravel()
        return bound, np.concatenate([of_wires, slopes[1][self.limited], slopes[2][self.rows]])

    def strands(self, at: Floats, smooth: float) -> Floats:
        """(k,) how many starting strands of each thread the strips take, averaged by the smoothing."""
        return np.asarray(self._swept(at, smooth)[1][1] + self.board.at_most, np.float64)

    def _swept(self, at: Floats, smooth: float) -> tuple[float, tuple[Floats, Floats, Floats]]:
        from pipeline.routing.loops.strips import backward, forward

        prices, limit, toll = self.prices(at)
        bound = -float(limit @ self.board.at_most) - float(toll[self.rows].sum())
        slopes = np.zeros_like(prices), -self.board.at_most.astype(np.float64), -np.ones_like(toll)
        kind = self.memory.dtype.type
        delta, curve = kind(smooth), kind(0.25 / smooth)
        prices, limit, toll = (each.astype(kind) for each in (prices, limit, toll))
        for strip in self.strips:
            bound += forward(self.board, strip, self.cost, prices, limit, toll, delta, curve, self.memory)
            backward(self.board, strip, prices, limit, toll, delta, curve, self.memory, self.scratch, slopes)
        return bound, slopes

    def spread(self, slope: Floats) -> Floats:
        """The way to go along a slope where every term, not every price, has a like share in it."""
        way = slope.copy()
        way[: self.free] = self._spread(slope[: self.free])
        way[len(way) - len(self.rows) :] *= HAND_OVER**2
        return way

    def _spread(self, slope: Floats) -> Floats:
        by_wire = slope.reshape(-1, self.board.threads)
        return np.asarray(self.scales @ (self.scales.T @ by_wire)).ravel()

    def prices(self, at: Floats) -> tuple[Prices, Floats, Floats]:
        """Prices of wires (E, k), of a starting strand of each thread (k,), of a hand-over in each row."""
        wires, limits, tolls = np.split(at, [self.free, self.free + len(self.limited)])
        prices = np.zeros((len(self.board.ends), self.board.threads))
        prices[self.cross] = wires.reshape(-1, self.board.threads)
        limit = np.zeros(self.board.threads)
        limit[self.limited] = limits
        toll = np.where(self.board.allowance > 0, 0.0, FAR)
        toll[self.rows] = tolls
        return prices, limit, toll


def strip_bound(
    board: Board,
    allowed: float,
    stop: Callable[[], bool],
    start: Prices | None = None,
    *,
    enough: float = np.inf,
) -> Priced:
    """Climb with about ``allowed`` units of work.

    ``start`` (E, k): prices to start from; ``enough``: a bound that needs no raising. The widest strips that
    the work suffices for are not always the best, so the next narrower ones compete at the first smoothing.
    """
    prices = np.zeros((len(board.ends), board.threads)) if start is None else start
    climbs = [_Climb(dual, stop, enough) for dual in _widest(board, allowed, prices)]
    (smooth, share), *finer = LIGHT_SMOOTHINGS if board.limited else SMOOTHINGS
    for climb in climbs:
        climb.rise(smooth, share * min(MOST_STEPS, allowed / climbs[0].dual.work))
    best = max(climbs, key=lambda climb: climb.reached)
    others = sum(climb.work for climb in climbs) - best.work
    steps = min(MOST_STEPS, (allowed - others) / best.dual.work)
    for smooth, share in finer:
        best.rise(smooth, share * steps)
    crossing, _, toll = best.dual.prices(best.at)
    strands = best.dual.strands(best.at, AVERAGED)
    bound = certified(best.bound, board)
    work = others + best.work
    return Priced(bound, work, crossing, toll, best.dual.owner, strands, best.dual, best.at)


class _Climb:
    """A climb on one dual: the bound reached, the best point and bound so far, and the work."""

    def __init__(self, dual: Dual, stop: Callable[[], bool], enough: float) -> None:
        self.dual, self.stop, self.enough = dual, stop, enough
        self.ascent = Ascent(dual.start, dual.free, dual.spread)
        self.at = dual.start
        self.bound = self.reached = dual.hard(self.at)
        self.work = 0.0

    def rise(self, smooth: float, steps: float) -> None:
        """Go on for so many steps at one smoothing."""
        if steps < 1 or self.bound >= self.enough or self.stop():
            return

        def height(at: Floats) -> tuple[float, Floats]:
            self.work += self.dual.work
            return self.dual.smoothed(at, smooth)

        self.ascent.climb(height, int(steps), self.stop)
        self.reached = self.dual.hard(self.ascent.at)
        if self.reached >= self.bound:  # of two that are nought the later one guides better
            self.bound, self.at = self.reached, self.ascent.at


def _widest(board: Board, allowed: float, start: Prices) -> list[Dual]:
    """The widest strips that the work allows ``LEAST_STEPS`` steps, then the next narrower ones."""
    columns = int(board.position.max()) + 1
    differ = _differences(board, columns)
    duals: list[Dual] = []
    for width in range(1, columns + 1):
        entries = len(board.wire) / columns * board.threads ** (width + 1) * (1 + board.limited)
        sight = len(board.wire) * (board.threads + 1) ** (width + 1) * (1 + board.limited)
        too_many = entries * width > MEMORY or sight > SIGHT or ENTRY_WORK * entries * LEAST_STEPS > allowed
        if duals and too_many:
            break
        dual = Dual(board, split(board, _begins(differ, width)), start)
        if duals and dual.work * LEAST_STEPS > allowed:
            break
        duals = [dual, *duals[:1]]
    return duals


def _differences(board: Board, columns: int) -> Floats:
    """(columns,) how much the costs of the knots at either end of a wire differ, to the column before."""
    wires = np.flatnonzero((board.ends >= 0).all(axis=1))
    ends = board.ends[wires]
    gap = np.abs(board.cost[ends[:, 0]] - board.cost[ends[:, 1]]).sum(axis=1)
    position = board.position[ends]
    apart = np.abs(position[:, 0] - position[:, 1]) == 1
    return np.asarray(np.bincount(position.max(axis=1)[apart], gap[apart], minlength=columns), np.float64)


def _begins(differ: Floats, width: int) -> list[int]:
    """The columns where strips of at most ``width`` columns begin: few, and where neighbours differ most."""
    columns = len(differ)
    loss = 1.5 * differ.max(initial=1.0) - differ
    least, previous = np.full(columns + 1, np.inf), np.zeros(columns + 1, np.int64)
    least[0] = 0.0
    for end in range(1, columns + 1):
        begin = np.arange(max(0, end - width), end)
        total = least[begin] + np.where(begin > 0, loss[begin], 0.0)
        previous[end] = begin[total.argmin()]
        least[end] = total.min()
    begins = [columns]
    while begins[-1] > 0:
        begins.append(int(previous[begins[-1]]))
    return begins[:0:-1]


def _scales(board: Board, cross: NDArray[np.int64]) -> Any:
    """(wires that cross, terms) the weight of each term in the price of each wire, a sparse array."""
    from scipy.sparse import csr_array

    ends = board.ends[cross]
    row, column = board.row[ends[:, 0]].astype(np.int64), board.position[ends].max(axis=1, initial=0)
    places, weights, terms = [np.arange(len(cross))], [np.ones(len(cross))], len(cross)
    columns = int(column.max(initial=0)) + 1
    length = 1
    while length <= row.max(initial=0):
        for span in (1, SPAN, columns):
            for begin in (0, length // 2) if length > 1 else (0,) if span > 1 else ():
                run = (row + begin) // length * columns + column // span
                place = np.unique(run, return_inverse=True)[1]
                places.append(terms + place)
                weights.append(np.bincount(place)[place].astype(np.float64) ** -FADING)
                terms += int(place.max()) + 1
        length *= 2
    wires = np.tile(np.arange(len(cross)), len(places))
    return csr_array((np.concatenate(weights), (wires, np.concatenate(places))), (len(cross), terms))


def certified(bound: float, board: Board) -> float:
    """Take off what rounding in a sum over all knots may have added (unit roundoff 2^-53 a term)."""
    size = float(board.cost.max(initial=0.0)) * max(1, len(board.wire))
    return max(0.0, bound - 1e-12 * size * 64)
