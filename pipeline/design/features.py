"""Small features that carry a drawing: strokes and dots about as thin as a cell, made as wide as one.

A mast, a ring or an eye of half a cell is half ground in every cell it touches, and would come and go with
the grid; so would a stroke a whole cell wide that runs along the border of two. What stands out from its
surroundings and is thin is drawn again in its own colour, wider than a cell, and remembered: it is looked for
in the finished band.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.colour import Floats, encoded, hyab_lab, lab, light_lab
from pipeline.design.cells import FINE, FinePicture

STANDS_OUT = 30.0
"""HyAB from its surroundings that a feature has at least; from our own looking at drawings, no source."""
_WAYS = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))
SCALES = (1.0, 2.0)
"""How far off its surroundings are looked for: a stroke as wide as a cell is its own neighbour close by."""
THIN = 1.35
"""Width, in cells, below which a stroke is drawn wider: on the border of two cells it could be lost."""
DARKER, LIGHTER = 1.4, 1.0
"""Width it is drawn with where it is darker or lighter than its surroundings: along the border of two cells
each still resembles it. Of a half-covered cell an eye at arm's length sees more of the light half.
"""
DOT = 0.95
"""Radius, in cells, of a disc that some cell resembles wherever it lies, also where four cells meet."""
SPECK = 0.2
"""Part of a cell below which a dot is a speck and left alone."""
CORNER = 2**0.5
"""How far from its core, in its half width, a broad part reaches: to the corner of a square."""
ARM = 1.5
"""Length, in cells, that a thin part of something broad has at least; shorter ones are its corners."""
LEAST_FINE = 4
"""Samples to a field's side below which nothing thinner than a cell can be told."""

_EIGHT = np.ones((3, 3), dtype=bool)
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Feature:
    """A thin stroke, or a dot: ``places`` (n, 2) along its middle, in rows and cells of the picture's grid;
    ``own`` and ``beside`` (n, 3) CIE Lab of itself and of its surroundings there.
    """

    places: Floats
    own: Floats
    beside: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """What was found in a picture whose grid has (rows, cells) ``grid``."""

    grid: tuple[int, int]
    found: tuple[Feature, ...]


