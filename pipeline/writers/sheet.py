"""The sheet: everything a maker needs on paper, as one PDF to print and hand out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from PIL import Image as Pictures
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    Flowable,
    Image,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    Paragraph,
    Spacer,
    Table,
)

from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable
from pipeline.instructions.compose import instructions
from pipeline.instructions.text import CAUTIONS
from pipeline.literals import Paper
from pipeline.materials.fit import size_words
from pipeline.materials.lengths import Cut, cut_list
from pipeline.materials.skeins import SkeinPlan, ThreadPlan
from pipeline.report import Report, certificate, likeness, thin_parts, verdict
from pipeline.writers.chart import chart_pages
from pipeline.writers.cutting import cut_lines
from pipeline.writers.drawing import (
    POINTS_PER_MM,
    Drawing,
    Polygon,
    Shape,
    Text,
    box,
    fitted,
    paint_pdf,
    register_fonts,
    saved,
    text_width,
)
from pipeline.writers.ink import INK, PAPER, SIGNAL, SOFT, ink_on
from pipeline.writers.key import sign_key, thread_keys
from pipeline.writers.original import UNKNOWN, Original
from pipeline.writers.preview import PAGE, preview_pictures
from pipeline.writers.printing import (
    BARE,
    BODY,
    FAINT,
    HEAD,
    NUMBER,
    SMALL,
    STEP,
    TEXT,
    TITLE,
    Painted,
    inner_width,
    pdf,
    ruled,
)
from pipeline.writers.working import working_pages


class WholePage(Painted):
    """A drawing of a whole page, painted from the paper's corner whatever the frame."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__(drawing)
        self._page = drawing.height_mm * POINTS_PER_MM  # as large as the paper, never made smaller
        self.width = self.height = 0.0

    def draw(self) -> None:
        """Paint it over the page."""
        self.canv.saveState()
        x, y = self.canv.absolutePosition(0, 0)
        self.canv.translate(-x, -y)
        paint_pdf(self.canv, self._drawing, 0, self._page)
        self.canv.restoreState()


def sheet_pdf(
    pattern: Pattern,
    *,
    paper: Paper = "A4",
    report: Report | None = None,
    cuts: Sequence[Cut] | None = None,
    skeins: SkeinPlan | None = None,
    original: Original = UNKNOWN,
    finished: Pattern | None = None,
) -> bytes:
    """The sheet as a PDF; the same input gives the same bytes.

    ``report``: for verdict and certificate. ``cuts`` are computed where not given. ``original`` is shown
    beside the preview. ``finished``: the band as it is picked up, where that is not as it is tied.

    >>> from pipeline.band.example import two_rows
    >>> sheet_pdf(two_rows())[:5]
    b'%PDF-'
    """
    register_fonts()
    inner = inner_width(paper)
    cuts = cut_list(pattern) if cuts is None else cuts
    story: list[Flowable] = [
        *_cover(pattern, pattern if finished is None else finished, report, inner, original),
        PageBreak(),
        *_cutting(pattern, cuts, skeins, inner),
        NextPageTemplate(BARE),
    ]
    for drawing in chart_pages(pattern, paper, legend=False):
        story += [PageBreak(), WholePage(drawing)]
    story += [NextPageTemplate(TEXT), PageBreak(), *working_pages(instructions(pattern, cuts), inner)]
    return pdf(story, pattern, paper, "Sheet of a knotted band", "sheet")


# --- cover ------------------------------------------------------------------------------------------


OTHER_END = (
    "Left-handed: the rows of the chart begin at the right. The band is tied from its other end, so that its "
    "picture stands on its head while you tie; picked up by that end it is as shown here."
)


def _cover(
    pattern: Pattern, finished: Pattern, report: Report | None, inner: float, original: Original
) -> Iterator[Flowable]:
    yield Paragraph(escape(printable(pattern.title)) or "Band", TITLE)
    yield Paragraph(size_words(pattern), FAINT)
    for sentence in report.fit_said if report is not None else ():
        yield Paragraph(escape(printable(sentence)), FAINT)
    if finished != pattern:
        yield Paragraph(OTHER_END, FAINT)
    yield Spacer(1, 8)
    yield _pictures(finished, inner, original)
    if report is not None:
        yield Spacer(1, 6)
        first = likeness(report) or verdict(report)
        yield Paragraph(escape(first), ParagraphStyle("v", parent=HEAD, spaceBefore=2))
        if first != verdict(report):
            yield Paragraph(escape(verdict(report)), BODY)
        for sentence in (certificate(report), *thin_parts(report)):
            if sentence:
                yield Paragraph(escape(printable(sentence)), BODY)
    yield Paragraph("Threads and signs", HEAD)
    for shapes, height in [*thread_keys(pattern, inner / mm, 70.0), sign_key(pattern, inner / mm)]:
        yield Painted(Drawing(inner / mm, height, tuple(shapes), "Threads and signs"))
    yield KeepTogether([Paragraph("Cautions", HEAD), *(Paragraph(f"– {text}", STEP) for text in CAUTIONS)])


