"""Which of the threads owned to use, and the thread that each cell of an exact grid wants.

Threads are chosen for the picture's own colours, each weighed by its area: the smallest sum of differences to
the nearest of them. Edges and mixtures hardly count there, so nobody gets a muddy thread for an edge.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from pipeline.colour import Bytes, Floats, delta_e, delta_e_table, encoded, hex_of, hyab_lab, lab, linear
from pipeline.design.facility import choose, total_of
from pipeline.drawer.stash import Stash, Thread
from pipeline.errors import InputError
from pipeline.literals import listed
from pipeline.materials.supply import Demand, most_share

Ints = NDArray[np.int64]

MOST = 5
"""Threads of a band for which the maker names no number, at most: more are seldom tied."""
EARNS = 0.035
"""A further thread must lower the mean difference by this part of what one thread leaves. Looked at on two
dozen drawings: below it come second shades of one colour, above it parts that a maker would miss."""
WORTH_BUYING = 4.0
"""Mean HyAB that another thread may add before a skein is rather bought: about what a near shade adds."""
_ENTRIES = 500_000
"""Distances (colours × threads) up to which every colour is weighed by itself: about a second."""
_GROUPS = 512
"""Groups into which the colours are gathered where there are more distances than that."""
_FITTED = 20_000
"""Colours that the groups are fitted to at most, evenly taken from all."""
_LEVELS = 3
"""Bits of each channel that are left out when the colours of a picture are counted."""

Table = Callable[[Bytes, Bytes], Floats]
"""Differences of colours (m, 3) to colours (n, 3), as (m, n)."""


def hyab_table(a: Bytes, b: Bytes) -> Floats:
    """HyAB of every colour of ``a`` (m, 3) to every one of ``b`` (n, 3), as (m, n).

    >>> black, white = np.zeros((1, 3), np.uint8), np.full((1, 3), 255, np.uint8)
    >>> hyab_table(black, white).round(1).tolist()
    [[100.0]]
    """
    return hyab_lab(lab(a)[:, None], lab(b)[None])


@dataclass(frozen=True, slots=True)
class Became:
    """What became a thread: ``thread`` indexes the design's, ``colour`` is the mean of its ``cells`` in the
    picture, and ``delta_e`` their mean CIEDE2000 from the thread.
    """

    colour: str
    thread: int
    delta_e: float
    cells: int


def choose_threads(
    colours: Bytes,
    areas: Floats,
    stash: Stash,
    *,
    count: int | None = None,
    only: Iterable[str] | None = None,
    include: Iterable[str] = (),
    table: Table = hyab_table,
) -> tuple[Thread, ...]:
    """Choose threads for ``colours`` (n, 3) of so much area each, those that show most first.

    ``count``: how many at most (None: all of ``only``, else as many as earn their place); ``only``: names to
    choose among; ``include``: names that stand among the threads even if nothing wants them. Raises
    InputError for an unknown name or a count below 1.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> colours = np.array([[20, 40, 90], [250, 250, 250], [200, 205, 210]], np.uint8)
    >>> [t.name for t in choose_threads(colours, np.array([5.0, 9.0, 0.1]), builtin_stash())]
    ['chalk', 'navy']
    """
    if count is not None and count < 1:
        raise InputError(f"{count} threads cannot show a picture.", "Give --colours a number from 1.")
    some_left = tuple(thread for thread in stash.threads if thread.metres != 0)
    owned = stash.pick(only).threads if only is not None else some_left or stash.threads
    if count is None and only is not None:
        count = len(owned)
    costs = table(colours, _rgb(owned))
    if count is None or count < len(owned):
        rows, weights = _grouped(colours, costs, areas)
        picked = list(choose(rows, weights, count or _earning(rows, weights))[0])
    else:
        picked = list(range(len(owned)))
    shown = np.bincount(costs[:, picked].argmin(axis=1), areas, minlength=len(picked))
    order = [i for i in np.argsort(-shown, kind="stable") if shown[i] > 0]
    threads = tuple(owned[picked[i]] for i in order)
    return threads + tuple(t for t in map(stash.find, include) if t not in threads)


def with_enough(
    threads: tuple[Thread, ...],
    colours: Bytes,
    areas: Floats,
    stash: Stash,
    band: Demand,
    *,
    count: int | None = None,
    include: Iterable[str] = (),
) -> tuple[tuple[Thread, ...], tuple[str, ...]]:
    """Exchange threads of which too little is owned, where others do nearly as well; say which and why.

    ``colours`` (n, 3), ``areas``, ``count`` and ``include`` as for :func:`choose_threads`, which chose
    ``threads``; ``band``: what it will take. A thread stays if doing without it would raise the mean
    difference by more than ``WORTH_BUYING``; then the plan says what to buy.
    """
    kept = {stash.find(name).name for name in include}
    said: list[str] = []
    left = stash
    while True:
        short = _shortest(threads, colours, areas, band, kept)
        rest = tuple(t for t in left.threads if short is None or t.name != short.name)
        if short is None or len(rest) < 2:
            return threads, tuple(said)
        fewer = Stash(rest, stash.source)
        others = choose_threads(colours, areas, fewer, count=count, include=include)
        before, after = (
            total_of(hyab_table(colours, _rgb(some)), areas, range(len(some))) / float(areas.sum())
            for some in (threads, others)
        )
        if after - before > WORTH_BUYING:
            kept.add(short.name)
            continue
        instead = listed(t.name for t in others if t not in threads) or listed(t.name for t in others)
        said.append(
            f"{short.name} was passed over: the drawer holds {short.metres or 0:g} m, too little for this "
            f"band. {instead} nearly matches it; --threads with {short.name} among the names insists."
        )
        threads, left = others, fewer


def _shortest(
    threads: tuple[Thread, ...], colours: Bytes, areas: Floats, band: Demand, kept: set[str]
) -> Thread | None:
    """The thread that lacks most of the share it would show, ``kept`` ones aside; None where all suffice."""
    nearest = hyab_table(colours, _rgb(threads)).argmin(axis=1)
    shares = np.bincount(nearest, areas, minlength=len(threads)) / areas.sum()
    lacking = [
        (float(share) - most_share(thread, band), -i)
        for i, (thread, share) in enumerate(zip(threads, shares, strict=True))
        if thread.name not in kept
    ]
    worst, place = max(lacking, default=(0.0, 0))
    return threads[-place] if worst > 0 else None


def counted_colours(light: Floats) -> tuple[Bytes, Floats]:
    """The colours of linear light (…, 3), near ones taken together: (n, 3) and how often each is there."""
    shift = np.uint8(_LEVELS)
    bins = (encoded(light).reshape(-1, 3) >> shift).astype(np.int64)
    codes = (bins[:, 0] << 16) | (bins[:, 1] << 8) | bins[:, 2]
    _, of_sample, counts = np.unique(codes, return_inverse=True, return_counts=True)
    means = [np.bincount(of_sample, light[..., part].reshape(-1)) / counts for part in range(3)]
    return encoded(np.stack(means, axis=1)), counts.astype(np.float64)


def nearest_threads(
    colours: Bytes, mask: NDArray[np.bool_], threads: Sequence[Thread], table: Table = delta_e_table
) -> Ints:
    """The nearest of ``threads`` for each cell of (rows, cells, 3), as (rows, cells); −1 outside ``mask``."""
    inks, of_cell = np.unique(colours.reshape(-1, 3), axis=0, return_inverse=True)
    nearest = table(inks, _rgb(threads)).argmin(axis=1)[of_cell].reshape(mask.shape)
    return np.asarray(np.where(mask, nearest, -1), dtype=np.int64)


def became(colours: Bytes, wanted: Ints, threads: Sequence[Thread]) -> tuple[Became, ...]:
    """Report for each thread the mean, in linear light, of the cells (n, 3) that want it (n,), most first."""
    off, rows = delta_e(colours, _rgb(threads)[wanted]), []
    for t in np.unique(wanted):
        mine = wanted == t
        mean = hex_of(encoded(linear(colours[mine]).mean(axis=0)))
        rows.append(Became(mean, int(t), float(off[mine].mean()), int(mine.sum())))
    return tuple(sorted(rows, key=lambda row: -row.cells))


def thread_table(threads: Sequence[Thread]) -> Floats:
    """CIEDE2000 between every two threads, (k, k), exactly 0 on the diagonal: the costs of an exact grid.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> thread_table(builtin_stash().pick(("navy", "chalk")).threads).round(0).tolist()
    [[0.0, 75.0], [75.0, 0.0]]
    """
    table = delta_e_table(_rgb(threads), _rgb(threads))
    np.fill_diagonal(table, 0.0)
    return table


def _rgb(threads: Sequence[Thread]) -> Bytes:
    return np.array([thread.rgb for thread in threads], dtype=np.uint8).reshape(-1, 3)


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


def _earning(table: Floats, weights: Floats) -> int:
    """The number of threads of which the last still earns its place; two at least, where two are owned."""
    most = min(MOST, int(table.shape[1]))
    left: list[float] = [
        total_of(table, weights, choose(table, weights, k, work=0)[0]) for k in range(1, most + 1)
    ]
    for k in range(min(2, most), most):
        if left[k - 1] - left[k] < EARNS * left[0]:
            return k
    return most
