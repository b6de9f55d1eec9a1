"""The straight band as a picture: every knot as two wraps of yarn, in the proportions of the gauge."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.band.pattern import Pattern
from pipeline.band.replay import RowReplay, replay
from pipeline.errors import InputError
from pipeline.materials.fit import row_height_mm, size_mm, width_mm
from pipeline.writers.tails import Edge, lay_end, shown_mm
from pipeline.writers.weave import Cloth, Floats, Stamp, knot, tube

MAX_CLOTH_PIXELS = 6_000_000
"""The cloth is drawn coarser rather than beyond this."""
MAX_PITCH_PIXELS = 56.0
"""Nor are its knots drawn larger than this."""
_FINE = 2


@dataclass(frozen=True, slots=True, eq=False)
class BandPicture:
    """The straight band as a picture: rgba (height, width, 4) float 0 to 1, and where the knots are."""

    rgba: Floats
    px_per_mm: float
    knotted: tuple[float, float]
    """First and last pixel row of the knotted part."""


def band(pattern: Pattern, *, px_per_mm: float = 9.0, lengthwise: bool = False) -> BandPicture:
    """Draw the straight band with its ends, long ties cut off.

    ``lengthwise``: the picture will be turned a quarter anticlockwise, so the light comes from there.
    """
    wide, long = size_mm(pattern)
    above, below = shown_mm(pattern.ends.start), shown_mm(pattern.ends.finish)
    total, across = above + long + below + 4, wide + 8
    _check_shape(pattern)
    pitches = [pattern.gauge_of(section.worked).strand_pitch_mm for section in pattern.sections]
    scale = min(
        px_per_mm * _FINE,
        math.sqrt(MAX_CLOTH_PIXELS / (total * across)),
        MAX_PITCH_PIXELS / max(pitches, default=1.0),
    )
    cloth = Cloth(math.ceil(total * scale), math.ceil(across * scale))
    middle, top = across * scale / 2, (2 + above) * scale
    widths = [width_mm(pattern, section.worked) * scale for section in pattern.sections] or [wide * scale]
    edge = Edge(middle, top, -1, widths[0], scale)
    lay_end(cloth, pattern, pattern.ends.start, pattern.strands, edge)
    y, threads = top, tuple(pattern.strands)
    for row, (s, _, section, _) in zip(replay(pattern), pattern.rows(), strict=True):
        gauge = pattern.gauge_of(section.worked)
        tall, pitch = row_height_mm(gauge, section.worked, row) * scale, gauge.strand_pitch_mm * scale
        left = middle - widths[s] / 2
        if section.working.square:
            _straight_row(cloth, row, left, y, pitch, tall)
        else:
            _diagonal_row(cloth, row, threads, left, y, pitch, tall)
        y += tall
        threads = row.threads
    lay_end(cloth, pattern, pattern.ends.finish, threads, Edge(middle, y, 1, widths[-1], scale))
    light = (0.42, -0.55, 0.72) if lengthwise else (-0.42, -0.55, 0.72)
    fine = cloth.lit([thread.colour for thread in pattern.threads], light)
    return BandPicture(_halved(fine), scale / _FINE, (top / _FINE, y / _FINE))


def _check_shape(pattern: Pattern) -> None:
    """Refuse cells so flat, tall, small or large that no picture of the band could be made."""
    for worked in {section.worked for section in pattern.sections}:
        gauge = pattern.gauge_of(worked)
        across = gauge.strand_pitch_mm
        tied = (cell.along_mm for cell in (gauge.leader_tied, gauge.base_tied) if cell is not None)
        for along in (gauge.row_pitch_mm, *tied):
            if not (1 / 20 <= across / along <= 20 and 0.05 <= across <= 100 and 0.05 <= along <= 100):
                raise InputError(
                    f"a cell of {across:g} × {along:g} mm cannot be drawn as knots.",
                    "Check the gauge: strand_pitch_mm, row_pitch_mm and along_mm.",
                )


def _halved(fine: Floats) -> Floats:
    """Average 2 × 2 pixels, colours weighted by coverage, which is 0 or 1 and no colour where it is 0."""
    tall, wide = fine.shape[0] // 2 * 2, fine.shape[1] // 2 * 2
    across = fine[:tall:2, :wide] + fine[1:tall:2, :wide]
    total = across[:, ::2] + across[:, 1::2]
    total[..., :3] /= np.maximum(total[..., 3:], 1)
    total[..., 3] /= 4
    return total


def _grain(row: int, position: int) -> float:
    """A small fixed unevenness of brightness, so that knots do not look printed."""
    mixed = (row * 2654435761 + position * 40503 + 12345) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 15)) * 2246822519) & 0xFFFFFFFF
    return 0.955 + 0.09 * ((mixed >> 8) & 0xFFFF) / 0xFFFF


Span = tuple[float, float]


def _stamp(floor: tuple[float, float], first: Span, second: Span, apart: Span, radius: float) -> Stamp:
    """A knot's two wraps, each half of ``apart`` from its middle; spans are right and down, in pixels."""
    right, down = round(apart[0] / 2, 1), round(apart[1] / 2, 1)
    one, other = ((round(dx, 1), round(dy, 1)) for dx, dy in (first, second))
    size = round(floor[0]), round(floor[1])
    return knot(size, (-right, -down, *one), (right, down, *other), round(radius, 1))


