"""Draws letters from a font: in the confined process for a font of the maker's, here for the one built in."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence
from typing import Any

from PIL import Image, ImageDraw, ImageFont

from pipeline.errors import InputError

ANOTHER = "Name another font file (TrueType or OpenType) with --font."
_FINE, _FINEST = 16, 640  # pixels a cell, and at most in a line, when drawn large
_REFERENCE = "H"  # a line is as high as a capital at least, so that a full stop is not blown up
_MOST_PIXELS = 4_000_000
"""Of one letter drawn large; a font may claim letters that are miles wide."""


def prepare() -> None:
    """Load the font reader while files can be opened."""
    ImageFont.Layout  # noqa: B018
    Image.new("L", (1, 1)).tobytes()


def work(task: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes]:
    """Draw the letters of ``task["letters"]`` for lines of ``task["height"]`` cells.

    Answers the width and height of each drawing in pixels, and their pixels, 0 or 255, one after another.
    """
    letters, height, where = task["letters"], task["height"], task["name"]
    try:
        face = _face(data, 200.0)
        _refuse_missing(face, letters, where)
        measured = letters if _missing(face, [_REFERENCE]) else [*letters, _REFERENCE]
        top, bottom = _extent(face, measured)
        pixels = height * max(1, min(_FINE, _FINEST // height))
        face = _face(data, 200.0 * pixels / max(20, bottom - top))
        top, bottom = _extent(face, measured)
        drawn = [_drawing(face, letter, top, bottom) for letter in letters]
    except (OSError, ValueError, MemoryError) as error:
        raise InputError(f"{where} cannot be used as a font.", ANOTHER) from error
    return {"sizes": [image.size for image in drawn]}, b"".join(image.tobytes() for image in drawn)


def _face(data: bytes, size: float) -> ImageFont.FreeTypeFont:
    # Basic layout: the same on every machine, whatever shaping library is there.
    return ImageFont.truetype(io.BytesIO(data), size, layout_engine=ImageFont.Layout.BASIC)


def _extent(face: ImageFont.FreeTypeFont, letters: Sequence[str]) -> tuple[int, int]:
    """Return the highest and lowest pixel rows of ink, counted from the baseline downwards."""
    boxes = [face.getbbox(letter, anchor="ls") for letter in letters]
    return int(min(box[1] for box in boxes)), int(max(box[3] for box in boxes))


def _missing(face: ImageFont.FreeTypeFont, letters: Sequence[str]) -> list[str]:
    """Return letters not in a font: those it draws blank, or as it draws a character that never exists."""
    absent = bytes(face.getmask("\U0010ffff"))

    def is_missing(character: str) -> bool:
        drawing = bytes(face.getmask(character))
        return drawing == absent or not any(drawing)

    return [letter for letter in letters if any(is_missing(character) for character in letter)]


def _refuse_missing(face: ImageFont.FreeTypeFont, letters: Sequence[str], where: str) -> None:
    missing = _missing(face, letters)
    if missing:
        names = ", ".join(f"{letter} ({unicodedata.name(letter[0], '?').lower()})" for letter in missing[:6])
        more = " and others" if len(missing) > 6 else ""
        raise InputError(f"{where} has no {names}{more}.", ANOTHER)


def _drawing(face: ImageFont.FreeTypeFont, letter: str, top: int, bottom: int) -> Image.Image:
    """Draw one letter, cropped to its own columns and to the rows of the line: 0 or 255."""
    left, _, right, _ = (int(edge) for edge in face.getbbox(letter, anchor="ls"))
    width, height = max(1, right - left), max(1, bottom - top)
    if width * height > _MOST_PIXELS:
        raise ValueError("a letter far too large")
    image = Image.new("L", (width, height))
    ImageDraw.Draw(image).text((-left, -top), letter, fill=255, font=face, anchor="ls")
    mask = image.point(lambda value: 255 if value >= 128 else 0)
    box = mask.getbbox()
    return mask.crop((box[0], 0, box[2], height)) if box else mask
