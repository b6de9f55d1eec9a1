"""The chart: every knot as a slanted slab, with the threads, the turns and the order of the strands.

A slab leans the way its tying strand goes: from its upper left to its lower right where the left strand
ties. Where the tying strand turns back and stays, the side it turns at has a notch. Each slab carries the
number of its thread, so the chart reads without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Literal

from pipeline.errors import InputError
from pipeline.knots import Knot, Worked
from pipeline.pattern import Pattern
from pipeline.replay import RowReplay, Step, replay
from pipeline.writers.drawing import (
    POINTS_PER_MM,
    Drawing,
    Line,
    Point,
    Polygon,
    Shape,
    Text,
    box,
    fitted,
    moved,
    paint_pdf,
    png,
    register_fonts,
    svg,
    text_width,
)
from pipeline.writers.ink import HAIR, INK, PAPER, SIGNAL, SOFT, TINT, ink_on

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in millimetres (ISO 216; ANSI/ASME Y14.1)."""

MAX_KNOTS = 100_000
PITCH_MM = 6.4
SMALLEST_PITCH_MM = 4.0
MARGIN_MM = 12.0
OVERLAP = 2
"""Rows (and one column) that stand on two pages, so that pages can be laid or glued together."""
OVERLAP_GAP_MM = 4.0


@dataclass(frozen=True, slots=True)
class _BandRow:
    """One row of the band: its number from 1, and whether a section begins with it."""

    number: int
    kind: str
    worked: Worked
    opens: bool
    section_rows: int
    replayed: RowReplay

    @property
    def begins_left(self) -> bool:
        steps = self.replayed.steps
        return self.worked == "diagonal" or len(steps) < 2 or steps[0].tied.position < steps[-1].tied.position


@dataclass(frozen=True, slots=True)
class _Layout:
    """A pattern laid out at a column pitch; all other measures follow from the pitch."""

    pattern: Pattern
    rows: tuple[_BandRow, ...]
    pitch: float

    @property
    def unit(self) -> float:
        return self.pitch / PITCH_MM

    @property
    def side(self) -> float:
        """Room for row numbers at each side."""
        return 9.5 * max(self.unit, 0.8)

    def height(self, index: int, *, first: bool) -> float:
        """Height of a row with the gap before it."""
        row = self.rows[index]
        gap = 6.2 * self.unit if row.opens and not first and self.several else 0.0
        return gap + (6.0 if row.worked == "rows" else 5.6) * self.unit

    @property
    def several(self) -> bool:
        return len(self.pattern.sections) > 1

    def before(self, index: int) -> tuple[Sequence[int], Sequence[int]]:
        """Strand numbers and their threads at each position before a row."""
        if index == 0:
            return range(len(self.pattern.strands)), self.pattern.strands
        replayed = self.rows[index - 1].replayed
        return replayed.order, replayed.threads


def _layout(pattern: Pattern, pitch: float = PITCH_MM) -> _Layout:
    knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
    if knots > MAX_KNOTS:
        raise InputError(
            f"a chart of {knots:,} knots cannot be drawn, {MAX_KNOTS:,} is the most",
            "Draw the instructions instead, or a shorter band.",
        )
    rows = []
    for number, (done, (_, r, section, _)) in enumerate(zip(replay(pattern), pattern.rows(), strict=True), 1):
        opens = r == 0
        rows.append(_BandRow(number, section.kind, section.worked, opens, len(section.rows), done))
    return _Layout(pattern, tuple(rows), pitch)


# --- one knot ---------------------------------------------------------------------------------------


def slab(knot: Knot, centre: Point, width: float, height: float, lean: float) -> tuple[Point, ...]:
    """Corners of a knot's slab: it leans as the tying strand goes, with a notch where that turns back."""
    x, y = width / 2, height / 2
    upper_right, lower_right = (x - lean, -y), (x, y)
    side = [upper_right]
    if not knot.swaps:
        for along, deep in ((0.22, 0.0), (0.52, 0.21 * width), (0.82, 0.0)):
            side.append((upper_right[0] + along * lean - deep, -y + along * height))
    corners = [(-x, -y), *side, lower_right, (-x + lean, y)]
    turn = 1 if knot.left_ties else -1
    return tuple((centre[0] + turn * px, centre[1] + py) for px, py in corners)


