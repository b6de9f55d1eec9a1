"""The chart's key: which number is which thread, and what the shapes mean."""

from __future__ import annotations

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.literals import plural
from pipeline.writers.drawing import Polygon, Shape, Text, box, fitted, moved, text_width
from pipeline.writers.ink import HAIR, INK, PAPER, SIGNAL, SOFT, TINT, ink_on
from pipeline.writers.slabs import slab

Key = tuple[list[Shape], float]
"""Shapes and their height in millimetres."""
LINE_MM = 7.0


_KNOT_WORDS = {
    Knot.FORWARD: "forward: the left strand ties, and ends up right",
    Knot.BACKWARD: "backward: the right strand ties, and ends up left",
    Knot.FORWARD_BACKWARD: "forward-backward: the left strand ties, turns back, stays left",
    Knot.BACKWARD_FORWARD: "backward-forward: the right strand ties, turns back, stays right",
}


def thread_key(pattern: Pattern, width: float, first: int = 0, last: int | None = None) -> Key:
    """Threads by number and name, from ``first`` to before ``last``, as shapes of a given width."""
    shapes: list[Shape] = []
    columns = max(1, int(width // 58))
    wide = width / columns
    chosen = range(len(pattern.threads))[first:last]
    for place, i in enumerate(chosen):
        thread, used = pattern.threads[i], pattern.strands.count(i)
        x, y = (place % columns) * wide, (place // columns) * LINE_MM
        shapes.append(
            Polygon(slab(Knot.FORWARD, (x + 4.2, y + 2.8), 8.4, 4.8, 1.9), thread.colour, INK, 0.22)
        )
        shapes.append(Text((x + 4.2, y + 3.8), str(i + 1), 2.8, ink_on(thread.colour), "middle", True))
        count = plural(used, "strand") if used else "no strand"
        room = wide - 12 - text_width(count, 2.5) - 4
        name = fitted(thread.name, 3.1, room, bold=True)
        shapes.append(Text((x + 10.4, y + 3.9), name, 3.1, INK, "start", True))
        after = x + 10.4 + text_width(name, 3.1, bold=True) + 2
        shapes.append(Text((after, y + 3.9), count, 2.5, SOFT))
    return shapes, -(-len(chosen) // columns) * LINE_MM


def thread_keys(pattern: Pattern, width: float, height: float) -> list[Key]:
    """The same in parts of at most a given height."""
    each = max(1, int(height // LINE_MM)) * max(1, int(width // 58))
    return [thread_key(pattern, width, i, i + each) for i in range(0, len(pattern.threads), each)]


def sign_key(pattern: Pattern, width: float) -> Key:
    """What the shapes mean, as far as this chart has them."""
    entries = _signs(pattern)
    columns = max(1, int(width // 90))
    wide = width / columns
    shapes: list[Shape] = []
    for i, (sign, words) in enumerate(entries):
        x, top = (i % columns) * wide, (i // columns) * 5.6
        shapes += _sign(sign, x, top)
        shapes.append(Text((x + 8.4, top + 3.2), fitted(words, 2.6, wide - 9), 2.6, INK))
    return shapes, -(-len(entries) // columns) * 5.6


def key(pattern: Pattern, width: float) -> Key:
    """Threads and signs as shapes of a given width."""
    (shapes, height), (signs, more) = thread_key(pattern, width), sign_key(pattern, width)
    return [*shapes, *moved(signs, 0, height + 2.4)], height + 2.4 + more


def _signs(pattern: Pattern) -> list[tuple[str, str]]:
    """Signs and what they mean."""
    kinds = pattern.kinds
    entries: list[tuple[str, str]] = [("1", "number on a knot or a strand's end: its thread")]
    entries += [(knot.value, _KNOT_WORDS[knot]) for knot in Knot if knot in kinds]
    if any(not step.made for row in replay(pattern) for step in row.steps):
        entries.append(("ring", "ringed: the picture wants another thread (in the corner)"))
    if any(not join.tying for join in pattern.joins):
        entries.append(("+2", "+2: the core goes on as a new piece of thread 2"))
    if any(join.tying for join in pattern.joins):
        entries.append(("2+", "2+: the tying strand goes on as a new piece of thread 2"))
    if any(section.kind == "switching" for section in pattern.sections):
        entries.append(("tint", "tinted ground: switching rows, not part of the picture"))
    if any(section.working.turning for section in pattern.sections):
        entries.append(("12", "a row begins at the side where its number stands"))
    return entries


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
    if sign == "1":
        return [
            Polygon(box(x + 1.2, y + 0.3, 4.0, 4.0), pale, INK, 0.22),
            Text((x + 3.2, y + 3.3), sign, 2.6, INK, "middle", True),
        ]
    return [Text((x + 3.2, y + 3.2), "12", 2.6, INK, "middle", True)]
