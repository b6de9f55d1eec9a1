"""The knots of a section as spoken steps, one line after another.

A step is what a maker is told in one breath: in row work a run of knots that the leader or the bases
tie, in diagonal work a run of one kind of knot with one strand, or with neighbouring pairs. Steps that
belong together (a row; one strand taken) have the same ``line``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import pairwise

from pipeline.band.knots import Knot, tie
from pipeline.band.pattern import Join, Pattern, Section
from pipeline.instructions import words
from pipeline.instructions.order import Run, Way

CHECK_EVERY = 10
"""Rows between two checkpoints."""


@dataclass(frozen=True, slots=True)
class Step:
    """One spoken step. Section, row, knots, positions and strands count from 0; texts count from 1."""

    section: int
    row: int
    """Row in its section of the first knot (a strand that travels passes through several rows)."""
    line: int
    """Number of the line in its section: the row where steps follow the rows, else a running number."""
    by_row: bool
    """Whether lines are rows of the chart."""
    opening: str
    """How the line begins, the same for all steps of a line."""
    text: str
    """What is said for this step, after the opening."""
    knots: tuple[tuple[int, Knot], ...]
    """(left position, kind) in tying order."""
    cells: tuple[tuple[int, int], ...]
    """(row in the section, index in that row's tying order) of each knot."""
    shown: tuple[int, ...]
    """Thread index that shows in each knot."""
    hidden: tuple[int, ...]
    """Thread index of the core in each knot (before a join)."""
    order: tuple[int, ...]
    """Strand at each position after the step; strands are numbered by starting position."""
    threads: tuple[int, ...]
    """Thread index at each position after the step."""
    leader: int | None
    """The strand that leads, or is taken; None for pairs side by side."""
    taken: int | None
    """The position where the line's strand is taken; None in row work and for pairs."""
    next_leader: int | None
    """The strand that goes on where both stay in the last knot and the line or the next row goes on."""
    joins: tuple[Join, ...]
    """New pieces laid in during this step, which then is a step of one knot."""
    checkpoint: bool
    """Whether the order of threads should be checked after this step."""


@dataclass(frozen=True, slots=True)
class Tie:
    """A knot and its place: row in the section, index in the row's tying order, left position."""

    row: int
    index: int
    position: int
    knot: Knot


@dataclass(frozen=True, slots=True)
class Line:
    """Runs that are said together. ``way`` is None in row work, ``rising`` then tells the direction."""

    number: int
    by_row: bool
    way: Way | None
    rising: bool
    runs: tuple[tuple[Tie, ...], ...]


def row_lines(section: Section) -> Iterator[Line]:
    """Split each row where another strand ties, and after each hand-over."""
    first = next((r for r, row in enumerate(section.rows) if row.knots), 0)
    for r, row in enumerate(section.rows):
        rising = _rises(section, first) == ((r - first) % 2 == 0)
        runs: list[list[Tie]] = []
        for k, (position, knot) in enumerate(row.knots):
            if not runs or not runs[-1][-1].knot.swaps or runs[-1][-1].knot.left_ties != knot.left_ties:
                runs.append([])
            runs[-1].append(Tie(r, k, position, knot))
        yield Line(r, True, None, rising, tuple(tuple(run) for run in runs))


def _rises(section: Section, row: int) -> bool:
    knots = section.rows[row].knots if section.rows else ()
    return not knots or knots[0][0] == 0


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
        number = firsts[i] if by_row else i
        ties = tuple(tuple(Tie(r, index[r, p], p, run.knot) for r, p in run.cells) for run in line)
        lines[number] = Line(number, by_row, line[0].way, True, ties)
    for number in range(len(section.rows) if by_row else len(grouped)):
        yield lines.get(number, Line(number, True, Way.PAIRS, True, ()))


def _taken(line: Line) -> int | None:
    if not line.runs or line.way in (None, Way.PAIRS):
        return None
    first = line.runs[0][0].position
    return first if line.way is Way.RIGHT else first + 1


class Bench:
    """Ties lines one after another and finds the words for each of their steps."""

    def __init__(self, pattern: Pattern) -> None:
        self.strands = len(pattern.strands)
        self._labels = words.thread_labels([thread.name for thread in pattern.threads])
        self._order = list(range(self.strands))
        self._thread_of = list(pattern.strands)
        self._joins = {(j.section, j.row, j.knot): j for j in pattern.joins}

    def copy(self) -> Bench:
        """A bench in the same state, to try an order on."""
        other = copy(self)
        other._order, other._thread_of = list(self._order), list(self._thread_of)
        return other

    def say(self, section: int, lines: Sequence[Line]) -> Iterator[Step]:
        """Yield the steps of a section; a line without knots is one empty step."""
        unchecked = 0
        for i, line in enumerate(lines):
            opening = self._opening(line)
            runs = [part for run in line.runs for part in self._around_joins(section, run)] or [()]
            last_line = i == len(lines) - 1
            knots = sum(len(run) for run in line.runs)
            unchecked += knots
            full = CHECK_EVERY * (self.strands - 1) // (1 if line.way is None else 2)
            due = last_line or (
                line.number % CHECK_EVERY == CHECK_EVERY - 1 if line.by_row else unchecked >= full
            )
            unchecked = 0 if due else unchecked
            for j, run in enumerate(runs):
                before = runs[j - 1][-1] if j else None
                ends = j == len(runs) - 1
                yield self._step(section, line, opening, run, before, ends=ends, checkpoint=due and ends)

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

    def _named(self, strand: int) -> str:
        return f"{self._labels[self._thread_of[strand]]} (strand {strand + 1})"

    def _opening(self, line: Line) -> str:
        if not line.runs:
            return ""
        first = line.runs[0][0].position
        if line.way is None:
            way = words.RIGHTWARDS if line.rising else words.LEFTWARDS
            return f"{way}, {self._named(self._order[first if line.rising else first + 1])} leads"
        if line.way is Way.PAIRS:
            return f"{words.PAIRS} {first + 1}"
        taken = _taken(line)
        assert taken is not None
        thread = self._labels[self._thread_of[self._order[taken]]]
        side = words.TO_THE_RIGHT if line.way is Way.RIGHT else words.TO_THE_LEFT
        return f"{words.TAKE} {taken + 1} ({thread}) {side}"

    def _step(
        self,
        section: int,
        line: Line,
        opening: str,
        run: tuple[Tie, ...],
        before: Tie | None,
        *,
        ends: bool,
        checkpoint: bool,
    ) -> Step:
        leader = next_leader = None
        leads_left = line.way is Way.RIGHT or (line.way is None and line.rising)
        if run and line.way is not Way.PAIRS:
            leader = self._order[run[0].position + (0 if leads_left else 1)]
        shown: list[int] = []
        hidden: list[int] = []
        joins: list[Join] = []
        joined = ""
        for knot in run:
            tied = tie(self._order, knot.position, knot.knot)
            shown.append(self._thread_of[tied.tying])
            hidden.append(self._thread_of[tied.core])
            join = self._joins.get((section, knot.row, knot.index))
            if join is not None:
                joins.append(join)
                strand = tied.tying if join.tying else tied.core
                self._thread_of[strand] = join.thread
                joined = f" {words.JOINING} {self._labels[join.thread]} to strand {strand + 1}"
            if line.way is not Way.PAIRS and not knot.knot.swaps:
                next_leader = tied.right if leads_left else tied.left
        if run and (run[-1].knot.swaps or (line.way is not None and ends)):
            next_leader = None
        return Step(
            section=section,
            row=run[0].row if run else line.number,
            line=line.number,
            by_row=line.by_row,
            opening=opening,
            text=self._text(line, run, before) + joined + self._handed(line, next_leader),
            knots=tuple((knot.position, knot.knot) for knot in run),
            cells=tuple((knot.row, knot.index) for knot in run),
            shown=tuple(shown),
            hidden=tuple(hidden),
            order=tuple(self._order),
            threads=tuple(self._thread_of[strand] for strand in self._order),
            leader=leader,
            taken=_taken(line),
            next_leader=next_leader,
            joins=tuple(joins),
            checkpoint=checkpoint,
        )

    def _handed(self, line: Line, next_leader: int | None) -> str:
        if next_leader is None:
            return ""
        if line.way is None:
            return f" then {self._named(next_leader)} leads"
        return f" then {self._labels[self._thread_of[next_leader]]} {words.GOES_ON}"

    def _text(self, line: Line, run: tuple[Tie, ...], before: Tie | None) -> str:
        if not run:
            return words.NO_KNOTS
        count, first = len(run), run[0]
        if line.way is None:
            if first.knot.left_ties == line.rising:
                who = words.LEADER_TIES
            else:
                who = words.BASE_TIES if count == 1 else words.BASES_TIE
            return f"{who} {count} ({words.span(first.position + 1, run[-1].position + 1)})"
        said = f"{count} {first.knot.value}"
        if line.way is Way.PAIRS and before is not None:
            gap = (first.position - before.position) // 2 - 1
            if gap:
                said = f"{words.SKIP} {gap}, {said}"
        return said
