"""The cutting plan of many bands as a sheet: what each skein is cut into, with boxes to tick and prices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table, TableStyle

from pipeline.files.channels import xml
from pipeline.literals import Paper, plural
from pipeline.materials.workshop import NamedPiece, ThreadTotal, strands_of, together
from pipeline.writers.drawing import Drawing, Polygon, Shape, box, register_fonts
from pipeline.writers.ink import INK, PAPER
from pipeline.writers.printing import (
    BODY,
    FAINT,
    HEAD,
    NUMBER,
    SMALL,
    SUB,
    TITLE,
    Painted,
    inner_width,
    pdf,
    ruled,
)

BOX_MM = 3.2
MOST_BOXES = 6
"""More equal pieces than this share one box."""
TITLED = "Cutting plan"


def cutting_sheet_pdf(found: Sequence[ThreadTotal], bands: int, *, paper: Paper = "A4") -> bytes:
    """The sheet as a PDF; the same input gives the same bytes. ``bands``: how many are cut for.

    >>> cutting_sheet_pdf((), 0)[:5]
    b'%PDF-'
    """
    register_fonts()
    inner = inner_width(paper)
    story = [*_summary(found, bands, inner), *(part for total in found for part in _thread(total, inner))]
    return pdf(story, TITLED, paper, "What to cut from which skein", "sheet")


def _summary(found: Sequence[ThreadTotal], bands: int, inner: float) -> Iterator[Flowable]:
    yield Paragraph(TITLED, TITLE)
    pieces = sum(len(skein.pieces) for total in found for skein in total.skeins)
    skeins = sum(len(total.skeins) for total in found)
    yield Paragraph(f"{pieces} pieces for {plural(bands, 'band')} from {skeins} skeins.", FAINT)
    yield Spacer(1, 6)
    head = ["", "Thread", "Metres", "Owned", "Skeins", "To buy", "A skein", "Used", "To pay"]
    body: list[list[Any]] = [[Paragraph(name, NUMBER if i > 1 else SMALL) for i, name in enumerate(head)]]
    for total in found:
        thread = total.thread
        figures = (
            f"{total.metres:.1f}",
            "–" if thread.metres is None else f"{thread.metres:.1f}",
            str(len(total.skeins)),
            "–" if total.buy is None else str(total.buy),
            _money(thread.price),
            _money(total.cost),
            _money(total.to_pay),
        )
        body.append([_patch(thread.colour), Paragraph(xml(thread.name), SMALL), *_numbers(figures)])
    used, paid = _sum(total.cost for total in found), _sum(total.to_pay for total in found)
    body.append(["", Paragraph("<b>all threads</b>", SMALL), *_numbers(["", "", "", "", "", used, paid])])
    yield ruled(body, (0.06, 0.24, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1), inner, sum_up=True)
    if any(total.thread.price is None for total in found):
        yield Paragraph("A dash: not known. Prices stand in the column price of the list of threads.", SMALL)


def _numbers(figures: Sequence[str]) -> list[Paragraph]:
    return [Paragraph(figure, NUMBER) for figure in figures]


def _money(amount: float | None) -> str:
    return "–" if amount is None else f"{amount:.2f}"


def _sum(amounts: Iterator[float | None]) -> str:
    """The sum of what is known; a plus behind it where something is not."""
    listed = list(amounts)
    known = [amount for amount in listed if amount is not None]
    return f"{sum(known):.2f}{' +' if len(known) < len(listed) else ''}" if known else "–"


def _thread(total: ThreadTotal, inner: float) -> Iterator[Flowable]:
    name = xml(total.thread.name)
    heading = Table(
        [[_patch(total.thread.colour), Paragraph(name, HEAD)]],
        colWidths=[0.06 * inner, 0.94 * inner],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (-1, -1), 2)]),
    )
    for i, skein in enumerate(total.skeins, start=1):
        parts: list[Flowable] = [] if i > 1 else [Spacer(1, 8), heading]
        state = {True: ", owned", False: ", to buy", None: ""}[skein.owned]
        size = f"{skein.length_cm} cm{state}, {skein.left_cm} cm left over"
        parts.append(Paragraph(f"{name}, skein {i} of {len(total.skeins)}: {size}", SUB))
        lines = [_cut(same) for same in together(skein.pieces)]
        parts.append(ruled(lines, (0.17, 0.05, 0.1, 0.68), inner, head=False))
        if len(skein.pieces) < 30:
            yield KeepTogether(parts)
        else:
            yield from parts
    for piece in total.too_long:
        yield Paragraph(
            f"{name}: no skein holds {piece.length_cm} cm for {xml(piece.band)}, {xml(piece.strands)}; "
            "plan that band with a join.",
            BODY,
        )


def _cut(same: Sequence[NamedPiece]) -> list[Any]:
    """A line for the pieces of one length for one band, with boxes to tick."""
    count, piece = len(same), same[0]
    return [
        _boxes(count if count <= MOST_BOXES else 1),
        Paragraph(f"<b>{count} ×</b>" if count > 1 else "", NUMBER),
        Paragraph(f"<b>{piece.length_cm} cm</b>", NUMBER),
        Paragraph(f"{xml(piece.band)}: {xml(strands_of(same))}", SMALL),
    ]


def _boxes(count: int) -> Flowable:
    step = BOX_MM + 1.4
    shapes: tuple[Shape, ...] = tuple(
        Polygon(box(0.2 + i * step, 0.2, BOX_MM, BOX_MM), PAPER, INK, 0.25) for i in range(count)
    )
    return Painted(Drawing(count * step, BOX_MM + 0.4, shapes, "to tick"))


def _patch(colour: str) -> Flowable:
    return Painted(Drawing(8, 4.2, (Polygon(box(0.2, 0.2, 7.6, 3.8), colour, INK, 0.22),), "colour"))
