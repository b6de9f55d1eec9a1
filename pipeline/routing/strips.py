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
from pipeline.routing.compiled import compiled
from pipeline.routing.tensors import (
    add,
    leave,
    lesser,
    shift,
    tie,
    tie_counted,
    total,
    unleave,
    untie,
    untie_counted,
)  # fmt: skip

TIE, TIE_COUNTED, LEAVE, ENTER, ROW = range(5)
FAR = 1e9
"""Costs of what may not be. Larger than any real difference."""


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


@compiled
def forward(board, strip, cost, prices, limit, toll, smooth, curve, memory):  # type: ignore[no-untyped-def]
    """Fill ``memory`` with the tensors of a sweep; return the least cost of the strip.

    ``prices`` (E, k) of wires, ``limit`` (k,) of each starting strand, ``toll`` (rows,) of each counted
    hand-over; ``smooth``: δ, and ``curve`` = 1/4δ, or both 0.
    """
    k = np.uint64(board.threads)
    one = np.uint64(1)
    far = memory.dtype.type(FAR)
    nothing = far - far
    lowered = 0.0
    memory[0] = 0
    if board.limited:
        memory[1] = far
    for s in range(len(strip.steps)):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now, then = memory[strip.begin[s] :], memory[strip.begin[s + 1] :]
        if what == TIE:
            tie(now, then, cost[item], high, low, k, smooth, curve)
        elif what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            tie_counted(
                now, then, cost[item], toll[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            leave(now, then, prices[item], sign, high, low, k, smooth, curve, False)
            least = then[: high * low].min()
            lowered += least
            for i in range(high * low):
                then[i] -= least
        elif what == ENTER:
            for t in range(k):
                price = prices[item, t] if sign > 0 else -prices[item, t]
                if sign > 0:
                    price += memory.dtype.type(board.weight[item]) * limit[t]
                if board.pin[item] >= 0 and board.pin[item] != t:
                    price = far
                for j in range(min(high, low)):
                    if low >= high:
                        shift(now, then, j * low, (j * k + t) * low, low, one, one, price)
                    else:
                        shift(now, then, j, t * low + j, high, low, k * low, price)
        else:
            half = high // np.uint64(2) * low
            zero = np.uint64(0)
            lesser(now, now, then, zero, half, zero, half, one, one, nothing, smooth, curve)
            then[half : half + half] = far
    return lowered + memory[strip.begin[-2] : strip.begin[-1]].min()


@compiled
def backward(board, strip, prices, toll, smooth, curve, memory, work, slopes):  # type: ignore[no-untyped-def]
    """Add the slopes of ``forward`` to ``slopes``: by prices (E, k), limit (k,) and toll (rows,).

    ``memory``: as ``forward`` left it; ``work``: (3, most) scratch.
    """
    k, one = np.uint64(board.threads), np.uint64(1)
    slope, limits, tolls = slopes
    after, before, had = work[0], work[1], work[2]
    last = memory[strip.begin[-2] : strip.begin[-1]]
    after[: len(last)] = 0
    after[last.argmin()] = 1
    for s in range(len(strip.steps) - 1, -1, -1):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now = memory[strip.begin[s] :]
        if what == TIE:
            untie(now, after, high, low, k, smooth, curve)
            continue
        if what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            tolls[board.row[item]] += untie_counted(
                now, after, before, toll[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            unleave(now, after, before, had, prices[item], slope[item], sign, high, low, k, smooth, curve)
        elif what == ENTER:
            before[: high * low] = 0
            for t in range(k):
                share = 0.0
                for j in range(min(high, low)):
                    if low >= high:
                        add(after, before, (j * k + t) * low, j * low, low, one, one)
                        share += total(after, (j * k + t) * low, low, one)
                    else:
                        add(after, before, t * low + j, j, high, k * low, low)
                        share += total(after, t * low + j, high, k * low)
                slope[item, t] += sign * share
                if sign > 0:
                    limits[t] += board.weight[item] * share
        else:
            half = high // np.uint64(2) * low
            for i in range(half):
                share = min(max((smooth + now[half + i] - now[i]) * (curve + curve), 0.0), 1.0)
                before[i] = share * after[i]
                before[half + i] = after[i] - before[i]
        after, before = before, after
