"""The same band tied from its end: a board whose routings are those of the given one, read backwards.

A knot lets out the two threads that came in, so a routing read from the last row up is a routing too. A
beam that starts at the end errs elsewhere than one that starts at the beginning.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Prices


def reversible(board: Board) -> bool:
    """Whether nothing is asked of the starting strands but how many of each thread there are."""
    return bool((board.pin < 0).all()) and bool((board.weight <= 1).all())


def reverse(board: Board) -> tuple[Board, NDArray[np.int64]]:
    """Return the board read backwards, and for each wire (E,) which of its wires that is."""
    n, knots, edges = board.strands, len(board.wire), len(board.ends)
    last = np.full(n, -1, np.int64)
    last[:] = np.arange(n)
    for v, p in enumerate(board.position):
        last[p], last[p + 1] = board.wire[v, 2], board.wire[v, 3]
    to = np.empty(edges, np.int64)
    to[board.wire[::-1, 0]] = n + 2 * np.arange(knots)
    to[board.wire[::-1, 1]] = n + 2 * np.arange(knots) + 1
    to[last] = np.arange(n)
    wire = to[board.wire[::-1][:, [2, 3, 0, 1]]].astype(np.int32)
    ends = np.full_like(board.ends, -1)
    flipped = np.where(board.ends >= 0, knots - 1 - board.ends, -1)
    ends[to] = np.where((flipped[:, 1] >= 0)[:, None], flipped[:, ::-1], flipped)
    weight = np.zeros_like(board.weight)
    weight[:n] = 1
    return board._replace(
        wire=np.ascontiguousarray(wire),
        ends=ends,
        cost=np.ascontiguousarray(board.cost[::-1]),
        row=np.ascontiguousarray(len(board.allowance) - 1 - board.row[::-1]).astype(np.int32),
        position=np.ascontiguousarray(board.position[::-1]),
        in_rows=np.ascontiguousarray(board.in_rows[::-1]),
        counted=np.ascontiguousarray(board.counted[::-1]),
        allowance=np.ascontiguousarray(board.allowance[::-1]),
        weight=weight,
        partner=np.arange(n, dtype=np.int32),
    ), to


def turned(board: Board, prices: Prices, to: NDArray[np.int64]) -> Prices:
    """Prices (E, k) of the board read backwards: what is still to come there is what has been here."""
    back = np.zeros_like(prices)
    begin = board.strands
    back[to[begin:]] = -prices[begin:]
    return back
