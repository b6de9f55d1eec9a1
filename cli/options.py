"""Turns the words of flags into values; every refusal names its flag."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from cli.units import parse_length
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.band.pattern import EndStyle

MAX_NAMES = 2000


def names(text: str | None, flag: str) -> tuple[str, ...] | None:
    """Split a list of thread names at commas; a name that holds a comma stands in double quotes.

    >>> names('navy, "red, dark"', "--threads")
    ('navy', 'red, dark')
    """
    from pipeline.drawer.stash import split_names

    if text is None:
        return None
    parts = split_names(text)
    if not parts or not all(parts) or len(parts) > MAX_NAMES:
        raise InputError(f"{flag}: {text[:60]!r} has an empty name.", "Write the names with commas between.")
    return parts


def at_most(words: Sequence[str] | None) -> dict[str, int]:
    """Read NAME=COUNT words.

    >>> at_most(["navy=3"])
    {'navy': 3}
    """
    found: dict[str, int] = {}
    for word in words or ():
        name, equals, count = word.rpartition("=")
        if not equals or not name.strip() or not count.strip().isdecimal() or len(count) > 6:
            raise InputError(f"--at-most: {word[:60]!r} is not NAME=COUNT.", "Write it as navy=6.")
        if name.strip() in found:
            raise InputError(f"--at-most: {name.strip()!r} is named twice.", "Name each thread once.")
        found[name.strip()] = int(count)
    return found


def start_order(text: str | None) -> tuple[str | None, ...] | None:
    """Read the threads of the starting positions; ``*`` leaves one free.

    >>> start_order("navy,*,chalk")
    ('navy', None, 'chalk')
    """
    order = names(text, "--start-order")
    return None if order is None else tuple(None if name == "*" else name for name in order)


def crop(text: str | None) -> tuple[float, float, float, float] | None:
    """Read left, top, right, bottom as shares of the picture, 0 to 1.

    >>> crop("0,0,0.5,1")
    (0.0, 0.0, 0.5, 1.0)
    """
    if text is None:
        return None
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) == 4 and all(math.isfinite(x) for x in numbers):
        left, top, right, bottom = numbers
        if 0 <= left < right <= 1 and 0 <= top < bottom <= 1:
            return left, top, right, bottom
    raise InputError(
        f"--crop: {text[:60]!r} is not a part of the picture.",
        "Write left,top,right,bottom as shares from 0 to 1, such as 0.1,0,0.9,1.",
    )


DEFAULT_WRIST = "adult-medium"


def wrist(text: str | None, *, default: bool) -> float | None:
    """Read a wrist as a length or a size's name; without one, the usual size if ``default``."""
    from pipeline.materials.fit import SIZES, size_named

    if text is None:
        if not default:
            return None
        text = DEFAULT_WRIST
    size = size_named(text)
    if size is not None:
        return float(size.wrist_mm)
    if text.strip()[:1].isalpha():
        known = ", ".join(size.name for size in SIZES)
        raise InputError(f"--wrist: there is no size {text[:60]!r}.", f"Give a length or one of {known}.")
    return parse_length(text, "--wrist")


def gauge(text: str | None) -> str | float | None:
    """Read a gauge: a diameter if it is a length, else a name."""
    if text is None or not text.strip()[:1].isdigit():
        return text
    try:
        return parse_length(text, "--gauge")
    except InputError:
        return text


def style(text: str, flag: str) -> EndStyle:
    """Read the style of an end."""
    from typing import get_args

    from pipeline.band.pattern import EndStyle

    known = get_args(EndStyle)
    if text not in known:
        raise InputError(f"{flag}: there is no style {text[:60]!r}.", f"Styles: {', '.join(known)}.")
    return text  # type: ignore[return-value]
