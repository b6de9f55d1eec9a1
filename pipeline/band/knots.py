"""The four knots, and what they do to the order of the strands.

Every knot is a double half hitch of one strand on another. Two strands meet, the left and the right
one; the knot decides which of them ties (and shows) and whether the two change places. These are all
the choices there are, so there are four knots.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pipeline.literals import WORKED, Worked

__all__ = ["WORKED", "Knot", "Worked", "knot_of", "row_positions", "tie"]


class Knot(StrEnum):
    """A double half hitch between a left and a right strand."""

    FORWARD = "forward"
    BACKWARD = "backward"
    FORWARD_BACKWARD = "forward-backward"
    BACKWARD_FORWARD = "backward-forward"

    @property
    def left_ties(self) -> bool:
        """Whether the left strand ties (and so shows); else the right one does."""
        return self in (Knot.FORWARD, Knot.FORWARD_BACKWARD)

    @property
    def swaps(self) -> bool:
        """Whether the two strands change places."""
        return self in (Knot.FORWARD, Knot.BACKWARD)

    @property
    def mirrored(self) -> Knot:
        """The same knot seen in a mirror: left and right change roles."""
        return knot_of(left_ties=not self.left_ties, swaps=self.swaps)


def knot_of(*, left_ties: bool, swaps: bool) -> Knot:
    """Return the knot in which the given strand ties and the two swap or stay.

    >>> knot_of(left_ties=True, swaps=False)
    <Knot.FORWARD_BACKWARD: 'forward-backward'>
    """
    if swaps:
        return Knot.FORWARD if left_ties else Knot.BACKWARD
    return Knot.FORWARD_BACKWARD if left_ties else Knot.BACKWARD_FORWARD


@dataclass(frozen=True, slots=True)
class Tied:
    """One knot as it was tied. Strands are numbered by starting position, from 0."""

    position: int
    knot: Knot
    left: int
    right: int

    @property
    def tying(self) -> int:
        """The strand that ties and shows."""
        return self.left if self.knot.left_ties else self.right

    @property
    def core(self) -> int:
        """The strand that is hidden inside."""
        return self.right if self.knot.left_ties else self.left


def tie(order: list[int], position: int, knot: Knot) -> Tied:
    """Tie ``knot`` at ``position``, changing ``order`` (the strand at each position) in place.

    >>> order = [0, 1, 2]
    >>> tie(order, 0, Knot.FORWARD).tying, order
    (0, [1, 0, 2])
    """
    tied = Tied(position, knot, order[position], order[position + 1])
    if knot.swaps:
        order[position], order[position + 1] = tied.right, tied.left
    return tied


def row_positions(strands: int, row: int, worked: Worked) -> tuple[int, ...]:
    """Left positions of a full row in tying order, for picture row ``row`` counted from 0.

    Row-worked rows run from edge to edge and turn: 0 … n−2, then n−2 … 0. Diagonal-worked rows tie
    neighbouring pairs, shifted by one in every other row.

    >>> row_positions(5, 1, "rows"), row_positions(5, 1, "diagonal")
    ((3, 2, 1, 0), (1, 3))
    """
    if strands < 2:
        raise ValueError(f"a row needs at least 2 strands, not {strands}")
    if worked == "diagonal":
        return tuple(range(row % 2, strands - 1, 2))
    rising = range(strands - 1)
    return tuple(rising if row % 2 == 0 else reversed(rising))
