"""A light band by rows and columns: who leads, where another takes over, and which base hangs in each column.

In a run of row-worked rows, a light band is plain (``turns``, ``columns``) with one more move: once a row, in
mid-row, the leader may park in a column and the base that hung there leads on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Labels, tie
from pipeline.routing.question import Question
from pipeline.routing.stretches import Stretch, knots_of
from pipeline.routing.turns import Floats, Ints

NONE = -1


@dataclass(slots=True)
class Trail:
    """A light band seen from the edge where row 0 starts; rows take turns to lead there and back.

    ``first`` and ``last`` (rows,): the leader at the start and at the end of each row; ``column`` (rows,):
    where it hands over, or NONE; ``base`` (rows + 1, columns): what hangs in each column before each row and
    after the last. In a column at an edge the base is the parked strand.
    """

    first: Ints
    last: Ints
    column: Ints
    base: Ints

    def copy(self) -> Trail:
        return Trail(self.first.copy(), self.last.copy(), self.column.copy(), self.base.copy())

    def turned(self, rows: int) -> Trail:
        """A closed trail that begins so many rows earlier, an even number."""
        first, last, column = (np.roll(part, rows) for part in (self.first, self.last, self.column))
        base = np.roll(self.base[:-1], rows, axis=0)
        after = base[0].copy()
        if last[-1] != first[0]:
            after[0] = first[0]  # there the leader changes with the edge column
        return Trail(first, last, column, np.vstack([base, after]))

    def errors(self, costs: Floats) -> Floats:
        """(rows, columns) cost of each cell."""
        rows, columns, _ = costs.shape
        at = np.where(self.column == NONE, columns, self.column)[:, None]
        place = np.arange(columns)[None]
        rising = (np.arange(rows) % 2 == 0)[:, None]
        before = np.where(rising, place <= at, (place >= at) | (self.column == NONE)[:, None])
        leads = np.where(before, self.first[:, None], self.last[:, None])
        by_leader = np.take_along_axis(costs, leads[..., None], axis=2)[..., 0]
        by_base = np.take_along_axis(costs, self.base[:-1, :, None], axis=2)[..., 0]
        return np.asarray(np.minimum(by_leader, by_base))


def read_trail(problem: Question, stretch: Stretch, labels: Labels) -> Trail:
    """The trail that (edges,) labels describe."""
    knots = _worked(knots_of(problem.network, stretch))
    falls = ((np.arange(len(knots)) + stretch.falling) % 2)[:, None]
    came, went = (
        labels[wires[knots]].astype(np.int64) for wires in (problem.network.into, problem.network.out)
    )
    leads = np.where(falls, went[..., 0], went[..., 1])[:, :-1]
    base = np.where(falls, came[..., 0], came[..., 1])
    behind = np.where(falls, came[..., 1], came[..., 0])
    base[:, 0] = np.where(behind[:, 0] == leads[:, 0], base[:, 0], behind[:, 0])  # either of the two leads on
    change = leads[:, 1:] != leads[:, :-1]
    at = np.where(change.any(axis=1), change.argmax(axis=1) + 1, NONE)
    column = np.where((np.arange(len(knots)) % 2 == 1) & (at != NONE), base.shape[1] - 1 - at, at)
    base = _worked(base)
    after = base[-1].copy()
    if column[-1] != NONE:
        after[column[-1]] = leads[-1, 0]
    return Trail(leads[:, 0].copy(), leads[:, -1].copy(), column, np.vstack([base, after]))


def write_trail(problem: Question, stretch: Stretch, trail: Trail, start: Ints | None = None) -> Labels:
    """(edges,) labels of a trail; ``start`` (strands,): the threads before row 0, if not the leader first."""
    network = problem.network
    order = np.concatenate([trail.first[:1], trail.base[0]]) if start is None else start
    knots = knots_of(network, stretch)
    swaps = np.ones(network.knots, dtype=bool)
    swaps[_worked(knots)[:, 0]] = np.concatenate([order[:1], trail.last[:-1]]) == trail.first
    parts = (trail.column != NONE) & (trail.first != trail.last)
    swaps[knots[parts, trail.column[parts]]] = False
    strands = stretch.seen(order)
    labels = tie(network, strands, swaps)
    if problem.closed and (labels[network.last] != strands).any():
        swaps[-1] = False  # the leader changes at the seam
        labels = tie(network, strands, swaps)
    return labels


def _worked(grid: NDArray[np.int64]) -> NDArray[np.int64]:
    """Every other row turned round: from columns to the order in which they are worked, or back."""
    grid = grid.copy()
    grid[1::2] = grid[1::2, ::-1]
    return grid
