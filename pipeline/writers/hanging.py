"""The strands as they hang before the first knot, each with its number and its thread."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.band.pattern import Pattern
from pipeline.writers.drawing import Drawing, Polygon, Shape, Text, box, fitted, text_width
from pipeline.writers.ink import INK, SOFT, ink_on

PITCH_MM = 6.2
LINE_MM = 30.0


def hanging_drawing(pattern: Pattern, width: float) -> Drawing:
    """The clip of the board and the strands below it, ``width`` mm wide; many strands take several lines.

    >>> from pipeline.band.example import two_rows
    >>> hanging_drawing(two_rows(), 100.0).height_mm
    30.0
    """
    each = max(2, int((width - 4) // PITCH_MM))
    lines = [range(i, min(i + each, len(pattern.strands))) for i in range(0, len(pattern.strands), each)]
    shapes: list[Shape] = []
    for i, strands in enumerate(lines):
        shapes += _line(pattern, strands, i * LINE_MM)
    title = "The strands at the start, numbered from the left, with the numbers of their threads"
    return Drawing(width, LINE_MM * len(lines), tuple(shapes), title)


def _line(pattern: Pattern, strands: Sequence[int], top: float) -> list[Shape]:
    wide = len(strands) * PITCH_MM
    shapes: list[Shape] = []
    for i, strand in enumerate(strands):
        x, thread = 2 + (i + 0.5) * PITCH_MM, pattern.strands[strand]
        colour = pattern.threads[thread].colour
        shapes.append(Polygon(box(x - 0.9, top + 4.5, 1.8, 20.0), colour, INK, 0.2))
        shapes.append(Polygon(box(x - 2.2, top + 13, 4.4, 4.6), colour, INK, 0.25))
        label = str(thread + 1)
        size = 2.8 / max(1, 0.7 * len(label))
        shapes.append(Text((x, top + 15.3 + 0.36 * size), label, size, ink_on(colour), "middle", True))
        shapes.append(Text((x, top + 28.2), str(strand + 1), 2.6, INK, "middle"))
    shapes.append(Polygon(box(0.5, top + 5, wide + 3, 4), "#c7ced4", INK, 0.3))
    return shapes


def thread_line(pattern: Pattern, width: float) -> Drawing:
    """The threads of the strands in one line, number and name, as a key for the foot of a page."""
    used = sorted(pattern.used)
    shapes: list[Shape] = []
    x, room = 0.0, width / max(1, len(used))
    for i in used:
        thread, label = pattern.threads[i], str(i + 1)
        if room < 6:
            break
        name = fitted(thread.name, 2.4, room - 7)
        shapes.append(Polygon(box(x, 0.2, 4.4, 3.2), thread.colour, INK, 0.2))
        size = 2.2 / max(1, 0.7 * len(label))
        shapes.append(Text((x + 2.2, 1.8 + 0.36 * size), label, size, ink_on(thread.colour), "middle", True))
        shapes.append(Text((x + 5.2, 2.7), name, 2.4, SOFT))
        x += min(room, 5.2 + text_width(name, 2.4) + 4)
    return Drawing(width, 3.6, tuple(shapes), "Threads by number")
