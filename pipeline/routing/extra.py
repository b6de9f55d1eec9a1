"""One band from one question: routed, then made longer by switching rows and joined, as far as is allowed.

A row of knots is work, and shows nothing that was not there. So unless the maker says how many rows there
may be, each must take off as much colour error as one cell that plainly shows another thread: ``EARNED``,
which is about the difference between two threads that nobody takes for one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat
from pipeline.routing.board import solution
from pipeline.routing.joins import add_joins
from pipeline.routing.lengthening import LongerBand, stacked, tied
from pipeline.routing.question import Budget, Question, Routed, Stopped
from pipeline.routing.repeated import laid_out
from pipeline.routing.route import route
from pipeline.routing.switching import insert_switching

EARNED = 20.0
"""Colour error that each row must take off, in HyAB or ΔE."""
MOST = 12
"""Rows that are tried where the maker sets no number."""
EFFORT = 0.4
"""Effort for trying them then, as a share of what a number of rows gets."""

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a band may have beside its own rows.

    ``rows``: how many switching rows, None for as many as earn their keep; ``joins``: how many strands may
    change their thread; ``room``: how many rows the wrist has room for, None where it is not known; ``ends``:
    rows of plain ground at the beginning and at the end, which may make room for more.
    """

    rows: int | None = 0
    joins: int = 0
    room: int | None = None
    ends: tuple[int, int] = (0, 0)

    def most(self, rows: int) -> int:
        """``rows``, as far as there is room."""
        return rows if self.room is None else max(0, min(rows, self.room + sum(self.ends)))


@dataclass(frozen=True, slots=True, eq=False)
class Lengthened:
    """What came of a question: its ``solution``; ``by_rows`` the bands with more and more switching rows;
    ``by_joins`` those with more and more joins beside, of which the last one is to be tied; and how many
    rows of ground were taken ``off`` its ends.
    """

    solution: Routed
    by_rows: tuple[LongerBand, ...]
    by_joins: tuple[LongerBand, ...]
    off: tuple[int, int]

    @property
    def posed(self) -> tuple[Question, Ints, Routed]:
        """The question, the kinds of its cells, its solution."""
        return self.by_rows[0].question, self.by_rows[0].kinds, self.solution

    @property
    def band(self) -> LongerBand:
        """The band to be tied."""
        return self.by_joins[-1]

    @property
    def stopped(self) -> Stopped:
        """Why the search ended."""
        first, last = self.solution.stopped, self.by_rows[-1].solution.stopped
        return last if first is Stopped.DONE else first


def lengthened(
    question: Question, kinds: Ints, allowed: Allowed, budget: Budget, known: Routed | None = None
) -> Lengthened:
    """Route a question, put in switching rows, then joins.

    ``kinds``: (knots,) kind of cell, −1 where nothing is asked; ``known``: routes of the question to set out
    from. Each stage has the effort of the budget.
    """
    solution = known or route(question, budget)
    bare, budget = LongerBand(question, kinds, solution), budget.share(1.0)
    by_rows = _with_rows(bare, allowed, budget)
    band, off = by_rows[-1], (0, 0)
    over = 0 if allowed.room is None else band.switching_rows - allowed.room
    if over > 0:
        off = _off(over, allowed.ends)
        band = shortened(band, *off)
    return Lengthened(solution, by_rows, add_joins(band, allowed.joins, budget), off)


def _off(rows: int, ends: tuple[int, int]) -> tuple[int, int]:
    """How many of so many rows are taken off each end, as evenly as their ground allows."""
    top = min(ends[0], max(rows // 2, rows - ends[1]))
    return top, rows - top


def shortened(band: LongerBand, top: int, bottom: int) -> LongerBand:
    """The band without its first ``top`` and its last ``bottom`` rows, which are all ground."""
    stop, repeat = len(band.question.network.rows) - bottom, band.question.repeat
    if repeat is not None:
        inside = repeat.first >= top and repeat.stop <= stop
        repeat = replace(repeat, first=repeat.first - top) if inside else None
    shorter = band.part(top, stop)
    routes = replace(tied(shorter.question, shorter.solution, {}), stopped=band.solution.stopped)
    return replace(shorter, question=replace(shorter.question, repeat=repeat), solution=routes)


# -- rows ------------------------------------------------------------------------------------------------


def _with_rows(bare: LongerBand, allowed: Allowed, budget: Budget) -> tuple[LongerBand, ...]:
    """Put in switching rows; return the trade-off from none on.

    Where a motif repeats, every repeat gets the same rows, and only where a number is given: without them the
    instructions say a repeat once and count the others.
    """
    asked = bare.question
    limit = allowed.most(MOST if allowed.rows is None else allowed.rows)
    times = 1 if asked.repeat is None else asked.repeat.times
    if allowed.rows is None:
        most_gain = bare.colour_error - bare.solution.lower_bound
        limit = 0 if most_gain < EARNED or asked.folded or times > 1 else limit
        budget = budget.share(EFFORT)
    if asked.repeat is not None and limit >= times:
        points = _in_every_repeat(bare, asked.repeat, limit // times, budget)
    else:
        points = insert_switching(bare, limit if times == 1 else 0, budget)
    return _earning(points) if allowed.rows is None else points


def _earning(points: Sequence[LongerBand]) -> tuple[LongerBand, ...]:
    """The points at which every further row has earned its keep."""
    kept = [points[0]]
    for point in points[1:]:
        more = point.switching_rows - kept[-1].switching_rows
        if kept[-1].colour_error - point.colour_error >= EARNED * more:
            kept.append(point)
    return tuple(kept)


def _in_every_repeat(bare: LongerBand, repeat: Repeat, most: int, budget: Budget) -> tuple[LongerBand, ...]:
    """Put rows into the period, closed, and lay it out again."""
    period = bare.part(repeat.first, repeat.first + repeat.rows)
    period = stacked(replace(period.question, closed=True), [period])
    points = [bare]
    for point in insert_switching(period, most, budget)[1:]:
        laid = _laid_out(bare, repeat, point, budget)
        if laid.colour_error < points[-1].colour_error - 1e-6:
            points.append(laid)
    return tuple(points)


def _laid_out(bare: LongerBand, repeat: Repeat, period: LongerBand, budget: Budget) -> LongerBand:
    """The whole band with this period; its bound is 0, since other bands need not repeat."""
    above, below = bare.part(0, repeat.first), bare.part(repeat.stop, len(bare.question.network.rows))
    again = replace(repeat, rows=len(period.question.network.rows))
    longer = stacked(bare.question, [above, *[period] * repeat.times, below], again)
    labels = laid_out(longer.question, again, period.solution, budget, route)
    return replace(longer, solution=solution(longer.question, labels, 0.0, period.solution.stopped))
