"""What each strand has spent and has yet to spend at any moment of the work, whatever the order of the knots.

Moments are told by the knots that are tied by then, not by rows: in diagonal work a maker who follows a
strand is ahead in one row and behind in another.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern
from pipeline.materials.ends import end_use
from pipeline.materials.lengths import OVERLAP_MM, Charge, Cut, charges

Place = tuple[int, int, int]
"""Section, row in the section, knot in the row's tying order."""


@dataclass(frozen=True, slots=True)
class Account:
    """A strand's present piece, in mm: what it had for knots, what those tied took, what the rest takes,
    and the tail it should end with. All but the first are by the gauge, without any margin; ``tied_mm`` of
    what was spent went into knots that it tied.
    """

    strand: int
    begun_mm: float
    spent_mm: float
    rest_mm: float
    tail_mm: float
    tied_mm: float = 0.0

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
    """The charges of a pattern, strand by strand, in the order in which each is spent."""

    def __init__(self, pattern: Pattern, cuts: Sequence[Cut]) -> None:
        ends = end_use(pattern)
        self._pieces = [
            [cut.pieces_mm[0] - ends.start_mm[cut.position], *(mm - OVERLAP_MM for mm in cut.pieces_mm[1:])]
            for cut in cuts
        ]
        self._finish = ends.finish_mm
        self._spent: list[list[tuple[Place, Charge]]] = [[] for _ in cuts]
        for row in charges(pattern):
            for charge in row.charges:
                place = (row.section, row.row, charge.knot)
                self._spent[charge.strand].append((place, charge))

    def at(self, done: Collection[Place]) -> tuple[Account, ...]:
        """Every strand's account once those knots are tied.

        >>> from pipeline.band.example import two_rows
        >>> from pipeline.materials.lengths import cut_list
        >>> book = Ledger(two_rows(), cut_list(two_rows()))
        >>> [round(account.left_mm) for account in book.at({(0, 0, 0), (0, 0, 1)})]
        [132, 118, 118, 120]
        """
        return tuple(self.at_strand(strand, done) for strand in range(len(self._spent)))

    def at_strand(self, strand: int, done: Collection[Place]) -> Account:
        """One strand's account once those knots are tied."""
        entries = self._spent[strand]
        now = _reached(entries, done)
        piece, spent, tied = 0, 0.0, 0.0
        for _, charge in entries[:now]:
            if charge.thread is not None:
                piece, spent, tied = piece + 1, 0.0, 0.0
            spent += charge.mm
            tied += charge.mm if charge.what == "tied" else 0.0
        ahead, joined = self.ahead(strand, done)
        tail = OVERLAP_MM if joined else self._finish[strand]
        rest = sum(mm for _, mm in ahead)
        return Account(strand, self._pieces[strand][piece], spent, rest, tail, tied)

    def ahead(self, strand: int, done: Collection[Place]) -> tuple[list[tuple[Place, float]], bool]:
        """Where a strand's present piece spends how much once those knots are tied, in turn, and whether a
        join ends it.
        """
        entries = self._spent[strand]
        found: list[tuple[Place, float]] = []
        for place, charge in entries[_reached(entries, done) :]:
            if charge.thread is not None:
                return found, True
            found.append((place, charge.mm))
        return found, False


def _reached(entries: Sequence[tuple[Place, Charge]], done: Collection[Place]) -> int:
    """How many charges of a strand are behind it; turns and idle rows go with the knot after them."""
    return max((i + 1 for i, (place, _) in enumerate(entries) if place in done), default=0)
