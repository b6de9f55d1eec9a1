"""In which order the knots of a diagonal-worked section are spoken: the fewest steps that tie the same band.

Knots whose pairs of strands do not touch may be tied in any order, so every linear extension of the
network ties the same band. A *run* is knots of one kind that can be said in one breath:

- ``RIGHT`` or ``LEFT``: one strand is taken and travels, a knot at each place it passes;
- ``PAIRS``: neighbouring pairs of one row, two positions apart.

The search splits the section into as few runs as it can find. Every run is one spoken step; runs that
follow on (the same strand travels on with another knot, the next pairs of the row) make one *line*.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from pipeline.knots import Knot

Cell = tuple[int, int]
"""Row and left position."""


class Way(Enum):
    """How a run moves: change of row and of position from knot to knot."""

    RIGHT = (1, 1)
    LEFT = (1, -1)
    PAIRS = (0, 2)


@dataclass(frozen=True, slots=True)
class Run:
    """Knots of one kind said in one breath. ``goes_on``: it continues the line of the run before."""

    way: Way
    knot: Knot
    cells: tuple[Cell, ...]
    goes_on: bool = False


Kinds = dict[Cell, Knot]


def shortest_order(rows: Sequence[Sequence[tuple[int, Knot]]], strands: int) -> tuple[Run, ...]:
    """Return runs that tie the rows in the fewest spoken steps found; ties go to the plainer order.

    Row by row comes first, then all strands to the right or all to the left, then the free search.
    """
    kinds: Kinds = {(r, p): knot for r, row in enumerate(rows) for p, knot in row}
    plans = [
        row_by_row(rows),
        _diagonals(kinds, Way.RIGHT),
        _diagonals(kinds, Way.LEFT),
        _search(kinds, strands),
    ]
    return min(plans, key=cost)


def cost(runs: Sequence[Run]) -> tuple[int, int, int]:
    """Spoken steps, then lines, then runs in which the strand that is taken does not tie."""
    carried = sum(run.way is not Way.PAIRS and run.knot.left_ties != (run.way is Way.RIGHT) for run in runs)
    return len(runs), sum(not run.goes_on for run in runs), carried


def _follows(before: Run, way: Way, cell: Cell) -> bool:
    """Whether a run that starts in ``cell`` continues the line of ``before``."""
    row, position = before.cells[-1]
    if before.way is not way:
        return False
    if way is Way.PAIRS:
        return cell[0] == row and cell[1] > position
    return before.knot.swaps and cell == (row + 1, position + way.value[1])


def row_by_row(rows: Sequence[Sequence[tuple[int, Knot]]]) -> tuple[Run, ...]:
    """The plain list: each row from the left, in runs of neighbouring pairs with equal knots."""
    runs: list[Run] = []
    for r, row in enumerate(rows):
        knots = sorted(row)
        start = 0
        for i in range(1, len(knots) + 1):
            if i < len(knots) and knots[i] == (knots[i - 1][0] + 2, knots[start][1]):
                continue
            cells = tuple((r, p) for p, _ in knots[start:i])
            runs.append(Run(Way.PAIRS, knots[start][1], cells, goes_on=start > 0))
            start = i
    return tuple(runs)


def _diagonals(kinds: Kinds, way: Way) -> tuple[Run, ...]:
    """Every strand in turn, all the same way: whole diagonals, the ones ahead first."""
    side = way.value[1]
    runs: list[Run] = []
    for r, p in sorted(kinds, key=lambda cell: (-(side * cell[1] - cell[0]), cell[0])):
        knot = kinds[r, p]
        follows = bool(runs) and _follows(runs[-1], way, (r, p))
        if follows and runs[-1].knot == knot:
            runs[-1] = Run(way, knot, (*runs[-1].cells, (r, p)), runs[-1].goes_on)
        else:
            runs.append(Run(way, knot, ((r, p),), follows))
    return tuple(runs)


def _search(kinds: Kinds, strands: int) -> tuple[Run, ...]:
    """Tie, again and again, the run that is worth most of those that can be tied now.

    A knot is worth 1/length of the longest run that it could be part of, so a run that is not cut short
    is worth 1 and a fragment less. Ties go to what goes on with the line, then to the oldest row.
    """
    longest = _longest(kinds)
    front = _Front(kinds, strands)
    runs: list[Run] = []
    while front.left:
        best: tuple[float, bool, int, int] | None = None
        chosen: Run | None = None
        for run in front.candidates(runs[-1] if runs else None):
            worth = round(sum(1 / longest[cell] for cell in run.cells), 6)
            row, position = run.cells[0]
            rank = (-worth, not run.goes_on, row, position)
            if best is None or rank < best:
                best, chosen = rank, run
        assert chosen is not None
        front.tie(chosen)
        runs.append(chosen)
    return tuple(runs)


def _longest(kinds: Kinds) -> dict[Cell, int]:
    """For each knot the length of the longest run of any way through it."""
    longest = dict.fromkeys(kinds, 1)
    for way in Way:
        down, across = way.value
        for (r, p), knot in kinds.items():
            if kinds.get((r - down, p - across)) == knot and (knot.swaps or way is Way.PAIRS):
                continue
            run = [(r, p)]
            while kinds.get((r + down, p + across)) == knot and (knot.swaps or way is Way.PAIRS):
                r, p = r + down, p + across
                run.append((r, p))
            for cell in run:
                longest[cell] = max(longest[cell], len(run))
    return longest


class _Front:
    """How far each position is tied, and which runs can be tied next."""

    def __init__(self, kinds: Kinds, strands: int) -> None:
        self.kinds = kinds
        self.left = len(kinds)
        end = max((r for r, _ in kinds), default=-1) + 1
        self._end = end
        self._queue: list[list[int]] = [[] for _ in range(strands + 1)]  # one spare at either side
        for r, p in sorted(kinds, reverse=True):
            self._queue[p + 1].append(r)

    def _top(self, position: int) -> int:
        queue = self._queue[position + 1]
        return queue[-1] if queue else self._end

    def ready(self, row: int, position: int) -> bool:
        """Whether that knot is the next at its position and nothing beside it comes first."""
        return self._top(position) == row < min(self._top(position - 1), self._top(position + 1))

    def candidates(self, before: Run | None) -> Iterator[Run]:
        for position in range(len(self._queue) - 2):
            row = self._top(position)
            if row < self._end and self.ready(row, position):
                for way in Way:
                    yield self._run(way, row, position, before)

    def _run(self, way: Way, row: int, position: int, before: Run | None) -> Run:
        down, across = way.value
        knot = self.kinds[row, position]
        goes_on = before is not None and _follows(before, way, (row, position))
        cells = [(row, position)]
        while knot.swaps or way is Way.PAIRS:
            r, p = row + down, position + across
            if self.kinds.get((r, p)) != knot or not self._opens(way, r, p):
                break
            cells.append((r, p))
            row, position = r, p
        return Run(way, knot, tuple(cells), goes_on)

    def _opens(self, way: Way, row: int, position: int) -> bool:
        """Whether the knot can be tied once the one before it in the run is."""
        if way is Way.PAIRS:
            return self.ready(row, position)
        ahead = position + way.value[1]
        return self._top(position) == row and self._top(ahead) > row

    def tie(self, run: Run) -> None:
        for row, position in run.cells:
            assert self._queue[position + 1].pop() == row
        self.left -= len(run.cells)
