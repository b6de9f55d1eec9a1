"""A working order as a network: which knots there are, and which strands can meet in them.

A band is a fixed sequence of knots, each at a left position. Knots are nodes with two edges in and two
edges out; an edge is "the strand at one position between two knots". Everything that decides where the
strands go works on this network, whatever the working order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import Worked, row_positions

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RowPlan:
    """The knots of one row: left positions in tying order, and how the row is worked.

    ``picture`` is the index of the picture row it ties, or None in a switching section.
    """

    worked: Worked
    positions: tuple[int, ...]
    picture: int | None = None


@dataclass(frozen=True, slots=True)
class Repeat:
    """Rows of a band that come again and again: from row ``first`` on, ``times`` times ``rows`` rows."""

    first: int
    rows: int
    times: int

    def __post_init__(self) -> None:
        if self.first < 0 or self.times < 1 or self.rows < 2:
            raise ValueError(f"{self}: a repeat takes two rows at least")

    @property
    def stop(self) -> int:
        """The first row after the last repeat."""
        return self.first + self.rows * self.times


def picture_rows(strands: int, rows: int, worked: Worked) -> tuple[RowPlan, ...]:
    """Return the plan of a picture of ``rows`` rows without switching sections.

    >>> [row.positions for row in picture_rows(4, 2, "diagonal")]
    [(0, 2), (1,)]
    """
    return tuple(RowPlan(worked, row_positions(strands, r, worked), r) for r in range(rows))


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Knots in tying order and the edges between them. All arrays are read-only.

    Edges 0 … n−1 are the starting strands by position; knot v makes edges n+2v (leaving on the left)
    and n+2v+1 (leaving on the right).
    """

    strands: int
    rows: tuple[RowPlan, ...]
    position: Ints
    """(knots,) left position of each knot."""
    row: Ints
    """(knots,) index into ``rows``."""
    into: Ints
    """(knots, 2) edges entering on the left and on the right."""
    last: Ints
    """(strands,) the edge that hangs at each position after the last knot."""

    @property
    def knots(self) -> int:
        return len(self.position)

    @property
    def edges(self) -> int:
        return self.strands + 2 * self.knots

    @property
    def out(self) -> Ints:
        """(knots, 2) edges leaving on the left and on the right."""
        first = self.strands + 2 * np.arange(self.knots, dtype=np.int64)
        return np.stack([first, first + 1], axis=1)

    def knots_of_row(self, row: int) -> slice:
        """The knots of one row as a slice of the tying order."""
        start, stop = np.searchsorted(self.row, [row, row + 1])
        return slice(int(start), int(stop))


def network(strands: int, rows: Sequence[RowPlan]) -> Network:
    """Build the network of a sequence of rows.

    Raises ValueError for fewer than 2 strands or a position outside the band.

    >>> net = network(3, picture_rows(3, 2, "rows"))
    >>> net.position.tolist(), net.into.tolist()[0], net.last.tolist()
    ([0, 1, 1, 0], [0, 1], [9, 10, 8])
    """
    if strands < 2:
        raise ValueError(f"a band needs at least 2 strands, not {strands}")
    hanging = list(range(strands))
    position: list[int] = []
    row_of: list[int] = []
    into: list[tuple[int, int]] = []
    for index, row in enumerate(rows):
        for p in row.positions:
            if not 0 <= p < strands - 1:
                raise ValueError(f"row {index}: position {p} is outside a band of {strands} strands")
            leaving = strands + 2 * len(position)
            into.append((hanging[p], hanging[p + 1]))
            hanging[p], hanging[p + 1] = leaving, leaving + 1
            position.append(p)
            row_of.append(index)
    arrays = (
        np.array(position, dtype=np.int64),
        np.array(row_of, dtype=np.int64),
        np.array(into, dtype=np.int64).reshape(-1, 2),
        np.array(hanging, dtype=np.int64),
    )
    for array in arrays:
        array.flags.writeable = False
    return Network(strands, tuple(rows), *arrays)
