"""Switching sections: rows that show nothing asked for and let strands change places.

Two kinds of block may go between two picture rows. Diagonal rows in which every knot stays change nothing,
and neither does a straight row with its return, both crossed by one leader; so a band at hand goes on being
legal, and as good, when blocks are put in, and whatever the freed knots then gain is gain.

The rows are put in by levels, 2, 4, 8 … up to the limit. On each level several layouts are tried by a quick
descent: blocks where the colour error lies, or spread evenly, onto the level before or onto the bare band.
On the last level the best layouts are also routed from nothing; and where an ease ties the leaders down, so
that a descent moves little, the band is parted in two, both parts are routed by themselves and the strands
sorted in between. The best bands are searched further, and rows that turn out to move nothing are taken out
again. What remains is a trade-off: the least colour error found for each number of rows.

More than n diagonal rows in one place are never useful: n alternating rows reach every order of n strands
(odd-even transposition; Habermann 1972; Knuth, The Art of Computer Programming 3, section 5.3.4).
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from pipeline.knots import row_positions
from pipeline.network import Network, RowPlan, network
from pipeline.routing.beam import beam
from pipeline.routing.board import Board, Labels, board, colour_error, faults, hand_overs, solution
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.meter import Meter
from pipeline.routing.prices import knot_prices
from pipeline.routing.problem import Budget, Ease, Problem, Solution, Stopped
from pipeline.routing.route import route
from pipeline.routing.search import Search
from pipeline.routing.settle import labels_of, settle

EFFORT = 2.0
"""Effort of everything here, as a multiple of a plain search's; the last level has nearly half of it."""
SMALL = 1500
"""A band of fewer knots than this has as much effort as one of so many."""
BARE = 0.15
"""Share of the effort for searching on in the band without switching rows."""
TRIALS = 0.4
"""Share of a level's effort for trying layouts; the rest goes into searching the best ones."""
ANEW = 0.4
"""Effort for routing the best layouts from nothing, as a share of a level's."""
PARTS = 0.4
"""Effort for routing the parts of a parted band, as a share of a level's."""
RACERS = 4
"""How many layouts of a level are searched further."""
PRICE_STEPS = 120
"""Steps of the prices at each smoothing, for routing from nothing and for the bound of the longest band."""
A_STEP = 1e6
"""Units of work of a step of the prices, beside those for each knot."""
WIDTH = 200
"""Frontiers kept in routing from nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A band with ``switching_rows`` rows put in, as a problem of its own and its solution."""

    switching_rows: int
    made: int
    colour_error: float
    problem: Problem
    wanted: NDArray[np.int64]
    """(knots,) thread wanted, −1 where nothing is asked."""
    solution: Solution


def count_made(net: Network, routes: Solution, wanted: NDArray[np.int64]) -> int:
    """Cells whose wanted thread meets in their knot, so that it can show."""
    labels = labels_of(net, routes)
    meets = (labels[net.into] == wanted[:, None]).any(axis=1)
    return int((meets & (wanted >= 0)).sum())


def insert_switching(
    problem: Problem, wanted: NDArray[np.int64], start: Solution, limit: int, budget: Budget
) -> tuple[Point, ...]:
    """Put in up to ``limit`` switching rows; return the trade-off from 0 rows on.

    ``problem``: without switching rows; ``wanted``: (knots,) thread index or −1; ``start``: its solution. The
    colour error falls strictly along the points, each of which is a solution recounted by tying it, and the
    last one has the fewest rows found for its colour error. ``Solution.lower_bound`` is certified for the
    first point and for the last one; in between it is 0. The budget is spent in all, whatever the limit; a
    deadline or Ctrl-C keeps what was found.
    """
    bare = _Band(problem, wanted, start.strands, start.swaps, start.cost)
    points = {0: bare.point(start.lower_bound)}
    totals = _levels(limit)
    whole = replace(
        budget,
        effort=EFFORT * budget.effort * max(1.0, SMALL / max(1, problem.network.knots)),
        reporter=None,
    )
    stopped = start.stopped
    try:
        if totals and bare.error > 1e-6:
            bare = bare.searched(_part(whole, BARE), budget.seed)
            points[0] = bare.point(start.lower_bound)
        band = bare
        for total in totals:
            if band.error <= 1e-6:
                break
            level = (1.0 - BARE) * (0.5 if total == limit else 0.5 / (len(totals) - 1))
            layouts = _tried(band, bare, total, _part(whole, TRIALS * level))
            if total == limit:
                layouts += _anew(layouts[1:], _part(whole, ANEW * level), budget.seed)
                if board(problem).light:
                    layouts += _parted(bare, total, _part(whole, PARTS * level))
            longer = _raced(layouts, _part(whole, (1.0 - TRIALS) * level), budget.seed + total).trimmed()
            if longer.error < band.error - 1e-6:
                band = longer
                points[band.inserted] = band.point(0.0)
            if _late(budget):
                stopped = Stopped.TIME
                break
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    curve = _falling(points)
    if len(curve) > 1:
        curve[-1] = _finished(curve[-1], budget, stopped)
    return tuple(curve)