def knot_shapes(
    pattern: Pattern, step: Step, worked: Worked, centre: Point, pitch: float, row_height: float
) -> list[Shape]:
    """The slab of one knot with its number, and its ring and join sign where it has them."""
    unit = pitch / PITCH_MM
    width = (pitch if worked == "rows" else min(2 * pitch, 11 * unit)) - 0.5 * unit
    height = row_height - 0.55 * unit
    lean = width * (0.22 if worked == "rows" else 0.28)
    thread = pattern.threads[step.shown]
    shapes: list[Shape] = [
        Polygon(slab(step.tied.knot, centre, width, height, lean), thread.colour, INK, 0.22 * max(unit, 0.8))
    ]
    label = str(step.shown + 1)
    size = min(2.9 * unit, 0.62 * width / max(1, len(label)))
    shift = 0.0 if step.tied.knot.swaps else (-0.06 if step.tied.knot.left_ties else 0.06) * width
    shapes.append(
        Text((centre[0] + shift, centre[1] + 0.36 * size), label, size, ink_on(thread.colour), "middle", True)
    )
    if step.wanted is not None and step.wanted != step.shown:
        shapes += _ring(pattern, step.wanted, centre, width, height, unit)
    if step.joined is not None:
        shapes += _join_sign(step, step.joined, centre, width, height, unit)
    return shapes


def _ring(
    pattern: Pattern, wanted: int, centre: Point, width: float, height: float, unit: float
) -> list[Shape]:
    x, y, w, h = centre[0] - width / 2, centre[1] - height / 2, width, height
    cut = 1.1 * unit
    ring = (
        (x + cut, y), (x + w - cut, y), (x + w, y + cut), (x + w, y + h - cut),
        (x + w - cut, y + h), (x + cut, y + h), (x, y + h - cut), (x, y + cut),
    )  # fmt: skip
    thread = pattern.threads[wanted]
    label = str(wanted + 1)
    side = 2.5 * unit
    size = min(1.9 * unit, 1.25 * side / (0.72 * len(label) + 0.3) * 0.6)
    corner = box(x + w - side + 0.3 * unit, y - 0.3 * unit, side, side)
    middle = (corner[0][0] + side / 2, corner[0][1] + side / 2 + 0.36 * size)
    return [
        Polygon(ring, None, PAPER, 1.15 * unit),
        Polygon(ring, None, SIGNAL, 0.6 * unit),
        Polygon(corner, thread.colour, SIGNAL, 0.3 * unit),
        Text(middle, label, size, ink_on(thread.colour), "middle", True),
    ]


def _join_sign(
    step: Step, thread: int, centre: Point, width: float, height: float, unit: float
) -> list[Shape]:
    label = f"{thread + 1}+" if step.tying_joined else f"+{thread + 1}"
    size = 1.8 * unit
    wide = text_width(label, size, bold=True) + 0.8 * unit
    x, y = centre[0] - width / 2 - 0.3 * unit, centre[1] + height / 2 - 1.6 * unit
    return [
        Polygon(box(x, y, wide, 2.2 * unit), PAPER, INK, 0.25 * unit),
        Text((x + wide / 2, y + 1.75 * unit), label, size, INK, "middle", True),
    ]


# --- a panel: some rows by some columns ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Window:
    """Rows first … last−1 and knot columns left … right−1, and how many of its rows stand twice."""

    first: int
    last: int
    left: int
    right: int
    again_before: int = 0
    again_after: int = 0


def _panel(layout: _Layout, window: _Window) -> tuple[list[Shape], float, float]:
    """Shapes of a window with the order of the strands before and after it; its width and height."""
    unit, pitch = layout.unit, layout.pitch
    grid = (window.right - window.left + 1) * pitch
    width = grid + 2 * layout.side
    shapes: list[Shape] = []
    y = _order_above(layout, window, shapes)
    top = y
    body: list[Shape] = []
    ground: list[Shape] = []
    for index in range(window.first, window.last):
        if window.again_before and index == window.first + window.again_before:
            y += _overlap_mark(body, layout, y, width, "the rows above stand on the page before as well")
        if window.again_after and index == window.last - window.again_after:
            y += _overlap_mark(body, layout, y, width, "the rows below come again on the next page")
        first = index == window.first
        y += layout.height(index, first=first)
        _row(layout, window, index, y, first, ground, body)
    for column in range(window.left, window.right + 1):
        if column % 5 == 4:
            x = layout.side + (column - window.left + 0.5) * pitch
            ground.append(Line((x, top), (x, y), HAIR, 0.16 * unit))
    shapes += ground + body
    y = _order_below(layout, window, shapes, y)
    return shapes, width, y


