"""A hand-out for a class: the knots, a swatch to practise on, and the first rows of the band."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable
from pipeline.instructions.compose import instructions
from pipeline.instructions.practice import practice
from pipeline.instructions.start import TENSION, TOOLS, UNDO, how_to_read
from pipeline.instructions.text import CAUTIONS, work
from pipeline.literals import Paper
from pipeline.materials.lengths import cut_list
from pipeline.writers.drawing import register_fonts
from pipeline.writers.hanging import hanging_drawing
from pipeline.writers.knotpicture import knot_sheet
from pipeline.writers.printing import HEAD, STEP, TITLE, Painted, inner_width, pdf
from pipeline.writers.working import entry_line

FIRST_LINES = 15
"""Lines of the band that the class ties together."""


def handout_pdf(pattern: Pattern, paper: Paper = "A4") -> bytes:
    """The hand-out as a PDF; the same input gives the same bytes.

    >>> from pipeline.band.example import two_rows
    >>> handout_pdf(two_rows())[:5]
    b'%PDF-'
    """
    register_fonts()
    story = list(_story(pattern, inner_width(paper)))
    return pdf(story, pattern, paper, "Hand-out for a class", "hand-out, page")


def _story(pattern: Pattern, inner: float) -> Iterator[Flowable]:
    yield Paragraph(escape(printable(pattern.title)) or "Band", TITLE)
    yield Paragraph("Cautions", HEAD)
    for sentence in CAUTIONS:
        yield Paragraph(f"– {escape(sentence)}", STEP)
    yield Paragraph("The four knots", HEAD)
    yield Painted(knot_sheet(Knot, inner / mm))
    for sentence in (TENSION, UNDO):
        yield Paragraph(escape(sentence), STEP)
    swatch = practice(pattern)
    yield from _part("Practice swatch", swatch, inner, None)
    yield from _part("The first lines of the band", pattern, inner, FIRST_LINES)


def _part(heading: str, pattern: Pattern, inner: float, lines: int | None) -> Iterator[Flowable]:
    """Setting up and tying a band, as far as ``lines``."""
    told = instructions(pattern, cut_list(pattern))
    needs = [*told.materials, told.cutting[0]]
    if lines is None:  # the swatch is cut by everybody in the class
        needs = [*told.materials, TOOLS, *(line.replace("- ", "– ", 1) for line in told.cutting)]
    said = [Paragraph(escape(printable(sentence)), STEP) for sentence in needs]
    yield KeepTogether([Paragraph(heading, HEAD), *said, Painted(hanging_drawing(pattern, inner / mm))])
    if lines is None:
        for sentence in how_to_read(told):
            if sentence not in (UNDO, TENSION):
                yield Paragraph(escape(printable(sentence)), STEP)
    shown = 0
    for entry in work(told):
        if lines is not None and shown >= lines and entry.role != "check":
            break
        shown += entry.role in ("work", "again")
        if entry.role in ("work", "again", "check"):
            yield entry_line(told, entry, inner)
