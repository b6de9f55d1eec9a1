"""The sheet, opened by two other programs: pypdf for its text and size, pdfium for its looks."""

from __future__ import annotations

import io

import numpy as np
import pypdf
import pypdfium2
import pytest

from pipeline.band.pattern import Pattern
from pipeline.drawer.stash import Stash, Thread
from pipeline.instructions.text import CAUTIONS
from pipeline.literals import Paper
from pipeline.materials.lengths import cut_list
from pipeline.materials.skeins import plan_skeins
from pipeline.report import Report
from pipeline.writers.chart import PAPERS
from pipeline.writers.original import Original
from pipeline.writers.sheet import sheet_pdf
from tests.writers.bands import HOSTILE, chequers, pennant, tiny

REPORT = Report(cells=56, made=55, unmade=1, colour_error=12.5, lower_bound=10.0, gap_per_cent=20.0)


def stash_of(pattern: Pattern, metres: float | None) -> Stash:
    threads = (
        Thread(name=t.name, colour=t.colour, metres=metres, preset="six-strand embroidery cotton",
               skein_m=8.0, diameter_mm=0.71)
        for t in pattern.threads
    )  # fmt: skip
    return Stash(threads=tuple(threads), source="test")


def text_of(data: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_sheet_has_the_paper_size_and_all_parts(paper: Paper) -> None:
    pattern = pennant(4)
    cuts = cut_list(pattern)
    data = sheet_pdf(
        pattern,
        paper=paper,
        report=REPORT,
        cuts=cuts,
        skeins=plan_skeins(pattern, cuts, stash_of(pattern, 1.0)),
    )
    reader = pypdf.PdfReader(io.BytesIO(data))
    width, height = (side * 72 / 25.4 for side in PAPERS[paper])
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
            (width, height), abs=0.1
        )
    text = text_of(data)
    for words in (
        "Regatta pennant",
        "55 of 56 cells",
        "more than 20 %",
        "Cut list",
        "From the skeins",
        "buy",
    ):
        assert words in text
    for words in ("starting order", "final order", "Instructions", "deep water", "sailcloth", "Cautions"):
        assert words in text
    flowing = " ".join(text.split())
    for caution in CAUTIONS:
        assert " ".join(caution.split())[:40] in flowing
    assert reader.metadata is not None and reader.metadata.title == "Regatta pennant"


@pytest.mark.parametrize("paper", list(PAPERS))
def test_all_that_is_written_lies_on_the_paper(paper: Paper) -> None:
    """The chart's pages too, whose drawings are as large as the paper."""
    document = pypdfium2.PdfDocument(sheet_pdf(pennant(12), paper=paper))
    width, height = (side * 72 / 25.4 for side in PAPERS[paper])
    charts = 0
    for page in document:
        text = page.get_textpage()
        boxes = np.array([text.get_charbox(i) for i in range(text.count_chars())])
        assert boxes.min() >= 0, "nothing beyond the left or lower edge"
        assert (boxes[:, 2:] <= (width, height)).all(), "nor beyond the others"
        charts += "chart, page" in text.get_text_range()
    assert charts >= 2


def test_letters_of_central_europe_and_signs_are_written() -> None:
    title = "Žluťoučký kůň ♥ ★ Łódź Őrség"
    assert title in text_of(sheet_pdf(pennant(title=title)))


def test_every_page_shows_something_when_rendered() -> None:
    document = pypdfium2.PdfDocument(sheet_pdf(tiny(), report=REPORT))
    for page in document:
        pixels = np.asarray(page.render(scale=0.5).to_pil().convert("L"))
        assert 0.001 < (pixels < 200).mean() < 0.6
    document.close()


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_stay_text(title: str) -> None:
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(tiny(title))))
    shown = reader.pages[0].extract_text()
    assert "Threads and signs" in shown
    if title:
        assert title[:3].strip("\u2028") in shown
    assert not any("/JavaScript" in str(page.get("/AA", "")) for page in reader.pages)


def test_same_input_same_bytes() -> None:
    assert sheet_pdf(tiny(), report=REPORT) == sheet_pdf(tiny(), report=REPORT)


def test_source_picture_is_taken() -> None:
    plain = sheet_pdf(pennant())
    assert "- strand 1, deep water" not in text_of(plain), "the cut list stands on its own page"
    source = np.full((8, 7, 3), 90, np.uint8)
    with_picture = pypdf.PdfReader(io.BytesIO(sheet_pdf(pennant(), original=Original(source))))
    alone = pypdf.PdfReader(io.BytesIO(plain))
    assert len(with_picture.pages[0].images) == len(alone.pages[0].images) + 1


def test_a_drawing_higher_than_a_page_is_made_smaller() -> None:
    """400 strands as they hang take 420 mm of lines; no page of either paper has so much room."""
    text = text_of(sheet_pdf(chequers("rows", rows=2, strands=400)))
    assert "400" in text.split()