def _falling(points: dict[int, Point]) -> list[Point]:
    """Keep the points that are better than every one with fewer rows."""
    kept: list[Point] = []
    for rows in sorted(points):
        if not kept or points[rows].colour_error < kept[-1].colour_error - 1e-6:
            kept.append(points[rows])
    return kept


def _finished(point: Point, budget: Budget, stopped: Stopped) -> Point:
    """Certify a lower bound for the point's own network, and take out needless hand-overs."""
    late = Meter(budget, point.problem.network.knots)
    _, bound = knot_prices(board(point.problem), PRICE_STEPS, lambda: late.late)
    routes = replace(point.solution, lower_bound=min(bound, point.solution.cost), stopped=stopped)
    routes = fewer_hand_overs(point.problem, routes, budget)
    made = count_made(point.problem.network, routes, point.wanted)
    return replace(point, made=made, colour_error=routes.cost, solution=routes)


def _levels(limit: int) -> list[int]:
    """Numbers of rows to try: 2, 4, 8 … and the limit itself."""
    totals, total = [], 2
    while total < limit:
        totals.append(total)
        total *= 2
    return [*totals, limit] if limit > 0 else []


@dataclass(frozen=True, slots=True)
class _Block:
    """Rows to put in before row ``gap``, with the swaps by which they change nothing."""

    gap: int
    rows: tuple[RowPlan, ...]
    swaps: bool


def _diagonal(strands: int, gap: int, rows: int, parity: int = 0) -> _Block:
    positions = (row_positions(strands, parity + i, "diagonal") for i in range(min(rows, strands)))
    return _Block(gap, tuple(RowPlan("diagonal", p) for p in positions), swaps=False)


def _straight(strands: int, gap: int, turn: int) -> _Block:
    """A straight row and its return; ``turn`` 0 goes out from the left edge, 1 from the right one."""
    there_and_back = (RowPlan("rows", row_positions(strands, turn + i, "rows")) for i in range(2))
    return _Block(gap, tuple(there_and_back), swaps=True)


