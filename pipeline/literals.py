"""The choices that go by name, in a module light enough for a command line to read at its start."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, assert_never, get_args

Worked = Literal["rows", "diagonal"]
"""The two ways of working: a leader from edge to edge, or neighbouring pairs shifted by one in turn."""
WORKED: tuple[Worked, ...] = ("rows", "diagonal")


@dataclass(frozen=True, slots=True)
class Working:
    """What a way of working means for whoever does not tie its knots; ``words``: what makers call it."""

    words: str
    led: bool
    """Whether a leader crosses every row from edge to edge, so that there are hand-overs and turns."""
    square: bool
    """Whether cells stand square, one between every two neighbours; else they are diamonds, two strands wide,
    at every other place."""
    turning: bool
    """Whether rows begin at the left and at the right edge in turn."""

    @property
    def step(self) -> int:
        """Cells or rows by which what is drawn may move so that cells stay cells."""
        return 1 if self.square else 2

    def pitches(self, strands: int) -> int:
        """Width of a band in strand pitches: square cells lie between strands, diamonds hold both."""
        return strands - 1 if self.square else strands


ROW_WORK = Working("row-worked", led=True, square=True, turning=True)
DIAGONAL_WORK = Working("diagonal-worked", led=False, square=False, turning=False)


def working(worked: Worked) -> Working:
    """What a way of working means.

    >>> working("rows").led, working("diagonal").words
    (True, 'diagonal-worked')
    """
    match worked:
        case "rows":
            return ROW_WORK
        case "diagonal":
            return DIAGONAL_WORK
    assert_never(worked)


def other_way(worked: Worked) -> Worked:
    """The way of working that is tried instead of this one."""
    return WORKED[WORKED.index(worked) - 1]


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


def plural(count: int, what: str) -> str:
    """So many of something.

    >>> plural(1, "strand"), plural(3, "strand")
    ('1 strand', '3 strands')
    """
    return f"{count} {what}{'' if count == 1 else 's'}"


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
