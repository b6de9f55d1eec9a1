"""The instructions on paper: every line with a box to tick and the colours that it shows beside the words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, Paragraph

from pipeline.files.channels import printable
from pipeline.instructions import words
from pipeline.instructions.model import Entry, Instructions
from pipeline.instructions.text import written
from pipeline.writers.drawing import Drawing, Polygon, Shape, Text, box, moved, paint_pdf
from pipeline.writers.hanging import hanging_drawing
from pipeline.writers.ink import INK, PAPER, ink_on
from pipeline.writers.knotpicture import knot_sheet
from pipeline.writers.printing import CHECK, HEAD, HIGHEST_MM, STEP, SUB, TITLE, Painted

STRIP_MM = 62.0
"""Room for the colours beside the words."""
CELL_MM = (2.5, 3.4)
BOX_MM = 2.6
ELSEWHERE = (words.CAUTIONS, words.MATERIALS)
"""Parts that stand on other pages of the sheet."""


def working_pages(told: Instructions, inner: float) -> Iterator[Flowable]:
    """The parts of the instructions that the sheet has nowhere else; ``inner``: the width in points."""
    yield Paragraph("Instructions", TITLE)
    for part in written(told):
        if part.heading in ELSEWHERE:
            continue
        yield CondPageBreak(40 * mm)
        yield Paragraph(escape(part.heading), HEAD)
        if part.heading == words.WORDS:
            yield Painted(knot_sheet(told.pattern.kinds, inner / mm))
        cutting = False
        for entry in part.entries:
            cutting = entry.text == "Cut:" or (cutting and entry.role == "item")
            if not cutting:  # the cut list has a page of its own
                yield entry_line(told, entry, inner)
            if entry.text.startswith(words.START_ORDER):
                yield Painted(hanging_drawing(told.pattern, inner / mm))


def entry_line(told: Instructions, entry: Entry, inner: float) -> Flowable:
    """A line of the instructions on paper."""
    text = escape(printable(entry.text))
    if entry.role in ("work", "again"):
        return Worked(Paragraph(text, STEP), Painted(_strip(told, entry)), inner)
    if entry.role == "item":
        text = f"– {text}"
    style = {"section": SUB, "check": CHECK, "measure": CHECK}.get(entry.role, STEP)
    return Paragraph(text, style)


class Worked(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """A line of work: a box to tick, its words, and beside them a drawing.

    ``strip`` is None where a line goes on that began on the page before.
    """

    def __init__(self, said: Paragraph, strip: Painted | None, width: float) -> None:
        super().__init__()
        self._said, self._strip = said, strip
        self.width = width

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Size in points."""
        _, said = self._said.wrap(self.width - (STRIP_MM + BOX_MM + 3) * mm, height)
        self.height = max(said, self._strip.height if self._strip else 0) + 1.5
        return self.width, self.height

    def split(self, width: float, height: float) -> list[Worked]:
        """Parts of a line that no page has room for; none of a line that may go upon the next page whole."""
        room, beside = height - 1.5, self._strip.height if self._strip else 0
        if self._said.height <= HIGHEST_MM * mm or beside > room:
            return []
        parts = self._said.split(self.width - (STRIP_MM + BOX_MM + 3) * mm, room)
        return [Worked(part, None if i else self._strip, self.width) for i, part in enumerate(parts)]

    def draw(self) -> None:
        """Paint the box, the words and the drawing, all from the same height."""
        self._said.drawOn(self.canv, (BOX_MM + 1) * mm, self.height - self._said.height)
        if self._strip is not None:
            paint_pdf(self.canv, _BOX, 0, self.height - 2.2)
            self._strip.drawOn(self.canv, self.width - STRIP_MM * mm, self.height - 1.6 - self._strip.height)


_BOX = Drawing(BOX_MM, BOX_MM, (Polygon(box(0, 0, BOX_MM, BOX_MM), PAPER, INK, 0.25),), "box to tick")


def _strip(told: Instructions, entry: Entry) -> Drawing:
    """The colours that a line shows, a row of cells for each way, or the boxes of a repeat."""
    if entry.boxes:
        each = BOX_MM + 1.4
        across = int(STRIP_MM // each)
        places = [((i % across) * each, (i // across) * each) for i in range(entry.boxes)]
        boxes = tuple(Polygon(box(x, y + 0.3, BOX_MM, BOX_MM), PAPER, INK, 0.25) for x, y in places)
        return Drawing(STRIP_MM, -(-entry.boxes // across) * each, boxes, "boxes to tick")
    ways = entry.shows[:1] if len(set(entry.shows)) == 1 else entry.shows
    shapes: list[Shape] = []
    for i, way in enumerate(ways):
        shapes += _cells(told, way, i * (CELL_MM[1] + 0.6))
    if entry.shifted:  # the pairs of this row lie half a cell further right
        shapes = moved(shapes, CELL_MM[0] / 2, 0)
    if len(ways) < len(entry.shows):
        shapes.append(Text((STRIP_MM, 2.5), words.EACH_TIME, 2.2, INK, "end"))
    return Drawing(STRIP_MM, len(ways) * (CELL_MM[1] + 0.6), tuple(shapes), "what it shows")


def _cells(told: Instructions, way: Sequence[int], top: float) -> Iterator[Shape]:
    wide = min(CELL_MM[0], STRIP_MM / max(1, len(way)))
    size = min(1.9, 1.1 * wide)
    for i, thread in enumerate(way):
        colour = told.pattern.threads[thread].colour
        yield Polygon(box(i * wide, top, wide, CELL_MM[1]), colour, INK, 0.15)
        if size >= 1.2:
            middle = (i + 0.5) * wide, top + CELL_MM[1] / 2 + 0.36 * size
            yield Text(
                middle, str(thread + 1), size / max(1, len(str(thread + 1)) * 0.75), ink_on(colour), "middle"
            )
