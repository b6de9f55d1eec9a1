"""What each strand has spent and has yet to spend at any moment of the work, whatever the order of the knots.

Moments are told by the knots that are tied by then, not by rows: in diagonal work a maker who follows a
strand is ahead in one row and behind in another.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern, Place
from pipeline.materials.lengths import Cut, stretches


@dataclass(frozen=True, slots=True)
class Account:
    """A strand's present piece, in mm: what it had for knots, what those tied took, where the rest spends how
    much in turn, and the tail it should end with. All but the first are by the gauge, without any margin;
    ``tied_mm`` of what was spent went into knots that it tied.
    """

    strand: int
    begun_mm: float
    spent_mm: float
    ahead: tuple[tuple[Place, float], ...]
    tail_mm: float
    tied_mm: float

    @property
    def rest_mm(self) -> float:
        """What is yet to be spent."""
        return sum(mm for _, mm in self.ahead)

    @property
    def left_mm(self) -> float:
        """What should hang below the last knot."""
        return self.begun_mm - self.spent_mm

    @property
    def rate(self) -> float:
        """What the hand may use of the gauge's lengths, all along, so that half a tail is left."""
        worked = self.spent_mm + self.rest_mm
        return (self.begun_mm - self.tail_mm / 2) / worked if worked else float("inf")

    @property
    def least_mm(self) -> float:
        """With less left than this the piece runs out, if the hand goes on as it has tied so far."""
        return self.begun_mm - self.spent_mm * self.rate


class Ledger:
    """What a pattern's strands spend, piece by piece, in the order in which each is spent."""

    def __init__(self, pattern: Pattern, cuts: Sequence[Cut]) -> None:
        both = zip(cuts, stretches(pattern), strict=True)
        self._strands = [tuple(zip(cut.pieces_mm, parts, strict=True)) for cut, parts in both]

    def at(self, done: Collection[Place]) -> tuple[Account, ...]:
        """Every strand's account once those knots are tied.

        >>> from pipeline.band.example import two_rows
        >>> from pipeline.materials.lengths import cut_list
        >>> book = Ledger(two_rows(), cut_list(two_rows()))
        >>> [round(account.left_mm) for account in book.at({(0, 0, 0), (0, 0, 1)})]
        [132, 118, 118, 120]
        """
        return tuple(self._account(strand, done) for strand in range(len(self._strands)))

    def _account(self, strand: int, done: Collection[Place]) -> Account:
        *joined, last = self._strands[strand]
        cut_mm, piece = next((part for part in joined if part[1].spent[-1].place not in done), last)
        reached = [i for i, spending in enumerate(piece.spent) if spending.place in done]
        now = reached[-1] + 1 if reached else 0  # turns and idle rows go with the knot after them
        behind = [spending.charge for spending in piece.spent[:now]]
        return Account(
            strand,
            cut_mm - piece.before_mm,
            sum(charge.mm for charge in behind),
            tuple((spending.place, spending.charge.mm) for spending in piece.spent[now:]),
            piece.after_mm,
            sum(charge.mm for charge in behind if charge.what == "tied"),
        )
