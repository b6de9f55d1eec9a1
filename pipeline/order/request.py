"""The one reader of requests: what flags, cells of a list and fields of a form say, as an :class:`Order`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, TypeVar

from pipeline.drawer.stash import Stash, read_stash
from pipeline.errors import InputError
from pipeline.limits import LIKELY_WRIST_MM, USUAL_PACE_S, USUAL_WRIST_MM
from pipeline.literals import EASE_OF, EASES, EaseName
from pipeline.materials.fit import SIZES, size_named
from pipeline.order.asked import Artwork, Band, Drawer, LetterSource, PictureSource, Request, Tying, option_of
from pipeline.order.given import Given, Where, flag
from pipeline.order.options import OPTIONS, Option
from pipeline.order.units import parse_length
from pipeline.routing import Ease


@dataclass(frozen=True, slots=True)
class DrawerRequest:
    """Which threads to choose from: a file of threads (None: the built-in palette), and what of it."""

    stash: Path | None = None
    only: tuple[str, ...] | None = None
    colours: int | None = None
    ground: str | None = None

    def drawer(self, stash: Stash | None = None) -> Drawer:
        """The drawer, from ``stash`` or else the file. Raises InputError for a file that cannot be read."""
        return Drawer(stash or read_stash(self.stash), self.only, self.colours, self.ground)


@dataclass(frozen=True, slots=True)
class Search:
    """How hard to search: ``time_limit_s`` for the whole plan, ``advice`` whether to look for what helps."""

    effort: float = 1.0
    seed: int = 0
    time_limit_s: float | None = None
    advice: bool = True


@dataclass(frozen=True, slots=True)
class Order:
    """All that a maker asks for. ``pace_s`` is one pace, or a quick and a calm one."""

    artwork: Artwork
    band: Band
    drawer: DrawerRequest
    tying: Tying
    title: str
    pace_s: tuple[float, float] | float
    search: Search

    def request(self, stash: Stash | None = None) -> Request:
        """The band, its threads taken from ``stash`` or else the file that is named."""
        return Request(self.artwork, self.band, self.drawer.drawer(stash), self.tying)

    @property
    def files(self) -> tuple[Path | None, ...]:
        """The files that are read for it."""
        artwork = self.artwork
        return (artwork.font if isinstance(artwork, LetterSource) else artwork.path), self.drawer.stash


Part = TypeVar("Part", PictureSource, LetterSource, Band, DrawerRequest, Tying, Search)


def parse(
    texts: Mapping[str, str],
    where: Where = flag,
    base: Path | None = None,
    options: Iterable[Option] = OPTIONS,
) -> Order:
    """Read an order from the texts of its options by name; an empty text is nothing.

    ``where`` says how the place of an option is called in refusals; files are found from ``base``; only
    ``options`` may be given. Raises InputError, which names the place, for whatever cannot be read.

    >>> order = parse({"letters": "RC", "wrist": "16 cm", "hand-overs": "none"})
    >>> order.artwork.title, order.band.wrist_mm, order.tying.ease.value
    ('RC', 160.0, 'plain')
    """
    given = Given(texts, where, options)
    artwork = _artwork(given, base)
    return Order(
        artwork,
        read_band(given, told=given.yes("grid")),
        _part(given, DrawerRequest, stash=_path(given, "stash", base)),
        _tying(given),
        given.text("title") or artwork.title,
        given.number("pace") or USUAL_PACE_S,
        _part(given, Search),
    )


def _part(given: Given, part: type[Part], **known: Any) -> Part:
    """A part of a request: the ``known`` fields, and each other one as its option says, if it does."""
    options = {field.name: option_of(field.name) for field in fields(part) if field.name not in known}
    said = {name: given.value(option) for name, option in options.items()}
    return part(**known, **{name: value for name, value in said.items() if value is not None})


def _artwork(given: Given, base: Path | None) -> Artwork:
    letters, picture = given.text("letters"), _path(given, "picture", base)
    if (letters is None) == (picture is None):
        raise InputError(
            f"{given.where('letters')}: give one picture, or letters"
            f"{', not both' if letters is not None else ''}.",
            "Name a picture file, or letters such as RC.",
        )
    turn = (given.whole("turn") or 0) % 4
    if picture is not None:
        return _part(given, PictureSource, path=picture, crop=_crop(given), turn=turn)
    direction = "across" if given.yes("across") else "along"
    return _part(given, LetterSource, font=_path(given, "font", base), direction=direction, turn=turn)


def read_band(given: Given, *, told: bool = False) -> Band:
    """The band that was asked for.

    Without a wrist the usual one is taken, unless rows or something else (``told``) tell the length.
    """
    wrist_mm = _wrist(given)
    usual = wrist_mm is None and given.whole("rows") is None and not told
    return _part(
        given,
        Band,
        wrist_mm=USUAL_WRIST_MM if usual else wrist_mm,
        usual_wrist=usual,
        gauge=_gauge(given),
        border=given.value("border-kind") or ("lines" if given.yes("border") else None),
    )


def _wrist(given: Given) -> float | None:
    text = given.text("wrist")
    if text is None:
        return None
    size = size_named(text)
    if size is not None:
        return float(size.wrist_mm)
    if text.strip()[:1].isalpha():
        known = ", ".join(size.name for size in SIZES)
        raise given.refusal("wrist", "is no size.", f"Give a length or one of {known}.")
    return given.length("wrist", LIKELY_WRIST_MM)


def _gauge(given: Given) -> str | float | None:
    """A diameter if it is a length, else a name."""
    text = given.text("gauge")
    if text is None or not text.strip()[:1].isdigit():
        return text
    try:
        return parse_length(text, given.where("gauge"))
    except InputError:
        return text


def read_margin(given: Given) -> float | None:
    """The reserve as a share."""
    percent = given.whole("margin")
    return None if percent is None else percent / 100


def _tying(given: Given) -> Tying:
    order = given.names("start-order")
    start_order = None if order is None else tuple(None if name == "*" else name for name in order)
    return _part(given, Tying, ease=_ease(given), start_order=start_order, margin=read_margin(given))


def _ease(given: Given) -> Ease:
    """Hand-overs allowed, under either name."""
    ease, allowed = given.word("ease", EASES), given.word("hand-overs", tuple(EASE_OF))
    meant: EaseName | None = None if allowed is None else EASE_OF[allowed]
    if ease is not None and meant is not None and ease != meant:
        raise given.refusal("hand-overs", f"and {given.where('ease')} {ease} differ.", "Give one of them.")
    return Ease(ease or meant or "light")


def _crop(given: Given) -> tuple[float, float, float, float] | None:
    """Left, top, right and bottom as shares of the picture."""
    text = given.text("crop")
    if text is None:
        return None
    try:
        left, top, right, bottom = (float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        left = math.nan
    if math.isnan(left) or not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise given.refusal(
            "crop", "is not a part of the picture.",
            "Write left,top,right,bottom as shares from 0 to 1, such as 0.1,0,0.9,1.",
        )  # fmt: skip
    return left, top, right, bottom


def _path(given: Given, name: str, base: Path | None) -> Path | None:
    text = given.text(name)
    if text is None:
        return None
    return Path(text) if base is None else base / text
