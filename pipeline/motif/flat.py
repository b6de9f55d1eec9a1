"""Flat artwork at high resolution: its distinct colours, and which pixel has which.

Drawings have few colours, but their files have many: smooth edges mix the colours on both sides, and
lossy compression scatters them. Mixed pixels are recognised by lying between their neighbours, the rest
is gathered around its most frequent colours, and each mixed pixel goes to the side it resembles more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from pipeline.colour import Bytes, Floats, delta_e_table, encoded, lab, linear

Ints = NDArray[np.int64]

_PIXELS = 4_000_000
"""Larger artwork is thinned out by whole rows and columns first, which mixes no colours."""
_CONTRAST = 24
"""Levels (Euclidean, of 255) by which the sides of an edge differ at least."""
_WAYS = ((0, 1), (1, 0), (1, 1), (1, -1))
_ALIKE = 9.0
"""Distance in CIELAB within which pixels are scatter of one colour."""
_SAME = 3.0
"""The same in pictures of so few colours that nothing can have scattered them."""
_SCATTER = 20.0
"""CIEDE2000 within which lossy compression scatters colours beside an edge."""
_NOISE = 40
"""Levels among 9 neighbouring pixels that noise may cause."""
_STEP = 16
"""Levels between neighbouring pixels that shading does not exceed."""
_MOST = 24
"""Distinct colours at most; a picture of more is noisy or lossy, or has smooth edges."""
_LEAST_SHARE = 0.0008
"""Part of the clear pixels that a colour has at least (half a cell of a band of 600)."""


@dataclass(frozen=True, slots=True, eq=False)
class Artwork:
    """Distinct colours of a picture, the most common first.

    ``colours``: uint8 (count, 3); ``labels``: uint8 (h, w), the colour of each pixel (of a picture that
    may have been thinned out); ``clear``: part of the pixels that are not on an edge; ``close``: part of
    the clear ones that have very nearly their distinct colour; ``soft``: part of the borders between
    colours where neighbours hardly differ, as in shading.
    """

    colours: Bytes
    labels: Bytes
    clear: float
    close: float
    soft: float

    def index_of(self, colour: ArrayLike) -> int:
        """The distinct colour nearest to any colour."""
        return int(delta_e_table(np.asarray(colour), self.colours).argmin())

    def with_colour(self, colour: ArrayLike) -> Artwork:
        """The same with one more colour, that no pixel has, unless one is alike already."""
        if delta_e_table(np.asarray(colour), self.colours).min() <= _ALIKE:
            return self
        more = np.vstack([self.colours, np.asarray(colour, dtype=np.uint8)])
        return replace(self, colours=more)


def is_flat(artwork: Artwork) -> bool:
    """Whether the picture is a drawing: nearly all clear pixels are of a dozen colours, without shading.

    The limits are our own, set by trying drawings (also as JPEG) and photos.
    """
    return artwork.close > 0.9 and artwork.clear > 0.35 and artwork.soft < 0.4


def distinct_colours(rgb: Bytes) -> Artwork:
    """Find the distinct colours of a picture, uint8 (h, w, 3), and label every pixel."""
    scale = 1
    while rgb.shape[0] * rgb.shape[1] > _PIXELS * scale * scale:
        scale += 1
    rgb = rgb[scale // 2 :: scale, scale // 2 :: scale] if scale > 1 else rgb
    codes = _codes(rgb)
    lossy = len(np.unique(codes)) > _MOST
    rgb = _calmed(rgb) if lossy else rgb
    towards = _mixed(rgb)
    if not lossy:
        towards = _without_own_colours(towards, codes)
    mixed = towards >= 0
    clear = ~mixed if not mixed.all() else np.ones_like(mixed)
    bins, of_pixel, counts = _binned(rgb[clear])
    colours, of_bin, close = _gathered(bins, counts, _ALIKE if lossy else _SAME)
    labels = np.zeros(rgb.shape[:2], dtype=np.uint8)
    labels[clear] = of_bin[of_pixel]
    if not clear.all():
        labels = _resolved(labels, clear, towards)
    labels, colours = _without_scatter(rgb, labels, colours, lossy=lossy)
    soft = _soft_borders(rgb, labels, clear)
    sizes = np.bincount(labels.reshape(-1), minlength=len(colours))
    order = np.argsort(-sizes, kind="stable")[: np.count_nonzero(sizes)]
    rank = np.zeros(len(colours), dtype=np.uint8)
    rank[order] = np.arange(len(order))
    return Artwork(colours[order], rank[labels], float(clear.mean()), close, soft)


def _codes(rgb: Bytes) -> NDArray[np.int32]:
    """The colours of all pixels as numbers, 0 … 2²⁴−1 (32 bits sort faster than 64)."""
    parts = rgb.reshape(-1, 3).astype(np.int32)
    return np.asarray((parts[:, 0] << 16) | (parts[:, 1] << 8) | parts[:, 2], dtype=np.int32)


def _without_own_colours(towards: Ints, codes: NDArray[np.int32]) -> Ints:
    """Take back "mixed" from colours that stand by themselves at least as often: those are no mixtures."""
    found, of_pixel, counts = np.unique(codes, return_inverse=True, return_counts=True)
    mixed = np.bincount(of_pixel, towards.reshape(-1) >= 0, minlength=len(found))
    own = mixed <= 0.5 * counts
    return np.where(own[of_pixel].reshape(towards.shape), -1, towards)


def _calmed(rgb: Bytes) -> Bytes:
    """Average away noise: each pixel with the 8 around it, where these hold no edge."""
    spread = ndimage.maximum_filter(rgb, (3, 3, 1)) - ndimage.minimum_filter(rgb, (3, 3, 1))
    mean = ndimage.uniform_filter(rgb.astype(np.float32), (3, 3, 1))
    return np.where((spread <= _NOISE).all(axis=2)[..., None], np.rint(mean).astype(np.uint8), rgb)


def _without_scatter(rgb: Bytes, labels: Bytes, colours: Bytes, *, lossy: bool) -> tuple[Bytes, Bytes]:
    """Join colours that have no solid spot, only scattered pixels, with the near one they are scatter of;
    of the others, take the colour that their solid spots have.
    """
    sizes = np.bincount(labels.reshape(-1), minlength=len(colours))
    spots = [ndimage.binary_erosion(labels == label, np.ones((3, 3))) for label in range(len(colours))]
    inner = np.array([spot.sum() for spot in spots]) / np.maximum(sizes, 1)
    solid = inner >= 0.15
    distance = delta_e_table(colours, colours)
    near = distance < _SCATTER if lossy else (distance < _ALIKE) & (inner >= 0.5)[None]
    into = np.arange(len(colours))
    for label in np.flatnonzero(~solid):
        bigger = np.flatnonzero((sizes > sizes[label]) & near[label])
        if len(bigger):
            into[label] = bigger[distance[label, bigger].argmin()]
    while (into[into] != into).any():
        into = into[into]
    typical = colours.copy()
    for label in np.flatnonzero(solid & (sizes > 0)):
        typical[label] = _typical(rgb[spots[label]])
    return into[labels].astype(np.uint8), typical


def _typical(pixels: Bytes) -> Bytes:
    """The colour of most of the pixels (n, 3), or where they scatter, their mean in linear light."""
    found, counts = np.unique(_codes(pixels), return_counts=True)
    if counts.max() >= 0.25 * len(pixels):
        code = int(found[counts.argmax()])
        return np.array([code >> 16, (code >> 8) & 255, code & 255], dtype=np.uint8)
    return encoded(linear(pixels).mean(axis=0))


def _soft_borders(rgb: Bytes, labels: Bytes, clear: NDArray[np.bool_]) -> float:
    """Part of the borders between labels at which two clear neighbours differ by a few levels only."""
    borders = soft = 0
    for one, other in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:-1], np.s_[1:]),
    ):
        apart = labels[one] != labels[other]
        step = np.abs(rgb[one][apart].astype(np.int16) - rgb[other][apart]).max(axis=1, initial=0)
        borders += int(apart.sum())
        soft += int(((step <= _STEP) & clear[one][apart] & clear[other][apart]).sum())
    return soft / max(1, borders)


def _mixed(rgb: Bytes) -> Ints:
    """For each pixel that lies between two neighbours in place and colour, the flat index of the one it
    resembles more; −1 for the others. Neighbours up to 3 pixels away are tried, the nearest first.
    """
    height, width = rgb.shape[:2]
    towards = np.full(height * width, -1, dtype=np.int64)
    flat = rgb.reshape(-1, 3).astype(np.int16)
    busy = np.zeros((height, width), dtype=bool)
    for axis in (0, 1):
        step = np.abs(np.diff(rgb.astype(np.int16), axis=axis)).max(axis=2) > 6
        first, second = [slice(None)] * 2, [slice(None)] * 2
        first[axis], second[axis] = slice(None, -1), slice(1, None)
        busy[tuple(first)] |= step
        busy[tuple(second)] |= step
    pending = np.flatnonzero(busy)
    pending = pending[~_in_strokes(flat, pending, height, width)]
    for reach in (1, 2, 3):
        for down, across in _WAYS:
            at, jump = _with_neighbours(pending, height, width, reach * down, reach * across)
            before, after = flat[at - jump].astype(np.float32), flat[at + jump].astype(np.float32)
            here = flat[at].astype(np.float32) - before
            span = after - before
            squared = (span * span).sum(axis=1)
            part = (here * span).sum(axis=1) / np.maximum(squared, 1)
            aside = here - part[:, None] * span
            off = (aside * aside).sum(axis=1)
            between = (squared > _CONTRAST**2) & (part > 0.06) & (part < 0.94)
            between &= off < (0.08 * np.sqrt(squared) + 5) ** 2
            towards[at[between]] = np.where(part[between] < 0.5, at[between] - jump, at[between] + jump)
            pending = pending[towards[pending] < 0]
    return towards.reshape(height, width)


def _with_neighbours(at: Ints, height: int, width: int, down: int, across: int) -> tuple[Ints, int]:
    """Those of the pixels ``at`` that have neighbours on both sides, and the way to them in flat indices."""
    y, x = np.divmod(at, width)
    inside = (y >= down) & (y < height - down) & (x >= abs(across)) & (x < width - abs(across))
    return at[inside], down * width + across


def _in_strokes(flat: NDArray[np.int16], pixels: Ints, height: int, width: int) -> NDArray[np.bool_]:
    """Which pixels are the middle of a stroke: unlike both neighbours, and in the same way."""
    found = np.zeros(height * width, dtype=bool)
    for down, across in _WAYS:
        at, jump = _with_neighbours(pixels, height, width, down, across)
        before = (flat[at - jump] - flat[at]).astype(np.int32)
        after = (flat[at + jump] - flat[at]).astype(np.int32)
        least = np.minimum((before * before).sum(axis=1), (after * after).sum(axis=1))
        found[at] |= ((before * after).sum(axis=1) > 0.5 * least) & (least > _CONTRAST**2)
    return found[pixels]


def _binned(pixels: Bytes) -> tuple[Bytes, Ints, Ints]:
    """Different colours (bins, 3), the bin of each pixel, and pixels in each; coarser if there are many."""
    found, of_pixel, counts = np.unique(_codes(pixels), return_inverse=True, return_counts=True)
    bins = np.stack([found >> 16, (found >> 8) & 255, found & 255], axis=1).astype(np.uint8)
    if len(bins) <= 20_000:
        return bins, of_pixel, counts
    coarse: Bytes = (bins >> 3).astype(np.uint8)
    _, group = np.unique(_codes(coarse), return_inverse=True)
    total = np.bincount(group, counts)
    means = [np.bincount(group, counts * bins[:, i]) / total for i in range(3)]
    return np.rint(np.stack(means, axis=1)).astype(np.uint8), group[of_pixel], total.astype(np.int64)


def _gathered(bins: Bytes, counts: Ints, alike: float) -> tuple[Bytes, Bytes, float]:
    """Gather bins around the most frequent colours: (colours, the colour of each bin, part that is close)."""
    places: Floats = lab(bins)
    left = counts.astype(np.float64)
    least = max(1.0, _LEAST_SHARE * counts.sum())
    colours: list[Bytes] = []
    close = 0.0
    while len(colours) < _MOST and left.max() > 0:
        centre = places[int(left.argmax())]
        near = (np.linalg.norm(places - centre, axis=1) <= alike) & (left > 0)
        weight = left[near]
        if weight.sum() >= least or not colours:
            typical = bins[near][int(weight.argmax())]
            if weight.max() < 0.25 * weight.sum():
                typical = encoded((linear(bins[near]) * weight[:, None]).sum(axis=0) / weight.sum())
            colours.append(typical)
            if len(colours) <= 12:
                close += float(weight[np.linalg.norm(places[near] - lab(typical), axis=1) <= 4].sum())
        left[near] = 0
    found = np.array(colours, dtype=np.uint8).reshape(-1, 3)
    centres = lab(found)
    nearest = np.stack([np.linalg.norm(places - c, axis=1) for c in centres]).argmin(axis=0)
    return found, nearest.astype(np.uint8), close / float(counts.sum())


def _resolved(labels: Bytes, clear: NDArray[np.bool_], towards: Ints) -> Bytes:
    """Give mixed pixels the label of the side they resemble; where that is mixed too, of the nearest."""
    flat, known = labels.reshape(-1).copy(), clear.reshape(-1)
    mixed = np.flatnonzero(~known)
    aim = towards.reshape(-1)[mixed]
    for _ in range(4):
        aim = np.where(known[aim], aim, np.maximum(towards.reshape(-1)[aim], 0))
    settled = known[aim]
    result = flat.copy()
    result[mixed[settled]] = flat[aim[settled]]
    rest = mixed[~settled]
    if len(rest):
        near = ndimage.distance_transform_edt(~clear, return_distances=False, return_indices=True)
        y, x = near.reshape(2, -1)[:, rest]
        result[rest] = labels[y, x]
    return result.reshape(labels.shape)
