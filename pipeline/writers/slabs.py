"""The shapes of the chart: a knot's slab with its signs, and a strand's end."""

from __future__ import annotations

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.band.replay import Step
from pipeline.literals import Working
from pipeline.writers.drawing import Point, Polygon, Shape, Text, box, text_width
from pipeline.writers.ink import INK, PAPER, SIGNAL, ink_on

PITCH_MM = 6.4
"""Usual width of a column; all other measures go with it."""


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
    pattern: Pattern, step: Step, working: Working, centre: Point, pitch: float, row_height: float
) -> list[Shape]:
    """The slab of one knot with its number, and its ring and join sign where it has them."""
    unit = pitch / PITCH_MM
    width = (pitch if working.square else min(2 * pitch, 11 * unit)) - 0.5 * unit
    height = row_height - 0.55 * unit
    lean = width * (0.22 if working.square else 0.28)
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
    if step.wanted is not None and not step.made:
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


def strand_tab(
    pattern: Pattern, thread: int, x: float, y: float, pitch: float, *, tip_down: bool
) -> list[Shape]:
    """A strand end carrying its thread's number; the pointed side meets the knots."""
    unit, colour = pitch / PITCH_MM, pattern.threads[thread].colour
    half, tall, tip = 0.36 * pitch, 4.2 * unit, 1.1 * unit
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