def strengthened(picture: FinePicture, width: float) -> tuple[FinePicture, Features]:
    """Draw thin features a cell wide, and say which there are; ``width`` is that of a cell in fields (1, or
    √2 for a diamond).

    >>> light = np.ones((80, 80, 3))
    >>> light[:, 38:42] = 0.0
    >>> wider, found = strengthened(FinePicture(light, 8), 1.0)
    >>> int((wider.light[40, :, 0] == 0).sum()), len(found.found)
    (12, 1)
    """
    cell, times = width * picture.fine, max(1, picture.fine // FINE)
    if picture.fine < LEAST_FINE:
        return picture, Features(picture.shape, ())
    coarse, here = picture.coarser(times), lab(encoded(picture.light))
    most, beside = np.zeros(here.shape[:2]), np.empty_like(here)
    lines, dots = np.zeros(most.shape, dtype=bool), np.zeros(most.shape, dtype=bool)
    for scale in SCALES:
        apart, surroundings = _apart(here, coarse.light, times, cell * scale)
        for all_, found in zip((lines, dots), _features(apart > STANDS_OUT, cell), strict=True):
            all_ |= found
        more = apart > most
        most[more], beside[more] = apart[more], surroundings[more]
    pure, drawn = _purest(picture.light, most), np.zeros(most.shape, dtype=bool)
    light = picture.light.copy()
    stroke = np.where(here[..., 0] > beside[..., 0], LIGHTER, DARKER) / 2
    for middle, reach in ((lines, stroke * cell), (dots, np.full_like(stroke, DOT * cell))):
        if middle.any():
            far, nearest = scipy.ndimage.distance_transform_edt(~middle, return_indices=True)
            over = far <= reach[tuple(nearest)]
            light[over] = pure[nearest[0][over], nearest[1][over]]
            drawn |= over
    told = Features(picture.shape, tuple(_told(lines | dots, pure, beside, picture, cell)))
    return _sharply(FinePicture(light, picture.fine), drawn, times), told


def _sharply(picture: FinePicture, drawn: Mask, times: int) -> FinePicture:
    """The picture with ``times`` fewer samples to a side, each all of what was drawn or all of the rest: a
    mixture would ask for a thread of its own.
    """
    if times == 1:
        return picture
    inked, fine = np.repeat(drawn[..., None], 3, axis=-1), picture.fine
    ink, rest = (FinePicture(picture.light * one, fine).coarser(times) for one in (inked, ~inked))
    share = FinePicture(inked.astype(np.float64), fine).coarser(times).light
    light = np.where(share >= 0.5, ink.light, rest.light) / np.maximum(share, 1 - share)
    return FinePicture(light, ink.fine)


def _apart(here: Floats, coarse: Floats, times: int, cell: float) -> tuple[Floats, Floats]:
    """How far each sample, ``here`` (height, width, 3) Lab, stands out in HyAB: from what lies a cell away in
    each of eight directions, and from every mixture of what lies on opposite sides or square to each other,
    as the pixels of a smooth edge are. With it the Lab of the nearer side across which it stands out most.

    ``coarse``: the picture with ``times`` fewer samples to a side, of which the surroundings are taken.
    """
    from skimage.filters import rank
    from skimage.morphology import disk as skimage_disk

    median: Any = rank.median
    disk: Any = skimage_disk
    bytes_, window, far = encoded(coarse), disk(round(0.65 * cell / times)), round(1.1 * cell / times)
    median_lab = lab(np.stack([median(bytes_[..., part], window) for part in range(3)], axis=-1))
    around = [_moved(median_lab, far * down, far * across) for down, across in _WAYS]
    off = [hyab_lab(here, _finer(one, times)) for one in around]
    apart = np.minimum.reduce(off)
    for i, j in combinations(range(len(_WAYS)), 2):
        if (j - i) % 2 == 0:
            mixture = (off[i] + off[j] - _finer(hyab_lab(around[i], around[j]), times)) / 2
            apart = np.minimum(apart, mixture)
    across, beside = np.full(apart.shape, -np.inf), np.empty_like(here)
    for one in range(4):
        nearer = np.minimum(off[one], off[one + 4])
        more = nearer > across
        both = (_finer(around[way], times)[more] for way in (one, one + 4))
        beside[more] = np.where((off[one] < off[one + 4])[more][:, None], *both)
        across[more] = nearer[more]
    return apart, beside


def _moved(values: Floats, down: int, across: int) -> Floats:
    """The values so many samples further down and across; at the edges those of the edge."""
    rows = np.clip(np.arange(values.shape[0]) + down, 0, values.shape[0] - 1)
    columns = np.clip(np.arange(values.shape[1]) + across, 0, values.shape[1] - 1)
    return np.asarray(values[rows][:, columns])


def _finer(values: Floats, times: int) -> Floats:
    """Every value ``times`` times down and across."""
    return values.repeat(times, axis=0).repeat(times, axis=1)


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
    """Middle lines of strokes, and middles of dots, among samples that stand out.

    Broad parts do not count, nor what is left of them at their corners: an arm of theirs is longer.
    """
    lines, dots = np.zeros_like(standing), np.zeros_like(standing)
    half = THIN * cell / 2 + 1
    core = scipy.ndimage.distance_transform_edt(np.pad(standing, 1))[1:-1, 1:-1] > half
    thin = standing
    if core.any():
        thin = standing & (scipy.ndimage.distance_transform_edt(~core) > CORNER * half)
    parts, number = scipy.ndimage.label(thin, structure=_EIGHT)
    if not number:
        return lines, dots
    numbers = np.arange(1, number + 1)
    wholes, _ = scipy.ndimage.label(standing, structure=_EIGHT)
    of_broad = np.isin(numbers, parts[np.isin(wholes, wholes[core])]) if core.any() else False
    area = scipy.ndimage.sum_labels(thin, parts, numbers)
    middle = _middle(standing) & thin
    length = scipy.ndimage.sum_labels(middle, parts, numbers)
    stroke = length >= cell * np.where(of_broad, ARM, 1.0)
    dot = ~stroke & np.logical_not(of_broad) & (area >= SPECK * cell * cell)
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


def _told(middle: Mask, own: Floats, beside: Floats, picture: FinePicture, cell: float) -> Iterator[Feature]:
    """A feature for each piece of the middle lines and dots; ``own`` is light, ``beside`` Lab."""
    joined = scipy.ndimage.binary_dilation(middle, _EIGHT, iterations=max(1, round(cell / 4)))
    pieces, number = scipy.ndimage.label(joined, structure=_EIGHT)
    down, across = np.nonzero(middle)
    for piece in range(1, number + 1):
        mine = pieces[down, across] == piece
        at = down[mine], across[mine]
        places = (np.stack(at, axis=-1) + 0.5) / picture.fine
        yield Feature(places, light_lab(own[at]), beside[at])