@dataclass(frozen=True, slots=True, eq=False)
class _Band:
    """A band with some rows put in, and its routes as strands and swaps."""

    problem: Problem
    wanted: NDArray[np.int64]
    strands: NDArray[np.int64]
    swaps: NDArray[np.bool_]
    error: float

    @property
    def inserted(self) -> int:
        return sum(row.picture is None for row in self.problem.network.rows)

    @property
    def routes(self) -> Solution:
        return Solution(self.strands, self.swaps, self.error, 0.0)

    def painful(self, places: int) -> list[int]:
        """Different rows to put blocks before, so that the colour error is shared evenly among them."""
        net = self.problem.network
        labels = labels_of(net, self.routes)
        knots = np.arange(net.knots)
        pain = self.problem.costs[knots[:, None], labels[net.into]].min(axis=1)
        by_row = np.bincount(net.row, weights=pain, minlength=len(net.rows)) + 1e-9
        shares = (np.arange(places) + 0.5) / places
        return self._gaps(np.searchsorted(np.cumsum(by_row) / by_row.sum(), shares))

    def spread(self, places: int) -> list[int]:
        """Different rows to put blocks before, spread evenly."""
        rows = len(self.problem.network.rows)
        return self._gaps((np.arange(places) + 0.5) / places * rows)

    def _gaps(self, wishes: NDArray[np.floating | np.integer]) -> list[int]:
        rows = self.problem.network.rows
        open_ = [r for r in range(1, len(rows)) if rows[r].picture is not None]
        gaps: list[int] = []
        for wish in wishes:
            if open_:
                gap = min(open_, key=lambda r: (abs(r - wish), r))
                open_.remove(gap)
                gaps.append(gap)
        return sorted(gaps)

    def with_blocks(self, blocks: Sequence[_Block]) -> _Band:
        """Put in blocks; the routes change nothing there."""
        band = self
        for block in sorted(blocks, key=lambda block: -block.gap):
            net = band.problem.network
            at = [int(np.searchsorted(net.row, block.gap))] * sum(len(row.positions) for row in block.rows)
            band = band._rebuilt(
                (*net.rows[: block.gap], *block.rows, *net.rows[block.gap :]),
                np.insert(band.problem.costs, at, 0.0, axis=0),
                np.insert(band.wanted, at, -1),
                np.insert(band.swaps, at, block.swaps),
            )
        return band

    def _rebuilt(
        self,
        rows: tuple[RowPlan, ...],
        costs: NDArray[np.float64],
        wanted: NDArray[np.int64],
        swaps: NDArray[np.bool_],
    ) -> _Band:
        changed = replace(self.problem, network=network(self.problem.network.strands, rows), costs=costs)
        return _Band(changed, wanted, self.strands, swaps, self.error)

    def settled(self, meter: Meter) -> _Band:
        """Improve the routes by a quick descent."""
        laid = board(self.problem)
        labels = labels_of(self.problem.network, self.routes)
        settle(laid, labels, self.problem.ease, meter, rounds=3)
        return self._with(laid, labels)

    def searched(self, budget: Budget, seed: int) -> _Band:
        """Improve the routes by the router's search, until the budget is spent."""
        meter = Meter(budget, self.problem.network.knots)
        laid = board(self.problem)
        if laid.light and self.problem.ease is Ease.PLAIN:
            return self.settled(meter)
        search = Search(laid, self._in_rows(), meter, seed)
        return self._with(laid, search.improve(labels_of(self.problem.network, self.routes), 0.0))

    def routed_anew(self, meter: Meter, seed: int) -> _Band:
        """Route from nothing, guided by prices; keep the routes at hand if they are better."""
        laid = board(self.problem)
        if laid.light and self.problem.ease is Ease.PLAIN:
            return self
        prices, _ = knot_prices(laid, PRICE_STEPS, lambda: meter.late)
        labels = beam(laid, laid.cost, prices, WIDTH, lambda: meter.late)
        meter.spend(3 * PRICE_STEPS * (A_STEP + 15.0 * len(laid.wire) * laid.threads**2))
        meter.spend(100.0 * WIDTH * len(laid.wire))
        if labels is None:
            return self
        search = Search(laid, self._in_rows(), meter, seed)
        search.begin(labels)
        return self._with(laid, search.labels)

    def _in_rows(self) -> NDArray[np.bool_]:
        rows = np.array([row.worked == "rows" for row in self.problem.network.rows], dtype=bool)
        return np.asarray(rows[self.problem.network.row])

    def _with(self, laid: Board, labels: Labels) -> _Band:
        """The band with the routes of ``labels``, if they are legal and better."""
        error = float(colour_error(laid, labels))
        if error >= self.error or faults(laid, labels):
            return self
        strands = labels[: laid.strands].astype(np.int64)
        return replace(self, strands=strands, swaps=~hand_overs(laid, labels), error=error)

    def trimmed(self) -> _Band:
        """Take out diagonal switching rows at the ends of their section in which nothing moves."""
        net = self.problem.network
        labels = labels_of(net, self.routes)
        moves = self.swaps & (labels[net.into[:, 0]] != labels[net.into[:, 1]])
        moving = np.zeros(len(net.rows), dtype=bool)
        np.logical_or.at(moving, net.row, moves)
        free = np.array([row.picture is None and row.worked == "diagonal" for row in net.rows])
        drop = np.zeros(len(net.rows), dtype=bool)
        for order in (range(len(net.rows)), range(len(net.rows) - 1, -1, -1)):
            edge = True
            for r in order:
                edge = (edge or not free[r]) and not (free[r] and moving[r])
                drop[r] |= free[r] and edge
        if not drop.any():
            return self
        rows = tuple(row for row, gone in zip(net.rows, drop, strict=True) if not gone)
        keep = ~drop[net.row]
        return self._rebuilt(rows, self.problem.costs[keep], self.wanted[keep], self.swaps[keep])

    def point(self, lower_bound: float) -> Point:
        routes = solution(self.problem, labels_of(self.problem.network, self.routes), lower_bound)
        made = count_made(self.problem.network, routes, self.wanted)
        return Point(self.inserted, made, routes.cost, self.problem, self.wanted, routes)


