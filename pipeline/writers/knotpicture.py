"""The four knots as drawings to tie from: cords that pass over and under each other, half by half.

A half forward: the left cord lies over the right one, turns back behind it above that place, comes up through
the opening that it has made, and hangs down over itself. A half backward is its mirror image. Every knot is
two halves of one cord.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cache

from pipeline.band.knots import Knot
from pipeline.writers.drawing import Drawing, Point, Polygon, Shape, Text, moved
from pipeline.writers.ink import INK

PANEL_MM = (30.0, 36.0)
CORD_MM, EDGE_MM = 2.6, 0.35
TYING, CORE = "#2f7cb0", "#efe6cf"
MIDDLE = 15.0
"""Where the core runs in a panel."""
WORDS = {
    Knot.FORWARD: ("Forward", "The left strand ties two halves forward.", "The strands change places."),
    Knot.BACKWARD: ("Backward", "The right strand ties two halves backward.", "The strands change places."),
    Knot.FORWARD_BACKWARD: (
        "Forward-backward",
        "The left strand ties a half forward, then a half backward.",
        "Both stay where they are.",
    ),
    Knot.BACKWARD_FORWARD: (
        "Backward-forward",
        "The right strand ties a half backward, then a half forward.",
        "Both stay where they are.",
    ),
}
"""Each knot's name, who ties what, and what becomes of the two."""


@cache
def knot_drawing(knot: Knot) -> Drawing:
    """A knot in three panels side by side: its first half, its second half, and how the strands leave it."""
    halves = ["half forward", "half forward" if knot.swaps else "half backward"]
    panel, height = PANEL_MM
    first = _loop([(7.5, 0.0), (6.6, 5.0), (5.4, 10.0)])
    second, tight = _second(same=knot.swaps), _tight(swaps=knot.swaps)
    shapes = [*first, *moved(second, panel, 0), *moved(tight, 2 * panel, 0)]
    if not knot.left_ties:
        shapes = [_mirrored(shape) for shape in shapes]
        halves = ["half forward" if half == "half backward" else "half backward" for half in halves]
    captions = (f"1. {halves[0]}", f"2. {halves[1]}", "pulled tight")
    for i, caption in enumerate(captions):
        shapes.append(Text(((i + 0.5) * panel, height - 1.2), caption, 2.9, INK, "middle", False))
    name, ties, then = WORDS[knot]
    return Drawing(3 * panel, height, tuple(shapes), name, f"{ties} {then}")


def _second(*, same: bool) -> list[Shape]:
    """The other half, below the first one, which is tight."""
    loop = _loop([(MIDDLE - 1, 6.4), (9.0, 7.0), (5.6, 10.5)])
    if not same:
        loop = [_mirrored(shape, PANEL_MM[0]) for shape in loop]
    return [*loop, *_turn((MIDDLE - 2.6, 6.1), (MIDDLE + 2.6, 3.9))]


def _loop(start: Sequence[Point]) -> list[Shape]:
    """The tying cord from ``start`` over the core, back behind it and up through the opening."""
    turn = [(25.4, 18.2), (25.6, 14.6), (22.2, 12.0)]  # right of the core, where over becomes under
    over = _curve([*start, (5.4, 16.0), (8.0, 20.5), (MIDDLE, 21.0), (21.5, 20.8), *turn])
    under = _curve([*turn, (MIDDLE, 11.7), (11.8, 13.2), (10.6, 16.4)])
    through = _curve([(11.8, 13.4), (10.6, 16.4), (10.4, 21.0), (10.6, 26.5)])
    core = [(MIDDLE, 0.0), (MIDDLE, 31.0)]
    shapes = [*_cord(under, TYING), *_cord(core, CORE), *_cord(over, TYING), *_cord(through, TYING)]
    tip = (10.7, 30.0)
    shapes.append(Polygon(((7.7, 26.2), (13.5, 26.2), tip), TYING, INK, EDGE_MM))
    return shapes


def _turn(start: Point, end: Point) -> list[Shape]:
    """A half pulled tight: one turn round the core."""
    return [Polygon(_ribbon([start, end], CORD_MM), TYING, INK, EDGE_MM)]


