"""The chart: shapes, numbers and places, and that its three outputs show one drawing."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Callable

import numpy as np
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image

from pipeline.band.handed import mirrored
from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.colour import contrast
from pipeline.errors import ImpossibleError
from pipeline.files.channels import printable
from pipeline.order import means
from pipeline.writers import chart as charts
from pipeline.writers.chart import (
    MARGIN_MM,
    PAPERS,
    chart,
    chart_pages,
    chart_pdf,
    chart_png,
    chart_svg,
)
from pipeline.writers.drawing import Drawing, Line, Polygon, Text, raster
from pipeline.writers.ink import INK, PAPER, SIGNAL, SOFT, TINT, ink_on, rgb
from pipeline.writers.slabs import slab
from tests.patterns import patterns, random_pattern
from tests.writers.bands import HOSTILE, chequers, pennant, tiny

colours = st.integers(0, 0xFFFFFF).map(lambda value: f"#{value:06x}")


def knot_slabs(pattern: Pattern, drawing: Drawing) -> list[Polygon]:
    """The polygons that are knots: as wide as a cell and filled with a thread."""
    fills = {thread.colour for thread in pattern.threads}
    return [
        s
        for s in drawing.shapes
        if isinstance(s, Polygon) and s.fill in fills and s.stroke == INK and len(s.points) in (4, 7)
    ]


def test_tiny_band_is_drawn_as_ever(golden: Callable[[str, str], None]) -> None:
    golden("tiny-chart.svg", chart_svg(tiny()))


@given(patterns(max_strands=6, max_rows=4))
def test_svg_is_well_formed_and_holds_a_slab_and_a_number_for_each_knot(pattern: Pattern) -> None:
    tree = etree.fromstring(chart_svg(pattern).encode())
    assert tree.tag == "{http://www.w3.org/2000/svg}svg"
    knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
    key = len(pattern.threads)  # the key shows each thread as a slab as well
    assert len(knot_slabs(pattern, chart(pattern))) == knots + key


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_stay_text(title: str) -> None:
    tree = etree.fromstring(chart_svg(tiny(title)).encode())
    assert not tree.findall(".//{*}img") and not tree.findall(".//{*}script")
    texts = [t.text for t in tree.findall("{*}text")]
    shown = printable(title)[:20]
    assert not shown or any(t and t.startswith(shown[:12]) for t in texts)


@pytest.mark.parametrize("knot", list(Knot))
def test_slab_leans_as_the_tying_strand_goes(knot: Knot) -> None:
    points = slab(knot, (0, 0), 10, 6, 2)
    upper = np.mean([x for x, y in points if y == -3])
    lower = np.mean([x for x, y in points if y == 3])
    assert (upper < lower) == knot.left_ties
    assert (len(points) == 7) == (not knot.swaps), "a notch where the tying strand turns back"
    if not knot.swaps:
        deepest = min(points[2:5], key=lambda p: abs(p[0]))
        assert (deepest[0] > 0) == knot.left_ties, "the notch is on the side it turns at"


@pytest.mark.parametrize("knot", list(Knot))
def test_slabs_of_mirrored_knots_mirror(knot: Knot) -> None:
    there = {(-x, y) for x, y in slab(knot, (0, 0), 10, 6, 2)}
    assert there == set(slab(knot.mirrored, (0, 0), 10, 6, 2))


@given(colours)
def test_numbers_read_on_every_thread(colour: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: text reaches 4.5:1."""
    assert contrast(rgb(ink_on(colour)), rgb(colour)) >= 4.5


@pytest.mark.parametrize("ground", [PAPER, TINT])
def test_outlines_rings_and_texts_stand_out(ground: str) -> None:
    """WCAG 2.2: 1.4.11 asks 3:1 of graphics, 1.4.3 asks 4.5:1 of text."""
    assert contrast(rgb(INK), rgb(ground)) >= 4.5
    assert contrast(rgb(SOFT), rgb(ground)) >= 4.5
    assert contrast(rgb(SIGNAL), rgb(ground)) >= 3.0


def test_contrast_agrees_with_the_examples_of_wcag() -> None:
    """#767676 on white is the well-known grey just above 4.5:1, #949494 the one just above 3:1."""
    assert contrast(rgb("#767676"), rgb("#ffffff")) == pytest.approx(4.54, abs=0.005)
    assert contrast(rgb("#949494"), rgb("#ffffff")) == pytest.approx(3.03, abs=0.005)


def test_printed_in_grey_the_numbers_still_tell_threads_apart() -> None:
    """Each slab carries its thread's number, in an ink that reads after conversion to grey."""
    pattern = random_pattern(3, strands=6, rows=4, threads=5, worked="rows", sections=1, joins=0)
    drawing = chart(pattern)
    texts = {(t.at, t.text) for t in drawing.shapes if isinstance(t, Text)}
    grey = raster(drawing, 8).convert("L")
    for polygon in knot_slabs(pattern, drawing)[len(pattern.threads) :]:
        x = np.mean([p[0] for p in polygon.points])
        y = np.mean([p[1] for p in polygon.points])
        here = [t for (at, t) in texts if abs(at[0] - x) < 1.5 and abs(at[1] - y - 1) < 1.5]
        assert here, "a number on every slab"
        fill = pattern.threads[int(here[0]) - 1].colour
        assert fill == polygon.fill
        window = np.asarray(grey.crop([int(8 * v) for v in (x - 1.2, y - 1.2, x + 1.2, y + 1.2)]), float)
        assert window.max() - window.min() > 90, "dark on light or light on dark"


