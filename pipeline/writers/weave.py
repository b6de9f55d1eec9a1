"""Yarn in light and shade: wraps and loose strands as round cords on a height field.

Every cord is a tube. A pixel keeps the highest tube above it, with that tube's slope and thread, and is
lit once at the end; so overlaps come out right whatever the order of drawing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.writers.ink import rgb

Floats = NDArray[np.float32]

AMBIENT, DIFFUSE, SHEEN = 0.38, 0.76, 0.14
"""Weights of the light, chosen by eye for cotton."""


@dataclass(frozen=True, slots=True, eq=False)
class Stamp:
    """A cord's patch: height (0 where there is none), slopes right and down, and a tone near 1."""

    height: Floats
    right: Floats
    down: Floats
    tone: Floats


@lru_cache(maxsize=512)
def tube(dx: float, dy: float, radius: float, plies: float = 2.6, raised: float = 0.0) -> Stamp:
    """A tube whose axis runs from (−dx, −dy)/2 to (dx, dy)/2 about the patch's middle, in pixels.

    ``plies`` is how many turns of ply lines its length shows; its ends dip under their neighbours.
    """
    radius = max(radius, 0.5)
    half = int(abs(dx) / 2 + radius) + 2, int(abs(dy) / 2 + radius) + 2
    length = max(1e-6, float(np.hypot(dx, dy)))
    ux, uy = dx / length, dy / length
    along, off_x, off_y, inside, dome = _cord(half, ux, uy, length, radius)
    end = 2 * along / length if length > 1 else np.zeros_like(along)
    dip = 0.75 * end**4
    across = (off_x * -uy + off_y * ux) / radius
    twist = np.sin(2 * np.pi * (plies * (along / length) + 0.55 * across))
    height = np.where(inside, radius * (dome + 0.35 - dip * 0.8) + raised, 0).astype(np.float32)
    right = np.where(inside, off_x / radius + 0.55 * ux * end**3, 0).astype(np.float32)
    down = np.where(inside, off_y / radius + 0.55 * uy * end**3, 0).astype(np.float32)
    tone = ((1 - 0.34 * end**6) * (1 + 0.075 * twist) * (0.80 + 0.20 * dome)).astype(np.float32)
    return Stamp(np.maximum(height, 0), right, down, tone)


def _cord(half: tuple[int, int], ux: float, uy: float, length: float, radius: float) -> tuple[Floats, ...]:
    """A cord along (ux, uy) in a patch of twice ``half``: each pixel's place along it and way from it (right,
    down), whether it is covered, and how high the cord is there.
    """
    y, x = np.mgrid[-half[1] : half[1] + 1, -half[0] : half[0] + 1].astype(np.float32)
    along = np.clip(x * ux + y * uy, -length / 2, length / 2)
    off_x, off_y = x - along * ux, y - along * uy
    away = np.sqrt(off_x**2 + off_y**2)
    return along, off_x, off_y, away < radius, np.sqrt(np.clip(1 - (away / radius) ** 2, 0, 1))


@lru_cache(maxsize=64)
def ground(width: int, height: int) -> Stamp:
    """The dark of a thread seen between its wraps, under every cord."""
    flat = np.zeros((height, width), np.float32)
    return Stamp(flat + 1e-3, flat, flat, flat + 0.42)


Wrap = tuple[float, float, float, float]
"""Where a wrap's middle lies from the knot's and what it spans, right and down each; in pixels."""


