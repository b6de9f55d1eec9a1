"""A small map of the band: what shows in every cell, and which cells were wanted otherwise."""

from __future__ import annotations

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.writers.drawing import Drawing, Line, Point, Polygon, Shape, Text, box
from pipeline.writers.ink import INK, PAPER, SIGNAL, SOFT

CELL = 3.0
_SIDE, _TOP = 7.0, 3.0


def band_map(pattern: Pattern, *, mark: bool = True) -> Drawing:
    """The band lying on its side, its first row on the left and position 1 below.

    Cells that show another thread than wanted are framed and carry the wanted colour inside (``mark``). A
    diagonal knot is as wide as the two strands that meet; strands that pass a row show their thread.
    """
    rows = list(replay(pattern))
    straight = all(section.worked == "rows" for section in pattern.sections)
    low, high = (0.5, len(pattern.strands) - 0.5) if straight else (0.0, float(len(pattern.strands)))
    shapes: list[Shape] = []
    marks: list[Shape] = []

    def place(index: int, bottom: float, top: float, inset: float = 0.0) -> tuple[Point, ...]:
        x, y = _SIDE + index * CELL, _TOP + (high - top) * CELL
        bleed = -2 * inset or 0.5  # neighbours overlap a little, so that no gap shines through
        return box(x + inset, y + inset, CELL + bleed, (top - bottom) * CELL - 2 * inset)

    threads: tuple[int, ...] = pattern.strands
    for index, row in enumerate(rows):
        section = pattern.sections[row.section]
        reach = (0.5, 1.5) if section.worked == "rows" else (0.0, 2.0)
        if section.worked == "diagonal":
            busy = {p for step in row.steps for p in (step.tied.position, step.tied.position + 1)}
            idle = [(p, p, threads[p]) for p in range(len(threads)) if p not in busy]
        else:
            idle = []
        spans = [(s.tied.position + reach[0], s.tied.position + reach[1], s.shown) for s in row.steps]
        for bottom, top, thread in _merged([*spans, *((a, b + 1.0, t) for a, b, t in idle)]):
            shapes.append(Polygon(place(index, bottom, top), pattern.threads[thread].colour))
        if section.kind == "switching":
            bar = box(_SIDE + index * CELL, _TOP - 1.6, CELL + 0.12, 1.2)
            shapes.append(Polygon(bar, SOFT))
        for step in row.steps:
            if mark and step.wanted is not None and not step.made:
                middle = step.tied.position + 1.0
                corners = place(index, middle - 0.5, middle + 0.5, 0.1)
                marks.append(Polygon(corners, pattern.threads[step.wanted].colour, PAPER, 1.0))
                marks.append(Polygon(corners, None, SIGNAL, 0.55))
        threads = row.threads
    deep = (high - low) * CELL
    labels: list[Shape] = [Polygon(box(_SIDE, _TOP, len(rows) * CELL, deep), None, INK, 0.3)]
    for number in (1, *range(10, len(rows) + 1, 10)):
        x = _SIDE + (number - 0.5) * CELL
        labels.append(Line((x, _TOP + deep), (x, _TOP + 1.2 + deep), SOFT, 0.25))
        labels.append(Text((x, _TOP + 4.2 + deep), str(number), 2.8, SOFT, "middle"))
    for p in (1, *range(5, len(pattern.strands), 5)):
        y = _TOP + (high - p + (0.0 if straight else 0.5)) * CELL
        labels.append(Text((_SIDE - 1, y + 1.0), str(p), 2.8, SOFT, "end"))
    unmade = len(marks) // 2
    return Drawing(
        _SIDE + max(1, len(rows)) * CELL + 2,
        _TOP + deep + 6,
        (*shapes, *marks, *labels),
        f"Map of the band, {unmade or 'no'} cell{'' if unmade == 1 else 's'} marked",
        "Rows from left to right, positions from below. A marked cell holds the colour that was wanted.",
    )


Span = tuple[float, float, int]


def _merged(spans: list[Span]) -> list[Span]:
    """The same stretches of thread with those that touch made one."""
    merged: list[Span] = []
    for bottom, top, thread in sorted(spans):
        if merged and merged[-1][1] == bottom and merged[-1][2] == thread:
            merged[-1] = (merged[-1][0], top, thread)
        else:
            merged.append((bottom, top, thread))
    return merged
