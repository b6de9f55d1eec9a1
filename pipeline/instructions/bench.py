"""The knots of a section as steps, one line after another.

Steps that belong together (a row; one strand taken) have the same ``line``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import pairwise

from pipeline.band.knots import Knot, tie
from pipeline.band.pattern import Join, Pattern, Section
from pipeline.instructions.model import Step
from pipeline.instructions.order import Run, Way


@dataclass(frozen=True, slots=True)
class Tie:
    """A knot and its place: row in the section, index in the row's tying order, left position."""

    row: int
    index: int
    position: int
    knot: Knot


@dataclass(frozen=True, slots=True)
class Line:
    """Runs that are said together. ``way`` is None in row work, ``rightwards`` then tells the direction."""

    number: int
    by_row: bool
    way: Way | None
    rightwards: bool
    runs: tuple[tuple[Tie, ...], ...]


def row_lines(section: Section) -> Iterator[Line]:
    """Split each row where another strand ties; a hand-over stands alone, so that it is told before."""
    begun = ((r, row.knots[0][0] == 0) for r, row in enumerate(section.rows) if row.knots)
    first, rises = next(begun, (0, True))
    for r, row in enumerate(section.rows):
        rising = rises == ((r - first) % 2 == 0)
        runs: list[list[Tie]] = []
        for k, (position, knot) in enumerate(row.knots):
            before = runs[-1][-1].knot if runs else None
            if before is None or not (before.swaps and knot.swaps and before.left_ties == knot.left_ties):
                runs.append([])
            runs[-1].append(Tie(r, k, position, knot))
        yield Line(r, True, None, rising, tuple(tuple(run) for run in runs))


def diagonal_lines(section: Section, runs: Sequence[Run]) -> Iterator[Line]:
    """Lines of a diagonal-worked section tied in the order of ``runs``.

    Lines are rows where each takes the pairs of one row, the rows in their order; rows without knots are
    lines then, too.
    """
    index = {(r, p): k for r, row in enumerate(section.rows) for k, (p, _) in enumerate(row.knots)}
    grouped: list[list[Run]] = []
    for run in runs:
        if run.goes_on:
            grouped[-1].append(run)
        else:
            grouped.append([run])
    firsts = [line[0].cells[0][0] for line in grouped]
    by_row = all(run.way is Way.PAIRS for run in runs) and all(a < b for a, b in pairwise(firsts))
    lines: dict[int, Line] = {}
    for i, line in enumerate(grouped):
        number, way = firsts[i] if by_row else i, line[0].way
        ties = tuple(tuple(Tie(r, index[r, p], p, run.knot) for r, p in run.cells) for run in line)
        lines[number] = Line(number, by_row, way, way is not Way.LEFT, ties)
    for number in range(len(section.rows) if by_row else len(grouped)):
        yield lines.get(number, Line(number, True, Way.PAIRS, True, ()))


def _taken(line: Line) -> int | None:
    if not line.runs or line.way in (None, Way.PAIRS):
        return None
    return line.runs[0][0].position + (not line.rightwards)


class Bench:
    """Ties lines one after another and tells each of their steps."""

    def __init__(self, pattern: Pattern) -> None:
        self.strands = len(pattern.strands)
        self._order = list(range(self.strands))
        self._thread_of = list(pattern.strands)
        self._joins = {join.place: join for join in pattern.joins}

    def copy(self) -> Bench:
        """A bench in the same state, to try an order on."""
        other = copy(self)
        other._order, other._thread_of = list(self._order), list(self._thread_of)
        return other

    def tie(self, section: int, lines: Sequence[Line]) -> Iterator[Step]:
        """Yield the steps of a section; a line without knots is one empty step."""
        for line in lines:
            runs = [part for run in line.runs for part in self._around_joins(section, run)] or [()]
            for j, run in enumerate(runs):
                before = runs[j - 1][-1] if j else None
                yield self._step(section, line, run, before, ends=j == len(runs) - 1)

    def _around_joins(self, section: int, run: tuple[Tie, ...]) -> Iterator[tuple[Tie, ...]]:
        """Cut a run so that a knot with a join stands alone."""
        start = 0
        for i, knot in enumerate(run):
            if (section, knot.row, knot.index) in self._joins:
                if start < i:
                    yield run[start:i]
                yield run[i : i + 1]
                start = i + 1
        if start < len(run):
            yield run[start:]

    def _step(
        self, section: int, line: Line, run: tuple[Tie, ...], before: Tie | None, *, ends: bool
    ) -> Step:
        pairs = line.way is Way.PAIRS
        leader = next_leader = None
        if run and not pairs:
            leader = self._order[run[0].position + (not line.rightwards)]
        leader_thread = None if leader is None else self._thread_of[leader]
        shown: list[int] = []
        hidden: list[int] = []
        joins: list[Join] = []
        for knot in run:
            tied = tie(self._order, knot.position, knot.knot)
            shown.append(self._thread_of[tied.tying])
            hidden.append(self._thread_of[tied.core])
            join = self._joins.get((section, knot.row, knot.index))
            if join is not None:
                joins.append(join)
                self._thread_of[tied.tying if join.tying else tied.core] = join.thread
            if not pairs and not knot.knot.swaps:
                next_leader = tied.right if line.rightwards else tied.left
        if run and (run[-1].knot.swaps or (line.way is not None and ends)):
            next_leader = None
        return Step(
            section=section,
            row=run[0].row if run else line.number,
            line=line.number,
            by_row=line.by_row,
            way=line.way,
            rightwards=line.rightwards,
            knots=tuple((knot.position, knot.knot) for knot in run),
            cells=tuple((knot.row, knot.index) for knot in run),
            shown=tuple(shown),
            hidden=tuple(hidden),
            order=tuple(self._order),
            threads=tuple(self._thread_of[strand] for strand in self._order),
            leader=leader,
            leader_thread=leader_thread,
            taken=_taken(line),
            next_leader=next_leader,
            joins=tuple(joins),
            first=before is None,
            skipped=0 if before is None or not pairs else (run[0].position - before.position) // 2 - 1,
        )
