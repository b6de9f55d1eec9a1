"""The same band tied from its end: its routings are those of the given one, read backwards.

A knot lets out the two threads that came in, so a routing read from the last row up is a routing too. A
beam that starts at the end errs elsewhere than one that starts at the beginning.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import RowPlan, network
from pipeline.routing.board import Board, Prices
from pipeline.routing.question import Question


def reversible(question: Question) -> bool:
    """Whether nothing is asked of the starting strands but how many of each thread there are."""
    return not question.folded and all(pin is None for pin in question.start)


def backwards(question: Question) -> Question:
    """The same rows tied from their end; nothing may be asked of the starting order."""
    rows = tuple(RowPlan(row.worked, row.positions[::-1], row.picture) for row in question.network.rows[::-1])
    return replace(
        question,
        network=network(question.network.strands, rows),
        costs=question.costs[::-1],
        allowance=question.allowance[::-1],
    )


def wires(forth: Board, back: Board) -> NDArray[np.int64]:
    """(E,) for each wire of a board which wire it is of the board that is tied from its end."""
    to = np.arange(len(forth.ends))
    to[forth.wire[::-1]] = back.wire[:, [2, 3, 0, 1]]
    return to


def turned(board: Board, prices: Prices, to: NDArray[np.int64]) -> Prices:
    """Prices (E, k) of the board read backwards: what is still to come there is what has been here."""
    back = np.zeros_like(prices)
    begin = board.strands
    back[to[begin:]] = -prices[begin:]
    return back