@lru_cache(maxsize=256)
def knot(floor: tuple[int, int], first: Wrap, second: Wrap, radius: float) -> Stamp:
    """The two wraps of a knot over a dark ``floor`` of that width and height, as one patch."""
    reach = max(abs(x) for wrap in (first, second) for x in wrap) + radius
    half_w, half_h = (int(max(side / 2, 1.5 * reach)) + 3 for side in floor)
    patch = Cloth(2 * half_h + 1, 2 * half_w + 1)
    patch.lay(ground(*floor), half_w, half_h, 0)
    for right, down, dx, dy in (first, second):
        patch.lay(tube(dx, dy, radius, 1.7), half_w + right, half_h + down, 0)
    rows, columns = np.flatnonzero(patch.height.any(1)), np.flatnonzero(patch.height.any(0))
    up, left = min(rows[0], 2 * half_h - rows[-1]), min(columns[0], 2 * half_w - columns[-1])
    cut = slice(up, 2 * half_h + 1 - up), slice(left, 2 * half_w + 1 - left)  # keeps the middle in place
    seen, shape = patch.seen(), patch.height.shape
    fields = [np.zeros(shape, np.float32) for _ in range(3)]
    for field, values in zip(fields, (seen.right, seen.down, seen.tone), strict=True):
        field[seen.where] = values[seen.pixel]
    return Stamp(patch.height[cut], *(field[cut] for field in fields))


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What a cloth shows: where there is a cord, the number of the highest one there, which pixel of all
    patches it is, and these patches' slopes and tones one after another.
    """

    where: NDArray[np.bool_]
    cord: NDArray[np.int32]
    pixel: NDArray[np.int64]
    right: Floats
    down: Floats
    tone: Floats


class Cloth:
    """A height field that cords are laid on. Sizes in pixels; (0, 0) is the upper left corner.

    A pixel knows which cord is highest there and no more; what that looks like is found once, at the end.
    """

    def __init__(self, height: int, width: int) -> None:
        self.height: Floats = np.zeros((height, width), np.float32)
        self._highest: NDArray[np.int32] = np.full((height, width), -1, np.int32)
        self._laid: list[tuple[Stamp, int, int, int, float]] = []
        """Each cord's patch, the pixel of its upper left corner (right, down), thread and tone."""

    def lay(self, stamp: Stamp, x: float, y: float, thread: int, tone: float = 1.0) -> None:
        """Lay a cord of a thread with its patch's middle at (x, y)."""
        tall, wide = stamp.height.shape
        left, top = round(x) - wide // 2, round(y) - tall // 2
        x0, y0 = max(0, left), max(0, top)
        x1, y1 = min(self.height.shape[1], left + wide), min(self.height.shape[0], top + tall)
        if x0 >= x1 or y0 >= y1:
            return
        height, patch = self.height[y0:y1, x0:x1], stamp.height[y0 - top : y1 - top, x0 - left : x1 - left]
        np.putmask(self._highest[y0:y1, x0:x1], patch > height, len(self._laid))
        np.maximum(height, patch, out=height)
        self._laid.append((stamp, left, top, thread, tone))

    def lay_strand(
        self, points: NDArray[np.float64], radius: float, thread: int, raised: NDArray[np.float64]
    ) -> None:
        """Lay a loose strand along (points, 2) x, y; ``raised`` lifts each point towards the eye."""
        step = np.hypot(*np.diff(points, axis=0).T)
        run = np.concatenate([[0.0], np.cumsum(step)])
        spacing = max(1.5, radius * 1.5)
        at = np.arange(0.0, run[-1], spacing)
        i = np.minimum(np.searchsorted(run, at, side="right") - 1, len(step) - 1)
        ahead = (points[i + 1] - points[i]) / np.maximum(step[i], 1e-9)[:, None]
        places = points[i] + (at - run[i])[:, None] * ahead
        # A short tube along the strand; angles are rounded so that few stamps serve all strands.
        turns = np.round(np.arctan2(ahead[:, 1], ahead[:, 0]) / 0.1) * 0.1
        lifts, plies = np.round(raised[i] * 2) / 2, 1 + 0.07 * np.sin(at / radius * 1.9)
        for (x, y), turn, lift, ply in zip(*(a.tolist() for a in (places, turns, lifts, plies)), strict=True):
            self.lay(_piece(turn, round(radius, 1), round(1.3 * spacing, 1), lift), x, y, thread, ply)

    def seen(self) -> Seen:
        """Look up what lies highest at every pixel."""
        where = self._highest >= 0
        down, right = where.nonzero()
        cord = self._highest[where]
        patches = {id(stamp): stamp for stamp, *_ in self._laid}  # each once
        ends = np.cumsum([stamp.height.size for stamp in patches.values()], dtype=np.int64).tolist()
        first = dict(zip(patches, [0, *ends], strict=False))
        wide = np.array([stamp.height.shape[1] for stamp, *_ in self._laid], np.int64)
        corner = np.array(
            [first[id(s)] - top * s.height.shape[1] - left for s, left, top, *_ in self._laid], np.int64
        )
        pixel = corner[cord] + down * wide[cord] + right
        none = np.zeros(0, np.float32)
        fields = (
            np.concatenate([none, *(getattr(stamp, name).ravel() for stamp in patches.values())])
            for name in ("right", "down", "tone")
        )
        return Seen(where, cord, pixel, *fields)

    def lit(self, colours: Sequence[str], light: tuple[float, float, float]) -> Floats:
        """(height, width, 4) sRGB and coverage, 0 to 1, under a light from (right, down, towards the eye)."""
        bearing = np.array(light, np.float32) / np.float32(np.linalg.norm(light))
        seen = self.seen()
        right, down = seen.right, seen.down
        slope = np.sqrt(np.maximum(1 - right * right - down * down, 0.02))
        facing = np.clip(right * bearing[0] + down * bearing[1] + slope * bearing[2], 0, 1)
        # Colours are mixed near linear light: squares and roots are quick and close to sRGB's curve.
        shade = ((AMBIENT + DIFFUSE * facing) * seen.tone) ** np.float32(1.5)
        gleam = (SHEEN * facing * facing * facing * seen.tone) ** 2
        tones = np.array([tone for *_, tone in self._laid], np.float32)
        shade = shade[seen.pixel] * (tones ** np.float32(1.5))[seen.cord]
        gleam = gleam[seen.pixel] * (tones * tones)[seen.cord]
        palette = np.array([rgb(c) for c in colours], np.float32) / 255
        linear = (palette * palette)[[thread for *_, thread, _ in self._laid]]
        shown = np.ones((len(shade), 4), np.float32)
        for channel in range(3):
            shown[:, channel] = np.sqrt(np.minimum(linear[seen.cord, channel] * shade + gleam, 1))
        out = np.zeros((*self.height.shape, 4), np.float32)
        out[seen.where] = shown
        return out


@lru_cache(maxsize=4096)
def _piece(turn: float, radius: float, length: float, lift: float) -> Stamp:
    """A short flat-ended tube of a loose strand."""
    half = int(length / 2 + radius) + 2
    way = float(np.cos(turn)), float(np.sin(turn))
    _, off_x, off_y, inside, dome = _cord((half, half), *way, length, radius)
    height = np.where(inside, radius * (dome + 0.35) + lift, 0).astype(np.float32)
    right = np.where(inside, off_x / radius, 0).astype(np.float32)
    down = np.where(inside, off_y / radius, 0).astype(np.float32)
    return Stamp(np.maximum(height, 0), right, down, (0.80 + 0.20 * dome).astype(np.float32))
