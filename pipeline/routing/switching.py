"""Switching sections: rows of the picture said twice, which let strands change places.

Two kinds of block may go between two picture rows. Diagonal rows in which every knot stays move nothing,
and neither does a straight row with its return, both crossed by one leader; so a band at hand goes on being
legal when blocks are put in. Their cells want what the rows beside them want and count like these, so that a
row pays only where it looks like the picture.

The rows are put in by levels, 2, 4, 8 … up to the limit. On each level several layouts are tried by a quick
descent: pairs of straight rows and one or four blocks of diagonal ones, where the colour error lies, onto
the bare band or the level before. The best bands are searched further, and rows that turn out to move
nothing are taken out again. What remains is a trade-off: the least colour error for each number of rows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pipeline.band.knots import row_positions
from pipeline.band.network import RowPlan
from pipeline.routing.board import board, shown
from pipeline.routing.bound import strip_bound
from pipeline.routing.closed import steady
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.joins import CutBand
from pipeline.routing.lengthening import Block, LongerBand, stacked, with_better
from pipeline.routing.meter import Meter
from pipeline.routing.question import ANY, Budget, Stopped

EFFORT = 0.8
"""Effort of everything here, as a multiple of a plain search's; the last level has nearly half of it."""
BARE = 0.15
"""Share of the effort for searching on in the band without switching rows."""
TRIALS = 0.4
"""Share of a level's effort for trying layouts; the rest goes into searching the best ones."""
BOUND = 0.15
"""Effort for the bound of the longest band, as a share of a plain search's."""
RACERS = 2
"""How many layouts of a level, or the band before, are searched further."""


def insert_switching(band: LongerBand, limit: int, budget: Budget) -> tuple[LongerBand, ...]:
    """Put up to ``limit`` switching rows into a band; return the trade-off from 0 rows on.

    The colour error falls strictly along the bands, each of which was recounted by tying it, and the last one
    has the fewest rows found for its colour error. A lower bound is certified for the first and for the last
    one. The budget is spent in all, whatever the limit; a deadline or Ctrl-C keeps what was found.
    """
    points, known, knots = [band], band.solution, band.question.network.knots
    whole, totals, stopped = budget.share(EFFORT), _levels(limit), known.stopped
    try:
        if totals and band.colour_error > 1e-6 and not budget.late:
            bare = CutBand.of(band).searched(whole.share(BARE), budget.seed).tied()
            if bare.colour_error < band.colour_error - 1e-6:
                points = [replace(bare, solution=replace(bare.solution, lower_bound=known.lower_bound))]
        bare = points[0]
        for total in totals:
            if points[-1].colour_error <= 1e-6 or budget.late:
                break
            level = whole.share((1.0 - BARE) * (0.5 if total == limit else 0.5 / (len(totals) - 1)))
            meter, tried = Meter(level.share(TRIALS), knots), [points[-1]]
            for layout in _layouts(points[-1], bare, total):
                tried.append(CutBand.of(layout).settled(meter).tied())
                if meter.over():
                    break
            racers, share = sorted(tried, key=_error)[:RACERS], level.share((1.0 - TRIALS) / RACERS)
            raced = [CutBand.of(one).searched(share, budget.seed + total).tied() for one in racers]
            points = with_better(points, _trimmed(min(raced, key=_error)))
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if len(points) > 1:
        stopped = budget.ended if stopped is Stopped.DONE else stopped
        points[-1] = _finished(points[-1], budget, stopped)
    return tuple(points)


def _error(band: LongerBand) -> float:
    return band.colour_error


def _finished(band: LongerBand, budget: Budget, stopped: Stopped) -> LongerBand:
    """Certify a lower bound for the band's own network, and take out needless hand-overs."""
    asked, cost, laid = band.question, band.colour_error, board(band.question)
    meter = Meter(budget.share(BOUND), asked.network.knots)
    bound = 0.0
    if not meter.late:
        bound = strip_bound(laid, meter.allowed, lambda: meter.late, enough=cost).bound
    routes = replace(band.solution, lower_bound=min(bound, cost), stopped=stopped)
    plain = steady(laid, asked) if asked.closed else None
    return replace(band, solution=fewer_hand_overs(asked, routes, budget, plain))