def _tight(*, swaps: bool) -> list[Shape]:
    """A finished knot: two turns, and where both cords go on."""
    out = 24.5 if swaps else 5.5
    other = 30.0 - out
    tail = _curve([(MIDDLE, 15.0), (MIDDLE + (out - MIDDLE) * 0.4, 18.0), (out - 0.5, 24.0), (out, 31.0)])
    core = _curve(
        [(22.5, 0.0), (18.0, 7.0), (MIDDLE, 14.0), (MIDDLE - (out - MIDDLE) * 0.4, 20.0), (other, 31.0)]
    )
    standing = _curve([(7.5, 0.0), (9.5, 6.0), (MIDDLE - 1.5, 11.0)])
    turns = [_turn((11.6, y + 1.6), (19.2, y - 1.6)) for y in (11.4, 14.8)]
    if not swaps:  # the second half turns back
        turns[1] = _turn((11.2, 13.6), (18.8, 16.8))
    return [*_cord(tail, TYING), *_cord(core, CORE), *_cord(standing, TYING), *turns[0], *turns[1]]


# --- cords ------------------------------------------------------------------------------------------


def _cord(points: Sequence[Point], colour: str) -> list[Shape]:
    """A cord along a line: an edge of ink, and the thread on it. What is painted later lies over it."""
    return [Polygon(_ribbon(points, CORD_MM + 2 * EDGE_MM), INK), Polygon(_ribbon(points, CORD_MM), colour)]


def _ribbon(points: Sequence[Point], width: float) -> tuple[Point, ...]:
    """The outline of a line drawn with a pen of that width."""
    left: list[Point] = []
    right: list[Point] = []
    for i, (x, y) in enumerate(points):
        (ax, ay), (bx, by) = points[max(0, i - 1)], points[min(len(points) - 1, i + 1)]
        length = math.hypot(bx - ax, by - ay) or 1.0
        nx, ny = -(by - ay) / length * width / 2, (bx - ax) / length * width / 2
        left.append((round(x + nx, 2), round(y + ny, 2)))
        right.append((round(x - nx, 2), round(y - ny, 2)))
    return (*left, *reversed(right))


def _curve(points: Sequence[Point], steps: int = 8) -> list[Point]:
    """A smooth line through points (a Catmull–Rom spline: Catmull and Rom 1974)."""
    padded = [points[0], *points, points[-1]]
    line: list[Point] = []
    for a, b, c, d in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        for k in range(steps):
            t = k / steps
            line.append((_spline(a[0], b[0], c[0], d[0], t), _spline(a[1], b[1], c[1], d[1], t)))
    return [*line, points[-1]]


def _spline(a: float, b: float, c: float, d: float, t: float) -> float:
    return 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)


def _mirrored(shape: Shape, width: float | None = None) -> Shape:
    """Left and right exchanged inside the shape's own panel."""
    if not isinstance(shape, Polygon):
        return shape
    if width is None:
        panel = math.floor(min(x for x, _ in shape.points) / PANEL_MM[0] + 1e-6)
        width = (2 * panel + 1) * PANEL_MM[0]
    return Polygon(tuple((width - x, y) for x, y in shape.points), shape.fill, shape.stroke, shape.width_mm)


def knot_sheet(knots: Iterable[Knot], width: float) -> Drawing:
    """Several knots with their names, side by side where ``width`` (mm) has room for two."""
    wide, tall = 3 * PANEL_MM[0] + 4, PANEL_MM[1] + 17
    columns = max(1, int((width + 4) // wide))
    shapes: list[Shape] = []
    chosen = sorted(knots, key=list(Knot).index)
    for i, knot in enumerate(chosen):
        x, y = (i % columns) * wide, (i // columns) * tall
        name, ties, then = WORDS[knot]
        shapes.append(Text((x, y + 3.4), name, 3.4, INK, "start", True))
        shapes.append(Text((x, y + 7.6), ties, 2.7, INK))
        shapes.append(Text((x, y + 11.2), then, 2.7, INK))
        shapes += moved(knot_drawing(knot).shapes, x, y + 13)
    return Drawing(width, -(-len(chosen) // columns) * tall, tuple(shapes), "The knots")
