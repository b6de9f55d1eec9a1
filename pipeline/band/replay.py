"""A pattern tied from its first knot to its last: who met whom, who showed, where each strand hung."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import Tied, tie
from pipeline.band.pattern import Pattern


@dataclass(frozen=True, slots=True)
class Step:
    """One knot of the band: where it stands, what met in it, and the threads of the two strands then."""

    section: int
    row: int
    knot: int
    """Index in the row's tying order."""
    tied: Tied
    shown: int
    """Thread index that shows."""
    hidden: int
    """Thread index of the core strand (before a join in this knot)."""
    wanted: int | None
    serving: tuple[int, ...]
    """The threads that make the cell, the wanted one first; none where nothing is asked."""
    joined: int | None
    """Thread index of the piece laid in as core in this knot, if any."""
    tying_joined: bool = False
    """Whether that piece goes on from the tying strand instead (see ``Join.tying``)."""

    @property
    def made(self) -> bool:
        """Whether the cell shows what it should; also true where nothing is asked."""
        return self.wanted is None or self.shown in self.serving

    @property
    def hand_over(self) -> bool:
        """Whether the two strands stay: the travelling one parks and the other goes on."""
        return not self.tied.knot.swaps


@dataclass(frozen=True, slots=True)
class RowReplay:
    """One row: its knots; at each position the thread before it, and strand number and thread after it."""

    section: int
    row: int
    steps: tuple[Step, ...]
    before: tuple[int, ...]
    order: tuple[int, ...]
    threads: tuple[int, ...]

    @property
    def rising(self) -> bool:
        """Whether it is tied from left to right, as a row of one knot is taken to be."""
        return len(self.steps) < 2 or self.steps[0].tied.position < self.steps[-1].tied.position


@lru_cache(maxsize=2)
def replay(pattern: Pattern) -> tuple[RowReplay, ...]:
    """Tie the pattern row by row. Strands are numbered by starting position from 0.

    The pattern must be valid (see ``pipeline.band.reading.problems``). Joins change a strand's thread after
    the knot in which the new piece is laid in. Kept for whoever asks next: most writers do.

    >>> from pipeline.band.example import two_rows
    >>> [(row.order, [step.shown for step in row.steps]) for row in replay(two_rows())]
    [((1, 2, 3, 0), [0, 0, 0]), ((0, 1, 2, 3), [1, 1, 1])]
    """
    rows = []
    order = list(range(len(pattern.strands)))
    before, thread_of = pattern.strands, list(pattern.strands)
    joins = {join.place: (join.thread, join.tying) for join in pattern.joins}
    for s, r, _, row in pattern.rows():
        steps = []
        for k, ((position, knot), wanted) in enumerate(zip(row.knots, row.wanted, strict=True)):
            tied = tie(order, position, knot)
            joined, tying = joins.get((s, r, k), (None, False))
            shown, hidden = thread_of[tied.tying], thread_of[tied.core]
            steps.append(Step(s, r, k, tied, shown, hidden, wanted, row.serving(k), joined, tying))
            if joined is not None:
                thread_of[tied.tying if tying else tied.core] = joined
        after = tuple(thread_of[strand] for strand in order)
        rows.append(RowReplay(s, r, tuple(steps), before, tuple(order), after))
        before = after
    return tuple(rows)


def picture_shown(pattern: Pattern) -> tuple[list[int], NDArray[np.int64]]:
    """The band's row of each picture row, and (picture rows, strands−1) the thread that shows in each place,
    −1 where there is no knot.

    >>> from pipeline.band.example import two_rows
    >>> rows, shown = picture_shown(two_rows())
    >>> rows, shown.tolist()
    ([0, 1], [[0, 0, 0], [1, 1, 1]])
    """
    tied = replay(pattern)
    rows = [i for i, row in enumerate(tied) if pattern.sections[row.section].kind == "picture"]
    shown = np.full((len(rows), len(pattern.strands) - 1), -1, dtype=np.int64)
    for r, i in enumerate(rows):
        for step in tied[i].steps:
            shown[r, step.tied.position] = step.shown
    return rows, shown