# -- layouts ---------------------------------------------------------------------------------------------


def _levels(limit: int) -> list[int]:
    """Numbers of rows to try: 2, 4, 8 … and the limit itself."""
    totals, total = [], 2
    while total < limit:
        totals.append(total)
        total *= 2
    return [*totals, limit] if limit > 0 else []


def _layouts(band: LongerBand, bare: LongerBand, total: int) -> Iterator[LongerBand]:
    """Ways to have ``total`` switching rows, onto the bare band and onto the level before."""
    n, rows = bare.question.network.strands, bare.question.network.rows
    # straight rows in a diagonal band are bound by its allowance, diagonal ones are not
    straight = min(bare.question.allowance) >= ANY or any(row.worked == "rows" for row in rows)
    bases = (bare, band) if band.switching_rows else (bare,)
    for parts in (0, 4, 1):  # pairs of straight rows, then four blocks or one of diagonal ones
        for base in bases:
            more = total - base.switching_rows
            if parts == 0 and straight and more >= 2:
                yield base.with_blocks([_straight(n, gap) for gap in _painful(base, more // 2)])
            elif parts == 1 or (parts and more >= 2 * parts):
                yield base.with_blocks([_diagonal(n, gap, more // parts) for gap in _painful(base, parts)])


def _diagonal(strands: int, gap: int, rows: int) -> Block:
    """Diagonal rows in which every knot stays."""
    positions = [row_positions(strands, i, "diagonal") for i in range(min(rows, strands))]
    swaps = np.zeros(sum(map(len, positions)), dtype=bool)
    return Block(gap, tuple(RowPlan("diagonal", p) for p in positions), swaps)


def _straight(strands: int, gap: int) -> Block:
    """A straight row from the left edge, and its return."""
    there_and_back = tuple(RowPlan("rows", row_positions(strands, i, "rows")) for i in range(2))
    return Block(gap, there_and_back, np.ones(2 * (strands - 1), dtype=bool))


def _painful(band: LongerBand, places: int) -> list[int]:
    """Different rows to put blocks before, so that the colour error is shared evenly among them.

    Of the rows near such a place it is the ones that show well: they are said twice.
    """
    net = band.question.network
    pain = shown(board(band.question), band.labels)
    by_row = np.bincount(net.row, weights=pain, minlength=len(net.rows)) + 1e-9
    shares = (np.arange(places) + 0.5) / places
    twice = by_row + np.roll(by_row, 1)
    reach = len(by_row) // (2 * places) + 2
    free = [r for r in range(1, len(net.rows)) if net.rows[r].picture is not None]
    gaps: list[int] = []
    for wish in np.searchsorted(np.cumsum(by_row) / by_row.sum(), shares).tolist():
        near = range(max(1, wish - reach), min(len(by_row), wish + reach + 1))
        calm = min(near, key=lambda r: (round(float(twice[r]), 6), abs(r - wish)), default=wish)
        if free:
            gaps.append(min(free, key=lambda r: (abs(r - calm), r)))
            free.remove(gaps[-1])
    return sorted(gaps)


def _trimmed(band: LongerBand) -> LongerBand:
    """Take out diagonal switching rows at the ends of their section in which nothing moves."""
    net, met = band.question.network, band.labels[band.question.network.into]
    within = np.array([row.picture is None and row.worked == "diagonal" for row in net.rows])
    moving = np.bincount(net.row[band.solution.swaps & (met[:, 0] != met[:, 1])], minlength=len(net.rows))
    still, drop = within & (moving == 0), np.zeros(len(net.rows), dtype=bool)
    for order in (range(len(net.rows)), range(len(net.rows) - 1, -1, -1)):
        edge = True
        for r in order:
            edge = not within[r] or (edge and still[r])
            drop[r] |= within[r] and edge
    if not drop.any():
        return band
    turns = np.flatnonzero(np.diff(drop, prepend=True, append=True))
    kept = [band.part(first, stop) for first, stop in zip(turns[::2], turns[1::2], strict=True)]
    return stacked(band.question, kept)