def test_unmade_cells_are_ringed_with_the_wanted_colour_in_the_corner() -> None:
    pattern = tiny()
    unmade = [s for row in replay(pattern) for s in row.steps if s.wanted not in (None, s.shown)]
    drawing = chart(pattern)
    rings = [
        s for s in drawing.shapes if isinstance(s, Polygon) and s.stroke == SIGNAL and len(s.points) == 8
    ]
    corners = [s.fill for s in drawing.shapes if isinstance(s, Polygon) and s.stroke == SIGNAL and s.fill]
    assert len(rings) == len(unmade) > 0
    for step in unmade:
        assert step.wanted is not None and pattern.threads[step.wanted].colour in corners


def test_key_names_what_the_chart_shows_and_no_more() -> None:
    words = " ".join(t.text for t in chart(tiny()).shapes if isinstance(t, Text))
    for said in (
        "deep water",
        "forward-backward",
        "ringed",
        "switching rows",
        "core goes on",
        "tying strand goes on",
    ):
        assert said in words
    plain = " ".join(t.text for t in chart(pennant()).shapes if isinstance(t, Text))
    for unsaid in ("forward-backward", "ringed", "switching", "goes on"):
        assert unsaid not in plain


def test_row_numbers_stand_where_the_row_begins() -> None:
    drawing = chart(pennant())
    middle = drawing.width_mm / 2
    sides = {
        t.text: t.at[0] < middle
        for t in drawing.shapes
        if isinstance(t, Text) and t.anchor in ("end", "start")
    }
    assert [sides[str(r)] for r in range(1, 9)] == [True, False] * 4


def test_left_handed_chart_begins_at_the_other_side() -> None:
    drawing = chart(mirrored(pennant()))
    first = next(t for t in drawing.shapes if isinstance(t, Text) and t.text == "1" and t.anchor == "start")
    assert first.at[0] > drawing.width_mm / 2


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("strands", [3, 24, 70])
def test_pages_hold_every_knot_within_the_margins(paper: charts.Paper, strands: int) -> None:
    pattern = random_pattern(strands, strands=strands, rows=45, threads=4, worked="rows", sections=1, joins=0)
    pages = chart_pages(pattern, paper, legend=False)
    width, height = PAPERS[paper]
    rows: Counter[str] = Counter()
    for page in pages:
        assert (page.width_mm, page.height_mm) == (width, height)
        for shape in page.shapes:
            points = (
                shape.points
                if isinstance(shape, Polygon)
                else (shape.start, shape.end)
                if isinstance(shape, Line)
                else (shape.at,)
            )
            for x, y in points:
                assert MARGIN_MM - 0.01 <= x <= width - MARGIN_MM + 0.01
                assert MARGIN_MM - 0.01 <= y <= height - MARGIN_MM + 0.01
        numbers = {t.text for t in page.shapes if isinstance(t, Text) and t.anchor in ("start", "end")}
        rows.update(number for number in numbers if number.isdecimal())
    across = len(
        {p.shapes[-1].text.partition("positions")[2] for p in pages if isinstance(p.shapes[-1], Text)}
    )
    assert set(rows) == {str(r) for r in range(1, 46)}
    slabs = sum(len(knot_slabs(pattern, page)) for page in pages)
    down = len(pages) // across
    again_rows, again_columns = charts.OVERLAP * (down - 1), across - 1
    assert slabs == (45 + again_rows) * (strands - 1 + again_columns)


def test_three_outputs_show_the_same_drawing() -> None:
    """PNG and PDF, rendered by another program (pdfium), agree but for smoothing; SVG has the same shapes."""
    pattern = chequers("diagonal")
    page = chart_pages(pattern)[0]
    ours = np.asarray(raster(page, 4).convert("L"), float)
    document = pypdfium2.PdfDocument(chart_pdf(pattern))
    theirs = document[0].render(scale=4 * 25.4 / 72).to_pil().convert("L").resize(ours.shape[::-1])
    document.close()
    assert np.abs(ours - np.asarray(theirs, float)).mean() < 4
    tree = etree.fromstring(chart_svg(pattern).encode())
    kinds = Counter(type(shape).__name__ for shape in chart(pattern).shapes)
    names = {"polygon": "Polygon", "line": "Line", "text": "Text"}
    assert {kind: len(tree.findall(f"{{*}}{name}")) for name, kind in names.items()} == kinds


def test_same_pattern_same_bytes() -> None:
    for write in (chart_png, chart_svg, chart_pdf):
        assert write(tiny()) == write(tiny())


def test_png_has_the_size_it_says() -> None:
    image = Image.open(io.BytesIO(chart_png(tiny(), px_per_mm=4)))
    assert image.size == (round(chart(tiny()).width_mm * 4), round(chart(tiny()).height_mm * 4))


def test_too_many_knots_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(means, "MOST_CHART_KNOTS", 5)
    with pytest.raises(ImpossibleError, match="knots cannot be drawn"):
        chart_svg(tiny("too large"))
