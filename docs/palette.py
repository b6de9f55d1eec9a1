"""Chooses the colours of the built-in palette: ``python docs/palette.py`` prints 56 of them.

Neutrals and the strong colours that flags are made of are given; the rest are spread over the part of
CIELAB that dyed cotton plausibly reaches (our own bound, no source: no neon, see :func:`plausible`). Each
next colour is the one furthest (CIEDE2000) from all chosen so far; then every free colour moves to the middle
of the region that is nearest to it, as long as the largest gap shrinks. The names in
``pipeline/drawer/palette.csv`` were given by looking at the colours; ``--check`` compares the two.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from pipeline.colour import delta_e_lab, delta_e_table, hex_of, lab

COUNT = 56
NEUTRALS = [(246, 243, 234), (205, 204, 199), (158, 160, 160), (110, 113, 116), (67, 70, 74), (28, 29, 33)]
FLAGS = [(200, 32, 44), (246, 204, 48), (36, 74, 166), (27, 42, 89), (236, 112, 34), (30, 132, 66)]
GIVEN = NEUTRALS + FLAGS
STEP = 15
"""Spacing of the sRGB candidates, in levels."""


def plausible(colours: np.ndarray) -> np.ndarray:
    """Which CIELAB colours dyed cotton plausibly reaches: bright yellows are light, bright blues are not."""
    lightness, chroma = colours[:, 0], np.hypot(colours[:, 1], colours[:, 2])
    yellow = np.cos(np.arctan2(colours[:, 2], colours[:, 1]) - np.radians(85)).clip(0, 1) ** 2
    plain = np.interp(lightness, [14, 30, 45, 60, 94], [36, 60, 78, 70, 16])
    bright = np.interp(lightness, [14, 30, 45, 84, 94], [22, 50, 70, 82, 40])
    return (lightness >= 14) & (lightness <= 94) & (chroma <= plain + yellow * (bright - plain))


def candidates(step: int = STEP) -> np.ndarray:
    """Return sRGB colours on a grid, thinned to the plausible ones, as (n, 3) bytes."""
    levels = np.arange(0, 256, step)
    grid = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(-1, 3)
    grid = grid.astype(np.uint8)
    return grid[plausible(lab(grid))]


def spread(count: int = COUNT) -> tuple[np.ndarray, float]:
    """Return (count, 3) sRGB bytes, given ones first, and the largest gap among the candidates (ΔE00)."""
    pool = candidates()
    pool_lab = lab(pool)
    chosen = lab(np.array(GIVEN, dtype=np.uint8))
    gap = np.min([delta_e_lab(pool_lab, c) for c in chosen], axis=0)
    while len(chosen) < count:
        furthest = pool_lab[int(gap.argmax())]
        chosen = np.vstack([chosen, furthest])
        gap = np.minimum(gap, delta_e_lab(pool_lab, furthest))
    best, best_gap = chosen.copy(), np.inf
    for _ in range(25):
        table = np.stack([delta_e_lab(pool_lab, c) for c in chosen], axis=1)
        nearest = table.argmin(axis=1)
        if table.min(axis=1).max() < best_gap:
            best, best_gap = chosen.copy(), float(table.min(axis=1).max())
        for i in range(len(GIVEN), count):
            region = pool_lab[nearest == i]
            if len(region):
                within = delta_e_lab(region[:, None], region[None])
                chosen[i] = region[int(within.max(axis=1).argmin())]
    rgb = [pool[int(np.abs(pool_lab - c).sum(axis=1).argmin())] for c in best[len(GIVEN) :]]
    return np.vstack([np.array(GIVEN, dtype=np.uint8), rgb]), best_gap


def main() -> int:
    """Print the colours, or compare them with the palette's."""
    colours, gap = spread()
    found = [hex_of(c) for c in colours]
    if "--check" in sys.argv:
        rows = (Path(__file__).parents[1] / "pipeline" / "drawer" / "palette.csv").read_text("utf-8").split()
        kept = {cell for row in rows for cell in row.split(",") if cell.startswith("#")}
        print("same colours" if kept == set(found) else sorted(kept ^ set(found)))
        return int(kept != set(found))
    pairs = delta_e_table(colours, colours) + 1000 * np.eye(len(colours))
    print(f"least distance {pairs.min():.2f}, largest gap {gap:.2f} (CIEDE2000)")
    order = np.lexsort((lab(colours)[:, 0], np.round(np.arctan2(*lab(colours)[:, [2, 1]].T) * 3)))
    for i in order:
        print(found[i], lab(colours)[i].round(1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
