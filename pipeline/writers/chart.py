"""The chart: every knot as a slanted slab, with the threads, the turns and the order of the strands.

A slab leans the way its tying strand goes: from its upper left to its lower right where the left strand
ties. Where the tying strand turns back and stays, the side it turns at has a notch. Each slab carries the
number of its thread, so the chart reads without colour.
"""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO

from pipeline.band.pattern import Pattern
from pipeline.literals import Paper
from pipeline.writers.drawing import (
    POINTS_PER_MM,
    Drawing,
    Line,
    Shape,
    Text,
    fitted,
    moved,
    paint_pdf,
    png,
    register_fonts,
    svg,
    text_width,
)
from pipeline.writers.grid import OVERLAP_GAP_MM, Layout, Window, lay_out, panel
from pipeline.writers.ink import HAIR, INK, SOFT
from pipeline.writers.key import key, sign_key, thread_keys
from pipeline.writers.slabs import PITCH_MM

PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in millimetres (ISO 216; ANSI/ASME Y14.1)."""

SMALLEST_PITCH_MM = 4.0
"""A chart wider than a page at this pitch is cut into columns as well."""
MARGIN_MM = 12.0
OVERLAP = 2
"""Rows (and one column) that stand on two pages, so that pages can be laid or glued together."""


@lru_cache(maxsize=1)
def chart(pattern: Pattern) -> Drawing:
    """The whole chart as one drawing; kept for its other file."""
    layout = lay_out(pattern)
    window = Window(0, len(layout.rows), 0, len(pattern.strands) - 1)
    grid, width, height = panel(layout, window)
    inner = max(width, 122.0)
    legend, legend_height = key(pattern, inner)
    above = 12 + legend_height + 4
    page = moved([*_heading(pattern, inner), *moved(legend, 0, 12)], MARGIN_MM, MARGIN_MM)
    page += moved(grid, MARGIN_MM + (inner - width) / 2, MARGIN_MM + above)
    return Drawing(
        inner + 2 * MARGIN_MM,
        above + height + 2 * MARGIN_MM,
        tuple(page),
        f"Chart of {pattern.title}",
        _described(pattern),
    )


def _described(pattern: Pattern) -> str:
    names = ", ".join(f"{i} {thread.name}" for i, thread in enumerate(pattern.threads, 1))
    return f"{pattern.counts}. Threads by number: {names}."


def _heading(pattern: Pattern, width: float) -> list[Shape]:
    facts = f"{len(pattern.strands)} strands · {pattern.row_count} rows"
    room = width - text_width(facts, 3.0) - 4
    return [
        Text((0, 5.2), fitted(pattern.title, 5.6, room, bold=True), 5.6, INK, "start", True),
        Text((width, 5.2), facts, 3.0, SOFT, "end"),
        Line((0, 8.0), (width, 8.0), INK, 0.35),
    ]


def chart_svg(pattern: Pattern) -> str:
    """The chart as an SVG document. Raises ImpossibleError beyond MOST_CHART_KNOTS knots.

    >>> from pipeline.band.example import two_rows
    >>> chart_svg(two_rows()).startswith("<?xml")
    True
    """
    return svg(chart(pattern))


def chart_png(pattern: Pattern, *, px_per_mm: float = 5.0) -> bytes:
    r"""The chart as a PNG, columns and rows whole pixels apart.

    Raises ImpossibleError beyond MOST_CHART_KNOTS knots.

    >>> from pipeline.band.example import two_rows
    >>> chart_png(two_rows())[:4]
    b'\x89PNG'
    """
    return png(chart(pattern), px_per_mm=px_per_mm)


def chart_pages(pattern: Pattern, paper: Paper = "A4", *, legend: bool = True) -> list[Drawing]:
    """The chart cut over pages of paper, with rows and columns that stand on two pages marked."""
    page_width, page_height = PAPERS[paper]
    inner, tall = page_width - 2 * MARGIN_MM, page_height - 2 * MARGIN_MM - 6
    strands = len(pattern.strands)
    pitch, spans = _columns(strands, inner)
    layout = lay_out(pattern, pitch)
    head: list[Shape] = _heading(pattern, inner)
    above, pages = 12.0, []
    if legend:
        shapes, height = key(pattern, inner)
        if height > tall / 2:
            pages = _key_pages(pattern, paper)
        else:
            head += moved(shapes, 0, above)
            above += height + 4
    windows: list[tuple[Window, float]] = []
    for left, right in spans:
        windows += _cut(layout, left, right, tall, above if not windows else 9.0)
    for number, (window, top) in enumerate(windows, 1):
        grid, width, _ = panel(layout, window)
        where = f"rows {window.first + 1}–{window.last}"
        if len(spans) > 1:
            where += f", positions {window.left + 1}–{window.right + 1}"
        foot: list[Shape] = [
            Text((inner, tall + 5), f"chart, page {number} of {len(windows)}", 2.6, SOFT, "end"),
            Text((0, tall + 5), where, 2.6, SOFT),
        ]
        shapes = moved(head if number == 1 else _running_head(pattern, inner), MARGIN_MM, MARGIN_MM)
        shapes += moved(grid, MARGIN_MM + (inner - width) / 2, MARGIN_MM + top)
        shapes += moved(foot, MARGIN_MM, MARGIN_MM)
        title = f"Chart of {pattern.title}, page {number}"
        pages.append(Drawing(page_width, page_height, tuple(shapes), title))
    return pages


def _key_pages(pattern: Pattern, paper: Paper) -> list[Drawing]:
    """Pages of their own for a long key."""
    page_width, page_height = PAPERS[paper]
    inner, tall = page_width - 2 * MARGIN_MM, page_height - 2 * MARGIN_MM - 16
    pages = []
    for shapes, _ in [*thread_keys(pattern, inner, tall), sign_key(pattern, inner)]:
        body = moved([*_running_head(pattern, inner), *moved(shapes, 0, 12.0)], MARGIN_MM, MARGIN_MM)
        pages.append(Drawing(page_width, page_height, tuple(body), f"Key to the chart of {pattern.title}"))
    return pages


def _running_head(pattern: Pattern, width: float) -> list[Shape]:
    return [
        Text((0, 3.0), fitted(pattern.title, 3.4, width, bold=True), 3.4, INK, "start", True),
        Line((0, 5.0), (width, 5.0), HAIR, 0.3),
    ]


def _columns(strands: int, inner: float) -> tuple[float, list[tuple[int, int]]]:
    """The pitch, and the knot columns of each page side by side (they share one column)."""
    room = inner - 2 * 9.5
    pitch = min(PITCH_MM, room / strands)
    if pitch >= SMALLEST_PITCH_MM:
        return pitch, [(0, strands - 1)]
    fits = int(room // SMALLEST_PITCH_MM) - 1
    sheets = -(-(strands - 2) // (fits - 1))
    step = -(-(strands - 2) // sheets)
    spans = [(left, min(left + step + 1, strands - 1)) for left in range(0, strands - 2, step)]
    return min(PITCH_MM, room / (step + 2)), spans


def _cut(layout: Layout, left: int, right: int, tall: float, first_top: float) -> list[tuple[Window, float]]:
    windows: list[tuple[Window, float]] = []
    start, top, total = 0, first_top, len(layout.rows)
    frame = 4.6 + 2 * 2.3 * max(layout.unit, 0.75) + 14.2 * layout.unit + 5.0 + 2 * OVERLAP_GAP_MM
    while True:
        room, last = tall - top - frame, start
        while last < total:
            room -= layout.height(last, first=last == start)
            if room < 0 and last > start + OVERLAP:
                break
            last += 1
        done = last >= total
        again = OVERLAP if windows else 0
        window = Window(start, last, left, right, again, 0 if done else OVERLAP)
        windows.append((window, top))
        if done:
            return windows
        start, top = last - OVERLAP, 9.0


def chart_pdf(pattern: Pattern, paper: Paper = "A4") -> bytes:
    """The chart as a PDF. Raises ImpossibleError beyond MOST_CHART_KNOTS knots.

    >>> from pipeline.band.example import two_rows
    >>> chart_pdf(two_rows())[:5]
    b'%PDF-'
    """
    from reportlab.pdfgen.canvas import Canvas

    register_fonts()
    width, height = (side * POINTS_PER_MM for side in PAPERS[paper])
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width, height), invariant=1, pageCompression=1)
    canvas.setTitle(f"Chart of {pattern.title}")
    canvas.setCreator("Hitchgrid")
    for page in chart_pages(pattern, paper):
        paint_pdf(canvas, page, 0, height)
        canvas.showPage()
    canvas.save()
    return out.getvalue()
