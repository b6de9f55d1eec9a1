"""A small map of the band: what shows in every cell, and which cells were wanted otherwise."""

from __future__ import annotations

from itertools import groupby

from pipeline.pattern import Pattern
from pipeline.replay import replay
from pipeline.writers.drawing import Drawing, Line, Polygon, Shape, Text, box
from pipeline.writers.ink import INK, PAPER, SIGNAL, SOFT, TINT

CELL = 3.0
_SIDE = 7.0


def band_map(pattern: Pattern, *, mark: bool = True) -> Drawing:
    """The band lying on its side, its first row on the left and position 1 below.

    Cells that show another thread than wanted are framed and carry the wanted colour inside (``mark``).
    """
    rows = list(replay(pattern))
    strands = len(pattern.strands)
    shapes: list[Shape] = []
    marks: list[Shape] = []
    width, height = _SIDE + max(1, len(rows)) * CELL + 2, (strands - 1) * CELL
    for index, row in enumerate(rows):
        section = pattern.sections[row.section]
        x, deep = _SIDE + index * CELL, 1 if section.worked == "rows" else 2
        if section.kind == "switching":
            shapes.append(Polygon(box(x, 2, CELL, height), TINT))
        steps = sorted(row.steps, key=lambda step: step.tied.position)
        for colour, places in groupby(
            ((pattern.threads[s.shown].colour, s.tied.position) for s in steps), key=lambda c: c[0]
        ):
            for first, last in _runs([p for _, p in places], deep):
                low, high = min(last + deep, strands - 1), first
                shapes.append(Polygon(box(x, 2 + height - low * CELL, CELL, (low - high) * CELL), colour))
        for step in steps:
            if mark and step.wanted is not None and step.wanted != step.shown:
                p = step.tied.position
                y = 2 + height - (p + (deep + 1) / 2) * CELL if deep == 2 else 2 + height - (p + 1) * CELL
                wanted = pattern.threads[step.wanted].colour
                marks.append(Polygon(box(x + 0.1, y + 0.1, CELL - 0.2, CELL - 0.2), wanted, PAPER, 1.0))
                marks.append(Polygon(box(x + 0.1, y + 0.1, CELL - 0.2, CELL - 0.2), None, SIGNAL, 0.55))
    frame = Polygon(box(_SIDE, 2, len(rows) * CELL, height), None, INK, 0.3)
    labels: list[Shape] = []
    for number in (1, *range(10, len(rows) + 1, 10)):
        x = _SIDE + (number - 0.5) * CELL
        labels.append(Line((x, 2 + height), (x, 3.2 + height), SOFT, 0.25))
        labels.append(Text((x, 6.2 + height), str(number), 2.8, SOFT, "middle"))
    for p in (1, *range(5, strands, 5)):
        labels.append(Text((_SIDE - 1, 2 + height - (p - 0.5) * CELL + 1.0), str(p), 2.8, SOFT, "end"))
    unmade = len(marks) // 2
    words = "no cell is marked" if not unmade else f"{unmade} marked"
    return Drawing(
        width,
        height + 8,
        (*shapes, *marks, frame, *labels),
        f"Map of the band, {words}",
        "Rows from left to right, positions from below. A marked cell holds the colour that was wanted.",
    )


def _runs(positions: list[int], step: int) -> list[tuple[int, int]]:
    """First and last of each run of positions that touch."""
    runs: list[tuple[int, int]] = []
    for p in positions:
        if runs and p - runs[-1][1] == step:
            runs[-1] = (runs[-1][0], p)
        else:
            runs.append((p, p))
    return runs
