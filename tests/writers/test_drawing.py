"""Drawings: letters that the fonts must hold, texts that must fit, and the limits of a PNG."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from pipeline.files.channels import printable
from pipeline.writers import drawing
from pipeline.writers.drawing import (
    Drawing,
    Line,
    Polygon,
    Text,
    box,
    fitted,
    font,
    inline_svg,
    moved,
    png,
    raster,
    svg,
    text_width,
)

SQUARE = Drawing(20, 10, (Polygon(box(5, 2, 10, 6), "#c8412f", "#17212b", 0.5),), "A square")


@pytest.mark.parametrize("bold", [False, True])
def test_fonts_hold_the_letters_of_europe_and_the_signs(bold: bool) -> None:
    """Latin with every mark of its alphabets, Greek, Cyrillic, and the signs that titles like."""
    face = font(40, bold)
    missing = bytes(face.getmask("\U000f0000"))
    for letter in "ÄÖÜßéèçñåæøðþČŘŽŮĚĽĹŤĎŇŁĄĘŚŹŻŐŰȘȚĂÂÎĢĶĻŅĒĪŪĖĮŲİĞŞΑΩδЖЯжщїљ€–—…·×→←≠≥♥★☆♪⚓✓✶":
        assert bytes(face.getmask(letter)) != missing, letter


@given(st.text(max_size=60), st.floats(1, 80))
def test_fitted_text_fits_or_is_an_ellipsis(text: str, width: float) -> None:
    shown = fitted(text, 3.0, width)
    assert shown == text or shown.endswith("…")
    assert text_width(shown, 3.0) <= width or shown == "…"


@given(st.text(max_size=40))
def test_any_text_gives_well_formed_svg(text: str) -> None:
    page = Drawing(50, 10, (Text((1, 5), text, 3, "#000000"),), text, text)
    for written in (svg(page).encode(), inline_svg(page).encode()):
        tree = etree.fromstring(written)
        shown = tree.find("{*}text") if b"xmlns" in written else tree.find("text")
        assert (shown.text or "") == printable(text)


def test_png_paints_where_the_drawing_says() -> None:
    picture = np.asarray(raster(SQUARE, 10))
    assert picture.shape == (100, 200, 3)
    assert tuple(picture[50, 100]) == (0xC8, 0x41, 0x2F)
    assert tuple(picture[5, 5]) == (255, 255, 255)
    assert picture[50, 50].sum() < 200, "the outline stands on the edge"


def test_strips_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    shapes = (
        Line((0, 0), (20, 40), "#17212b", 0.7, dashed=True),
        Text((3, 20), "Quay", 9, "#14466b", "start", True),
        Polygon(box(2, 5, 9, 30), None, "#a8321f", 1.1),
    )
    page = Drawing(20, 40, shapes, "strips")
    whole = raster(page, 10)
    monkeypatch.setattr(drawing, "_STRIP", 37)
    differ = (np.asarray(raster(page, 10)) != np.asarray(whole)).any(axis=2)
    assert differ.mean() < 0.001, "slanted lines may be rounded to the next pixel, no more"


def test_huge_drawings_are_painted_smaller(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawing, "MAX_PIXELS", 5000)
    image = Image.open(io.BytesIO(png(SQUARE, px_per_mm=50)))
    assert image.width * image.height <= 5200
    assert image.width == pytest.approx(2 * image.height, abs=1)


def test_moved_shapes_keep_all_but_their_place() -> None:
    shapes = [Text((1, 2), "a", 3, "#000000", "end", True), Line((0, 0), (1, 1), "#111111", 0.5, True)]
    assert moved(moved(shapes, 3, 4), -3, -4) == shapes
