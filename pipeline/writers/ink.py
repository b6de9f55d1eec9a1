"""The colours of the pages, and the ink to write with on a coloured ground."""

from __future__ import annotations

from functools import lru_cache

from pipeline.colour import contrast, parse_hex

INK = "#17212b"
"""Outlines and text."""
SOFT = "#566472"
"""Secondary text; 6.0:1 on paper."""
HAIR = "#c3ccd3"
"""Guide lines, which carry no meaning."""
PAPER = "#ffffff"
TINT = "#e6eef1"
"""Ground of switching rows."""
SIGNAL = "#a8321f"
"""Rings of unmade cells; always a heavier line as well, so never told by colour alone."""


rgb = lru_cache(maxsize=512)(parse_hex)
"""Red, green and blue, 0 to 255, of ``#rrggbb``."""


@lru_cache(maxsize=512)
def ink_on(ground: str) -> str:
    """Black or white, whichever reads better: one of the two always reaches 4.58:1.

    >>> ink_on("#1b2a59"), ink_on("#f4f1e8")
    ('#ffffff', '#000000')
    """
    return max("#000000", "#ffffff", key=lambda ink: float(contrast(rgb(ink), rgb(ground))))
