"""In which order the knots of a diagonal-worked section are told: in few breaths that tie the same band.

Knots whose pairs of strands do not touch may be tied in any order, so every linear extension of the
network ties the same band. A *line* is said in one go: a strand is taken and travels to the right or to
the left, a knot at each place it passes, or the pairs of one row are tied side by side. A *run* is a part of
a line with one kind of knot. A line costs one breath (finding the strand or the row) and each of its
runs another.

A section is cut into bands of rows, and each band is tied in one of these ways:

- row by row;
- *inwards* to a centre: strands left of it travel right, strands right of it travel left (with the centre
  at an edge, all strands travel one way);
- *outwards* from a centre: the other way round.

Dynamic programming over the rows finds the cheapest cuts, ways and centres of all there are. It is the best
of that family, not of all linear extensions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import Knot

Cell = tuple[int, int]
"""Row and left position."""
Rows = Sequence[Sequence[tuple[int, Knot]]]
Ints = NDArray[np.int64]

KINDS = tuple(Knot)
BREATH = 1000
"""Cost of a breath; a run in which the strand that is taken does not tie costs 1 more."""


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


@dataclass(frozen=True, slots=True)
class _Fan:
    """A band of rows tied strand by strand, inwards to ``centre`` (the first position right of it) or
    outwards; ``centre`` None: row by row.
    """

    centre: int | None = None
    inwards: bool = True

    def way(self, position: int) -> Way:
        if self.centre is None:
            return Way.PAIRS
        return Way.RIGHT if (position < self.centre) == self.inwards else Way.LEFT

    def rank(self, cell: Cell) -> tuple[int, int, int]:
        """A sorting key under which every knot comes after those that it hangs on.

        Along a line the first entry is constant: the row in which the line meets the centre. Knots that
        touch in different lines have different rows there, the earlier one the smaller.
        """
        row, position = cell
        if self.centre is None:
            return row, 0, position
        left = position < self.centre
        away = self.centre - 1 - position if left else position - self.centre
        return row + (away if self.inwards else -away), int(not left), row


def orders(rows: Rows, strands: int) -> Iterator[tuple[Run, ...]]:
    """Yield orders worth comparing, the plainest first: by rows, all right, all left, the cheapest mix.

    ``rows``: (left position, knot) of each row in tying order.
    """
    plain = [_Fan(), _Fan(strands - 1), _Fan(0)]
    for fan in plain:
        yield _tied(rows, [(0, len(rows), fan)])
    bands = _cheapest(rows, strands)
    if len(bands) > 1 or (bands and bands[0][2] not in plain):
        yield _tied(rows, bands)


def _tied(rows: Rows, bands: Sequence[tuple[int, int, _Fan]]) -> tuple[Run, ...]:
    runs: list[Run] = []
    for first, end, fan in bands:
        kinds = {(r, p): knot for r in range(first, end) for p, knot in rows[r]}
        opened = len(runs)
        for cell in sorted(kinds, key=fan.rank):
            way, knot = fan.way(cell[1]), kinds[cell]
            before = runs[-1] if len(runs) > opened else None
            follows = before is not None and before.way is way and _follows(before.cells[-1], cell, way)
            if before is not None and follows and before.knot is knot and _touches(before.cells[-1], cell):
                runs[-1] = Run(way, knot, (*before.cells, cell), before.goes_on)
            else:
                runs.append(Run(way, knot, (cell,), follows))
    return tuple(runs)


def _follows(before: Cell, cell: Cell, way: Way) -> bool:
    """Whether a line goes on from one knot to the other; pairs of a row may be skipped."""
    if way is Way.PAIRS:
        return before[0] == cell[0] and before[1] < cell[1]
    return cell == (before[0] + 1, before[1] + way.value[1])


def _touches(before: Cell, cell: Cell) -> bool:
    return before[0] != cell[0] or cell[1] - before[1] == 2


# ---------------------------------------------------------------- the cheapest mix


def _cheapest(rows: Rows, strands: int) -> list[tuple[int, int, _Fan]]:
    """The bands (first row, row after the last, fan) of least cost."""
    if not rows:
        return []
    fans, start, going_on = _costs(rows, strands)
    best: Ints = start[0]
    began = np.full(
        (len(rows), len(fans)), -1, dtype=np.int64
    )  # the fan of the band before, if one ends here
    for r in range(1, len(rows)):
        before = int(best.argmin())
        anew, on = best[before] + start[r], best + going_on[r]
        began[r] = np.where(anew < on, before, -1)
        best = np.minimum(anew, on)
    bands: list[tuple[int, int, _Fan]] = []
    fan, end = int(best.argmin()), len(rows)
    for r in range(len(rows) - 1, -1, -1):
        before = int(began[r, fan])
        if before >= 0 or r == 0:
            bands.append((r, end, fans[fan]))
            fan, end = before, r
    return bands[::-1]


def _costs(rows: Rows, strands: int) -> tuple[list[_Fan], Ints, Ints]:
    """Cost of each row (rows, fans) if it begins a band, and if it goes on with one."""
    cells = strands - 1
    kind = np.full((len(rows), cells), -1, dtype=np.int64)
    for r, row in enumerate(rows):
        for p, knot in row:
            kind[r, p] = KINDS.index(knot)
    right, alone_right = _line_costs(kind)
    left, alone_left = (costs[:, ::-1] for costs in _line_costs(_mirrored(kind[:, ::-1])))
    pairs = np.array([_row_cost(row) for row in rows], dtype=np.int64)[:, None]

    def before(costs: Ints) -> Ints:  # (rows, cells + 1): sum of the cells left of each centre
        return np.pad(costs, ((0, 0), (1, 0))).cumsum(axis=1)

    def after(costs: Ints) -> Ints:
        return before(costs)[:, -1:] - before(costs)

    inner = slice(1, cells)  # a centre that has strands on both sides
    # Outwards a line begins beside the centre, whatever its knot would have followed.
    begins_left = (alone_left - left)[:, : cells - 1]
    begins_right = (alone_right - right)[:, 1:]
    outwards = (before(left) + after(right))[:, inner] + begins_left + begins_right
    going_on = np.concatenate([pairs, before(right) + after(left), outwards], axis=1)
    start_in = before(alone_right) + after(alone_left)
    start_out = (before(alone_left) + after(alone_right))[:, inner]
    start = np.concatenate([pairs, start_in, start_out], axis=1)
    fans = [_Fan(), *(_Fan(c) for c in range(cells + 1)), *(_Fan(c, False) for c in range(1, cells))]
    return fans, start, going_on


def _mirrored(kind: Ints) -> Ints:
    swap = np.array([*(KINDS.index(knot.mirrored) for knot in KINDS), -1], dtype=np.int64)
    return np.asarray(swap[kind])


def _line_costs(kind: Ints) -> tuple[Ints, Ints]:
    """What each knot (rows, cells) adds to lines to the right: following its line, and beginning one."""
    there = kind >= 0
    behind = np.pad(kind, ((1, 0), (1, 0)), constant_values=-1)[:-1, :-1]
    carried = np.array([not knot.left_ties for knot in KINDS] + [False])[kind]
    begins_run = there & (behind != kind)
    follows = BREATH * (there & (behind < 0)) + (BREATH + carried) * begins_run
    alone = (2 * BREATH + carried) * there
    return follows.astype(np.int64), alone.astype(np.int64)


def _row_cost(row: Sequence[tuple[int, Knot]]) -> int:
    knots = sorted(row)
    runs = sum(i == 0 or knots[i] != (knots[i - 1][0] + 2, knots[i - 1][1]) for i in range(len(knots)))
    return BREATH * (runs + bool(knots))
