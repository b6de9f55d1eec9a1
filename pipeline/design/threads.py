"""Which of the threads owned to use, and the thread that each cell wants.

The sum of CIEDE2000 over the cells decides. Flat pictures have few colours, each with a thread of its own
as far as possible: distinct colours stay distinct. Photos have thousands, and each becomes the nearest of
the threads chosen.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from threadpoolctl import threadpool_limits

from pipeline.colour import Bytes, Floats, delta_e, delta_e_table, encoded, hex_of, lab, linear
from pipeline.design.facility import assign_apart, choose, total_of
from pipeline.drawer.stash import Stash, Thread
from pipeline.errors import InputError

Ints = NDArray[np.int64]

MOST_DISTINCT = 25
"""Pictures of more colours than this are treated as photos, unless told otherwise (a drawing has up to 24
distinct colours, and its ground)."""
MOST_FLAT = 12
MOST_PHOTO = 6
LOOK_APART = 5.0
"""CIEDE2000 that two threads need to be told apart on a band (our own choice, no source)."""
_WORTH = 0.03
"""A further thread for a photo must lower the mean distance by this part of what one thread leaves."""
_ENTRIES = 500_000
"""Distances (colours × threads) up to which every colour of a photo is weighed by itself: about a second."""
_GROUPS = 512
"""Groups into which the colours are gathered where there are more distances than that."""
_FITTED = 20_000
"""Colours that the groups are fitted to at most, evenly taken from all."""


@dataclass(frozen=True, slots=True)
class Became:
    """What a picture colour became: ``thread`` indexes ``Match.threads``, ``delta_e`` is CIEDE2000.

    In a photo ``colour`` is the mean of the cells that became that thread and ``delta_e`` their mean.
    """

    colour: str
    thread: int
    delta_e: float
    cells: int


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """Threads to use, most wanted first, and for each cell the one it wants.

    ``wanted``: int64 (rows, cells), read-only, indexes ``threads``. ``exact``: no other choice of as many
    threads has a smaller Σ CIEDE2000. ``notes`` are sentences that the maker should read.
    """

    threads: tuple[Thread, ...]
    wanted: Ints
    became: tuple[Became, ...]
    exact: bool = True
    notes: tuple[str, ...] = ()
    _exactly: dict[str, int] = field(default_factory=dict, repr=False)

    def index_of(self, colour: ArrayLike) -> int:
        """The thread that a colour of the picture became, or the nearest one to another colour."""
        known = self._exactly.get(hex_of(colour))
        if known is not None:
            return known
        return int(delta_e_table(np.asarray(colour), _rgb(self.threads)).argmin())


def match_threads(
    colours: Bytes,
    stash: Stash,
    *,
    count: int | None = None,
    only: Iterable[str] | None = None,
    mask: NDArray[np.bool_] | None = None,
    distinct: bool | None = None,
    include: Iterable[str] = (),
) -> Match:
    """Choose threads for cells of ``colours`` (rows, cells, 3).

    ``count``: how many threads at most (None: as many as pay); ``only``: names to choose among; ``mask``:
    (rows, cells) the cells that count; ``distinct``: whether no two picture colours may fall together while
    another thread could keep them apart (None: yes if there are at most 25 colours); ``include``: names
    that stand among the threads even if no cell wants them.
    Raises InputError for an unknown name or a count below 1.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> cells = np.array([[[20, 40, 90], [250, 250, 250]]], np.uint8)
    >>> match = match_threads(cells, builtin_stash(), only=("navy", "chalk"))
    >>> [match.threads[thread].name for thread in match.wanted[0]]
    ['navy', 'chalk']
    """
    if count is not None and count < 1:
        raise InputError(f"{count} threads cannot show a picture.", "Give --colours a number from 1.")
    counted = np.ones(colours.shape[:2], bool) if mask is None else mask
    if not counted.any():
        raise InputError("no cell of the picture is tied.", "Take more strands or rows.")
    inks, of_cell = np.unique(colours.reshape(-1, 3), axis=0, return_inverse=True)
    of_cell = of_cell.reshape(counted.shape)
    cells = np.bincount(of_cell[counted], minlength=len(inks)).astype(np.float64)
    present = np.flatnonzero(cells)
    if distinct is None:
        distinct = len(present) <= MOST_DISTINCT
    owned = stash.pick(only).threads if only is not None else _usable(stash)
    if count is None and only is not None:
        count = len(owned)
    find = _keep_apart if distinct else _nearest
    chosen = find(inks[present], cells[present], owned, count)
    threads, place = _most_used_first(chosen.assigned, cells[present], owned)
    threads += tuple(thread for thread in map(stash.find, include) if thread not in threads)
    of_ink = delta_e_table(inks, _rgb(threads)).argmin(axis=1)
    of_ink[present] = place[chosen.assigned]
    wanted = of_ink[of_cell].astype(np.int64)
    wanted.flags.writeable = False
    report = became_each if distinct else became_on_average
    became = report(inks[present], cells[present], of_ink[present], threads)
    exactly = {hex_of(ink): int(t) for ink, t in zip(inks, of_ink, strict=True)} if distinct else {}
    return Match(threads, wanted, became, chosen.exact, chosen.notes, exactly)


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """For each colour the index of the thread owned that it becomes, and whether that is the best."""

    assigned: Ints
    exact: bool
    notes: tuple[str, ...] = ()


def _usable(stash: Stash) -> tuple[Thread, ...]:
    """The threads of which some is left."""
    return tuple(thread for thread in stash.threads if thread.metres != 0) or stash.threads


def _most_used_first(
    assigned: Ints, cells: Floats, owned: Sequence[Thread]
) -> tuple[tuple[Thread, ...], Ints]:
    """Return the threads that are used, by cells, and the place of each thread owned among them."""
    used = np.bincount(assigned, cells, minlength=len(owned))
    order = np.argsort(-used, kind="stable")
    place = np.empty(len(owned), dtype=np.int64)
    place[order] = np.arange(len(owned))
    return tuple(owned[t] for t in order if used[t] > 0), place


def nearest_threads(
    colours: Bytes, stash: Stash, *, mask: NDArray[np.bool_] | None = None, include: Iterable[str] = ()
) -> Match:
    """Give every cell the nearest thread of the stash, however many that are (for exact grids)."""
    return match_threads(colours, stash, count=len(stash.threads), mask=mask, distinct=False, include=include)


def routing_costs(wanted: Ints, threads: Sequence[Thread]) -> Floats:
    """CIEDE2000 between the thread wanted at each knot (V,) and each that may show, as (V, threads).

    −1 in ``wanted`` is a free cell, whose row is 0.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> costs = routing_costs(np.array([0, -1]), builtin_stash().pick(("navy", "chalk")).threads)
    >>> costs.shape, float(costs[0, 0]), costs[1].tolist()
    ((2, 2), 0.0, [0.0, 0.0])
    """
    rgb = _rgb(threads)
    table = np.vstack([delta_e_table(rgb, rgb), np.zeros((1, len(rgb)))])
    np.fill_diagonal(table, 0.0)
    return np.asarray(table[np.asarray(wanted, dtype=np.int64)])


def _rgb(threads: Sequence[Thread]) -> Bytes:
    return np.array([thread.rgb for thread in threads], dtype=np.uint8).reshape(-1, 3)


def became_each(
    colours: Bytes, cells: Floats, of_colour: Ints, threads: Sequence[Thread]
) -> tuple[Became, ...]:
    """Report every colour (n, 3) by itself, the most common first."""
    off = delta_e(colours, _rgb(threads)[of_colour])
    order = np.argsort(-cells, kind="stable")
    return tuple(Became(hex_of(colours[i]), int(of_colour[i]), float(off[i]), int(cells[i])) for i in order)


def became_on_average(
    colours: Bytes, cells: Floats, of_colour: Ints, threads: Sequence[Thread]
) -> tuple[Became, ...]:
    """Report for each thread the mean, in linear light, of the colours (n, 3) that became it."""
    off = delta_e(colours, _rgb(threads)[of_colour])
    rows = []
    for thread in np.unique(of_colour):
        here = of_colour == thread
        mean = encoded(np.average(linear(colours[here]), axis=0, weights=cells[here]))
        mean_off = float(np.average(off[here], weights=cells[here]))
        rows.append(Became(hex_of(mean), int(thread), mean_off, int(cells[here].sum())))
    return tuple(sorted(rows, key=lambda row: -row.cells))


# Flat pictures: few colours, each with a thread of its own as far as possible.


def _keep_apart(colours: Bytes, cells: Floats, owned: Sequence[Thread], count: int | None) -> _Chosen:
    """Give each colour a thread, all different and told apart as far as count and stash allow."""
    rgb = _rgb(owned)
    between = delta_e_table(rgb, rgb)
    most = min(MOST_FLAT if count is None else count, len(colours), len(owned))
    pairs = delta_e_table(colours, colours)[np.triu_indices(len(colours), 1)]
    apart = float(pairs.min(initial=LOOK_APART))
    costs = delta_e_table(colours, rgb) * cells[:, None]
    answer, proved = assign_apart(costs, between, most, apart)
    notes = [
        f"{owned[a].name} and {owned[b].name} look nearly alike (CIEDE2000 {between[a, b]:.1f}): "
        "the stash has no better threads that keep the colours of the picture apart."
        for a, b in itertools.combinations(sorted(set(answer.tolist())), 2)
        if between[a, b] < apart
    ]
    for t in sorted(set(answer.tolist())):
        together = [hex_of(colour) for colour in colours[answer == t]]
        if len(together) > 1:
            why = "the stash has no further thread" if most == len(owned) else f"only {most} threads are used"
            notes.append(f"{', '.join(together)} all become {owned[t].name}: {why}.")
    return _Chosen(answer, proved, tuple(notes))


# Photos: many colours, each becomes the nearest of the threads chosen.


def _nearest(colours: Bytes, cells: Floats, owned: Sequence[Thread], count: int | None) -> _Chosen:
    table = delta_e_table(colours, _rgb(owned))
    if count is not None and count >= len(owned):
        return _Chosen(table.argmin(axis=1), True)
    grouped, weights = _grouped(colours, table, cells)
    picked, complete = choose(grouped, weights, count or _worthwhile(grouped, weights))
    nearest = np.array(picked, dtype=np.int64)[table[:, picked].argmin(axis=1)]
    return _Chosen(nearest, complete and len(grouped) == len(table))


def _grouped(colours: Bytes, table: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Join near colours where weighing each would take long: mean rows of ``table``, and their weights.

    Weighted k-means in CIELAB, on one core: the number of cores must not change a sum, and with it a group.
    """
    if table.size <= _ENTRIES or len(colours) <= _GROUPS:
        return table, weights
    from sklearn.cluster import KMeans  # slow to import, and few pictures need it

    places = lab(colours)
    step = -(-len(colours) // _FITTED)
    means = KMeans(_GROUPS, n_init=1, max_iter=20, random_state=0)
    with threadpool_limits(1):
        means.fit(places[::step], sample_weight=weights[::step])
        _, group = np.unique(means.predict(places), return_inverse=True)
    total = np.bincount(group, weights).astype(np.float64)
    rows = np.zeros((len(total), table.shape[1]))
    np.add.at(rows, group, table * weights[:, None])
    return rows / total[:, None], total


def _worthwhile(table: Floats, weights: Floats) -> int:
    """The number of threads after which one more lowers the mean distance too little to be worth it."""
    most = min(MOST_PHOTO, int(table.shape[1]))
    left: list[float] = [
        total_of(table, weights, choose(table, weights, k, work=0)[0]) for k in range(1, most + 1)
    ]
    for k in range(min(4, most), most):
        if left[k - 1] - left[k] < _WORTH * left[0]:
            return k
    return most
