"""A small map of the band: what shows in every cell, and which cells were wanted otherwise."""

from __future__ import annotations

import base64
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.writers.drawing import Drawing, Line, Point, Polygon, Shape, Text, box, saved
from pipeline.writers.ink import INK, PAPER, SIGNAL, SOFT, rgb

CELL = 3.0
_SIDE, _TOP = 7.0, 3.0


def band_map(pattern: Pattern, *, mark: bool = True) -> Drawing:
    """The band lying on its side, its first row on the left and position 1 below.

    Cells that show another thread than wanted are framed and carry the wanted colour inside (``mark``). A
    diagonal knot is as wide as the two strands that meet; strands that pass a row show their thread.
    """
    rows = list(replay(pattern))
    straight = all(section.working.square for section in pattern.sections)
    low, high = (0.5, len(pattern.strands) - 0.5) if straight else (0.0, float(len(pattern.strands)))
    shapes: list[Shape] = []
    marks: list[Shape] = []

    def place(index: int, bottom: float, top: float, inset: float = 0.0) -> tuple[Point, ...]:
        x, y = _SIDE + index * CELL, _TOP + (high - top) * CELL
        bleed = -2 * inset or 0.5  # neighbours overlap a little, so that no gap shines through
        return box(x + inset, y + inset, CELL + bleed, (top - bottom) * CELL - 2 * inset)

    for index, row in enumerate(rows):
        section = pattern.sections[row.section]
        spans: list[Span]
        if section.working.square:
            spans = [(s.tied.position + 0.5, s.tied.position + 1.5, s.shown) for s in row.steps]
        else:
            busy = {p for step in row.steps for p in (step.tied.position, step.tied.position + 1)}
            spans = [(s.tied.position, s.tied.position + 2.0, s.shown) for s in row.steps]
            spans += [(p, p + 1.0, t) for p, t in enumerate(row.before) if p not in busy]
        for bottom, top, thread in _merged(spans):
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


def picture_map(pattern: Pattern, cells: NDArray[np.uint8] | None) -> str:
    """What the picture wants, laid as :func:`band_map` lays the band: an SVG that holds a small PNG.

    ``cells``: (picture rows, strands−1, 3) sRGB of the picture; without it, and in switching rows, a cell
    has the colour of the thread wanted, or of the one that shows where nothing is.
    """
    diagonal = not all(section.working.square for section in pattern.sections)
    pixels = np.full((len(pattern.strands) - (not diagonal), max(1, pattern.row_count), 3), 255, np.uint8)
    picture_row = 0
    for x, row in enumerate(replay(pattern)):
        of_picture = pattern.sections[row.section].kind == "picture"
        for step in row.steps:
            p = step.tied.position
            colour: Sequence[int] = rgb(
                pattern.threads[step.shown if step.wanted is None else step.wanted].colour
            )
            if of_picture and step.wanted is not None and cells is not None and picture_row < len(cells):
                colour = cells[picture_row, p].tolist()
            pixels[p : p + 1 + diagonal, x] = colour
        if diagonal and row.steps:  # a strand that passes the row has no cell of its own
            pixels[0, x] = pixels[row.steps[0].tied.position, x]
            pixels[-1, x] = pixels[row.steps[-1].tied.position, x]
        picture_row += of_picture
    high, wide = pixels.shape[0] * CELL, pixels.shape[1] * CELL
    data = base64.b64encode(saved(Image.fromarray(pixels[::-1]))).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {_SIDE + wide + 2:g} {_TOP + high + 1:g}" '
        'aria-label="The picture reduced to cells, laid like the band below it">'
        f'<image x="{_SIDE:g}" y="{_TOP:g}" width="{wide:g}" height="{high:g}" preserveAspectRatio="none" '
        f'image-rendering="pixelated" href="data:image/png;base64,{data}"/>'
        f'<rect x="{_SIDE:g}" y="{_TOP:g}" width="{wide:g}" height="{high:g}" fill="none" stroke="{INK}" '
        'stroke-width="0.3"/></svg>'
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
