"""Which bands are worth planning for a motif: they differ in what the maker has not decided."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from pipeline.band.pattern import Pattern
from pipeline.design.design import usual_strands
from pipeline.design.pose import gauge_for
from pipeline.limits import USUAL_WRIST_MM
from pipeline.literals import EaseName, Worked, working
from pipeline.materials.price import Grade
from pipeline.materials.skeins import ThreadPlan
from pipeline.motif.alphabet import HEIGHTS
from pipeline.motif.picture import picture_of
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request
from pipeline.report import Report
from pipeline.routing import Ease

WIDEST = 0.25
"""Width of a band as a share of the wrist, at most; value from our own looking, no source."""
NARROW, USUAL, WIDE = 16, 24, 30
"""Strands of a band, where the wrist's width allows them."""
WIDE_PICTURE = 1.2
"""Width over height from which a picture is better turned along the band."""

Settled = Literal["worked", "ease", "turn", "border", "direction"]
"""What a maker may have decided, so that no other is offered."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A band to be planned; ``key`` is a stable name in words, such as ``4-threads-rows-24``."""

    key: str
    request: Request


@dataclass(frozen=True, slots=True)
class Figures:
    """What bands are compared by, besides the counts of their reports.

    ``off``: how far the band is from its picture, mean HyAB, or the colour error a cell where there is no
    picture; ``hours`` at ``PACE_S`` a knot; ``taken``: what it takes of each thread; ``fine``: cells across,
    or cells of a letter's height.
    """

    cells: int
    made: int
    off: float
    hours: float
    grade: Grade
    longest_mm: float
    wide_mm: float
    long_mm: float
    taken: tuple[ThreadPlan, ...]
    fine: int

    def __post_init__(self) -> None:
        if not 0 <= self.made <= self.cells or self.off < 0:
            raise ValueError(f"no figures of a band: {self}")


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """A planned band: what was asked, the band, its report, and the straight band as a PNG."""

    asked: Asked
    pattern: Pattern
    report: Report
    picture: bytes
    figures: Figures

    @property
    def key(self) -> str:
        return self.asked.key


# ---------------------------------------------------------------- which bands


def offered(request: Request, *, settled: Collection[Settled] = ()) -> tuple[Asked, ...]:
    """Return the bands worth planning, the most promising first; keys are unique.

    What the maker has decided stays: ``band.strands``, ``drawer.colours``, a height of letters, a turned
    picture, and whatever ``settled`` names. Raises InputError for a picture that cannot be read.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> found = offered(Request(LetterSource("RC"), Band(), Drawer(builtin_stash())))
    >>> found[0].key
    'along-9-cells-rows-12'
    """
    artwork = request.artwork
    if isinstance(artwork, LetterSource):
        asked = _lettered(artwork, request, settled)
    else:
        asked = _pictured(artwork, request, settled)
    first: dict[str, Asked] = {}
    for one in asked:
        first.setdefault(one.key, one)
    return tuple(first.values())


Recipe = tuple[int, Worked, int, EaseName, bool]
"""Threads, way of working, strands, hand-overs, whether turned the less likely way."""
RECIPES: tuple[Recipe, ...] = (
    (4, "rows", USUAL, "light", False),
    (2, "diagonal", USUAL, "light", False),
    (3, "diagonal", USUAL, "light", False),
    (2, "rows", USUAL, "light", False),
    (4, "diagonal", USUAL, "light", False),
    (3, "rows", USUAL, "light", False),
    (5, "rows", WIDE, "light", False),
    (3, "rows", NARROW, "plain", False),
    (4, "rows", USUAL, "light", True),
    (6, "rows", WIDE, "full", False),
    (3, "diagonal", USUAL, "light", True),
    (4, "rows", USUAL, "plain", False),
    (5, "diagonal", WIDE, "light", False),
    (2, "rows", NARROW, "plain", False),
    (3, "diagonal", NARROW, "light", False),
)


