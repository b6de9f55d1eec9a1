"""Any font -> glyphs in cells: drawn large, then reduced so that thin strokes survive.

A cell is ink if half of it is covered, or if the middle line of a stroke runs through it.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from pipeline.errors import InputError
from pipeline.files.channels import label
from pipeline.files.reading import Kind, read_plain
from pipeline.motif.alphabet import Glyph

_FINE, _FINEST = 16, 640  # pixels a cell, and at most in a line, when drawn large
_REFERENCE = "H"  # a line is as high as a capital at least, so that a full stop is not blown up
_RUN = 0.45  # share of a cell's width that a middle line must run through it; our own, by looking
_LEAST = 0.2  # share of a cell that such a line must ink, or it is a mere spur of the middle line
_BUILT_IN = resources.files("pipeline.writers").joinpath("sans-bold.ttf")
_ANOTHER = "Name another font file (TrueType or OpenType) with --font."
FONT = Kind("font", 20_000_000, _ANOTHER)


def typeset(letters: Sequence[str], height: int, font: Path | None) -> dict[str, Glyph]:
    """Return a glyph for each letter but the space, all on one line of ``height`` rows.

    ``font`` is a TrueType or OpenType file; None takes the bold one that the charts are set in, which
    has Latin, Greek and Cyrillic. The line reaches from the highest to the lowest ink of the text and
    of a capital H. Raises ``InputError`` for a file that is not a font or lacks a letter.
    """
    wanted = list(dict.fromkeys(letter for letter in letters if letter != " "))
    where = _label(font)
    if not wanted:
        return {}
    data = _BUILT_IN.read_bytes() if font is None else read_plain(font, FONT)
    try:
        face = _face(data, 200.0)
        _refuse_missing(face, wanted, where)
        measured = wanted if _missing(face, [_REFERENCE]) else [*wanted, _REFERENCE]
        top, bottom = _extent(face, measured)
        pixels = height * max(1, min(_FINE, _FINEST // height))
        face = _face(data, 200.0 * pixels / max(20, bottom - top))
        top, bottom = _extent(face, measured)
        return {letter: _reduced(_mask(face, letter, top, bottom), height) for letter in wanted}
    except (OSError, ValueError, MemoryError) as error:
        raise InputError(f"{where} cannot be used as a font.", _ANOTHER) from error


def _label(font: Path | None) -> str:
    return "The built-in font" if font is None else f"The font {label(font.name)}"


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
        raise InputError(f"{where} has no {names}{more}.", _ANOTHER)


def _mask(face: ImageFont.FreeTypeFont, letter: str, top: int, bottom: int) -> NDArray[np.bool_]:
    """Draw one letter, cropped to its own columns and to the rows of the line."""
    left, _, right, _ = (int(edge) for edge in face.getbbox(letter, anchor="ls"))
    image = Image.new("L", (max(1, right - left), max(1, bottom - top)))
    ImageDraw.Draw(image).text((-left, -top), letter, fill=255, font=face, anchor="ls")
    mask = np.asarray(image) >= 128
    columns = np.flatnonzero(mask.any(axis=0))
    return mask[:, columns[0] : columns[-1] + 1] if columns.size else mask


def _reduced(mask: NDArray[np.bool_], height: int) -> Glyph:
    """Reduce to ``height`` rows and as many whole columns as keep the shape."""
    from skimage.morphology import skeletonize

    rows, columns = mask.shape
    width = max(1, round(columns * height / rows))
    down = np.linspace(0, rows, height + 1).round().astype(int)
    across = np.linspace(0, columns, width + 1).round().astype(int)

    def total(samples: NDArray[np.bool_]) -> NDArray[np.float64]:
        sums = np.zeros((rows + 1, columns + 1))
        sums[1:, 1:] = samples.cumsum(axis=0).cumsum(axis=1)
        corners = sums[np.ix_(down, across)]
        return np.asarray(np.diff(np.diff(corners, axis=0), axis=1))

    area = np.outer(np.diff(down), np.diff(across))
    middle: NDArray[np.bool_] = np.asarray(skeletonize(mask))  # type: ignore[no-untyped-call]
    inked = total(mask) / area
    crossed = total(middle) >= _RUN * np.sqrt(area)
    cells = (inked >= 0.5) | (crossed & (inked >= _LEAST))
    if not cells.any():  # a dot smaller than half a cell
        cells = inked == inked.max()
    return Glyph(cells, 0)
