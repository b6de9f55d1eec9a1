"""What shared tying gained: the longest strand and the lengths to cut, before and after."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.band.pattern import Pattern
from pipeline.materials.lengths import default_margin, up_to_cm
from pipeline.materials.paths import Paths


@dataclass(frozen=True, slots=True)
class Sharing:
    """What sharing made of the longest strand. Lengths in mm as they would be cut, in one piece."""

    longest_before_mm: float
    longest_after_mm: float
    bound_mm: float
    """No sharing of this routing gets the longest strand below this."""
    lengths_before: int
    lengths_after: int
    """How many different lengths there are to cut, thread by thread, once near ones are cut alike."""
    same_thread_hand_overs: int
    """Knots of row-worked sections at which a strand hands over to one of its own thread, afterwards."""


def compare(before: Pattern, after: Pattern, *, margin: float | None = None) -> Sharing:
    """Compare a pattern with what :func:`share` made of it."""
    margin = default_margin(before) if margin is None else margin
    one, two = Paths(before, margin), Paths(after, margin)
    return Sharing(
        longest_before_mm=up_to_cm(max(one.lengths())),
        longest_after_mm=up_to_cm(max(two.lengths())),
        bound_mm=one.bound(),
        lengths_before=one.lots(),
        lengths_after=two.lots(),
        same_thread_hand_overs=two.same_thread_hand_overs,
    )