def _pictured(artwork: PictureSource, request: Request, settled: Collection[Settled]) -> Iterator[Asked]:
    _, band, drawer, tying = request
    strands = usual_strands(artwork) if artwork.grid else band.strands
    may_turn = "turn" not in settled and not artwork.grid and not artwork.turn
    sideways = _is_wide(artwork) if may_turn else None
    for threads, worked, wish, ease, otherwise in RECIPES:
        if sideways is None and otherwise:
            continue
        way = band.worked if "worked" in settled else worked
        count = strands or min(wish, _most_strands(band, drawer, way))
        turned = sideways is not None and sideways != otherwise
        hand_overs = tying.ease if "ease" in settled else Ease(ease)
        most = min(drawer.colours or threads, len(drawer.only or drawer.stash.threads))
        key = f"{most}-threads-{way}-{count}"
        if working(way).led and hand_overs is not Ease.LIGHT:
            key += {Ease.PLAIN: "-no-hand-overs", Ease.FULL: "-any-hand-overs"}[hand_overs]
        made = Request(
            replace(artwork, turn=(artwork.turn + turned) % 4),
            replace(band, strands=None if artwork.grid else count, worked=way),
            replace(drawer, colours=most),
            replace(tying, ease=hand_overs),
        )
        yield Asked(key + "-turned" * turned, made)


def _is_wide(artwork: PictureSource) -> bool:
    tall, wide = picture_of(artwork).rgb.shape[:2]
    return bool(wide >= WIDE_PICTURE * tall)


def _most_strands(band: Band, drawer: Drawer, worked: Worked) -> int:
    """How many strands are as wide as a wrist takes."""
    pitch = gauge_for(replace(band, worked=worked), drawer).strand_pitch_mm
    return max(6, int(WIDEST * (band.wrist_mm or USUAL_WRIST_MM) / pitch))


LetterRecipe = tuple[Literal["along", "across"], int, Worked, bool]
"""Direction, which of the heights (0 the smallest), way of working, whether with a border."""
LETTERS: tuple[LetterRecipe, ...] = (
    ("along", 2, "rows", False),
    ("along", 1, "rows", True),
    ("across", 1, "rows", False),
    ("along", 1, "diagonal", False),
    ("along", 3, "rows", False),
    ("across", 2, "rows", True),
    ("along", 0, "rows", False),
    ("along", 1, "rows", False),
    ("along", 2, "rows", True),
    ("across", 1, "diagonal", False),
    ("along", 2, "diagonal", True),
    ("across", 2, "rows", False),
)
MARGIN_CELLS = 2
"""Ground cells beside letters, both edges together."""


def _lettered(artwork: LetterSource, request: Request, settled: Collection[Settled]) -> Iterator[Asked]:
    _, band, drawer, _ = request
    kind = band.border or "lines"
    for direction, size, wish, border in LETTERS:
        if "direction" in settled and direction != artwork.direction:
            continue
        if "border" in settled and border != (band.border is not None):
            continue
        worked = band.worked if "worked" in settled else wish
        height = artwork.height or HEIGHTS[size]
        strands = band.strands or _letter_strands(height, band, drawer, worked)
        if strands > _most_strands(band, drawer, worked):
            continue
        made = request._replace(
            artwork=replace(artwork, height=height, direction=direction),
            band=replace(band, strands=strands, worked=worked, border=kind if border else None),
        )
        yield Asked(f"{direction}-{height}-cells-{worked}-{strands}{'-border' if border else ''}", made)


def _letter_strands(height: int, band: Band, drawer: Drawer, worked: Worked) -> int:
    """The fewest strands on which letters of that height have a cell of ground at both edges."""
    cells = height + MARGIN_CELLS
    if working(worked).square:
        return cells + 1
    gauge = gauge_for(replace(band, worked=worked), drawer)  # see letters.py: cells the area of a knot
    across = (2 * gauge.row_pitch_mm / gauge.strand_pitch_mm) ** 0.5
    return int(-(-cells * across // 1)) + 1
