"""A band of light ease row by row: who leads, and where another takes over.

In a run of row-worked rows, light ease is plain (``turns``, ``columns``) with one more move: once a row, in
mid-row, the leader may park in a column and the base that hung there leads on.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pipeline.routing.board import Labels, tie
from pipeline.routing.question import Question
from pipeline.routing.stretches import Stretch, costs_of
from pipeline.routing.turns import Floats, Ints

NONE = -1


class Row(NamedTuple):
    """A row's leader at its start and at its end, and the column of the base that takes over, or NONE."""

    first: int
    column: int
    last: int


class LedBand(NamedTuple):
    """A light band seen from the edge where row 0 starts."""

    costs: Floats
    """(rows, strands−1, threads)."""
    order: Ints
    """(strands,) thread at each position before row 0."""
    rows: tuple[Row, ...]


def meetings(band: LedBand) -> tuple[Ints, Ints, Ints]:
    """Tie a band: (rows, columns) leader and base that meet in each knot, and the order after the last row.

    In an edge column the base is the parked strand.
    """
    order = band.order.copy()
    leaders = np.empty(band.costs.shape[:2], dtype=np.int64)
    bases = np.empty_like(leaders)
    last = len(order) - 1
    for number, row in enumerate(band.rows):
        step = 1 if number % 2 == 0 else -1
        here, edge = (0, last) if step == 1 else (last, 0)
        if order[here] != row.first:
            order[[here, here + step]] = order[[here + step, here]]
        for column in range(last)[::step]:
            at = column if step == 1 else column + 1
            leaders[number, column], bases[number, column] = order[at], order[at + step]
            if column != row.column or at + step == edge:
                order[[at, at + step]] = order[[at + step, at]]
    return leaders, bases, order


def read_band(problem: Question, stretch: Stretch, labels: Labels) -> LedBand:
    """The band that (edges,) labels describe."""
    network = problem.network
    rows = []
    for number in stretch.rows:
        knots = network.knots_of_row(number)
        onward = int(network.position[knots.start] == 0)
        leads = labels[network.out[knots, onward]]
        inside = leads[:-1]
        changes = np.flatnonzero(inside[1:] != inside[:-1]) + 1
        column = int(network.position[knots.start + changes[0]]) if len(changes) else NONE
        if stretch.falling and column != NONE:
            column = network.strands - 2 - column
        rows.append(Row(int(leads[0]), column, int(inside[-1] if len(inside) else leads[0])))
    order = stretch.seen(labels[: network.strands].astype(np.int64))
    return LedBand(costs_of(problem, stretch), order, tuple(rows))


def write_band(problem: Question, stretch: Stretch, band: LedBand) -> Labels:
    """(edges,) labels of a band."""
    network = problem.network
    swaps = np.ones(network.knots, dtype=bool)
    order = stretch.seen(band.order)
    strands = order.copy()
    for number, row in zip(stretch.rows, band.rows, strict=True):
        knots = network.knots_of_row(number)
        edge = 0 if network.position[knots.start] == 0 else network.strands - 1
        swaps[knots.start] = order[edge] == row.first
        for knot in range(knots.start, knots.stop):
            at = int(network.position[knot])
            column = network.strands - 2 - at if stretch.falling else at
            if column == row.column and knot > knots.start:
                swaps[knot] = order[at] == order[at + 1]
            if swaps[knot]:
                order[[at, at + 1]] = order[[at + 1, at]]
    if problem.closed and (order != strands).any():
        swaps[-1] = False  # the leader changes at the seam
    return tie(network, strands, swaps)
