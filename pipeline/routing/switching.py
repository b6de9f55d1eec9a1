"""Switching sections: rows of the picture said twice, which let strands change places.

Two kinds of block may go between two picture rows. Diagonal rows in which every knot stays move nothing,
and neither does a straight row with its return, both crossed by one leader; so a band at hand goes on being
legal when blocks are put in. Their cells want what the rows beside them want and count like these, so that a
row pays only where it looks like the picture.

The rows are put in by levels, 2, 4, 8 … up to the limit. On each level several layouts are tried by a quick
descent: blocks where the colour error lies, or spread evenly, onto the level before or onto the bare band.
On the last level the best layouts are also routed from nothing; and where an ease ties the leaders down, so
that a descent moves little, the band is parted in two, both parts are routed by themselves and the strands
sorted in between. The best bands are searched further, and rows that turn out to move nothing are taken out
again. What remains is a trade-off: the least colour error found for each number of rows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import board
from pipeline.routing.bound import strip_bound
from pipeline.routing.closed import steady
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.lengthening import (
    LongerBand,
    Point,
    count_made,
    diagonal_block,
    straight_block,
)
from pipeline.routing.meter import Meter
from pipeline.routing.plain import is_plain
from pipeline.routing.question import ANY, Budget, Question, Routed, Stopped
from pipeline.routing.seam import parted

EFFORT = 0.8
"""Effort of everything here, as a multiple of a plain search's; the last level has nearly half of it."""
BARE = 0.15
"""Share of the effort for searching on in the band without switching rows."""
TRIALS = 0.4
"""Share of a level's effort for trying layouts; the rest goes into searching the best ones."""
ANEW = 0.4
"""Effort for routing the best layouts from nothing, as a share of a level's."""
PARTS = 0.8
"""Effort for routing the parts of a parted band, as a share of a level's."""
PART_WORK, PLAIN_PART_WORK = 7e5, 5e4
"""Least units of work of a parting for each knot, and at plain ease."""
PART_SEARCH = 0.2
"""Share of the parts' effort that each parting searches beyond that."""
BOUND = 0.15
"""Effort for the bound of the longest band, as a share of a plain search's."""
RACERS = 4
"""How many layouts of a level are searched further."""


def insert_switching(
    problem: Question, wanted: NDArray[np.int64], start: Routed, limit: int, budget: Budget
) -> tuple[Point, ...]:
    """Put in up to ``limit`` switching rows; return the trade-off from 0 rows on.

    ``problem``: without switching rows; ``wanted``: (knots,) kind of cell or −1; ``start``: its solution. The
    colour error falls strictly along the points, each of which is a solution recounted by tying it, and the
    last one has the fewest rows found for its colour error. ``Routed.lower_bound`` is certified for the
    first point and for the last one; in between it is 0. The budget is spent in all, whatever the limit; a
    deadline or Ctrl-C keeps what was found.
    """
    bare = LongerBand(problem, wanted, start.strands, start.swaps, start.cost)
    points = {0: bare.point(start.lower_bound)}
    totals = _levels(limit)
    whole = replace(budget, effort=EFFORT * budget.effort, reporter=None)
    stopped = start.stopped
    try:
        if totals and bare.error > 1e-6 and not budget.late:
            bare = bare.searched(_part(whole, BARE), budget.seed)
            points[0] = bare.point(start.lower_bound)
        band = bare
        for total in totals:
            if band.error <= 1e-6 or budget.late:
                break
            level = (1.0 - BARE) * (0.5 if total == limit else 0.5 / (len(totals) - 1))
            layouts = _tried(band, bare, total, _part(whole, TRIALS * level))
            if total == limit:
                layouts += _anew(layouts[1:], _part(whole, ANEW * level), budget.seed)
                if board(problem).limited and not problem.closed:
                    layouts += _partings(bare, total, _part(whole, PARTS * level))
            longer = _raced(layouts, _part(whole, (1.0 - TRIALS) * level), budget.seed + total).trimmed()
            if longer.error < band.error - 1e-6:
                band = longer
                points[band.inserted] = band.point(0.0)
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE:
        stopped = budget.ended
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
    problem, cost = point.problem, point.solution.cost
    meter = Meter(_part(budget, BOUND), problem.network.knots)
    bound = 0.0
    if not meter.late:
        bound = strip_bound(board(problem), meter.allowed, lambda: meter.late, enough=cost).bound
    routes = replace(point.solution, lower_bound=min(bound, cost), stopped=stopped)
    plain = steady(board(problem), problem) if problem.closed else None
    routes = fewer_hand_overs(problem, routes, budget, plain)
    made = count_made(problem, routes, point.wanted)
    return replace(point, made=made, colour_error=routes.cost, solution=routes)


