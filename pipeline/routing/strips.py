"""Strips of the board swept whole: the least cost of a strip under prices, and its slope.

A strip is a few neighbouring columns of knots, tied in working order. The state between two knots is the
thread at each of its positions, so a tensor with one axis a position holds the least cost of every state.
A strand that leaves for the next strip, or comes from it, is paid by its thread; its axis is minimised out,
or put in. Where a row may have at most one hand-over, a foremost axis tells whether the strip has made it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board
from pipeline.routing.loops.codes import ENTER, LEAVE, ROW, TIE, TIE_COUNTED


class Strip(NamedTuple):
    """One strip as a list of steps.

    ``steps``: (steps, 5) what is done, the knot or wire or row, the sign of its price, and how many states
    the axes before and after the step's own ones have. ``begin``: (steps + 2,) where in the memory of a
    sweep the tensor before each step begins, and where the last one begins and ends. ``most``: entries of
    the largest tensor.
    """

    steps: NDArray[np.int64]
    begin: NDArray[np.int64]
    most: int

    @property
    def total(self) -> int:
        """Entries of all tensors; not for the compiled loops."""
        return int(self.begin[-1])


class Split(NamedTuple):
    """The board in strips; ``owner``: (V,) strip of each knot, ``cross``: the wires that have prices."""

    strips: tuple[Strip, ...]
    owner: NDArray[np.int64]
    cross: NDArray[np.int64]


def split(board: Board, first: Sequence[int]) -> Split:
    """Split the board into strips that begin at the columns ``first`` (rising, from 0 on)."""
    owner = np.unique(np.searchsorted(first, board.position, side="right"), return_inverse=True)[1]
    two = (board.ends >= 0).all(axis=1)
    cross = np.zeros(len(board.ends), np.bool_)
    cross[two] = (owner[board.ends[two, 0]] != owner[board.ends[two, 1]]) | (board.weight[two] > 0)
    strips = [strip(board, np.flatnonzero(owner == i), cross) for i in range(owner.max() + 1)]
    return Split(tuple(strips), owner, np.flatnonzero(cross))


def strip(board: Board, knots: NDArray[np.int64], cross: NDArray[np.bool_]) -> Strip:
    """Make the steps of the strip of ``knots``, rising; ``cross`` (E,): the wires that have prices."""
    k, low = board.threads, int(board.position[knots].min())
    sizes = [1] * (int(board.position[knots].max()) - low + 2)
    flags = 2 if board.limited else 1
    steps: list[tuple[int, int, int, int, int]] = []
    begin = [0]

    def step(what: int, item: int, sign: int, axis: int, axes: int) -> None:
        high, lower = flags, 1
        for size in sizes[:axis]:
            high *= size
        for size in sizes[axis + axes :]:
            lower *= size
        inner = k if what == LEAVE else 1 if what == ENTER else k**axes
        steps.append((what, item, sign, high, lower))
        begin.append(begin[-1] + high * inner * lower)

    taken, made = set(board.wire[:, :2].ravel().tolist()), set(board.wire[:, 2:].ravel().tolist())
    row = -1
    for v in knots.tolist():
        axis = int(board.position[v]) - low
        for side in (0, 1):
            w = int(board.wire[v, side])
            if cross[w] or w not in made:
                first = board.ends[w, 0] == v and (side == 0 or board.wire[v, 0] != w)
                step(ENTER, w, 1 if first else -1, axis + side, 1)
                sizes[axis + side] = k
        counted = bool(board.counted[v])
        if counted and board.row[v] != row:
            row = int(board.row[v])
            step(ROW, row, 0, 0, 0)
        step(TIE_COUNTED if counted else TIE, v, 0, axis, 2)
        for side in (0, 1):
            w = int(board.wire[v, 2 + side])
            if cross[w] or w not in taken:
                step(LEAVE, w, 1 if board.ends[w, 0] == v else -1, axis + side, 1)
                sizes[axis + side] = 1
    begin.append(begin[-1] + flags * int(np.prod(sizes)))
    most = int(np.diff(begin).max())
    return Strip(np.array(steps, np.int64).reshape(-1, 5), np.array(begin, np.int64), most)
