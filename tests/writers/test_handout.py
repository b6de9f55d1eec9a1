"""The hand-out for a class."""

from __future__ import annotations

import io

import pypdf
import pytest

from pipeline.band.pattern import Pattern
from pipeline.instructions.text import CAUTIONS
from pipeline.writers.handout import FIRST_LINES, handout_pdf
from tests.writers.bands import HOSTILE, chequers, pennant, tiny


@pytest.mark.parametrize("band", [pennant(6), chequers("diagonal", rows=40)])
def test_knots_swatch_and_first_lines_stand_on_it(band: Pattern) -> None:
    reader = pypdf.PdfReader(io.BytesIO(handout_pdf(band)))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for words in ("The four knots", "Practice swatch", "first lines of the band", "Backward-forward", "Cut:"):
        assert words in text
    assert " ".join(CAUTIONS[1].split())[:50] in text
    first = text.split("first lines of the band")[1]
    assert any(f"{unit} 5" in first for unit in ("Row", "Step"))
    assert not any(f"{unit} {FIRST_LINES + 1}" in first for unit in ("Row", "Step"))
    assert len(reader.pages) <= 3
    assert handout_pdf(band) == handout_pdf(band)


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_stay_text(title: str) -> None:
    assert len(pypdf.PdfReader(io.BytesIO(handout_pdf(tiny(title)))).pages) >= 2
