"""Small features that carry a drawing: strokes and dots thinner than a cell, made as wide as one.

A mast, a ring or an eye of half a cell is half ground in every cell it touches, and would come and go with
the grid. What stands out from its surroundings and is thin is drawn again in its own colour, a cell wide.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.colour import Floats, encoded, hyab_lab, lab
from pipeline.design.cells import FinePicture

STANDS_OUT = 30.0
"""HyAB from its surroundings that a feature has at least; from our own looking at drawings, no source."""
_WAYS = ((0, 1), (1, 1), (1, 0), (1, -1))
THIN = 1.15
"""Width, in cells, below which a stroke is drawn wider."""
DRAWN = 1.3
"""Width it is drawn with: where it runs along the border of two cells, each still resembles it."""
DOT = 0.95
"""Radius, in cells, of a disc that some cell resembles wherever it lies, also where four cells meet."""
SPECK = 0.2
"""Part of a cell below which a dot is a speck and left alone."""
LEAST_FINE = 4
"""Samples to a field's side below which nothing thinner than a cell can be told."""

Mask = NDArray[np.bool_]


def strengthened(picture: FinePicture, width: float) -> FinePicture:
    """Draw thin features a cell wide; ``width`` is that of a cell in fields (1, or √2 for a diamond).

    >>> light = np.ones((80, 80, 3))
    >>> light[:, 38:42] = 0.0
    >>> wider = strengthened(FinePicture(light, 8), 1.0)
    >>> int((wider.light[40, :, 0] == 0).sum())
    12
    """
    cell = width * picture.fine
    if picture.fine < LEAST_FINE:
        return picture
    apart = _apart(picture.light, cell)
    standing = apart > STANDS_OUT
    lines, dots = _features(standing, cell)
    pure, light = _purest(picture.light, apart), picture.light.copy()
    for middle, reach in ((lines, DRAWN * cell / 2), (dots, DOT * cell)):
        if middle.any():
            far, nearest = scipy.ndimage.distance_transform_edt(~middle, return_indices=True)
            over = far <= reach
            light[over] = pure[nearest[0][over], nearest[1][over]]
    return FinePicture(light, picture.fine)


def _apart(light: Floats, cell: float) -> Floats:
    """How far each sample stands out in HyAB: from what lies a cell away in each of eight directions, and
    from every mixture of what lies on two opposite sides, as the pixels of a smooth edge are.
    """
    from skimage.filters import rank
    from skimage.morphology import disk as skimage_disk

    median: Any = rank.median
    disk: Any = skimage_disk
    bytes_, window, far = encoded(light), disk(round(0.65 * cell)), round(1.1 * cell)
    around = lab(np.stack([median(bytes_[..., part], window) for part in range(3)], axis=-1))
    here = lab(bytes_)
    apart = np.full(here.shape[:2], np.inf)
    for down, across in _WAYS:
        one, other = (_moved(around, way * far * down, way * far * across) for way in (1, -1))
        near, by = hyab_lab(here, one), hyab_lab(here, other)
        beside = (near + by - hyab_lab(one, other)) / 2
        apart = np.minimum.reduce([apart, near, by, beside])
    return apart


def _moved(values: Floats, down: int, across: int) -> Floats:
    """The values so many samples further down and across; at the edges those of the edge."""
    rows = np.clip(np.arange(values.shape[0]) + down, 0, values.shape[0] - 1)
    columns = np.clip(np.arange(values.shape[1]) + across, 0, values.shape[1] - 1)
    return np.asarray(values[rows][:, columns])


def _purest(light: Floats, apart: Floats) -> Floats:
    """The light, where it stands out most, of the samples around each: edges of a stroke are mixtures."""
    pure, most = light.copy(), apart.copy()
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            moved = np.roll(apart, (down, across), axis=(0, 1))
            better = moved > most
            pure[better], most[better] = np.roll(light, (down, across), axis=(0, 1))[better], moved[better]
    return pure


def _features(standing: Mask, cell: float) -> tuple[Mask, Mask]:
    """Middle lines of strokes, and middles of dots, among samples that stand out."""
    lines, dots = np.zeros_like(standing), np.zeros_like(standing)
    parts, number = scipy.ndimage.label(standing, structure=np.ones((3, 3)))
    if not number:
        return lines, dots
    numbers = np.arange(1, number + 1)
    depth = scipy.ndimage.distance_transform_edt(np.pad(standing, 1))[1:-1, 1:-1]
    thick = scipy.ndimage.maximum(depth, parts, numbers) > THIN * cell / 2 + 1
    area = scipy.ndimage.sum_labels(standing, parts, numbers)
    middle = _middle(standing)
    length = scipy.ndimage.sum_labels(middle, parts, numbers)
    stroke = ~thick & (length >= cell)
    dot = ~thick & ~stroke & (area >= SPECK * cell * cell)
    lines = middle & np.append(False, stroke)[parts]
    for y, x in scipy.ndimage.center_of_mass(standing, parts, numbers[dot]) if dot.any() else ():
        dots[round(y), round(x)] = True
    return lines, dots & standing


def _middle(mask: Mask) -> Mask:
    """Middle lines of strokes, the same for mirror images: thinning has a handedness, so all are taken."""
    from skimage import morphology

    skeletonize: Any = morphology.skeletonize
    lines = np.zeros_like(mask)
    for turn in (np.s_[:, :], np.s_[::-1], np.s_[:, ::-1], np.s_[::-1, ::-1]):
        lines |= skeletonize(mask[turn])[turn]
    return lines
