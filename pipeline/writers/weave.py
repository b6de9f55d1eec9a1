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
    half_w, half_h = int(abs(dx) / 2 + radius) + 2, int(abs(dy) / 2 + radius) + 2
    y, x = np.mgrid[-half_h : half_h + 1, -half_w : half_w + 1].astype(np.float32)
    length = max(1e-6, float(np.hypot(dx, dy)))
    ux, uy = dx / length, dy / length
    along = np.clip(x * ux + y * uy, -length / 2, length / 2)
    off_x, off_y = x - along * ux, y - along * uy
    away = np.sqrt(off_x**2 + off_y**2)
    inside = away < radius
    dome = np.sqrt(np.clip(1 - (away / radius) ** 2, 0, 1))
    end = 2 * along / length if length > 1 else np.zeros_like(along)
    dip = 0.75 * end**4
    across = (off_x * -uy + off_y * ux) / radius
    twist = np.sin(2 * np.pi * (plies * (along / length) + 0.55 * across))
    height = np.where(inside, radius * (dome + 0.35 - dip * 0.8) + raised, 0).astype(np.float32)
    right = np.where(inside, off_x / radius + 0.55 * ux * end**3, 0).astype(np.float32)
    down = np.where(inside, off_y / radius + 0.55 * uy * end**3, 0).astype(np.float32)
    tone = ((1 - 0.34 * end**6) * (1 + 0.075 * twist) * (0.80 + 0.20 * dome)).astype(np.float32)
    return Stamp(np.maximum(height, 0), right, down, tone)


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
    return Stamp(patch.height[cut], patch._right[cut], patch._down[cut], patch._tone[cut])


class Cloth:
    """A height field that cords are laid on. Sizes in pixels; (0, 0) is the upper left corner."""

    def __init__(self, height: int, width: int) -> None:
        self.height: Floats = np.zeros((height, width), np.float32)
        self._right: Floats = np.zeros((height, width), np.float32)
        self._down: Floats = np.zeros((height, width), np.float32)
        self._tone: Floats = np.ones((height, width), np.float32)
        self._thread: NDArray[np.int16] = np.full((height, width), -1, np.int16)

    def lay(self, stamp: Stamp, x: float, y: float, thread: int, tone: float = 1.0) -> None:
        """Lay a cord of a thread with its patch's middle at (x, y)."""
        tall, wide = stamp.height.shape
        left, top = round(x) - wide // 2, round(y) - tall // 2
        x0, y0 = max(0, left), max(0, top)
        x1, y1 = min(self.height.shape[1], left + wide), min(self.height.shape[0], top + tall)
        if x0 >= x1 or y0 >= y1:
            return
        here = (slice(y0, y1), slice(x0, x1))
        there = (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
        height = self.height[here]
        higher = stamp.height[there] > height
        np.copyto(height, stamp.height[there], where=higher)
        np.copyto(self._right[here], stamp.right[there], where=higher)
        np.copyto(self._down[here], stamp.down[there], where=higher)
        np.multiply(stamp.tone[there], np.float32(tone), out=self._tone[here], where=higher)
        np.copyto(self._thread[here], np.int16(thread), where=higher)

    def lay_strand(
        self, points: NDArray[np.float64], radius: float, thread: int, raised: NDArray[np.float64]
    ) -> None:
        """Lay a loose strand along (points, 2) x, y; ``raised`` lifts each point towards the eye."""
        step = np.hypot(*np.diff(points, axis=0).T)
        run = np.concatenate([[0.0], np.cumsum(step)])
        spacing = max(1.5, radius * 1.5)
        for at in np.arange(0.0, run[-1], spacing):
            i = min(int(np.searchsorted(run, at, side="right")) - 1, len(step) - 1)
            share = (at - run[i]) / max(step[i], 1e-9)
            x, y = points[i] + share * (points[i + 1] - points[i])
            dx, dy = (points[i + 1] - points[i]) / max(step[i], 1e-9)
            # A short tube along the strand; angles are rounded so that few stamps serve all strands.
            turn = round(float(np.arctan2(dy, dx)) / 0.1) * 0.1
            lift = round(float(raised[i]) * 2) / 2
            piece = _piece(turn, round(radius, 1), round(1.3 * spacing, 1), lift)
            ply = 1 + 0.07 * float(np.sin(at / radius * 1.9))
            self.lay(piece, x, y, thread, ply)

    def lit(self, colours: Sequence[str], light: tuple[float, float, float]) -> Floats:
        """(height, width, 4) sRGB and coverage, 0 to 1, under a light from (right, down, towards the eye)."""
        bearing = np.array(light, np.float32) / np.float32(np.linalg.norm(light))
        out = np.zeros((*self.height.shape, 4), np.float32)
        covered = self._thread >= 0
        right, down, tone = self._right[covered], self._down[covered], self._tone[covered]
        slope = np.sqrt(np.maximum(1 - right * right - down * down, 0.02))
        facing = np.clip(right * bearing[0] + down * bearing[1] + slope * bearing[2], 0, 1)
        # Colours are mixed near linear light: squares and roots are quick and close to sRGB's curve.
        palette = np.array([rgb(c) for c in colours], np.float32) / 255
        shade = (AMBIENT + DIFFUSE * facing) * tone
        shade *= np.sqrt(shade)
        gleam = SHEEN * facing * facing * facing * tone
        gleam *= gleam
        shown = np.ones((len(tone), 4), np.float32)
        linear = (palette * palette)[self._thread[covered]]
        for channel in range(3):
            shown[:, channel] = np.sqrt(np.minimum(linear[:, channel] * shade + gleam, 1))
        out[covered] = shown
        return out


@lru_cache(maxsize=4096)
def _piece(turn: float, radius: float, length: float, lift: float) -> Stamp:
    """A short flat-ended tube of a loose strand."""
    half = int(length / 2 + radius) + 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    ux, uy = float(np.cos(turn)), float(np.sin(turn))
    along = np.clip(x * ux + y * uy, -length / 2, length / 2)
    off_x, off_y = x - along * ux, y - along * uy
    away = np.sqrt(off_x**2 + off_y**2)
    inside = away < radius
    dome = np.sqrt(np.clip(1 - (away / radius) ** 2, 0, 1))
    height = np.where(inside, radius * (dome + 0.35) + lift, 0).astype(np.float32)
    right = np.where(inside, off_x / radius, 0).astype(np.float32)
    down = np.where(inside, off_y / radius, 0).astype(np.float32)
    return Stamp(np.maximum(height, 0), right, down, (0.80 + 0.20 * dome).astype(np.float32))
