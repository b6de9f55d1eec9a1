"""Which thin strokes and dots of a picture a band shows, and which are broken or lost in it.

A count of made cells says nothing of them: a mast is three cells in a hundred, and where each of its cells
may be ground as well it can vanish with every cell made. So each is followed along its middle, in any band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.band.pattern import Pattern
from pipeline.band.replay import picture_shown
from pipeline.colour import Floats, hyab_lab, lab, parse_hex
from pipeline.design.features import Feature

BESIDE = 0.35
"""How far beside its place, in cells, a stroke may run and still be that stroke."""
GAP = 0.6
"""Length, in cells and beyond ``BESIDE``, of a gap at which a stroke is broken."""
LOST = 0.35
"""Share of a feature that shows, below which it is lost; all three from our own looking, no source."""


@dataclass(frozen=True, slots=True)
class Thin:
    """A thin stroke or dot that the band breaks or loses; rows (of the band) and positions count from 0."""

    what: Literal["stroke", "dot"]
    state: Literal["broken", "lost"]
    thread: int | None
    """The thread of the band that is most like it, None where each is more like what is beside it."""
    seen: float
    """Share of it that shows."""
    rows: tuple[int, int]
    """First and last row of it, or of its longest gap where it is broken."""
    positions: tuple[int, int]
    """First and last position."""


def unseen(
    pattern: Pattern, features: Sequence[Feature], copies: Sequence[tuple[int, int]]
) -> tuple[Thin, ...]:
    """The features that ``pattern`` breaks or loses, the longest first.

    ``copies``: picture row and position at which each copy of the picture begins; what some copy lacks is
    told once, of the copy that shows least of it.
    """
    if not features or not copies:
        return ()
    threads = lab(np.array([parse_hex(thread.colour) for thread in pattern.threads], dtype=np.uint8))
    rows, shown = picture_shown(pattern)
    found = []
    for feature in features:
        alike = _alike(feature, threads)
        tried = [_seen(pattern, feature, alike, shown, copy) for copy in copies]
        at = min(range(len(copies)), key=lambda i: tried[i].mean())
        part = _lacking(feature, tried[at])
        if part is not None:
            thread = _nearest(feature, alike, threads, part)
            found.append((len(feature.places), _thin(feature, thread, tried[at], rows, copies[at], part)))
    return tuple(thin for _, thin in sorted(found, key=lambda item: -item[0]))


Flags = NDArray[np.bool_]


def _alike(feature: Feature, threads: Floats) -> Flags:
    """(places, threads) whether a thread there is more like the feature than like what is beside it."""
    own, beside = (hyab_lab(part[:, None], threads[None]) for part in (feature.own, feature.beside))
    return np.asarray(own < beside)


def _seen(
    pattern: Pattern, feature: Feature, alike: Flags, shown: NDArray[np.int64], copy: tuple[int, int]
) -> Flags:
    """Whether a knot at or beside each place of the feature shows it; a diagonal-worked one is a diamond."""
    square = pattern.sections[0].working.square
    places = feature.places + copy
    field, seen = np.floor(places).astype(np.int64), np.zeros(len(places), dtype=bool)
    for way in product(range(-2, 3), repeat=2):
        row, position = (field + way).T
        off = np.abs(places - (field + way) - 0.5)
        near = off.max(axis=1) <= 0.5 + BESIDE if square else off.sum(axis=1) <= 1 + BESIDE
        near &= (row >= 0) & (row < shown.shape[0]) & (position >= 0) & (position < shown.shape[1])
        thread = shown[row[near], position[near]]
        seen[near] |= (thread >= 0) & alike[near, thread]
    return seen


def _lacking(feature: Feature, seen: Flags) -> Flags | None:
    """All of the feature where it is lost, its longest gap where it is broken, else None."""
    if seen.mean() < LOST:
        return np.ones(len(seen), dtype=bool)
    gap = max(_gaps(feature.places, ~seen), key=lambda gap: _extent(feature.places[gap]), default=None)
    return None if gap is None or _extent(feature.places[gap]) < GAP else gap


def _nearest(feature: Feature, alike: Flags, threads: Floats, part: Flags) -> int | None:
    """Of the threads that a part of the feature is mostly alike the one nearest to it, None where none is."""
    off = hyab_lab(feature.own[part][:, None], threads[None]).mean(axis=0)
    off[alike[part].mean(axis=0) <= 0.5] = np.inf
    return int(off.argmin()) if np.isfinite(off).any() else None


def _gaps(places: Floats, missing: Flags) -> list[Flags]:
    """The places of each gap; those less than half a cell apart are of one."""
    at = np.flatnonzero(missing)
    if not len(at):
        return []
    pairs = scipy.spatial.cKDTree(places[at]).query_pairs(0.5, output_type="ndarray")
    joined = scipy.sparse.coo_array((np.ones(len(pairs)), pairs.T), shape=(len(at), len(at)))
    number, group = scipy.sparse.csgraph.connected_components(joined, directed=False)
    return [np.isin(np.arange(len(places)), at[group == one]) for one in range(number)]


def _extent(places: Floats) -> float:
    return float(np.hypot(*np.ptp(places, axis=0)))


def _thin(
    feature: Feature, thread: int | None, seen: Flags, rows: Sequence[int], copy: tuple[int, int], part: Flags
) -> Thin:
    at = np.floor(feature.places[part] + copy).astype(np.int64)
    (top, left), (bottom, right) = at.min(axis=0), at.max(axis=0)
    return Thin(
        "dot" if len(feature.places) == 1 else "stroke",
        "lost" if part.all() else "broken",
        thread,
        float(seen.mean()),
        (rows[int(top)], rows[int(bottom)]),
        (int(left), int(right)),
    )