def _row(
    layout: _Layout,
    window: _Window,
    index: int,
    bottom: float,
    first: bool,
    ground: list[Shape],
    body: list[Shape],
) -> None:
    row, unit, pitch = layout.rows[index], layout.unit, layout.pitch
    grid = (window.right - window.left + 1) * pitch
    height = layout.height(index, first=True)
    if row.kind == "switching":
        ground.append(Polygon(box(layout.side, bottom - height, grid, height), TINT))
    if row.opens and layout.several and not first:
        words = _SECTION_WORDS[row.kind].format(
            rows=f"{row.section_rows} row{'s' if row.section_rows > 1 else ''}"
        )
        baseline = bottom - height - 1.4 * unit
        body.append(Text((layout.side, baseline), words, 2.4 * max(unit, 0.8), SOFT))
    label, size = str(row.number), 2.5 * max(unit, 0.8)
    baseline = bottom - height / 2 + 0.36 * size
    bold = row.number % 5 == 0
    if row.begins_left:
        body.append(Text((layout.side - 1.4, baseline), label, size, INK, "end", bold))
    else:
        body.append(Text((layout.side + grid + 1.4, baseline), label, size, INK, "start", bold))
    for step in row.replayed.steps:
        p = step.tied.position
        if window.left <= p < window.right:
            x = layout.side + (p - window.left + 1) * pitch
            body += knot_shapes(layout.pattern, step, row.worked, (x, bottom - height / 2), pitch, height)


_SECTION_WORDS = {
    "picture": "picture, {rows}",
    "switching": "switching section, {rows}: strands change places",
    "blocks": "colour blocks, {rows}",
    "plain": "plain, {rows}",
}


def _overlap_mark(body: list[Shape], layout: _Layout, y: float, width: float, words: str) -> float:
    """A dashed line with words in a gap between two rows; returns the height of the gap."""
    middle, size = y + OVERLAP_GAP_MM / 2, 2.2
    wide = text_width(words, size)
    left = layout.side + 1.0
    body.append(Line((1.0, middle), (left - 1.0, middle), SIGNAL, 0.3, dashed=True))
    body.append(Text((left, middle + 0.36 * size), words, size, SIGNAL))
    body.append(Line((left + wide + 1.0, middle), (width - 1.0, middle), SIGNAL, 0.3, dashed=True))
    return OVERLAP_GAP_MM


def _strand_tab(layout: _Layout, x: float, y: float, thread: int, *, tip_down: bool) -> list[Shape]:
    """A strand end carrying its thread's number; the pointed side meets the knots."""
    unit, colour = layout.unit, layout.pattern.threads[thread].colour
    half, tall, tip = 0.36 * layout.pitch, 4.2 * unit, 1.1 * unit
    corners = [(-half, 0.0), (half, 0.0), (half, tall), (0.0, tall + tip), (-half, tall)]
    if not tip_down:
        corners = [(px, tall + tip - py) for px, py in corners]
    label = str(thread + 1)
    size = min(2.7 * unit, 1.25 * half / max(1, 0.68 * len(label)))
    middle = y + (tall / 2 if tip_down else tall / 2 + tip) + 0.36 * size
    return [
        Polygon(tuple((x + px, y + py) for px, py in corners), colour, INK, 0.22 * max(unit, 0.8)),
        Text((x, middle), label, size, ink_on(colour), "middle", True),
    ]


def _order_above(layout: _Layout, window: _Window, shapes: list[Shape]) -> float:
    unit, pitch = layout.unit, layout.pitch
    _, threads = layout.before(window.first)
    size = 2.3 * max(unit, 0.75)
    words = "starting order" if window.first == 0 else f"order before row {layout.rows[window.first].number}"
    shapes.append(Text((layout.side, 2.8), words, 2.6, SOFT))
    y = 4.6
    for p in range(window.left, window.right + 1):
        x = layout.side + (p - window.left + 0.5) * pitch
        shapes.append(Text((x, y + size), str(p + 1), size, INK, "middle", (p + 1) % 5 == 0))
        shapes += _strand_tab(layout, x, y + size + 1.0 * unit, threads[p], tip_down=True)
    return y + size + 7.2 * unit


def _order_below(layout: _Layout, window: _Window, shapes: list[Shape], y: float) -> float:
    unit, pitch = layout.unit, layout.pitch
    row = layout.rows[window.last - 1] if layout.rows else None
    strands, threads = (row.replayed.order, row.replayed.threads) if row else layout.before(0)
    size = 2.3 * max(unit, 0.75)
    y += 1.0 * unit
    for p in range(window.left, window.right + 1):
        x = layout.side + (p - window.left + 0.5) * pitch
        shapes += _strand_tab(layout, x, y, threads[p], tip_down=False)
        shapes.append(Text((x, y + 6.0 * unit + size), str(strands[p] + 1), size, INK, "middle"))
    y += 6.0 * unit + size + 3.8
    last = window.last == len(layout.rows)
    words = "final order" if last or not row else f"order after row {row.number}"
    shapes.append(Text((layout.side, y), f"{words}, with each strand's number", 2.6, SOFT))
    return y + 1.2


