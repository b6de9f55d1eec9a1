"""The drawn alphabets: text files of cells -> glyphs, accented letters composed from base and marks.

A file ``alphabets/HEIGHT.txt`` holds blocks divided by empty lines. The first line of a block names
its glyphs, the lines below draw them side by side, ``#`` for ink. The last of the first HEIGHT lines
is the baseline; further lines lie below it. Names longer than a character are marks (``acute``);
``space``, ``gap`` and ``kern`` set numbers of cells; lines that begin with ``;`` are remarks.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

HEIGHTS = (5, 7, 9, 12)
"""Cells from the baseline to the top of a capital, of each drawn alphabet."""

_MARKS = {
    "grave": "\u0300", "acute": "\u0301", "circumflex": "\u0302", "tilde": "\u0303", "macron": "\u0304",
    "breve": "\u0306", "dot": "\u0307", "diaeresis": "\u0308", "ring": "\u030a", "double-acute": "\u030b",
    "caron": "\u030c", "comma-above": "\u0312", "comma-beside": "\u0315", "comma-below": "\u0326",
    "cedilla": "\u0327", "ogonek": "\u0328",
}  # fmt: skip
_BELOW = {_MARKS["comma-below"], _MARKS["cedilla"], _MARKS["ogonek"]}
_RISING = {_MARKS["acute"], _MARKS["double-acute"]}
_DOTLESS = {"i": "ı", "j": "ȷ"}
_SAME_LOOK = str.maketrans("’‘ʼ“”„–—‐−♡☆", "'''\"\"\"----♥★")


@dataclass(frozen=True, slots=True)
class Glyph:
    """The cells of one letter: bool (rows, width); the last ``below`` rows lie under the baseline."""

    cells: NDArray[np.bool_]
    below: int

    @property
    def above(self) -> int:
        """Rows on and above the baseline."""
        return int(self.cells.shape[0]) - self.below

    @property
    def width(self) -> int:
        return int(self.cells.shape[1])


@dataclass(frozen=True, slots=True)
class Alphabet:
    """Glyphs of one height. ``space``, ``gap`` (mark to letter) and ``kern`` (closest overlap) in cells."""

    height: int
    glyphs: dict[str, Glyph]
    marks: dict[str, tuple[Glyph, ...]]
    space: int
    gap: int
    kern: int

    def glyph(self, letter: str) -> Glyph | None:
        """Return the glyph of a letter, composed if need be, or None if it is not drawn.

        ``letter`` is one character, or a character and the combining marks that follow it.
        """
        letter = unicodedata.normalize("NFC", letter).translate(_SAME_LOOK)
        if letter in self.glyphs:
            return self.glyphs[letter]
        base, *marks = list(unicodedata.normalize("NFD", letter))
        marks = [_customary(base, mark) for mark in marks]
        if any(mark not in _BELOW for mark in marks):
            base = _DOTLESS.get(base, base)
        glyph = self.glyphs.get(base)
        for mark in marks:
            if glyph is None or mark not in self.marks:
                return None
            glyph = self._marked(glyph, mark)
        return glyph

    def _marked(self, base: Glyph, mark: str) -> Glyph:
        def unsuitable(shape: Glyph) -> tuple[bool, int, int]:
            wider = max(0, shape.width - base.width)
            return (shape.width - base.width) % 2 != 0, wider, -shape.width

        shape = min(self.marks[mark], key=unsuitable)
        if mark == _MARKS["comma-beside"]:
            return _beside(base, shape, self.height)
        if mark in _BELOW:
            return _under(base, shape, to_the_right=mark == _MARKS["ogonek"])
        return _over(base, shape, self.gap, to_the_right=mark in _RISING)


@cache
def drawn(height: int) -> Alphabet:
    """Return the drawn alphabet of one of ``HEIGHTS``.

    >>> drawn(7).glyph("é").cells.shape  # five cells, a gap, and an accent of two
    (8, 4)
    """
    text = resources.files("pipeline.motif.alphabets").joinpath(f"{height}.txt").read_text(encoding="utf-8")
    return parse(text, height)


def parse(text: str, height: int) -> Alphabet:
    r"""Read an alphabet file; raises ``ValueError`` naming the block that is not well formed.

    >>> alphabet = parse("space 2\ngap 1\nkern 1\n\nL T\n#. ###\n#. .#.\n## .#.\n", 3)
    >>> alphabet.glyph("L").cells.astype(int).tolist()
    [[1, 0], [1, 0], [1, 1]]
    """
    glyphs: dict[str, Glyph] = {}
    marks: dict[str, list[Glyph]] = {}
    numbers: dict[str, int] = {}
    lines = [line for line in text.splitlines() if not line.startswith(";")]
    for block in re.split(r"\n\s*\n", "\n".join(lines).strip()):
        rows = [line.split() for line in block.splitlines()]
        if rows[0][0] in ("space", "gap", "kern") and len(rows[0]) == 2:
            numbers |= {key: int(value) for key, value in rows}
            continue
        names, drawing = rows[0], rows[1:]
        if any(len(row) != len(names) for row in drawing):
            raise ValueError(f"alphabet {height}, block {' '.join(names)}: a row has a cell too many or few")
        for name, column in zip(names, zip(*drawing, strict=True), strict=True):
            if len({len(row) for row in column}) != 1 or set("".join(column)) - {"#", "."}:
                raise ValueError(f"alphabet {height}: {name} is not a rectangle of # and .")
            cells = np.array([[c == "#" for c in row] for row in column])
            if len(name) > 1:
                marks.setdefault(_MARKS[name], []).append(_mark(cells, _MARKS[name]))
            else:
                below = max(0, len(column) - height)
                glyphs[name] = _trimmed(cells, below)
    return Alphabet(height, glyphs, {mark: tuple(shapes) for mark, shapes in marks.items()}, **numbers)


def _trimmed(cells: NDArray[np.bool_], below: int) -> Glyph:
    """Drop empty rows above and, under the baseline, below; and empty columns on both sides."""
    rows = np.flatnonzero(cells.any(axis=1))
    columns = np.flatnonzero(cells.any(axis=0))
    last = max(rows[-1] + 1, cells.shape[0] - below)
    kept = cells[rows[0] : last, columns[0] : columns[-1] + 1]
    return Glyph(kept, int(below - (cells.shape[0] - last)))


def _mark(cells: NDArray[np.bool_], mark: str) -> Glyph:
    """A mark below keeps its empty first row, which is its distance from the letter."""
    if mark in _BELOW:
        return Glyph(cells, cells.shape[0])
    return _trimmed(cells, 0)


def _customary(base: str, mark: str) -> str:
    """Carons of d, l, t are written beside the letter, Latvian cedillas as a comma below or above."""
    if mark == _MARKS["caron"] and base in "dltL":
        return _MARKS["comma-beside"]
    if mark == _MARKS["cedilla"] and base in "DGKLNRklnr":
        return _MARKS["comma-below"]
    if mark == _MARKS["cedilla"] and base == "g":
        return _MARKS["comma-above"]
    return mark


def _with(base: Glyph, mark: Glyph, down: int, right: int) -> Glyph:
    """A letter and a mark whose corner lies so far down and to the right of the letter's."""
    top, left = min(0, down), min(0, right)
    rows = max(base.cells.shape[0], down + mark.cells.shape[0]) - top
    cells = np.zeros((rows, max(base.width, right + mark.width) - left), dtype=bool)
    for part, y, x in ((base, -top, -left), (mark, down - top, right - left)):
        cells[y : y + part.cells.shape[0], x : x + part.width] |= part.cells
    return Glyph(cells, rows + top - base.above)


def _over(base: Glyph, shape: Glyph, gap: int, *, to_the_right: bool) -> Glyph:
    """Set a mark over the middle of a letter; an odd cell left over goes to the side it points to."""
    width = max(base.width, shape.width)
    right = (width - shape.width + to_the_right) // 2 - (width - base.width) // 2
    return _with(base, shape, -shape.cells.shape[0] - gap, right)


def _under(base: Glyph, shape: Glyph, *, to_the_right: bool) -> Glyph:
    """Hang a mark from the baseline, under the middle or the right edge of a letter."""
    if to_the_right:
        return _with(base, shape, base.above, max(0, base.width - shape.width))
    width = max(base.width, shape.width)
    return _with(base, shape, base.above, (width - shape.width + 1) // 2 - (width - base.width) // 2)


def _beside(base: Glyph, shape: Glyph, height: int) -> Glyph:
    """Set a mark after a letter at the height of capitals, one cell away from what is there."""
    first = max(0, base.above - height)
    columns = np.flatnonzero(base.cells[first : first + shape.cells.shape[0] + 1].any(axis=0))
    return _with(base, shape, base.above - height, (int(columns[-1]) + 2) if columns.size else 0)
