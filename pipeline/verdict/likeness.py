"""How like its picture a band looks, by an eye of our own that shares nothing with the costs of routing.

The band's cells are laid against the picture averaged by area in linear light, both blurred by half a cell,
as seen from arm's length: mean CIEDE2000, mean HyAB, which is made for large differences, SSIM of lightness.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from pipeline.band.pattern import Pattern
from pipeline.band.replay import picture_shown
from pipeline.colour import Floats, delta_e_lab, hyab_lab, light_lab, linear, parse_hex

BLUR = 0.5
"""Standard deviation of the blur, in cells."""
_LARGER = 4
"""Pixels to a cell's side for SSIM, whose window is seven pixels wide."""
WORDS = ((8.0, "very close"), (14.0, "close"), (22.0, "recognisable"))
"""Mean HyAB up to which a band is called so; from looking at bands beside their pictures, no source."""


@dataclass(frozen=True, slots=True)
class Likeness:
    """Means over the picture's cells: ``ciede2000`` and ``hyab``, 0 for the same colours; ``ssim`` of
    lightness, 1 for the same picture.
    """

    ciede2000: float
    hyab: float
    ssim: float

    @property
    def words(self) -> str:
        """The likeness as a maker would say it.

        >>> Likeness(5.0, 11.0, 0.8).words
        'close'
        """
        return next((word for most, word in WORDS if self.hyab <= most), "loose")


def likeness(pattern: Pattern, picture: Floats, first: int = 0) -> Likeness:
    """Compare picture rows of ``pattern``, from row ``first`` on, with (rows, cells, 3) light of a picture.

    Raises ValueError if the band has fewer rows or other cells.

    >>> from pipeline.band.example import two_rows
    >>> exact = shown_light(two_rows())
    >>> likeness(two_rows(), np.repeat(exact, 4, axis=0)[::4]).hyab
    0.0
    """
    shown = _filled(shown_light(pattern)[first : first + len(picture)])
    if shown.shape != picture.shape:
        raise ValueError(f"a picture of {picture.shape} for a band that shows {shown.shape}")
    seen, wanted = (light_lab(scipy.ndimage.gaussian_filter(a, (BLUR, BLUR, 0))) for a in (shown, picture))
    return Likeness(
        float(delta_e_lab(wanted, seen).mean()), float(hyab_lab(wanted, seen).mean()), _ssim(picture, shown)
    )


def shown_light(pattern: Pattern) -> Floats:
    """(picture rows, strands−1, 3) linear light of what shows, NaN where there is no knot."""
    colours = linear([parse_hex(thread.colour) for thread in pattern.threads])
    _, shown = picture_shown(pattern)
    return np.where(shown[..., None] < 0, np.nan, colours[shown])


def _filled(light: Floats) -> Floats:
    """Fields without a knot take the mean of the knots beside them (or of all, where there is none)."""
    hole = np.isnan(light[..., 0])
    known = np.pad(~hole, 1).astype(np.float64)
    padded = np.pad(np.where(hole[..., None], 0.0, light), ((1, 1), (1, 1), (0, 0)))
    sides = ((slice(0, -2), slice(1, -1)), (slice(2, None), slice(1, -1)))
    sides += tuple((b, a) for a, b in sides)
    count = np.sum([known[side] for side in sides], axis=0)
    total = np.sum([padded[side] for side in sides], axis=0)
    mean = np.where(count[..., None] > 0, total / np.maximum(count, 1)[..., None], np.nanmean(light, (0, 1)))
    return np.where(hole[..., None], mean, light)


def _ssim(one: Floats, other: Floats) -> float:
    from skimage import metrics

    compare: Any = metrics.structural_similarity
    large = [light_lab(np.kron(a, np.ones((_LARGER, _LARGER, 1))))[..., 0] for a in (one, other)]
    if min(large[0].shape) < 7:
        return float(np.allclose(large[0], large[1]))
    return float(compare(large[0], large[1], data_range=100))