# --- key --------------------------------------------------------------------------------------------

_KNOT_WORDS = {
    Knot.FORWARD: "forward: the left strand ties, and ends up right",
    Knot.BACKWARD: "backward: the right strand ties, and ends up left",
    Knot.FORWARD_BACKWARD: "forward-backward: the left strand ties, turns back, stays left",
    Knot.BACKWARD_FORWARD: "backward-forward: the right strand ties, turns back, stays right",
}


def key(pattern: Pattern, width: float) -> tuple[list[Shape], float]:
    """The key as shapes of a given width: threads by number and name, and what the shapes mean."""
    shapes: list[Shape] = []
    used = [sum(1 for t in pattern.strands if t == i) for i in range(len(pattern.threads))]
    columns = max(1, int(width // 58))
    wide = width / columns
    for i, thread in enumerate(pattern.threads):
        x, y = (i % columns) * wide, (i // columns) * 7.0
        shapes.append(
            Polygon(slab(Knot.FORWARD, (x + 4.2, y + 2.8), 8.4, 4.8, 1.9), thread.colour, INK, 0.22)
        )
        shapes.append(Text((x + 4.2, y + 3.8), str(i + 1), 2.8, ink_on(thread.colour), "middle", True))
        count = f"{used[i]} strand{'' if used[i] == 1 else 's'}" if used[i] else "wanted, no strand"
        room = wide - 12 - text_width(count, 2.5) - 4
        name = fitted(thread.name, 3.1, room, bold=True)
        shapes.append(Text((x + 10.4, y + 3.9), name, 3.1, INK, "start", True))
        after = x + 10.4 + text_width(name, 3.1, bold=True) + 2
        shapes.append(Text((after, y + 3.9), count, 2.5, SOFT))
    y = -(-len(pattern.threads) // columns) * 7.0 + 2.4
    return shapes, _signs(pattern, shapes, width, y)


def _signs(pattern: Pattern, shapes: list[Shape], width: float, y: float) -> float:
    kinds = {knot for _, _, _, row in pattern.rows() for _, knot in row.knots}
    entries: list[tuple[str, str]] = [(knot.value, _KNOT_WORDS[knot]) for knot in Knot if knot in kinds]
    if any(step.wanted not in (None, step.shown) for row in replay(pattern) for step in row.steps):
        entries.append(("ring", "ringed: the picture wants another thread (in the corner)"))
    if any(not join.tying for join in pattern.joins):
        entries.append(("+2", "+2: the core goes on as a new piece of thread 2"))
    if any(join.tying for join in pattern.joins):
        entries.append(("2+", "2+: the tying strand goes on as a new piece of thread 2"))
    if any(section.kind == "switching" for section in pattern.sections):
        entries.append(("tint", "tinted ground: switching rows, not part of the picture"))
    if any(section.worked == "rows" for section in pattern.sections):
        entries.append(("side", "a row begins at the side where its number stands"))
    columns = max(1, int(width // 90))
    wide = width / columns
    for i, (sign, words) in enumerate(entries):
        x, top = (i % columns) * wide, y + (i // columns) * 5.6
        shapes += _sign(sign, x, top)
        shapes.append(Text((x + 8.4, top + 3.2), fitted(words, 2.6, wide - 9), 2.6, INK))
    return y + -(-len(entries) // columns) * 5.6


def _sign(sign: str, x: float, y: float) -> list[Shape]:
    centre, pale = (x + 3.2, y + 2.3), "#d5dde2"
    if sign in Knot.__members__.values():
        return [Polygon(slab(Knot(sign), centre, 6.2, 4.2, 1.5), pale, INK, 0.22)]
    if sign == "ring":
        frame = box(x + 0.3, y + 0.3, 5.8, 4.0)
        return [Polygon(frame, None, SIGNAL, 0.55), Polygon(box(x + 4.1, y, 2.4, 2.2), pale, SIGNAL, 0.3)]
    if "+" in sign:
        return [
            Polygon(box(x + 0.8, y + 0.8, 4.8, 3.0), PAPER, INK, 0.25),
            Text((x + 3.2, y + 3.2), sign, 2.2, INK, "middle", True),
        ]
    if sign == "tint":
        return [Polygon(box(x + 0.2, y + 0.3, 6.0, 4.0), TINT, HAIR, 0.2)]
    return [Text((x + 3.2, y + 3.2), "12", 2.6, INK, "middle", True)]


# --- outputs ----------------------------------------------------------------------------------------


def chart(pattern: Pattern) -> Drawing:
    """The whole chart as one drawing."""
    layout = _layout(pattern)
    window = _Window(0, len(layout.rows), 0, len(pattern.strands) - 1)
    panel, width, height = _panel(layout, window)
    inner = max(width, 122.0)
    shapes: list[Shape] = _heading(pattern, inner)
    legend, legend_height = key(pattern, inner)
    shapes += moved(legend, 0, 12)
    left = (inner - width) / 2
    shapes += moved(panel, left, 12 + legend_height + 4)
    total = 12 + legend_height + 4 + height
    page = moved(shapes, MARGIN_MM, MARGIN_MM)
    return Drawing(
        inner + 2 * MARGIN_MM,
        total + 2 * MARGIN_MM,
        tuple(page),
        f"Chart of {pattern.title}",
        _described(pattern),
    )


def _described(pattern: Pattern) -> str:
    rows = sum(len(section.rows) for section in pattern.sections)
    names = ", ".join(f"{i} {thread.name}" for i, thread in enumerate(pattern.threads, 1))
    return f"{len(pattern.strands)} strands, {rows} rows. Threads by number: {names}."


def _heading(pattern: Pattern, width: float) -> list[Shape]:
    rows = sum(len(section.rows) for section in pattern.sections)
    facts = f"{len(pattern.strands)} strands · {rows} rows"
    room = width - text_width(facts, 3.0) - 4
    return [
        Text((0, 5.2), fitted(pattern.title, 5.6, room, bold=True), 5.6, INK, "start", True),
        Text((width, 5.2), facts, 3.0, SOFT, "end"),
        Line((0, 8.0), (width, 8.0), INK, 0.35),
    ]


def chart_svg(pattern: Pattern) -> str:
    """The chart as an SVG document. Raises InputError beyond MAX_KNOTS knots."""
    return svg(chart(pattern))


def chart_png(pattern: Pattern, *, px_per_mm: float = 8.0) -> bytes:
    """The chart as a PNG. Raises InputError beyond MAX_KNOTS knots."""
    return png(chart(pattern), px_per_mm=px_per_mm)


def chart_pages(pattern: Pattern, paper: Paper = "A4", *, legend: bool = True) -> list[Drawing]:
    """The chart cut over pages of paper, with rows and columns that stand on two pages marked."""
    page_width, page_height = PAPERS[paper]
    inner, tall = page_width - 2 * MARGIN_MM, page_height - 2 * MARGIN_MM - 6
    strands = len(pattern.strands)
    pitch, spans = _columns(strands, inner)
    layout = _layout(pattern, pitch)
    head: list[Shape] = _heading(pattern, inner)
    above = 12.0
    if legend:
        shapes, height = key(pattern, inner)
        head += moved(shapes, 0, above)
        above += height + 4
    windows: list[tuple[_Window, float]] = []
    for left, right in spans:
        windows += _cut(layout, left, right, tall, above if not windows else 9.0)
    pages = []
    for number, (window, top) in enumerate(windows, 1):
        panel, width, _ = _panel(layout, window)
        body = (head if number == 1 else _running_head(pattern, inner)) + moved(
            panel, (inner - width) / 2, top
        )
        body.append(Text((inner, tall + 5), f"chart, page {number} of {len(windows)}", 2.6, SOFT, "end"))
        where = f"rows {window.first + 1}–{window.last}"
        if len(spans) > 1:
            where += f", positions {window.left + 1}–{window.right + 1}"
        body.append(Text((0, tall + 5), where, 2.6, SOFT))
        title = f"Chart of {pattern.title}, page {number}"
        pages.append(Drawing(page_width, page_height, tuple(moved(body, MARGIN_MM, MARGIN_MM)), title))
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


def _cut(
    layout: _Layout, left: int, right: int, tall: float, first_top: float
) -> list[tuple[_Window, float]]:
    windows: list[tuple[_Window, float]] = []
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
        window = _Window(start, last, left, right, again, 0 if done else OVERLAP)
        windows.append((window, top))
        if done:
            return windows
        start, top = last - OVERLAP, 9.0


def chart_pdf(pattern: Pattern, paper: Paper = "A4") -> bytes:
    """The chart as a PDF. Raises InputError beyond MAX_KNOTS knots."""
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
