"""Colours that can be told apart: contrast, and the ink to write with on a coloured ground."""

from __future__ import annotations

from functools import lru_cache

RGB = tuple[int, int, int]

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


def rgb(colour: str) -> RGB:
    """Return (red, green, blue), 0 to 255, of ``#rrggbb``."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def luminance(colour: str) -> float:
    """Relative luminance, 0 to 1 (WCAG 2.2; sRGB decoding of IEC 61966-2-1).

    >>> luminance("#ffffff"), luminance("#000000")
    (1.0, 0.0)
    """
    red, green, blue = (_linear(channel / 255) for channel in rgb(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(value: float) -> float:
    return float(value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2, from 1 (same) to 21 (black on white).

    >>> round(contrast("#000000", "#ffffff"), 2), round(contrast("#777777", "#ffffff"), 2)
    (21.0, 4.48)
    """
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@lru_cache(maxsize=512)
def ink_on(ground: str) -> str:
    """Black or white, whichever reads better: one of the two always reaches 4.58:1.

    >>> ink_on("#1b2a59"), ink_on("#f4f1e8")
    ('#ffffff', '#000000')
    """
    return max("#000000", "#ffffff", key=lambda ink: contrast(ink, ground))
