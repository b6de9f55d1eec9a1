"""Bounds on whatever comes in from outside, each once, and what is taken where nothing is said.

Light: the command line reads this module before it knows what it is to do.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bounds:
    """The least and the most that is taken; raises ValueError for none at all."""

    least: float
    most: float

    def __post_init__(self) -> None:
        if not self.least <= self.most:
            raise ValueError(f"no number lies between {self.least} and {self.most}")

    def __contains__(self, number: float) -> bool:
        return self.least <= number <= self.most


# ---------------------------------------------------------------- a band

MOST_STRANDS = 400
MOST_ROWS = 5_000
"""Of one picture, or of blocks."""
MOST_ROWS_IN_ALL = 10_000
"""Of a pattern, with everything between its pictures."""
MOST_CHART_KNOTS = 100_000
"""Of a pattern that is charted; no band is that long."""
MOST_SAID = 20_000_000
"""Largest strands × knots: every step tells where every strand hangs, and 400 MB are enough for that."""
MOST_SECTIONS = 2_000
MOST_EXTRA = Bounds(0, 400)
"""Switching rows, or strands that change their thread."""
MOST_TITLE = 200
MOST_LETTERS = 120
MOST_REPEATS = 2_000
MOST_ORDERS = 5_000
MOST_THREADS = 1_000
"""In a list of threads owned."""
MOST_NAME = 60
"""Characters of a thread's name."""
OWNED_M = Bounds(0, 100_000)
"""Metres of one thread; more would be cut from too many skeins to look through."""
SKEIN_M = Bounds(0.1, 100_000)
"""Metres in one skein; they are cut by whole centimetres."""
PRICE = Bounds(0, 1e6)
STRANDS = Bounds(2, MOST_STRANDS)
ROWS = Bounds(1, MOST_ROWS)
COLOURS = Bounds(1, 16)
COPIES = Bounds(1, 1_000)

# ---------------------------------------------------------------- files, in bytes

MOST_PATTERN_BYTES = 20_000_000
"""400 strands × 5,000 rows would be about 40 MB, no band is that long."""
MOST_REPORT_BYTES = 64_000_000
MOST_TEXT_BYTES = 20_000_000
MOST_FONT_BYTES = 20_000_000
MOST_PICTURE_BYTES = 64_000_000
MOST_SVG_BYTES = 5_000_000
MOST_STASH_BYTES = 1_000_000
MOST_GAUGES_BYTES = 5_000_000
MOST_ORDERS_BYTES = 2_000_000
MOST_MANIFEST_BYTES = 5_000_000

# ---------------------------------------------------------------- lengths, in millimetres

ANY_LENGTH_MM = Bounds(0.001, 1e6)
"""What a length can be at all."""
WRIST_MM = Bounds(40, 600)
LIKELY_WRIST_MM = Bounds(90, 260)
"""A number without a unit is offered in the unit that brings it here."""
USUAL_WRIST_MM = 165.0
"""Taken where nobody tells one: the size adult-medium, midway between the medians of women and men."""
ROOM_MM = Bounds(0, 200)
USUAL_ROOM_MM = 13.0
"""Room at the wrist; 6–25 mm are given (craft handouts). A thick band wants more."""
WORKABLE_MM = 2_500.0
"""Base strands longer than this are wound on a card, or joined; value from memory, no source."""

# ---------------------------------------------------------------- work and search

PACE_S = Bounds(0.5, 600)
USUAL_PACE_S = (8.0, 10.0)
"""Seconds a knot of a quick and of a calm hand; value from memory, no source."""
MARGIN_PERCENT = Bounds(0, 200)
JOBS = Bounds(0, 256)
EFFORT = Bounds(0.01, 100)
SEED = Bounds(0, 2**31)
TIME_LIMIT_S = Bounds(0.1, 86_400)
