"""What all printed pages share: type styles, tables, and drawings among the text."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Table, TableStyle

from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable
from pipeline.literals import Paper
from pipeline.writers.chart import MARGIN_MM, PAPERS
from pipeline.writers.drawing import PDF_FONTS, POINTS_PER_MM, Drawing, fitted, paint_pdf, register_fonts
from pipeline.writers.hanging import thread_line
from pipeline.writers.ink import HAIR, INK, SOFT, TINT

PLAIN, BOLD = PDF_FONTS[False], PDF_FONTS[True]
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9, leading=13, textColor=INK)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=8, leading=11.5)
FAINT = ParagraphStyle("soft", parent=BODY, textColor=SOFT)
TITLE = ParagraphStyle("title", parent=BODY, fontName=BOLD, fontSize=26, leading=31, spaceAfter=2)
HEAD = ParagraphStyle(
    "head", parent=BODY, fontName=BOLD, fontSize=13, leading=17, spaceBefore=12, spaceAfter=5
)
SUB = ParagraphStyle("sub", parent=BODY, fontName=BOLD, fontSize=9.5, leading=13, spaceBefore=6, spaceAfter=2)
STEP = ParagraphStyle(
    "step", parent=BODY, fontSize=8.6, leading=12.2, leftIndent=12, firstLineIndent=-12, spaceAfter=1
)
CHECK = ParagraphStyle(
    "check",
    parent=STEP,
    fontName=BOLD,
    backColor=TINT,
    borderPadding=(1, 3, 1, 3),
    spaceBefore=3,
    spaceAfter=4,
)
NUMBER = ParagraphStyle("number", parent=SMALL, alignment=TA_RIGHT)


HIGHEST_MM = 240.0
"""Of a drawing among the text: what either paper has room for between its margins."""


class Painted(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """A drawing among the text, made smaller where it is higher than a page."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__()
        self._drawing = drawing
        self._scale = min(1.0, HIGHEST_MM / max(drawing.height_mm, 1e-9))
        self.width = drawing.width_mm * POINTS_PER_MM * self._scale
        self.height = drawing.height_mm * POINTS_PER_MM * self._scale

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Paint it with its lower left corner at the origin."""
        self.canv.saveState()
        self.canv.scale(self._scale, self._scale)
        paint_pdf(self.canv, self._drawing, 0, self._drawing.height_mm * POINTS_PER_MM)
        self.canv.restoreState()


def ruled(
    body: Sequence[Sequence[Any]],
    shares: Sequence[float],
    inner: float,
    *,
    head: bool = True,
    sum_up: bool = False,
) -> Table:
    """A table with hairs between its lines; columns by ``shares`` of the width, head and sum set off."""
    style = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        *([("LINEBELOW", (0, 0), (-1, 0), 0.8, INK)] if head else ()),
        ("LINEBELOW", (0, int(head)), (-1, -2 if sum_up else -1), 0.3, HAIR),
        *([("LINEABOVE", (0, -1), (-1, -1), 0.8, INK)] if sum_up else ()),
    ]
    widths = [share * inner for share in shares]
    return Table(body, colWidths=widths, repeatRows=int(head), style=TableStyle(style))


TEXT, BARE = "text", "bare"
"""Kinds of pages: with margins and a foot, and without, for drawings of a whole page."""


def inner_width(paper: Paper) -> float:
    """Width between the margins, in points."""
    return float((PAPERS[paper][0] - 2 * MARGIN_MM) * mm)


def pdf(story: list[Flowable], about: Pattern | str, paper: Paper, what: str, label: str) -> bytes:
    """Print pages about a band, the key of its threads at the foot, or what has a title alone.

    ``what``: a name for what is printed; ``label`` stands before the number of a page. The same input gives
    the same bytes.
    """
    width, height = (side * mm for side in PAPERS[paper])
    margin, inner = MARGIN_MM * mm, inner_width(paper)
    title = about if isinstance(about, str) else printable(about.title)
    threads = None if isinstance(about, str) else thread_line(about, inner / mm - 70)
    out = BytesIO()
    document = BaseDocTemplate(
        out, pagesize=(width, height), title=title or "Band", author="", creator="Hitchgrid", subject=what,
        lang="en", invariant=1, pageCompression=1, allowSplitting=1,
    )  # fmt: skip

    def key(canvas: Any, _: Any) -> None:
        if threads is not None:
            paint_pdf(canvas, threads, margin + 38 * mm, margin + 1.8 * mm)

    def foot(canvas: Any, document: Any) -> None:
        key(canvas, document)
        canvas.setFont(PLAIN, 7.5)
        canvas.setFillColor(SOFT)
        canvas.drawString(margin, margin - 1 * mm, fitted(title, 2.65, 36))
        canvas.drawRightString(width - margin, margin - 1 * mm, f"{label} {canvas.getPageNumber()}")

    frame = Frame(margin, margin + 5 * mm, inner, height - 2 * margin - 5 * mm, 0, 0, 0, 0)
    register_fonts()
    document.addPageTemplates(
        [
            PageTemplate(TEXT, [frame], onPage=foot),
            PageTemplate(BARE, [Frame(0, 0, width, height, 0, 0, 0, 0)], onPage=key),
        ]
    )
    document.build(story)
    return out.getvalue()
