"""Initials, names and numbers -> cells: letters drawn for the purpose, or any font reduced to cells.

Letters stand on a baseline. A capital is as high as its alphabet is named; marks above capitals and
tails below the baseline make the line higher, and ``Lettering.ink`` then has as many rows more.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.colour import parse_hex
from pipeline.errors import InputError
from pipeline.limits import MOST_LETTERS
from pipeline.motif.alphabet import HEIGHTS, Glyph, drawn
from pipeline.motif.picture import Picture
from pipeline.motif.typeface import typeset

HIGHEST = 200
"""The most cells that a letter may be high."""

_VIRAMA = 9  # Unicode's combining class of the signs that join two consonants
_AS_PICTURE = "Draw the word as a picture and plan from that."


@dataclass(frozen=True, slots=True)
class Lettering:
    """A line of letters in cells, upright, reading left to right.

    ``ink``: int64 (rows, width), read-only: 0 is ground, i the i-th letter of ``text``, counted from
    1 and with the spaces. ``text``: the letters, marks composed (Unicode NFC). ``widths``: the cells
    across each letter.
    """

    text: str
    ink: NDArray[np.int64]
    widths: tuple[int, ...]

    def __post_init__(self) -> None:
        self.ink.flags.writeable = False

    @property
    def height(self) -> int:
        """Rows of the line, marks and tails included."""
        return int(self.ink.shape[0])

    @property
    def widest(self) -> int:
        """Cells across the widest letter."""
        return max(self.widths)

    def as_picture(self, colours: Sequence[str], *, magnify: int = 16) -> Picture:
        """Draw the line with square cells of ``magnify`` pixels.

        ``colours`` ("#rrggbb"): the ground's first, then those that the letters take in turn.

        >>> set_letters("RC", height=7).as_picture(["#1b2a59", "#f6f3ea"], magnify=8).rgb.shape
        (56, 88, 3)
        """
        ground, *inks = (parse_hex(colour) for colour in colours)
        if not inks:
            raise InputError(
                "Letters need two colours at least.", "Name one for the ground and one for them."
            )
        seen = [number for number in np.unique(self.ink) if number]
        table = np.tile(np.array(ground, dtype=np.uint8), (int(self.ink.max()) + 1, 1))
        for turn, number in enumerate(seen):
            table[number] = inks[turn % len(inks)]
        rgb = table[self.ink].repeat(magnify, axis=0).repeat(magnify, axis=1)
        return Picture(rgb, ground, self.text.strip() or "letters")


def best_height(cells_across: int, text: str = "") -> int:
    """Return the drawn height that suits letters running along a band so many cells wide.

    The largest whose line, with the marks and tails of ``text``, leaves a cell of ground at both
    edges; if none does, the largest that fits without. Raises ``InputError`` if none fits.

    >>> best_height(16), best_height(12), best_height(7), best_height(12, "Änne")
    (12, 9, 5, 7)
    """
    rows = {height: _line_rows(height, text) for height in HEIGHTS}
    lines = [(height, needed) for height, needed in rows.items() if needed is not None]
    for margin in (2, 0):
        fitting = [height for height, needed in lines if needed + margin <= cells_across]
        if fitting:
            return fitting[-1]
    least = min(needed for _, needed in lines)
    raise InputError(
        f"a width of {cells_across} is too few cells for these letters, which need {least}.",
        f"Use {least + 1} strands or more{', or capitals' if text != text.upper() else ''}.",
    )


def _line_rows(height: int, text: str) -> int | None:
    """Rows of a line of drawn letters, or None if they are not drawn at this height."""
    glyphs = [drawn(height).glyph(letter) for letter in _letters(text) if letter != " "] if text else []
    known = [glyph for glyph in glyphs if glyph is not None]
    if len(known) == len(glyphs):
        return sum(_room(height, known))
    return None if all(_is_drawn(letter) for letter in _letters(text)) else height


def _is_drawn(letter: str) -> bool:
    """Whether any alphabet has the letter: the largest has all that the others have."""
    return letter == " " or drawn(HEIGHTS[-1]).glyph(letter) is not None


def set_letters(text: str, *, height: int, font: Path | None = None, spacing: int = 1) -> Lettering:
    """Set a line of letters ``height`` cells high, at least ``spacing`` cells of ground between them.

    Without ``font`` the drawn alphabet of that height is used, or the largest that divides it,
    magnified; a line with letters that no drawn alphabet has comes from the font of the charts. With a
    font the whole line, marks and tails included, is ``height`` cells high.

    Raises ``InputError`` for letters that cannot be drawn, naming them; for no text or too much.

    >>> for row in set_letters("LT", height=5).ink.tolist():
    ...     print("".join(".12"[number] for number in row))
    1..22222
    1....2..
    1....2..
    1....2..
    111..2..
    """
    letters = _letters(text)
    if not 3 <= height <= HIGHEST or not 0 <= spacing <= 50:
        raise InputError(
            f"Letters {height} cells high, {spacing} apart, cannot be set.", "Use a height of 5, 7, 9 or 12."
        )
    if font is not None or not all(map(_is_drawn, letters)):
        return _line(text, letters, typeset(letters, height, font), height, spacing, height // 3 + 1, 0)
    own = max((h for h in HEIGHTS if height % h == 0), default=None)
    if own is None:
        raise InputError(
            f"There is no drawn alphabet {height} cells high.",
            f"Use {', '.join(map(str, HEIGHTS))} or a multiple, or name a font.",
        )
    alphabet, times = drawn(own), height // own
    glyphs = {letter: alphabet.glyph(letter) for letter in letters if letter != " "}
    missing = [letter for letter, glyph in glyphs.items() if glyph is None]
    if missing:
        raise InputError(
            f"There is no {_named(missing)} {height} cells high.",
            "Use capitals, or a height of 7 or more."
            if own == 5
            else "Use another height, or other letters.",
        )
    ready = {letter: _magnified(glyph, times) for letter, glyph in glyphs.items() if glyph is not None}
    return _line(text, letters, ready, height, spacing, alphabet.space * times, alphabet.kern * times)


def _letters(text: str) -> tuple[str, ...]:
    """Split into letters with their marks; refuse what is not to be seen or has no order here."""
    if len(text) > MOST_LETTERS:
        raise InputError(
            f"{len(text)} letters are more than the {MOST_LETTERS} that a band is set with.",
            "Use fewer letters.",
        )
    text = unicodedata.normalize("NFC", text)
    if all(unicodedata.category(character) == "Zs" for character in text):
        raise InputError("There are no letters to set.", 'Give some, for instance --letters "RC".')
    letters: list[str] = []
    for number, character in enumerate(text, start=1):
        category = unicodedata.category(character)
        if category == "Zs":
            letters.append(" ")
        elif category[0] == "C" or category in ("Zl", "Zp"):
            what = unicodedata.name(character, f"U+{ord(character):04X}")
            raise InputError(
                f"Character {number} of the text ({what.lower()}) is not a letter that can be seen.",
                "Type the text again without it.",
            )
        elif category == "Mc" or unicodedata.combining(character) == _VIRAMA:
            raise InputError(
                f"Character {number} of the text is of a script whose letters join, which is not set here.",
                _AS_PICTURE,
            )
        elif category[0] == "M":
            if not letters or letters[-1] == " ":
                raise InputError(
                    f"Character {number} of the text is a mark without a letter.", "Put a letter before it."
                )
            if len(letters[-1]) > 3:
                raise InputError(
                    f"Letter {len(letters)} of the text has more marks than can be drawn.", "Use fewer marks."
                )
            letters[-1] += character
        else:
            letters.append(character)
    return _in_reading_order(tuple(letters))


def _in_reading_order(letters: tuple[str, ...]) -> tuple[str, ...]:
    """Refuse scripts that run from right to left."""
    wrong = [s for s in letters if unicodedata.bidirectional(s[0]) in ("R", "AL", "AN")]
    if wrong:
        raise InputError(
            f"{_named(wrong)} belong to a script that runs from right to left, which is not set here.",
            _AS_PICTURE,
        )
    return letters


def _line(
    text: str,
    letters: Sequence[str],
    glyphs: dict[str, Glyph],
    height: int,
    spacing: int,
    space: int,
    kern: int,
) -> Lettering:
    """Set the glyphs side by side, as close as ``spacing`` allows but overlapping by ``kern`` at most."""
    above, below = _room(height, list(glyphs.values()))
    blank = np.zeros((above + below, space), dtype=bool)
    boxes = [_box(glyphs[letter], above, below) if letter in glyphs else blank for letter in letters]
    lefts: list[int] = []
    edge = np.full(above + below, _NOWHERE)
    end = 0
    for letter, box in zip(letters, boxes, strict=True):
        left = end
        if letter == " ":
            edge = np.full_like(edge, end + space)
        elif lefts:
            left = max(end + spacing - kern, _closest(edge, box) + spacing)
        if letter != " ":
            edge = np.maximum(edge, _right_edge(box) + left)
        lefts.append(left)
        end = left + box.shape[1]
    ink = np.zeros((above + below, end), dtype=np.int64)
    for number, (left, box) in enumerate(zip(lefts, boxes, strict=True), start=1):
        ink[:, left : left + box.shape[1]][box] = number
    return Lettering(unicodedata.normalize("NFC", text), ink, tuple(box.shape[1] for box in boxes))


_NOWHERE = -10_000  # further left than any edge


def _right_edge(box: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Columns up to the last ink of each row or one of its neighbours, so that no corners touch."""
    columns = np.arange(1, box.shape[1] + 1)
    own = np.where(box, columns, _NOWHERE).max(axis=1)
    padded = np.pad(own, 1, constant_values=_NOWHERE)
    return np.asarray(np.maximum(np.maximum(padded[:-2], padded[1:-1]), padded[2:]), dtype=np.int64)


def _closest(edge: NDArray[np.int64], box: NDArray[np.bool_]) -> int:
    """The left end at which the box would just touch the edge."""
    first = np.where(box.any(axis=1), box.argmax(axis=1), -_NOWHERE)
    return int((edge - first).max())


def _room(height: int, glyphs: Sequence[Glyph]) -> tuple[int, int]:
    """Rows above and below the baseline that the glyphs need, a capital's height at least."""
    return max([height, *(g.above for g in glyphs)]), max([0, *(g.below for g in glyphs)])


def _box(glyph: Glyph, above: int, below: int) -> NDArray[np.bool_]:
    return np.pad(glyph.cells, ((above - glyph.above, below - glyph.below), (0, 0)))


def _magnified(glyph: Glyph, times: int) -> Glyph:
    return Glyph(glyph.cells.repeat(times, axis=0).repeat(times, axis=1), glyph.below * times)


def _named(letters: Sequence[str]) -> str:
    """Name letters for a message, each once, a dozen at most."""
    once = list(dict.fromkeys(letters))
    return " ".join(once[:12]) + (" …" if len(once) > 12 else "")
