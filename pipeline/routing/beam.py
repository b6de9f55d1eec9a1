"""A first routing: sweep the knots in working order with a beam of frontiers.

All strands start unassigned, and a strand gets its thread only at the first knot where it shows. The
frontiers kept are those of least cost so far plus the prices of their wires (see ``bound``) and what the
strips of the board cost at least (see ``lookahead``), which together estimate what the rest will cost.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels
from pipeline.routing.lookahead import Ahead, blind

STEPS = 200
"""Knots swept between two looks at the clock."""


class Frontiers(NamedTuple):
    """The frontiers alive, twice: before a knot and after it in turn. W is the width of the beam."""

    threads: NDArray[np.int8]
    """(2, W, n) thread at each position, -1 where not yet assigned."""
    strand: NDArray[np.int32]
    """(2, W, n) the starting wire of the strand at each position."""
    counts: NDArray[np.int32]
    """(2, W, k) starting strands that have each thread."""
    mid: NDArray[np.bool_]
    """(2, W) whether the row has had its hand-over."""
    score: NDArray[np.float64]
    """(2, W) cost so far plus the guess for the rest."""
    mark: NDArray[np.uint64]
    """(2, W) hash of the frontier."""
    parent: NDArray[np.int32]
    """(V, W)"""
    move: NDArray[np.int32]
    """(V, W) left thread + 1, right thread + 1, and whether both stay, packed."""


def follow(board: Board, turns: NDArray[np.bool_], threads: NDArray[np.int8]) -> Labels:
    """Return the labels that follow from ``threads`` on starting wires (E,) and ``turns`` (V,), who stays."""
    labels = threads.copy()
    labels[: board.strands] = labels[board.partner]
    on = labels.tolist()  # not compiled: an answer must be possible before anything is
    for (a, b, c, d), turn in zip(board.wire.tolist(), turns.tolist(), strict=True):
        on[c], on[d] = (on[a], on[b]) if turn else (on[b], on[a])
    labels[:] = on
    return labels


def beam(
    board: Board,
    cost: NDArray[np.float64],
    prices: NDArray[np.float64],
    width: int,
    stop: Callable[[], bool],
    choices: int = 2,
    ahead: Ahead | None = None,
) -> Labels | None:
    """Return the labels of the best frontier found, or None when stopped or where none is left.

    ``cost`` (V, k), ``prices`` (E, k) and the tables ``ahead`` guide the beam; ``width`` frontiers are kept
    and ``choices`` threads tried on an unassigned strand. Pins, folds, the limit on each thread and on
    hand-overs hold.
    """
    from pipeline.routing.loops.beams import advance

    n, k, knots = board.strands, board.threads, len(board.wire)
    fronts = Frontiers(
        np.full((2, width, n), -1, np.int8),
        np.zeros((2, width, n), np.int32),
        np.zeros((2, width, k), np.int32),
        np.zeros((2, width), np.bool_),
        np.zeros((2, width), np.float64),
        np.zeros((2, width), np.uint64),
        np.zeros((knots, width), np.int32),
        np.zeros((knots, width), np.int32),
    )
    wires = board.partner
    fronts.threads[:] = board.pin[wires]
    fronts.strand[:] = wires
    pinned = np.flatnonzero((board.pin[:n] >= 0) & (board.weight[:n] > 0))
    fronts.counts[:] = np.bincount(board.pin[pinned], weights=board.weight[pinned], minlength=k)
    lowest = prices.min(axis=1)
    choices = min(choices, k)
    if any(most < n for most in board.at_most):
        choices = k  # the best few may be used up
    sight = ahead or blind()
    side, alive = 0, 1
    for begin in range(0, knots, STEPS):
        if stop():
            return None
        end = min(knots, begin + STEPS)
        side, alive = advance(board, cost, prices, lowest, sight, fronts, begin, end, side, alive, choices)
        if alive == 0:
            return None
    at = int(np.argmin(fronts.score[side, :alive]))
    moves = np.zeros(knots, np.int32)
    for v in range(knots - 1, -1, -1):
        moves[v] = fronts.move[v, at]
        at = int(fronts.parent[v, at])
    return _assign(board, wires, moves)


def _assign(board: Board, wires: NDArray[np.int32], moves: NDArray[np.int32]) -> Labels:
    """Read the threads of the starting strands off the moves; strands that never show take what is left."""
    threads = board.pin.copy()
    hanging = wires.copy()
    for v, p in enumerate(board.position):
        x, y, turn = (moves[v] & 255) - 1, (moves[v] >> 8 & 255) - 1, moves[v] >> 16
        if x >= 0:
            threads[hanging[p]] = x
        if y >= 0:
            threads[hanging[p + 1]] = y
        if not turn:
            hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    complete(board, threads)
    return follow(board, moves >> 16 > 0, threads)


def complete(board: Board, threads: NDArray[np.int8]) -> None:
    """Give the starting wires without a thread one that still has room, pairs first."""
    starts = np.flatnonzero(board.weight[: board.strands] > 0)
    free = board.at_most.astype(np.int64).copy()
    for w in starts[threads[starts] >= 0]:
        free[threads[w]] -= board.weight[w]
    for weight in (2, 1):
        for w in starts[(threads[starts] < 0) & (board.weight[starts] == weight)]:
            # where pairs are short of room an odd place is worth nothing to them: keep even places whole
            order = np.lexsort((-free, free % 2 == 0)) if weight == 1 else np.argsort(-free)
            thread = next(int(t) for t in order if free[t] >= weight)
            threads[w] = thread
            free[thread] -= weight
