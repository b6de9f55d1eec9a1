"""The choices that go by name, in a module light enough for a command line to read at its start."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, get_args

Worked = Literal["rows", "diagonal"]
"""The two ways of working: a leader from edge to edge, or neighbouring pairs shifted by one in turn."""
WORKED: tuple[Worked, ...] = ("rows", "diagonal")

EaseName = Literal["plain", "light", "full"]
"""How many hand-overs a row may have; the values of :class:`pipeline.routing.Ease`."""
EASES: tuple[EaseName, ...] = ("plain", "light", "full")

Framing = Literal["contain", "cover", "stretch"]
"""How a picture fills its place: whole, cut to fill it, or out of shape."""
FITS: tuple[Framing, ...] = ("contain", "cover", "stretch")

Mode = Literal["auto", "flat", "photo"]
"""How a picture becomes cells: as flat artwork, as a photo, or by its looks."""
MODES: tuple[Mode, ...] = ("auto", "flat", "photo")

Fill = Literal["auto", "repeat", "centre", "border", "none"]
"""What a band longer than its picture does."""
FILLS: tuple[Fill, ...] = ("auto", "repeat", "centre", "border", "none")

TailStyle = Literal["straight", "tie", "braid"]
"""Ends made of the tails, at the start or the finish."""
FoldedStyle = Literal["loop", "larks-head", "holding-cord"]
"""Starts in which one cut, folded, hangs in two positions and has no tail."""
EndStyle = Literal[TailStyle, FoldedStyle]
TAIL_STYLES: tuple[TailStyle, ...] = get_args(TailStyle)
FOLDED_STYLES: tuple[FoldedStyle, ...] = get_args(FoldedStyle)
END_STYLES: tuple[EndStyle, ...] = get_args(EndStyle)

Border = Literal["lines", "bars", "blocks"]
"""What stands on both sides of a picture: crossing lines, bars across, or blocks as on a chequered flag."""
BORDERS: tuple[Border, ...] = ("lines", "bars", "blocks")

Level = Literal["none", "rows", "full"]
"""How far the tying is shared among the strands of a thread."""
LEVELS: tuple[Level, ...] = ("none", "rows", "full")

Paper = Literal["A4", "Letter"]


def listed(words: Iterable[str], link: str = "and") -> str:
    """Words as one list in a sentence.

    >>> listed(["navy", "chalk", "red"])
    'navy, chalk and red'
    """
    *first, last = words
    return f"{', '.join(first)} {link} {last}" if first else last


HandOvers = Literal["none", "few", "any"]
"""Hand-overs that a maker allows, in a maker's words; see :data:`EASE_OF`."""
EASE_OF: dict[HandOvers, EaseName] = {"none": "plain", "few": "light", "any": "full"}
HAND_OVERS_OF: dict[EaseName, HandOvers] = {ease: allowed for allowed, ease in EASE_OF.items()}
