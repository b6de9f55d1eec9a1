"""The two ends of the band in the preview: tapers, loose tails, ties, braids, loops and hitched folds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, assert_never

import numpy as np
from numpy.typing import NDArray

from pipeline.band.pattern import End, Pattern
from pipeline.materials.ends import LOOP_MM
from pipeline.writers.weave import Cloth, tube

SHOWN_MM = 42.0
"""Longest part of an end that the preview shows."""
HITCHED_MM = 3.0
"""Height of folds hitched over a ring or a cord."""
Path = NDArray[np.float64]


def shown_mm(end: End) -> float:
    """How much of an end the preview shows, in millimetres."""
    if end.style == "larks-head":
        return HITCHED_MM
    if end.style == "loop":
        return min(SHOWN_MM, 0.42 * (end.loop_mm or LOOP_MM) + 9.0)
    return min(SHOWN_MM, end.tail_mm + (end.taper_mm or 0.0))


class Edge(NamedTuple):
    """An edge of the knotted part on the cloth, in pixels, ``scale`` of them a millimetre."""

    middle: float
    edge: float
    sign: int
    """−1 above the band and 1 below it."""
    wide: float
    scale: float


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """Where an end lies on the cloth: its edge, and its length and the radius of one strand in pixels."""

    cloth: Cloth
    middle: float
    edge: float
    sign: int
    wide: float
    scale: float
    length: float
    radius: float

    def at(self, p: int, count: int) -> float:
        """Distance of a strand from the middle where it leaves the band."""
        return (p + 0.5 - count / 2) * self.wide / count

    def lay(self, thread: int, across: Path, run: Path, lift: Path | float = 0.0) -> None:
        """Lay a strand; ``across`` and ``run`` are distances from the middle and from the edge."""
        points = np.stack([self.middle + across, self.edge + self.sign * run], axis=1)
        self.cloth.lay_strand(points, self.radius, thread, np.broadcast_to(lift, run.shape).astype(float))

    def wrap(self, thread: int, run: float, wide: float, turns: int = 3, raised: float = 0.0) -> None:
        """Turns of a strand around the bundle."""
        for i in range(turns):
            tilt = 0.35 * self.radius * (-1 if i % 2 else 1)
            stamp = tube(round(wide, 1), round(tilt, 1), round(1.15 * self.radius, 1), 4.0, round(raised, 1))
            offset = (i - (turns - 1) / 2) * 1.7 * self.radius
            self.cloth.lay(stamp, self.middle, self.edge + self.sign * run + offset, thread)


def lay_end(cloth: Cloth, pattern: Pattern, end: End, threads: Sequence[int], edge: Edge) -> None:
    """Draw one end; ``threads`` hang there by position."""
    if shown_mm(end) < 2:
        return
    diameter = sum(pattern.threads[t].diameter_mm for t in threads) / len(threads)
    radius = max(1.0, min(0.39 * diameter * edge.scale, 0.6 * edge.wide / len(threads)))
    place = _Place(cloth, *edge, length=shown_mm(end) * edge.scale, radius=radius)
    match end.style:
        case "larks-head" | "holding-cord":
            _hitched(place, end, threads, pattern.strands[0] if pattern.ground is None else pattern.ground)
        case "loop":
            _loop(place, end, threads)
        case "straight" if not end.taper_mm:
            _loose(place, threads)
        case "straight" | "tie" | "braid":
            _gathered(place, end, threads)
        case _:
            assert_never(end.style)


def _eased(value: Path) -> Path:
    """0 to 1 with a soft beginning and end."""
    within = np.clip(value, 0, 1)
    return within * within * (3 - 2 * within)


def _sway(p: int) -> tuple[float, float]:
    """A fixed phase and a fixed length share for each strand, so that tails hang unevenly."""
    return (p * 2.399963) % (2 * math.pi), 1 - 0.09 * ((p * 5) % 7) / 6


def _loose(place: _Place, threads: Sequence[int]) -> None:
    """Tails that hang side by side and draw together a little."""
    for p, thread in enumerate(threads):
        phase, share = _sway(p)
        run = np.arange(0.0, place.length * share, 2.0)
        along = run / place.length
        drawn = 1 - 0.30 * _eased(along)
        wave = 0.55 * place.scale * along * np.sin(phase + 5.0 * along)
        place.lay(thread, place.at(p, len(threads)) * drawn + wave, run, ((p * 31) % 5) * 0.15 * place.radius)


def _gathered(place: _Place, end: End, threads: Sequence[int]) -> None:
    """Tails drawn to the middle, or tied to it by a taper, and then tied, braided or loose."""
    count, radius, length = len(threads), place.radius, place.length
    gather = min((end.taper_mm or 11.0) * place.scale, (0.6 if end.taper_mm else 0.45) * length)
    bundle = radius * 1.15 * math.sqrt(max(count, 3) / 3)
    swing, wave = 1.25 * bundle, 6.4 * bundle
    braided = end.style == "braid"
    fringe = min(9 * place.scale, 0.25 * length) if braided else length - gather
    for p, thread in enumerate(threads):
        phase, share = _sway(p)
        run = np.arange(0.0, length * share, 2.0)
        into = _eased(run / gather if not end.taper_mm else (run - gather) / (3 * radius))
        part, within = p * 3 // count, (p * 3 % count) / count - 0.5
        if braided:
            turn = 2 * math.pi * (np.maximum(run - 0.7 * gather, 0) / wave + part / 3)
            centred = swing * np.sin(turn) + 1.7 * bundle * within
            lift = into * bundle * 0.8 * np.cos(2 * turn)
        else:
            centred = 2.2 * bundle * ((p + 0.5) / count - 0.5) * np.ones_like(run)
            lift = np.zeros_like(run)
        free = np.clip((run - (length - fringe)) / max(fringe, 1.0), 0, 1)
        spread = math.sin(3 * phase) * bundle * (1.9 if braided else 2.6) * free**1.4
        at = place.at(p, count)
        before = np.full_like(run, at)
        if end.taper_mm:  # straight down to the bundle that runs in from the edge, and along with it
            side = place.wide / 2 * np.clip(1 - run / gather, 0, 1)
            within_bundle = 1.1 * radius * np.clip(run / gather, 0, 1) * ((p * 5 % 7) / 3 - 1)
            before = np.copysign(np.minimum(abs(at), side), at) + within_bundle * (abs(at) > side)
        across = (1 - into) * before + into * centred + spread
        place.lay(thread, across, run, lift + ((p * 31) % 5) * 0.12 * radius)
    if end.taper_mm:
        _taper_knots(place, threads, gather)
    if braided:
        place.wrap(threads[0], length - fringe, 2.3 * bundle, raised=2.2 * bundle)
    elif end.style == "tie":
        place.wrap(threads[count // 2], gather + 2 * radius, 3.0 * bundle, turns=4, raised=1.6 * bundle)


def _taper_knots(place: _Place, threads: Sequence[int], gather: float) -> None:
    """Each strand once over the bundle of those outside it, where it reaches the bundle: two wraps across."""
    count, half = len(threads), place.wide / 2
    slope = math.hypot(half, gather)
    for p, thread in enumerate(threads):
        at = place.at(p, count)
        outside = min(p, count - 1 - p)
        if not outside:
            continue  # the edge strand is the bundle
        run = gather * (1 - abs(at) / half)
        thick = 2 * place.radius * (1.3 + 0.35 * math.sqrt(outside))
        turn = math.copysign(1.0, at) * place.sign
        across = thick * gather / slope, turn * thick * half / slope
        along = math.copysign(half / slope, -at), place.sign * gather / slope
        stamp = tube(round(across[0], 1), round(across[1], 1), round(1.05 * place.radius, 1), 2.0,
                     round(2.2 * place.radius, 1))  # fmt: skip
        for step in (-0.8, 0.8):
            x = place.middle + at + step * place.radius * along[0]
            y = place.edge + place.sign * run + step * place.radius * along[1]
            place.cloth.lay(stamp, x, y, thread)


def _loop(place: _Place, end: End, threads: Sequence[int]) -> None:
    """Folded strands gathered by a knot, their folds an oval loop."""
    count, radius = len(threads), place.radius
    gather = 8.0 * place.scale
    bundle = radius * 1.15 * math.sqrt(max(count, 3) / 3)
    around = np.linspace(0, 2 * math.pi, 160)
    tall = max(place.length - gather, 4 * bundle)
    folds = [threads[a] for a, _ in end.folded] or list(threads[::2])
    for i, thread in enumerate(folds):
        off = 2.4 * bundle * ((i + 0.5) / len(folds) - 0.5)
        across = (0.30 * tall + off) * np.sin(around)
        run = gather + tall / 2 + off / 2 - (tall / 2 + off) * np.cos(around)
        place.lay(thread, across, run, 0.2 * radius * (i % 3))
    for p, thread in enumerate(threads):
        run = np.arange(0.0, gather, 2.0)
        into = _eased(run / gather)
        centred = 2.0 * bundle * ((p + 0.5) / count - 0.5)
        place.lay(
            thread, (1 - into) * place.at(p, count) + into * centred, run, ((p * 31) % 5) * 0.12 * radius
        )
    place.wrap(threads[count // 2], gather, 3.0 * bundle, turns=4, raised=1.6 * bundle)


def _hitched(place: _Place, end: End, threads: Sequence[int], cord: int) -> None:
    """Folds hitched side by side; over a cord, whose two ends are the tie."""
    top = min(HITCHED_MM * place.scale, place.length)
    for p, thread in enumerate(threads):
        run = np.arange(0.0, top, 2.0)
        place.lay(thread, place.at(p, len(threads)) * np.ones_like(run), run)
    pitch = place.wide / len(threads)
    for a, b in end.folded or [(p, p) for p in range(len(threads))]:
        centre = place.middle + (place.at(a, len(threads)) + place.at(b, len(threads))) / 2
        width = max(0.5, abs(b - a)) * pitch
        stamp = tube(round(width, 1), 0.0, round(1.3 * place.radius, 1), 2.0, round(place.radius, 1))
        place.cloth.lay(stamp, centre, place.edge + place.sign * 0.8 * top, threads[a])
    if end.style != "holding-cord":
        return
    through = np.linspace(-0.5 * place.wide - 2, 0.5 * place.wide + 2, 60)
    place.lay(cord, through, np.full(60, 0.62 * top), 0.6 * place.radius)
    for side in (-1.0, 1.0):
        turn = np.linspace(0, 1, 120)
        bend = _eased(turn * 1.6)
        across = side * (
            place.wide / 2 + 2.5 * place.scale * np.sin(np.pi * bend / 2) - 0.35 * place.wide * bend
        )
        run = 0.62 * top + (place.length - 0.62 * top) * turn**1.3
        place.lay(cord, across, run)
