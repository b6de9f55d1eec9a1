"""A swatch to tie for measuring: how it is made, what is measured, and which knots its strands then have."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.literals import Worked, working

READING_MM = 0.5
"""How exactly a ruler is read, common practice."""
DRAWING_OUT_MM = 5.0
"""How exactly a thread is measured that was in knots: it springs; value from memory."""


@dataclass(frozen=True, slots=True)
class Practice:
    """A swatch of ``strands`` and ``rows``; ``how`` to tie it, sentence by sentence. ``measured``: the
    strands whose thread is measured: what they are called, knots tied and knots carried.
    """

    strands: int
    rows: int
    how: tuple[str, ...]
    measured: tuple[tuple[str, int, int], ...]


def practice_swatch(worked: Worked) -> Practice:
    """The swatch for one way of working, small enough for half an hour.

    >>> practice_swatch("rows").measured
    (('leader', 180, 0), ('a base strand', 0, 20))
    """
    if working(worked).led:
        return Practice(
            10,
            20,
            (
                "Take the thread you will use. Cut a leader of 2.2 m and nine base strands of 30 cm.",
                "Hang the leader at the left, the bases beside it. Mark every strand where its first knot "
                "will be, and write down how long the leader and one base are from the mark to the end.",
                "Tie 20 rows: the leader ties over all nine bases to the right edge, then back to the left, "
                "and so on. Pull as you always do.",
                "Measure the swatch flat and unstretched: its width over all strands, its whole length.",
                "Measure what hangs below the last knot of the leader and of that base.",
            ),
            (("leader", 180, 0), ("a base strand", 0, 20)),
        )
    return Practice(
        8,
        32,
        (
            "Take the thread you will use. Cut eight strands of 40 cm and hang them side by side.",
            "Mark every strand where its first knot will be, and write down how long two of them are from "
            "the mark to the end.",
            "Tie 32 rows of forward knots: pairs 1–2, 3–4, 5–6, 7–8, then pairs 2–3, 4–5, 6–7, in turn. "
            "Every strand then has tied 14 knots and been core in 14.",
            "Measure the swatch flat and unstretched: its width over all strands, its whole length.",
            "Measure what hangs below the last knot of those two strands.",
        ),
        (("one strand", 14, 14), ("another strand", 14, 14)),
    )
