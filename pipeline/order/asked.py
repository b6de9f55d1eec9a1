"""What a maker asks for: the artwork, the band, the threads to choose from, and what is allowed in tying."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, NamedTuple

from pipeline.band.pattern import Gauge
from pipeline.drawer.stash import Stash
from pipeline.limits import USUAL_ROOM_MM, WORKABLE_MM
from pipeline.literals import Border, EndStyle, Fill, Framing, Level, Mode, TailStyle, Worked
from pipeline.routing import Ease


@dataclass(frozen=True, slots=True)
class PictureSource:
    """A picture file and how it is taken in; ``grid`` means one pixel a cell, nothing resampled."""

    path: Path
    grid: bool = False
    background: str | None = None
    trim: bool = True
    crop: tuple[float, float, float, float] | None = None
    turn: int = 0
    mirror: bool = False
    fit: Framing = "contain"
    reduce: Mode = "auto"

    @property
    def lengthwise(self) -> bool:
        """Whether the picture is upright when the band lies on its side."""
        return self.turn % 2 == 1

    @property
    def title(self) -> str:
        return self.path.stem.replace("_", " ").replace("-", " ").strip() or "picture"


@dataclass(frozen=True, slots=True)
class LetterSource:
    """Letters; ``height`` in cells, ``threads`` for the letters in turn, the font file for other scripts."""

    text: str
    height: int | None = None
    font: Path | None = None
    direction: Literal["along", "across"] = "along"
    threads: tuple[str, ...] = ()
    turn: int = 0
    mirror: bool = False

    @property
    def lengthwise(self) -> bool:
        """Whether the letters are upright when the band lies on its side."""
        return self.direction == "along"

    @property
    def title(self) -> str:
        return self.text


Artwork = PictureSource | LetterSource


@dataclass(frozen=True, slots=True)
class Space:
    """The place the design has: ``strands`` wide, ``length`` rows that the wrist has room for (None: as
    long as the picture), ``rows`` the picture itself takes (None: by its shape).
    """

    strands: int
    worked: Worked
    gauge: Gauge
    rows: int | None = None
    length: int | None = None
    selvedge: int | None = None
    fill: Fill = "auto"
    border: Border | None = None


@dataclass(frozen=True, slots=True)
class Drawer:
    """The threads to choose from: ``only`` these of the stash, at most ``colours`` of them; ``include``
    stand among the threads of the band whether or not the picture wants them.
    """

    stash: Stash
    only: tuple[str, ...] | None = None
    colours: int | None = None
    ground: str | None = None
    include: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """The band's size and ends.

    ``strands``, ``rows`` (of the picture) and ``selvedge`` None: chosen by the artwork. ``wrist_mm`` None:
    as long as the picture. ``gauge``: a saved swatch, a thread preset, a diameter in mm, or None for the
    kind of thread that the drawer holds most of.
    """

    strands: int | None = None
    worked: Worked = "rows"
    rows: int | None = None
    wrist_mm: float | None = None
    usual_wrist: bool = False
    """Whether nobody gave a wrist and ``wrist_mm`` is a usual one."""
    room_mm: float = USUAL_ROOM_MM
    gauge: str | float | None = None
    selvedge: int | None = None
    fill: Fill = "auto"
    start: EndStyle = "straight"
    finish: TailStyle = "straight"
    taper: bool = False
    tail_mm: float | None = None
    border: Border | None = None
    """What fills the room that the picture leaves on the wrist, the same on both sides of it; None: what
    ``fill`` says."""
    left_handed: bool = False
    """Whether rows begin at the right edge; the band shows the same picture."""


@dataclass(frozen=True, slots=True)
class Tying:
    """What the maker allows in tying: hand-overs, switching rows (None: as many as pay), joins, and bounds on
    the strands by thread name (``start_order``: one entry a position, None where free).
    """

    ease: Ease = Ease.LIGHT
    switching_rows: int | None = None
    joins: int = 0
    at_most: Mapping[str, int] = field(default_factory=dict)
    start_order: tuple[str | None, ...] | None = None
    share: Level = "rows"
    longest_mm: float = WORKABLE_MM
    margin: float | None = None


class Request(NamedTuple):
    """A band that is asked for: what it shows, its size and ends, its threads, and how it may be tied."""

    artwork: Artwork
    band: Band
    drawer: Drawer
    tying: Tying = Tying()


CALLED = {
    "path": "picture", "text": "letters", "direction": "across", "threads": "letter-threads",
    "only": "threads", "ease": "hand-overs",
}  # fmt: skip
"""Options that set a field of another name."""


def option_of(field: str) -> str:
    """The name of the option that sets a field of a request.

    >>> option_of("room_mm"), option_of("only")
    ('room', 'threads')
    """
    return CALLED.get(field) or field.removesuffix("_mm").removesuffix("_s").replace("_", "-")
