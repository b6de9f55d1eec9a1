"""The chart's grid: rows by columns, with the order of the strands before and after them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern, Section
from pipeline.band.replay import RowReplay, replay
from pipeline.literals import plural
from pipeline.order.means import refuse_beyond_chart
from pipeline.writers.drawing import Line, Polygon, Shape, Text, box, text_width
from pipeline.writers.ink import HAIR, INK, SIGNAL, SOFT, TINT
from pipeline.writers.slabs import PITCH_MM, knot_shapes, strand_tab

OVERLAP_GAP_MM = 4.0


@dataclass(frozen=True, slots=True)
class Layout:
    """A pattern laid out at a column pitch; all other measures follow from the pitch."""

    pattern: Pattern
    rows: tuple[RowReplay, ...]
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
        gap = 6.2 * self.unit if self.opens(index) and not first else 0.0
        return gap + (6.0 if self.section(index).working.square else 5.6) * self.unit

    def section(self, index: int) -> Section:
        """The section that a row belongs to."""
        return self.pattern.sections[self.rows[index].section]

    def opens(self, index: int) -> bool:
        """Whether one of several sections begins with a row."""
        return self.rows[index].row == 0 and len(self.pattern.sections) > 1

    def before(self, index: int) -> tuple[Sequence[int], Sequence[int]]:
        """Strand numbers and their threads at each position before a row."""
        if index == 0:
            return range(len(self.pattern.strands)), self.pattern.strands
        return self.rows[index - 1].order, self.rows[index - 1].threads


def refuse_unchartable(pattern: Pattern) -> None:
    """Raise ImpossibleError where the pattern has more knots than a chart can show."""
    refuse_beyond_chart(pattern.row_count, pattern.knot_count)


def lay_out(pattern: Pattern, pitch: float = PITCH_MM) -> Layout:
    refuse_unchartable(pattern)
    return Layout(pattern, replay(pattern), pitch)


@dataclass(frozen=True, slots=True)
class Window:
    """Rows first … last−1 and knot columns left … right−1, and how many of its rows stand twice."""

    first: int
    last: int
    left: int
    right: int
    again_before: int = 0
    again_after: int = 0


def panel(layout: Layout, window: Window) -> tuple[list[Shape], float, float]:
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
    layout: Layout,
    window: Window,
    index: int,
    bottom: float,
    first: bool,
    ground: list[Shape],
    body: list[Shape],
) -> None:
    row, section, unit, pitch = layout.rows[index], layout.section(index), layout.unit, layout.pitch
    grid = (window.right - window.left + 1) * pitch
    height = layout.height(index, first=True)
    if section.kind == "switching":
        ground.append(Polygon(box(layout.side, bottom - height, grid, height), TINT))
    if layout.opens(index) and not first:
        words = _SECTION_WORDS[section.kind].format(rows=plural(len(section.rows), "row"))
        baseline = bottom - height - 1.4 * unit
        body.append(Text((layout.side, baseline), words, 2.4 * max(unit, 0.8), SOFT))
    label, size = str(index + 1), 2.5 * max(unit, 0.8)
    baseline = bottom - height / 2 + 0.36 * size
    bold = (index + 1) % 5 == 0
    if not section.working.turning or row.rising:
        body.append(Text((layout.side - 1.4, baseline), label, size, INK, "end", bold))
    else:
        body.append(Text((layout.side + grid + 1.4, baseline), label, size, INK, "start", bold))
    for step in row.steps:
        p = step.tied.position
        if window.left <= p < window.right:
            centre = layout.side + (p - window.left + 1) * pitch, bottom - height / 2
            body += knot_shapes(layout.pattern, step, section.working, centre, pitch, height)


_SECTION_WORDS = {
    "picture": "picture, {rows}",
    "switching": "switching section, {rows}: strands change places",
    "blocks": "colour blocks, {rows}",
    "plain": "plain, {rows}",
}


def _overlap_mark(body: list[Shape], layout: Layout, y: float, width: float, words: str) -> float:
    """A dashed line with words in a gap between two rows; returns the height of the gap."""
    middle, size = y + OVERLAP_GAP_MM / 2, 2.2
    wide = text_width(words, size)
    left = layout.side + 1.0
    body.append(Line((1.0, middle), (left - 1.0, middle), SIGNAL, 0.3, dashed=True))
    body.append(Text((left, middle + 0.36 * size), words, size, SIGNAL))
    body.append(Line((left + wide + 1.0, middle), (width - 1.0, middle), SIGNAL, 0.3, dashed=True))
    return OVERLAP_GAP_MM


def _order_above(layout: Layout, window: Window, shapes: list[Shape]) -> float:
    unit, pitch = layout.unit, layout.pitch
    _, threads = layout.before(window.first)
    size = 2.3 * max(unit, 0.75)
    words = "starting order" if window.first == 0 else f"order before row {window.first + 1}"
    shapes.append(Text((layout.side, 2.8), words, 2.6, SOFT))
    y = 4.6
    for p in range(window.left, window.right + 1):
        x = layout.side + (p - window.left + 0.5) * pitch
        shapes.append(Text((x, y + size), str(p + 1), size, INK, "middle", (p + 1) % 5 == 0))
        shapes += strand_tab(layout.pattern, threads[p], x, y + size + 1.0 * unit, pitch, tip_down=True)
    return y + size + 7.2 * unit


def _order_below(layout: Layout, window: Window, shapes: list[Shape], y: float) -> float:
    unit, pitch = layout.unit, layout.pitch
    strands, threads = layout.before(window.last)
    size = 2.3 * max(unit, 0.75)
    y += 1.0 * unit
    for p in range(window.left, window.right + 1):
        x = layout.side + (p - window.left + 0.5) * pitch
        shapes += strand_tab(layout.pattern, threads[p], x, y, pitch, tip_down=False)
        shapes.append(Text((x, y + 6.0 * unit + size), str(strands[p] + 1), size, INK, "middle"))
    y += 6.0 * unit + size + 3.8
    words = "final order" if window.last == len(layout.rows) else f"order after row {window.last}"
    shapes.append(Text((layout.side, y), f"{words}, with each strand's number", 2.6, SOFT))
    return y + 1.2