def _layouts(band: _Band, bare: _Band, total: int) -> Iterator[_Band]:
    """Ways to have ``total`` switching rows, onto the level before and onto the bare band in turn."""
    ways = [_ways(base, total - base.inserted) for base in ((bare, band) if band.inserted else (bare,))]
    for layouts in zip_longest(*ways):
        yield from (layout for layout in layouts if layout is not None)


def _ways(base: _Band, more: int) -> Iterator[_Band]:
    """Ways to put ``more`` rows into a band, the most promising ones first."""
    n = base.problem.network.strands
    # straight rows in a diagonal band are bound by its ease, diagonal ones are not
    straight = more >= 2 and (
        base.problem.ease is Ease.FULL
        or any(row.picture is not None and row.worked == "rows" for row in base.problem.network.rows)
    )
    if straight:
        yield base.with_blocks([_straight(n, gap, 0) for gap in base.painful(more // 2)])
    for parts in (2, 4, 1):
        if more >= 2 * parts or parts == 1:
            yield base.with_blocks([_diagonal(n, gap, more // parts) for gap in base.painful(parts)])
    if straight:
        yield base.with_blocks([_straight(n, gap, 1) for gap in base.painful(more // 2)])
    for gap in base.spread(4):
        yield base.with_blocks([_diagonal(n, gap, more)])
    if straight and more >= 4:
        yield base.with_blocks([_straight(n, gap, 0) for gap in base.spread(more // 2)])


def _part(budget: Budget, share: float) -> Budget:
    return replace(budget, effort=share * budget.effort)


def _late(budget: Budget) -> bool:
    return budget.deadline is not None and time.monotonic() >= budget.deadline


def _tried(band: _Band, bare: _Band, total: int, budget: Budget) -> list[_Band]:
    """The level before and the layouts tried, by a quick descent each."""
    meter = Meter(budget, band.problem.network.knots)
    tried = [band]
    for layout in _layouts(band, bare, total):
        tried.append(layout.settled(meter))
        if meter.over():
            break
    return tried


def _raced(bands: list[_Band], budget: Budget, seed: int) -> _Band:
    """Search the best few a little, the better half of them more, and so on; return the best one."""
    bands = sorted(bands, key=lambda band: band.error)[:RACERS]
    heats = len(bands).bit_length()
    while True:
        share = _part(budget, 1.0 / heats / len(bands))
        bands = sorted((band.searched(share, seed) for band in bands), key=lambda band: band.error)
        if len(bands) == 1:
            return bands[0]
        bands = bands[: len(bands) // 2]


def _anew(tried: list[_Band], budget: Budget, seed: int) -> list[_Band]:
    """The layouts tried, the best ones first, routed from nothing while the budget lasts."""
    meter = Meter(budget, max((band.problem.network.knots for band in tried), default=1))
    anew: list[_Band] = []
    for band in sorted(tried, key=lambda band: band.error):
        if meter.over():
            break
        anew.append(band.routed_anew(meter, seed))
    return anew


def _parted(bare: _Band, total: int, budget: Budget) -> list[_Band]:
    """The bare band parted at a few places, where that gains something."""
    gaps = sorted({*bare.painful(1), *bare.spread(2)})
    parted = (_cut(bare, gap, total, _part(budget, 1.0 / len(gaps))) for gap in gaps if not _late(budget))
    return [band for band in parted if band is not None]


def _cut(band: _Band, gap: int, most: int, budget: Budget) -> _Band | None:
    """Part the band before row ``gap``, route both parts by themselves, and sort between them.

    The lower part may begin in any order of the threads that the upper one ends with. Up to ``most``
    diagonal rows take it there; if they do not suffice, the lower part begins as near as they lead.
    """
    net = band.problem.network
    n, k = net.strands, band.problem.threads
    at = int(np.searchsorted(net.row, gap))
    upper = replace(band.problem, network=network(n, net.rows[:gap]), costs=band.problem.costs[:at])
    over = _better(route(upper, budget), upper, band.strands, band.swaps[:at])
    ending = labels_of(upper.network, over)[upper.network.last]
    counts = np.bincount(ending, minlength=k)
    lower = Problem(
        network(n, net.rows[gap:]),
        band.problem.costs[at:],
        (None,) * n,
        tuple(int(count) for count in counts),
        ease=band.problem.ease,
    )
    under = route(lower, budget)
    rows, swaps, reached = sorting_rows(ending, under.strands, most)
    if (reached != under.strands).any():
        pinned = replace(lower, start=tuple(int(t) for t in reached))
        under = route(pinned, budget)
    if over.cost + under.cost >= band.error - 1e-6:
        return None
    costs = [band.problem.costs[:at], np.zeros((len(swaps), k)), band.problem.costs[at:]]
    wanted = [band.wanted[:at], np.full(len(swaps), -1), band.wanted[at:]]
    whole = band._rebuilt(
        (*net.rows[:gap], *rows, *net.rows[gap:]),
        np.concatenate(costs),
        np.concatenate(wanted),
        np.concatenate([over.swaps, swaps, under.swaps]),
    )
    return replace(whole, strands=over.strands, error=over.cost + under.cost)


def _better(
    found: Solution, problem: Problem, strands: NDArray[np.int64], swaps: NDArray[np.bool_]
) -> Solution:
    """The routes at hand, if they cost less than those found anew."""
    labels = labels_of(problem.network, Solution(strands, swaps, 0.0, 0.0))
    present = solution(problem, labels, 0.0)
    return present if present.cost <= found.cost else found


def sorting_rows(
    have: NDArray[np.integer], want: NDArray[np.integer], most: int
) -> tuple[list[RowPlan], NDArray[np.bool_], NDArray[np.int64]]:
    """Diagonal rows, at most ``most``, that lead from one order of threads towards another.

    Strands of one thread keep their order; odd-even transposition does the rest. Returns the rows, their
    swaps, and the order reached.
    """
    n = len(have)
    aim = np.empty(n, np.int64)
    for thread in np.unique(have):
        aim[np.flatnonzero(have == thread)] = np.flatnonzero(want == thread)
    best: tuple[int, list[RowPlan], list[bool], NDArray[np.int64]] | None = None
    for parity in (0, 1):
        now = aim.copy()
        rows: list[RowPlan] = []
        swaps: list[bool] = []
        while len(rows) < most and (np.diff(now) < 0).any():
            positions = row_positions(n, parity + len(rows), "diagonal")
            rows.append(RowPlan("diagonal", positions))
            for p in positions:
                swap = bool(now[p] > now[p + 1])
                swaps.append(swap)
                if swap:
                    now[p], now[p + 1] = now[p + 1], now[p]
        left = int((np.diff(now) < 0).sum())
        if best is None or (left, len(rows)) < (int((np.diff(best[3]) < 0).sum()), len(best[1])):
            best = (left, rows, swaps, now)
    assert best is not None
    return best[1], np.array(best[2], dtype=bool), np.asarray(want, np.int64)[best[3]]
