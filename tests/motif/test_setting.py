"""Setting lines: spacing, numbering, heights, fonts, and text that cannot be set."""

from __future__ import annotations

import gzip
import itertools
import random
import resource
import struct
import zlib
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
import reportlab
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from pipeline.errors import InputError
from pipeline.limits import MOST_LETTERS
from pipeline.motif import confined
from pipeline.motif.alphabet import HEIGHTS
from pipeline.motif.lettering import best_height, set_letters
from pipeline.motif.typeface import typeset

VERA = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"  # a font that comes with a dependency
TEXT = st.text("ABRCILTVWYÄÉŞabgjloptzäéş0127&.,!'-+ ♥", min_size=1, max_size=12).filter(str.strip)


@given(TEXT, st.sampled_from([7, 9, 12]), st.integers(1, 3))
def test_letters_are_numbered_in_order_and_never_touch(text: str, height: int, spacing: int) -> None:
    line = set_letters(text, height=height, spacing=spacing)
    numbers = [i for i, letter in enumerate(text, start=1) if letter != " "]
    assert [int(n) for n in np.unique(line.ink) if n] == numbers
    for number in numbers:
        near = ndimage.binary_dilation(line.ink == number, np.ones((3, 3)))
        assert set(np.unique(line.ink[near])) <= {0, number}
    middles = [np.flatnonzero((line.ink == number).any(axis=0)).mean() for number in numbers]
    assert middles == sorted(middles)
    assert line.height >= height
    assert len(line.widths) == len(text)


def test_small_signs_do_not_let_their_neighbours_collide() -> None:
    for text in ("T.T", "L'L", "T.,T", "Y.A'Y", "7.7"):
        for height in (7, 9, 12):
            ink = set_letters(text, height=height).ink
            last = len(text)
            near = ndimage.binary_dilation(ink == last, np.ones((3, 3)))
            assert set(np.unique(ink[near])) <= {0, last}, (text, height)


@given(TEXT)
def test_gaps_in_a_row_are_no_smaller_than_the_spacing(text: str) -> None:
    for spacing in (1, 2):
        for row in set_letters(text, height=9, spacing=spacing).ink:
            columns = np.flatnonzero(row)
            for a, b in itertools.pairwise(columns):
                assert row[a] == row[b] or b - a > spacing


def test_slanted_neighbours_move_together_by_the_kern_of_the_alphabet() -> None:
    for height, kern in ((7, 1), (9, 1), (12, 2)):
        pair = set_letters("LT", height=height)
        assert pair.ink.shape[1] == sum(pair.widths) + 1 - kern
        assert set_letters("HH", height=height).ink.shape[1] == 2 * set_letters("H", height=height).widest + 1


def test_marks_and_tails_make_the_line_higher() -> None:
    for height in HEIGHTS:
        assert set_letters("RC 2026", height=height).height == height
        assert set_letters("É", height=height).height > height
        assert set_letters("Ç", height=height).height > height
    plain, tailed = set_letters("Rowan", height=9), set_letters("Rowang", height=9)
    assert tailed.height == plain.height + 2
    assert (tailed.ink[: plain.height, : plain.ink.shape[1]] == plain.ink).all()


def test_decomposed_text_is_the_same_as_composed() -> None:
    assert (set_letters("E\u0301a", height=9).ink == set_letters("Éa", height=9).ink).all()
    assert set_letters("E\u0301a", height=9).text == "Éa"
    # A pair that Unicode has no single character for is drawn from base and mark all the same.
    assert set_letters("x\u0302", height=9).height > 6


@pytest.mark.parametrize("pair", [("’", "'"), ("–", "-"), ("♡", "♥"), ("\u00a0", " ")])
def test_signs_that_look_alike_are_the_same(pair: tuple[str, str]) -> None:
    a, b = (set_letters(f"R{sign}C", height=9).ink for sign in pair)
    assert (a == b).all()


def test_multiples_of_a_height_are_magnified() -> None:
    for letter in "Rgé":
        small, large = set_letters(letter, height=12), set_letters(letter, height=24)
        assert (large.ink == small.ink.repeat(2, axis=0).repeat(2, axis=1)).all()
    assert set_letters("R", height=14).ink.shape == (14, 10)


