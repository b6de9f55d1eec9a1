"""The window program: free a set of knots, fix everything around it, and solve the rest exactly.

The knots of the window are eliminated one by one. Between two eliminations the state is the thread of
every wire that leads from an eliminated knot to one still to come (a slot each), and, where at most one
hand-over is allowed in a row, whether it has been used up (one more slot, of two values). This is
variable elimination, or non-serial dynamic programming (Bertelè and Brioschi 1972); the result does not
depend on the order of elimination, only the number of states does.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, hand_overs, used


class Desk(NamedTuple):
    """Scratch memory of the window program, and counts that go with the labels it works on."""

    where: NDArray[np.int32]
    """(V,) place of each knot in the window, -1 outside; always left at -1."""
    row_used: NDArray[np.int32]
    """(rows,) counted hand-overs in each row under the present labels."""
    thread_used: NDArray[np.int32]
    """(k,) starting strands of each thread under the present labels."""
    now: NDArray[np.float32]
    then: NDArray[np.float32]
    back: NDArray[np.uint16]
    work: NDArray[np.int64]
    """(1,) states visited so far: the measure of effort."""


def desk(board: Board, labels: Labels, states: int = 1 << 15, memory: int = 1 << 24) -> Desk:
    """Set up scratch memory for windows of at most ``states`` states and ``memory`` states in all."""
    rows = int(board.row.max()) + 1 if len(board.row) else 1
    made = Desk(
        np.full(len(board.wire), -1, np.int32),
        np.zeros(rows, np.int32),
        np.zeros(board.threads, np.int32),
        np.zeros(states, np.float32),
        np.zeros(states, np.float32),
        np.zeros(memory, np.uint16),
        np.zeros(1, np.int64),
    )
    recount(board, labels, made)
    return made


def recount(board: Board, labels: Labels, desk: Desk) -> None:
    """Bring the counts of the desk up to date after labels were changed by something else."""
    mid = hand_overs(board, labels) & board.counted
    desk.row_used[:] = np.bincount(board.row[mid], minlength=len(desk.row_used))
    desk.thread_used[:] = used(board, labels)