def _straight_row(cloth: Cloth, row: RowReplay, left: float, y: float, pitch: float, tall: float) -> None:
    """Knots side by side: wraps lie flat where the leader ties, and stand where a base strand ties."""
    rising = row.rising
    for step in row.steps:
        tied, position = step.tied.knot, step.tied.position
        at = left + (position + 0.5) * pitch, y + tall / 2
        turn = 1 if tied.left_ties else -1
        back = 1 if tied.swaps else -1
        tone = _grain(step.row, position)
        if tied.left_ties == rising:
            run, fall = 0.74 * pitch, 0.16 * tall * turn
            stamp = _stamp((pitch, tall), (run, fall), (run, back * fall), (0, 0.47 * tall), 0.29 * tall)
        else:
            run, fall = 0.16 * pitch * turn, 0.74 * tall
            stamp = _stamp((pitch, tall), (run, fall), (back * run, fall), (0.47 * pitch, 0), 0.29 * pitch)
        cloth.lay(stamp, *at, step.shown, tone)
    if row.steps:  # the leader shows a little where it comes round the edge
        first = row.steps[0]
        leader = first.shown if first.tied.knot.left_ties == rising else first.hidden
        edge = left + (first.tied.position + (0 if rising else 1)) * pitch
        inward = 0.08 * pitch if rising else -0.08 * pitch
        cloth.lay(tube(0.0, round(0.4 * tall, 1), round(0.2 * tall, 1), 1.0), edge + inward, y, leader)


def _diagonal_row(
    cloth: Cloth, row: RowReplay, threads: tuple[int, ...], left: float, y: float, pitch: float, tall: float
) -> None:
    """Knots on the quincunx: wraps lean as the tying strand goes, across the core."""
    busy = set()
    for step in row.steps:
        tied, position = step.tied.knot, step.tied.position
        busy |= {position, position + 1}
        at = left + (position + 1) * pitch, y + tall / 2
        turn = 1 if tied.left_ties else -1
        radius = 0.30 * math.hypot(pitch, tall)
        tone = _grain(step.row, position)
        floor = 2 * pitch, 2 * tall
        if tied.swaps:
            wrap, apart = (0.92 * pitch * turn, 1.02 * tall), (-0.62 * pitch * turn, 0.62 * tall)
            stamp = _stamp(floor, wrap, wrap, apart, radius)
        else:
            run, fall = 1.15 * pitch * turn, 0.55 * tall
            stamp = _stamp(floor, (run, fall), (-run, fall), (0.0, 0.95 * tall), radius)
        cloth.lay(stamp, *at, step.shown, tone)
    last = len(threads) - 1
    for p in set(range(len(threads))) - busy:  # passes the row without a knot
        inward = 0.12 * pitch if p == 0 else -0.12 * pitch if p == last else 0.0
        stamp = tube(0.0, round(1.7 * tall, 1), round(0.3 * pitch, 1), 2.0)
        cloth.lay(stamp, left + (p + 0.5) * pitch + inward, y + tall / 2, threads[p], 0.9)
