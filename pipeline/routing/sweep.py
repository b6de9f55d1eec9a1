"""Sweeps of window programs over the board, skipping windows where nothing has changed.

Windows come in families of strips: so many neighbouring columns, rows or diagonals of knots. A strip is
solved only where a knot in it has changed since, with some rows around the change freed as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels
from pipeline.routing.windows import Desk

MARGIN = 8
"""How far along its strip a window reaches beyond what has changed."""


class Strips(NamedTuple):
    """Strips of one family and width: knots of strip i are ``knots[first[i] : first[i + 1]]``."""

    first: NDArray[np.int64]
    knots: NDArray[np.int32]
    """In elimination order."""
    along: NDArray[np.int32]
    """How far along the strip each of ``knots`` lies; never falls."""
    solved: NDArray[np.int64]
    """(strips,) tick at which the strip was last solved."""


class Clock(NamedTuple):
    """When each knot last changed, in ticks."""

    tick: NDArray[np.int64]
    """(1,) the present tick."""
    changed: NDArray[np.int64]
    """(V,)"""


def clock(board: Board) -> Clock:
    """Start a clock on which every knot has just changed."""
    return Clock(np.ones(1, np.int64), np.ones(len(board.wire), np.int64))


class Family(NamedTuple):
    """How knots are grouped into strips: neighbouring values of ``across``, in the order of ``along``."""

    knots: NDArray[np.int64]
    across: NDArray[np.int64]
    along: NDArray[np.int64]


def strips(family: Family, width: int) -> Strips:
    """Group knots into strips of ``width`` neighbouring values of ``across``, ordered by ``along``."""
    among, across, along = family
    knots, first, key = [], [0], []
    low, high = (int(across.min()), int(across.max())) if len(across) else (0, -1)
    for start in range(low, max(low, high - width + 1) + 1):
        inside = np.flatnonzero((across >= start) & (across < start + width))
        inside = inside[np.lexsort((among[inside], across[inside], along[inside]))]
        knots.append(among[inside])
        key.append(along[inside])
        first.append(first[-1] + len(inside))
    none = np.empty(0, np.int32)
    return Strips(
        np.array(first, np.int64),
        np.concatenate([none, *knots]).astype(np.int32),
        np.concatenate([none, *key]).astype(np.int32),
        np.zeros(len(first) - 1, np.int64),
    )


def families(board: Board, rows_worked: NDArray[np.bool_]) -> Iterator[Family]:
    """Yield each family that suits the working orders on the board.

    A closed board has no beginning, so each family comes twice, cut open at two places, where two rows are
    left out: strips reach over each cut of the other.
    """
    position, every = board.position.astype(np.int64), np.arange(len(board.row))
    rows = int(board.row.max(initial=-1)) + 1
    closed = bool((board.ends[: board.strands, 1] >= 0).any() and (board.weight <= 1).all())
    for cut in (0, rows // 2) if closed else (0,):
        row = (board.row.astype(np.int64) + cut) % max(1, rows)
        inside = every[row < rows - 2] if closed else every
        row, at = row[inside], position[inside]
        yield Family(inside, at, row)
        yield Family(inside, row, at)
        if not rows_worked.all():
            yield Family(inside, (row + at) // 2, row)
            yield Family(inside, (row - at) // 2 - int(((row - at) // 2).min(initial=0)), row)


class Step(NamedTuple):
    """What a sweep works under: costs (V, k), prices of hand-overs (V,), and the rows it sees."""

    cost: NDArray[np.float64]
    penalty: NDArray[np.float64]
    rows: tuple[int, int] = (0, 1 << 30)


def sweep(
    board: Board, step: Step, labels: Labels, desk: Desk, strips: Strips, clock: Clock, which: range
) -> float:
    """Solve those of the strips where knots have changed since; return the gain.

    A window reaches ``MARGIN`` beyond the knots that changed, along its strip.
    """
    from pipeline.routing.loops.windows import solve

    low, high = step.rows
    total = 0.0
    for i in which:
        inside = slice(strips.first[i], strips.first[i + 1])
        knots, along = strips.knots[inside], strips.along[inside]
        rows = board.row[knots]
        dirty = np.flatnonzero((clock.changed[knots] > strips.solved[i]) & (rows >= low) & (rows <= high))
        if not len(dirty):
            continue
        begin = np.searchsorted(along, along[dirty[0]] - MARGIN)
        end = np.searchsorted(along, along[dirty[-1]] + MARGIN, side="right")
        wires = board.wire[knots[begin:end]]
        kept = labels[wires]
        gain = float(solve(board, step.cost, step.penalty, labels, knots[begin:end], desk))
        if gain > 0:
            clock.tick[0] += 1
            total += gain
            ends = board.ends[wires[labels[wires] != kept]].ravel()
            clock.changed[ends[ends >= 0]] = clock.tick[0]
        strips.solved[i] = clock.tick[0]
    return total