def _pictures(pattern: Pattern, inner: float, original: Original) -> Flowable:
    """The straight band on its side, and below it the original and the worn band."""
    flat, wrist, source = preview_pictures(pattern, original)
    quarter = Pictures.Transpose.ROTATE_90
    lying = _on_paper(flat.transpose(quarter), inner - 20, 42 * mm)
    worn = wrist.transpose(quarter) if original.lengthwise else wrist
    others = [_on_paper(image, inner / 2 - 20, 56 * mm) for image in (source, worn) if image is not None]
    widths, centred = [(inner - 8) / len(others)] * len(others), ("ALIGN", (0, 0), (-1, -1), "CENTER")
    row = Table([others], colWidths=widths, style=[centred, ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
    ground = ("BACKGROUND", (0, 0), (-1, -1), PAGE)
    room = [(f"{side}PADDING", (0, 0), (-1, -1), 8) for side in ("TOP", "BOTTOM")]
    return Table([[lying], [row]], colWidths=[inner], style=[ground, centred, *room])


def _on_paper(image: Pictures.Image, width: float, height: float) -> Image:
    """A picture as a flowable that fits a box, on the preview's ground."""
    wide, tall = max(1, image.width), max(1, image.height)  # a very long band may be thinner than a pixel
    ground = Pictures.new("RGB", (wide, tall), PAGE)
    ground.paste(image, (0, 0), image)
    data = saved(ground, "JPEG", quality=92, subsampling=0)  # a PDF takes it as it is, unlike a PNG
    scale = min(width / wide, height / tall)
    return Image(BytesIO(data), wide * scale, tall * scale)


# --- cutting ----------------------------------------------------------------------------------------


def _cutting(
    pattern: Pattern, cuts: Sequence[Cut], skeins: SkeinPlan | None, inner: float
) -> Iterator[Flowable]:
    total = sum(line.metres for line in cut_lines(pattern, cuts))
    yield Paragraph("Cut list", HEAD)
    yield Paragraph(
        f"By position at the start, from the left; tails and margin included, {total:.1f} m in all.", BODY
    )
    yield Spacer(1, 4)
    yield _cut_table(pattern, cuts, inner)
    if skeins is None:
        return
    yield Paragraph("From the skeins", HEAD)
    for sentence in skeins.sentences():
        yield Paragraph(escape(printable(sentence)), BODY)
    yield Spacer(1, 4)
    for plan in skeins.threads:
        yield KeepTogether([Painted(_skein_bars(pattern, plan, inner / mm)), Spacer(1, 5)])


def _cut_table(pattern: Pattern, cuts: Sequence[Cut], inner: float) -> Flowable:
    head = ["Strand", "Thread", "Cut", "Tied in all", "Carried in all"]
    body: list[list[Any]] = [[Paragraph(f"<b>{name}</b>", SMALL) for name in head]]
    for line in cut_lines(pattern, cuts):
        body.append(
            [
                Paragraph(line.strands, SMALL),
                Painted(_named_patch(pattern, line.thread, 0.32 * inner / mm - 3)),
                Paragraph(line.length, SMALL),
                Paragraph(f"{line.tied or ''}", NUMBER),
                Paragraph(f"{line.carried or ''}", NUMBER),
            ]
        )
    return ruled(body, (0.24, 0.32, 0.24, 0.1, 0.1), inner)


def _named_patch(pattern: Pattern, thread: int, width: float) -> Drawing:
    colour, name = pattern.threads[thread].colour, pattern.threads[thread].name
    shapes: tuple[Shape, ...] = (
        Polygon(box(0.2, 0.2, 7.6, 3.8), colour, INK, 0.22),
        Text((4.0, 3.1), str(thread + 1), 2.6, ink_on(colour), "middle", True),
        Text((9.6, 3.1), fitted(name, 2.8, width - 10), 2.8, INK),
    )
    return Drawing(width, 4.2, shapes, name)


def _skein_bars(pattern: Pattern, plan: ThreadPlan, width: float) -> Drawing:
    """Each skein of a thread as a bar cut into its pieces, lengths in cm."""
    colour = pattern.threads[plan.thread].colour
    owned = "metres owned not known" if plan.owned_m is None else f"{plan.owned_m:.1f} m owned"
    facts = f"{plan.needed_m:.1f} m needed, {owned}"
    shapes: list[Shape] = list(_named_patch(pattern, plan.thread, width / 2).shapes)
    shapes.append(Text((width, 3.1), facts, 2.7, INK, "end"))
    y, longest = 5.4, max((skein.length_cm for skein in plan.cutting.skeins), default=1)
    for skein in plan.cutting.skeins:
        scale = (width - 1) / longest
        x = 0.5
        for piece in skein.pieces_cm:
            wide = piece * scale
            shapes.append(Polygon(box(x, y, wide, 4.4), colour, INK, 0.2))
            size = min(2.4, 0.95 * wide / max(text_width(str(piece), 1.0), 0.1))
            if size >= 1.3:
                shapes.append(
                    Text((x + wide / 2, y + 2.2 + 0.36 * size), str(piece), size, ink_on(colour), "middle")
                )
            x += wide
        if skein.left_cm:
            wide = skein.left_cm * scale
            shapes.append(Polygon(box(x, y, wide, 4.4), PAPER, SOFT, 0.2))
            label = f"{skein.left_cm} left"
            if text_width(label, 2.2) < wide - 1:
                shapes.append(Text((x + wide / 2, y + 3.0), label, 2.2, SOFT, "middle"))
        y += 5.4
    for piece in plan.cutting.too_long_cm:
        shapes.append(
            Text((0.5, y + 2.6), f"no skein holds a piece of {piece} cm", 2.6, SIGNAL, "start", True)
        )
        y += 4.6
    return Drawing(width, y, tuple(shapes), f"Skeins of {pattern.threads[plan.thread].name}")
