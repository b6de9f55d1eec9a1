"""The cutting plan of many bands as a sheet: what each skein is cut into, with boxes to tick and prices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from pipeline.files.channels import xml
from pipeline.literals import Paper
from pipeline.materials.workshop import NamedPiece, NamedSkein, ThreadTotal, strands_of, together
from pipeline.writers.chart import MARGIN_MM, PAPERS
from pipeline.writers.drawing import Drawing, Polygon, Shape, box, register_fonts
from pipeline.writers.ink import HAIR, INK, PAPER, SOFT
from pipeline.writers.printing import BODY, FAINT, HEAD, NUMBER, PLAIN, SMALL, SUB, TITLE, Painted

BOX_MM = 3.2
MOST_BOXES = 6
"""More equal pieces than this share one box."""
_LINES = [
    ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
    ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ("LEFTPADDING", (0, 0), (-1, -1), 2),
]


def cutting_sheet_pdf(found: Sequence[ThreadTotal], bands: int, *, paper: Paper = "A4") -> bytes:
    """The sheet as a PDF; the same input gives the same bytes. ``bands``: how many are cut for.

    >>> cutting_sheet_pdf((), 0)[:5]
    b'%PDF-'
    """
    register_fonts()
    page_width, page_height = (side * mm for side in PAPERS[paper])
    margin = MARGIN_MM * mm
    inner = page_width - 2 * margin
    out = BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=(page_width, page_height),
        title="Cutting plan",
        author="",
        creator="Hitchgrid",
        subject="What to cut from which skein",
        lang="en",
        invariant=1,
        pageCompression=1,
    )

    def footer(canvas: Any, _: Any) -> None:
        canvas.setFont(PLAIN, 7.5)
        canvas.setFillColor(SOFT)
        canvas.drawRightString(page_width - margin, margin - 1 * mm, f"sheet {canvas.getPageNumber()}")

    frame = Frame(margin, margin + 5 * mm, inner, page_height - 2 * margin - 5 * mm, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate("text", [frame], onPage=footer)])
    document.build([*_summary(found, bands, inner), *(part for t in found for part in _thread(t, inner))])
    return out.getvalue()


def _summary(found: Sequence[ThreadTotal], bands: int, inner: float) -> Iterator[Flowable]:
    yield Paragraph("Cutting plan", TITLE)
    pieces = sum(len(skein.pieces) for total in found for skein in total.skeins)
    skeins = sum(len(total.skeins) for total in found)
    yield Paragraph(f"{pieces} pieces for {bands} band{'s' * (bands != 1)} from {skeins} skeins.", FAINT)
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
    shares = (0.06, 0.24, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1)
    yield Table(
        body,
        colWidths=[share * inner for share in shares],
        repeatRows=1,
        style=TableStyle(
            [
                *_LINES,
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -2), 0.3, HAIR),
                ("LINEABOVE", (0, -1), (-1, -1), 0.8, INK),
            ]
        ),
    )
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
        parts.append(_cuts(skein, inner))
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


def _cuts(skein: NamedSkein, inner: float) -> Flowable:
    """The pieces of one skein, a line for those of one length and band, with boxes to tick."""
    rows: list[list[Any]] = [_cut(same) for same in together(skein.pieces)]
    shares = (0.17, 0.05, 0.1, 0.68)
    style = [*_LINES, ("LINEBELOW", (0, 0), (-1, -1), 0.3, HAIR)]
    return Table(rows, colWidths=[share * inner for share in shares], style=TableStyle(style))


def _cut(same: Sequence[NamedPiece]) -> list[Any]:
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
