"""What the rest of a band costs at least: tables over strips, by which a beam looks ahead.

Where wires between strips of neighbouring positions have prices (see ``bound``), each strip is a program of
its own, and its cost to go is known for all threads that may hang in it. The sum over strips, with the
prices of the wires that are open between them, is a lower bound on the cost to go of a whole frontier: an
admissible heuristic of the kind that Felner, Korf and Hanan (2004) add up from pattern databases, here
made additive by the prices. It sees whole rows ahead, which prices of single knots do not.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board


class Ahead(NamedTuple):
    """Tables over strips. V knots, S strips; empty arrays for a beam that looks ahead by prices alone."""

    owner: NDArray[np.int64]
    """(V,) strip of each knot."""
    step: NDArray[np.int64]
    """(V,) knots of its strip before it."""
    low: NDArray[np.int64]
    """(S,) first position of each strip."""
    wide: NDArray[np.int64]
    """(S,) positions of each strip, one more than the places of its knots."""
    first: NDArray[np.int64]
    """(S,) where its tables begin."""
    layers: int
    """2 where a row has an allowance of hand-overs: unused and used up. Else 1."""
    base: int
    """Digits of a position: its threads, and one more for a strand without a thread."""
    cost: NDArray[np.float32]
    """Cost to go, a table (layers, base ** wide) for each step; position ``low`` is the lowest digit."""
    toll: NDArray[np.float64]
    """(rows,) price of a row's one hand-over, given back at the end of the row."""


def blind() -> Ahead:
    """Return tables that know nothing."""
    none = np.empty(0, np.int64)
    return Ahead(none, none, none, none, none, 1, 1, np.empty(0, np.float32), np.empty(0))


def look_ahead(
    board: Board,
    cost: NDArray[np.float64],
    prices: NDArray[np.float64],
    owner: NDArray[np.int64],
    toll: NDArray[np.float64],
) -> Ahead:
    """Tabulate the cost to go from each knot on.

    ``cost`` (V, k), ``prices`` (E, k) of wires that leave strips, ``toll`` (rows,) of hand-overs, ``owner``
    (V,) the strip of each knot, a range of positions (see ``bound.Priced``).
    """
    layers, base = 2 if board.limited else 1, board.threads + 1
    from pipeline.routing.loops.beams import tabulate

    step, low, wide, first = np.zeros_like(owner), [], [], []
    tables: list[NDArray[np.float32]] = []
    at = 0
    priced = (board.ends[:, 0] >= 0) & (board.weight == 0)
    for strip in range(int(owner.max(initial=-1)) + 1):
        knots = np.flatnonzero(owner == strip)
        step[knots] = np.arange(len(knots))
        low.append(int(board.position[knots].min()))
        wide.append(int(board.position[knots].max()) + 2 - low[-1])
        first.append(at)
        table = np.empty((len(knots) + 1, layers, base ** wide[-1]), np.float32)
        tabulate(board, cost, prices, owner, toll, priced, knots, low[-1], wide[-1], table)
        tables.append(table.ravel())
        at += table.size
    return Ahead(
        owner,
        step,
        np.array(low, np.int64),
        np.array(wide, np.int64),
        np.array(first, np.int64),
        layers,
        base,
        np.concatenate(tables) if tables else np.empty(0, np.float32),
        toll,
    )
