"""What all printed pages share: type styles, and drawings among the text."""

from __future__ import annotations

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable

from pipeline.writers.drawing import PDF_FONTS, POINTS_PER_MM, Drawing, paint_pdf
from pipeline.writers.ink import INK, SOFT, TINT

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


class Painted(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """A drawing among the text."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__()
        self._drawing = drawing
        self.width = drawing.width_mm * POINTS_PER_MM
        self.height = drawing.height_mm * POINTS_PER_MM

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Paint it with its lower left corner at the origin."""
        paint_pdf(self.canv, self._drawing, 0, self.height)