@pytest.mark.parametrize(
    ("cells", "text", "expected"),
    [
        (5, "RC", 5),
        (8, "RC", 5),
        (9, "RC", 7),
        (13, "RC", 9),
        (16, "RC", 12),
        (40, "", 12),
        (9, "Rowan", 7),
        (12, "gig", 7),
        (18, "Éva", 12),
        (15, "Éva", 9),
        (11, "Ω", 9),
    ],
)
def test_the_best_height_leaves_room_for_marks_and_tails(cells: int, text: str, expected: int) -> None:
    height = best_height(cells, text)
    assert height == expected
    assert set_letters(text or "H", height=height).height <= cells


@given(st.integers(1, 60), TEXT)
def test_the_best_height_fits_or_says_why(cells: int, text: str) -> None:
    try:
        height = best_height(cells, text)
    except InputError as error:
        needed = int(error.message.split()[-1].rstrip("."))
        assert needed > cells
        assert f"Use {needed + 1} strands" in error.hint
        assert set_letters(text, height=best_height(needed, text)).height <= needed
    else:
        assert set_letters(text, height=height).height <= cells


def test_the_picture_of_a_line() -> None:
    line = set_letters("A B", height=7)
    picture = line.as_picture(["#1b2a59", "#f4f1e8", "#c8202c"], magnify=4)
    assert picture.rgb.shape == (28, 4 * line.ink.shape[1], 3)
    assert picture.ground == (27, 42, 89)
    colours = {0: (27, 42, 89), 1: (244, 241, 232), 3: (200, 32, 44)}  # the space takes no colour
    for (row, column), number in np.ndenumerate(line.ink):
        assert tuple(picture.rgb[4 * row + 1, 4 * column + 2]) == colours[int(number)]
    with pytest.raises(InputError, match="two colours"):
        line.as_picture(["#1b2a59"])
    with pytest.raises(InputError, match="not a colour"):
        line.as_picture(["#1b2a59", "red-ish"])


@pytest.mark.parametrize("height", [6, 9, 12, 25])
def test_any_font_fills_the_height(height: int) -> None:
    line = set_letters("Hxg", height=height, font=VERA)
    assert line.height == height
    assert (line.ink[0] > 0).any()
    assert (line.ink[-1] > 0).any()


def test_thin_strokes_of_a_font_survive() -> None:
    """Vera at eight cells has strokes of 0.7 of a cell: no letter falls apart or loses a stroke."""
    for letter in "HEFTLAOCNVKXZ":
        ink = set_letters(letter, height=8, font=VERA).ink > 0
        assert ndimage.label(ink, np.ones((3, 3)))[1] == 1, letter
    for letter, holes in {"A": 1, "B": 2, "D": 1, "O": 1, "P": 1, "H": 0, "8": 2}.items():
        ink = np.pad(set_letters(letter, height=12, font=VERA).ink == 0, 1, constant_values=True)
        assert ndimage.label(ink)[1] - 1 == holes, letter


def test_letters_that_are_not_drawn_come_from_the_built_in_font() -> None:
    for text in ("Ωμέγα", "Жук", "50 %"):
        line = set_letters(text, height=12)
        assert line.height == 12
        assert [int(n) for n in np.unique(line.ink) if n] == [i for i, c in enumerate(text, 1) if c != " "]


def test_a_full_stop_of_a_font_stays_small() -> None:
    ink = set_letters(".", height=12, font=VERA).ink > 0
    assert ink.shape[0] == 12
    assert 1 <= ink.sum() <= 9


@pytest.mark.parametrize("text", ["漢字", "R漢", "\U0001f6a3"])
def test_letters_that_a_font_lacks_are_named(text: str) -> None:
    for font in (None, VERA):
        with pytest.raises(InputError, match="has no") as caught:
            set_letters(text, height=12, font=font)
        assert text[-1] in caught.value.message
        assert "--font" in caught.value.hint