def _levels(limit: int) -> list[int]:
    """Numbers of rows to try: 2, 4, 8 … and the limit itself."""
    totals, total = [], 2
    while total < limit:
        totals.append(total)
        total *= 2
    return [*totals, limit] if limit > 0 else []


def _layouts(band: LongerBand, bare: LongerBand, total: int) -> Iterator[LongerBand]:
    """Ways to have ``total`` switching rows, onto the level before and onto the bare band in turn."""
    ways = [_ways(base, total - base.inserted) for base in ((bare, band) if band.inserted else (bare,))]
    for layouts in zip_longest(*ways):
        yield from (layout for layout in layouts if layout is not None)


def _ways(base: LongerBand, more: int) -> Iterator[LongerBand]:
    """Ways to put ``more`` rows into a band, the most promising ones first."""
    n = base.problem.network.strands
    # straight rows in a diagonal band are bound by its allowance, diagonal ones are not
    straight = more >= 2 and (
        min(base.problem.allowance) >= ANY
        or any(row.picture is not None and row.worked == "rows" for row in base.problem.network.rows)
    )
    if straight:
        yield base.with_blocks([straight_block(n, gap, 0) for gap in base.painful(more // 2)])
    for parts in (4, 1, 2, 8):
        if more >= 2 * parts or parts == 1:
            yield base.with_blocks([diagonal_block(n, gap, more // parts) for gap in base.painful(parts)])
    if straight:
        yield base.with_blocks([straight_block(n, gap, 1) for gap in base.painful(more // 2)])
    for gap in base.spread(4):
        yield base.with_blocks([diagonal_block(n, gap, more)])
    if straight and more >= 4:
        yield base.with_blocks([straight_block(n, gap, 0) for gap in base.spread(more // 2)])


def _part(budget: Budget, share: float) -> Budget:
    return replace(budget, effort=share * budget.effort)


def _tried(band: LongerBand, bare: LongerBand, total: int, budget: Budget) -> list[LongerBand]:
    """The level before and the layouts tried, by a quick descent each."""
    meter = Meter(budget, band.problem.network.knots)
    tried = [band]
    for layout in _layouts(band, bare, total):
        tried.append(layout.settled(meter))
        if meter.over():
            break
    return tried


def _raced(bands: list[LongerBand], budget: Budget, seed: int) -> LongerBand:
    """Search the best few a little, the better half of them more, and so on; return the best one."""
    bands = sorted(bands, key=lambda band: band.error)[:RACERS]
    heats = len(bands).bit_length()
    while True:
        share = _part(budget, 1.0 / heats / len(bands))
        bands = sorted((band.searched(share, seed) for band in bands), key=lambda band: band.error)
        if len(bands) == 1:
            return bands[0]
        bands = bands[: len(bands) // 2]


def _anew(tried: list[LongerBand], budget: Budget, seed: int) -> list[LongerBand]:
    """The layouts tried, the best ones first, routed from nothing while the budget lasts."""
    meter = Meter(budget, max((band.problem.network.knots for band in tried), default=1))
    anew: list[LongerBand] = []
    for band in sorted(tried, key=lambda band: band.error):
        if meter.over() or meter.spent + band.work_anew > meter.allowed:
            break
        anew.append(band.routed_anew(meter, seed))
    return anew


def _partings(bare: LongerBand, total: int, budget: Budget) -> list[LongerBand]:
    """The bare band parted at a few places while the budget lasts, where that gains something."""
    knots = bare.problem.network.knots
    meter = Meter(budget, knots)
    least = knots * (PLAIN_PART_WORK if is_plain(bare.problem) else PART_WORK)
    parts: list[LongerBand] = []
    for gap in dict.fromkeys((*bare.painful(1), *bare.spread(2))):
        if meter.late or meter.spent + least > meter.allowed:
            break
        meter.spend(least + PART_SEARCH * meter.allowed)
        found = parted(bare, gap, total, _part(budget, PART_SEARCH))
        if found is not None:
            parts.append(found)
    return parts
