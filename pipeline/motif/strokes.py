"""Strokes thinner than a cell, widened so that a majority vote keeps them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.colour import Bytes

_THIN, _DRAWN = 1.15, 1.1
"""Strokes thinner than the first, in cells, are drawn as wide as the second: where such a stroke runs along
the border of two cells, each still gets more than half."""
_DOT = 0.8
"""Radius, in cells, of a disc of which some cell always has half: √(2/π) where four cells meet."""


def _middle(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Middle lines of strokes, the same for mirror images: thinning has a handedness, so all are taken."""
    from skimage import morphology

    skeletonize: Any = morphology.skeletonize
    lines = np.zeros_like(mask)
    for turn in (np.s_[:, :], np.s_[::-1], np.s_[:, ::-1], np.s_[::-1, ::-1]):
        lines |= skeletonize(mask[turn])[turn]
    return lines


def _closed(mask: NDArray[np.bool_], radius: float) -> NDArray[np.bool_]:
    """The mask with gaps narrower than a disc of that radius filled (morphological closing)."""
    near = ndimage.distance_transform_edt(~mask) <= radius
    return np.asarray(ndimage.distance_transform_edt(np.pad(near, 1)) > radius)[1:-1, 1:-1]


def widen_strokes(labels: Bytes, width: float, count: int) -> Bytes:
    """Widen strokes thinner than a cell to a cell, so that a majority vote keeps them.

    ``labels``: uint8 (h, w), numbered 0 … count−1 by frequency; ``width``: samples that a cell is wide. A
    stroke is what an opening by a disc of about that width removes; its middle line is drawn again as wide
    as a cell, over whatever is broad there and over narrow parts of commoner colours, but not into gaps
    between strokes of its own colour. A dot by itself is drawn larger, so that it fills a cell wherever it
    lies. Specks smaller than a fifth of a cell are left alone.
    """
    radius = _THIN * width / 2
    margin = int(_THIN * width) + 1
    broad = np.zeros(labels.shape, dtype=bool)
    middles: list[tuple[int, NDArray[np.bool_], float]] = []
    for label in range(count):
        mask = labels == label
        if mask.all():
            return labels
        if not mask.any():
            continue
        core = (
            ndimage.distance_transform_edt(np.pad(mask, margin, mode="edge"))[margin:-margin, margin:-margin]
            >= radius
        )
        from_core = ndimage.distance_transform_edt(~core) if core.any() else np.full(mask.shape, np.inf)
        broad |= mask & (from_core <= radius)
        thin = mask & (from_core > 1.5 * radius)  # beyond, so that corners of broad shapes do not count
        parts, number = ndimage.label(thin, structure=np.ones((3, 3)))
        if number == 0:
            continue
        middle = _middle(thin)
        length, area = np.bincount(parts[middle], minlength=number + 1), np.bincount(parts.reshape(-1))
        touches = np.bincount(parts[from_core < 1.5 * radius + 2], minlength=number + 1) > 0
        dot = ~touches & (length < width) & (area >= width * width / 5)
        stroke = np.where(touches, length >= 0.75 * width, length >= width)
        dot[0] = stroke[0] = False
        middles += [
            (label, middle & stroke[parts], _DRAWN * width / 2),
            (label, middle & dot[parts], _DOT * width),
        ]
    result = labels.copy()
    for label, middle, reach in middles:
        if middle.any():
            wide = ndimage.distance_transform_edt(~middle) <= reach
            narrow = (labels < label) & ~_closed(labels == label, radius)
            result[wide & (broad | narrow)] = label
    return result