def test_files_that_are_no_fonts(tmp_path: Path) -> None:
    (tmp_path / "a.ttf").write_bytes(b"not a font at all")
    (tmp_path / "b.ttf").write_bytes(VERA.read_bytes()[:3000])
    (tmp_path / "c.ttf").write_bytes(b"")
    (tmp_path / "d.ttf").mkdir()
    for name in ("a.ttf", "b.ttf", "c.ttf", "d.ttf", "none.ttf"):
        with pytest.raises(InputError):
            set_letters("RC", height=12, font=tmp_path / name)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no letters"),
        (" \u00a0 ", "no letters"),
        ("R\nC", "Character 2"),
        ("R\tC", "Character 2"),
        ("\x00", "cannot|not a letter"),
        ("R\u202eC", "right-to-left override"),
        ("R\u200bC", "zero width space"),
        ("R\u200dC", "zero width joiner"),
        ("\ufeffR", "no-break space"),
        ("R\ud800", "not a letter"),
        ("R\ue000", "not a letter"),
        ("\u2028", "line separator"),
        ("\u0301R", "mark without a letter"),
        ("R \u0301", "mark without a letter"),
        ("R" + "\u0316" * 8, "more marks"),
        ("शक्ति", "letters join"),
        ("রো", "letters join"),
        ("שלום", "right to left"),
        ("سلام", "right to left"),
        ("R" * (MOST_LETTERS + 1), "more than"),
        ("E\u0301" * 10_000_000, "more than"),
    ],
)
def test_text_that_cannot_be_set(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        set_letters(text, height=9)
    assert caught.value.hint
    assert len(caught.value.message) < 200
    caught.value.message.encode()  # can be printed


@pytest.mark.parametrize("height", [0, -5, 2, 201, 10**9])
def test_heights_beyond_reason(height: int) -> None:
    for font in (None, VERA):
        with pytest.raises(InputError, match="cannot be set"):
            set_letters("RC", height=height, font=font)


def test_heights_without_an_alphabet() -> None:
    with pytest.raises(InputError, match="no drawn alphabet 11"):
        set_letters("RC", height=11)
    with pytest.raises(InputError, match="no o w 5 cells") as caught:
        set_letters("Row", height=5)
    assert "capitals" in caught.value.hint
    with pytest.raises(InputError, match="apart"):
        set_letters("RC", height=9, spacing=-1)


def test_the_longest_line_is_set_soon_enough() -> None:
    """A bound on work, not on time: 120 letters, and the highest letters of a font."""
    assert set_letters("W" * MOST_LETTERS, height=12).ink.shape[1] == MOST_LETTERS * 11 - 1
    assert set_letters("W", height=200, font=VERA).height == 200


def _bomb() -> bytes:
    """Fonts may come packed, and FreeType unpacks them: 300 kB that become 300 MB."""
    return gzip.compress(b"\x01fcp" + bytes(300_000_000), 9)


def _woff(claimed: int) -> bytes:
    """A packed web font whose one table claims to be larger than it is."""
    packed = zlib.compress(bytes(1_000_000))
    sizes = (64 + len(packed), 1, 0, claimed, 1, 0, *[0] * 5)
    head = struct.pack(">4s4sIHHIHHIIIII", b"wOFF", b"\0\1\0\0", *sizes)
    return head + struct.pack(">4sIIII", b"glyf", 64, len(packed), claimed, 0) + packed


def _damaged(seed: int) -> bytes:
    rng = random.Random(seed)
    font = bytearray(resources.files("pipeline.writers").joinpath("sans-bold.ttf").read_bytes())
    for _ in range(40):
        at = rng.randrange(600) if rng.random() < 0.5 else rng.randrange(len(font))
        font[at] = rng.choice((0, 0xFF, 0x7F, 0x80, rng.randrange(256)))
    return bytes(font)


PACKED = (_bomb, partial(_woff, 1_000_000), partial(_woff, 2**32 - 1))
FONTS = (*PACKED, *(partial(_damaged, seed) for seed in range(6)))


@pytest.mark.parametrize("data", FONTS)
def test_a_hostile_font_is_used_or_refused_in_bounds(tmp_path: Path, data: Callable[[], bytes]) -> None:
    (tmp_path / "hostile.ttf").write_bytes(data())
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with suppress(InputError):
        typeset(["A", "g"], 9, tmp_path / "hostile.ttf")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert after.ru_utime - before.ru_utime < confined.SECONDS
    assert after.ru_maxrss < 1_500_000  # kilobytes; of the largest child so far
