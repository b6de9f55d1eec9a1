"""Which of the threads owned to use, and the thread that each cell wants.

Choosing K threads so that the cells' distances to the nearest of them sum up to least is a facility
location problem (the p-median). Flat pictures have few colours, so a mixed-integer program answers it
exactly together with the rule that distinct colours stay distinct. Photos have thousands: interchange
(Teitz and Bart 1968) from several starts, then branch and bound as far as a bounded amount of work goes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.colour import Bytes, Floats, delta_e_table, encoded, hex_of, linear
from pipeline.errors import InputError
from pipeline.stash import Stash, Thread

Ints = NDArray[np.int64]

MOST_DISTINCT = 24
"""Pictures of more colours than this are treated as photos, unless told otherwise."""
MOST_FLAT = 12
MOST_PHOTO = 6
LOOK_APART = 5.0
"""CIEDE2000 that two threads need to be told apart on a band (our own choice, no source)."""
_WORTH = 0.03
"""A further thread for a photo must lower the mean distance by this part of what one thread leaves."""
_WORK = 400_000_000
"""Distances compared in a search at most (a second or two); then the best so far is the answer."""
_GROUPS = 4096


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
    another thread could keep them apart (None: yes if there are at most 24 colours); ``include``: names
    that stand among the threads even if no cell wants them.
    Raises InputError for an unknown name or a count below 1.
    """
    if count is not None and count < 1:
        raise InputError(f"{count} threads cannot show a picture.", "Give --colours a number from 1.")
    notes: list[str] = []
    owned = stash.threads if only is None else stash.pick(only).threads
    if only is None:
        owned = tuple(thread for thread in owned if thread.metres != 0) or owned
    counted = np.ones(colours.shape[:2], bool) if mask is None else mask
    flat, inverse = np.unique(colours.reshape(-1, 3), axis=0, return_inverse=True)
    inverse = inverse.reshape(-1)
    weights = np.bincount(inverse[counted.reshape(-1)], minlength=len(flat)).astype(np.float64)
    present = np.flatnonzero(weights > 0)
    if not len(present):
        raise InputError("no cell of the picture is tied.", "Take more strands or rows.")
    table = delta_e_table(flat[present], _rgb(owned))
    if distinct is None:
        distinct = len(present) <= MOST_DISTINCT
    if distinct:
        assigned, exact = _keep_apart(
            flat[present], table, weights[present], owned, count, only is None, notes
        )
    else:
        assigned, exact = _nearest(flat[present], table, weights[present], count, only is None)
    cells_of = np.bincount(assigned, weights[present], minlength=len(owned))
    order = [int(t) for t in np.lexsort((np.arange(len(owned)), -cells_of)) if cells_of[t] > 0]
    threads = [owned[t] for t in order]
    threads += (
        [t for t in stash.pick(include).threads if t not in threads] if (include := tuple(include)) else []
    )
    place = {t: i for i, t in enumerate(order)}
    of_colour = np.empty(len(flat), dtype=np.int64)
    of_colour[present] = [place[int(t)] for t in assigned]
    absent = np.flatnonzero(weights == 0)
    if len(absent):
        of_colour[absent] = delta_e_table(flat[absent], _rgb(threads)).argmin(axis=1)
    wanted = of_colour[inverse].reshape(colours.shape[:2])
    wanted.flags.writeable = False
    off = table[np.arange(len(present)), assigned]
    became = _became(flat[present], of_colour[present], weights[present], off, each=distinct)
    exactly = {hex_of(c): int(t) for c, t in zip(flat, of_colour, strict=True)} if distinct else {}
    return Match(tuple(threads), wanted, became, exact, tuple(notes), exactly)


def nearest_threads(
    colours: Bytes, stash: Stash, *, mask: NDArray[np.bool_] | None = None, include: Iterable[str] = ()
) -> Match:
    """Give every cell the nearest thread of the stash, however many that are (for exact grids)."""
    return match_threads(colours, stash, count=len(stash.threads), mask=mask, distinct=False, include=include)


def routing_costs(wanted: Ints, threads: Sequence[Thread]) -> Floats:
    """CIEDE2000 between the thread wanted at each knot (V,) and each that may show, as (V, threads).

    −1 in ``wanted`` is a free cell, whose row is 0.
    """
    rgb = _rgb(threads)
    table = np.vstack([delta_e_table(rgb, rgb), np.zeros((1, len(rgb)))])
    np.fill_diagonal(table, 0.0)
    return np.asarray(table[np.asarray(wanted, dtype=np.int64)])


def _rgb(threads: Sequence[Thread]) -> Bytes:
    return np.array([thread.rgb for thread in threads], dtype=np.uint8).reshape(-1, 3)


def _became(colours: Bytes, threads: Ints, weights: Floats, off: Floats, *, each: bool) -> tuple[Became, ...]:
    if each:
        order = np.lexsort((np.arange(len(colours)), -weights))
        return tuple(
            Became(hex_of(colours[i]), int(threads[i]), float(off[i]), int(weights[i])) for i in order
        )

    rows = []
    for t in np.unique(threads):
        part, weight = linear(colours[threads == t]), weights[threads == t]
        mean = encoded((part * weight[:, None]).sum(axis=0) / weight.sum())
        rows.append(
            Became(
                hex_of(mean), int(t), float((off[threads == t] @ weight) / weight.sum()), int(weight.sum())
            )
        )
    return tuple(sorted(rows, key=lambda row: -row.cells))


# Flat pictures: few colours, each with a thread of its own as far as possible.


def _keep_apart(
    colours: Bytes,
    table: Floats,
    weights: Floats,
    owned: Sequence[Thread],
    count: int | None,
    automatic: bool,
    notes: list[str],
) -> tuple[Ints, bool]:
    """Assign a thread to each colour (U,), all apart if count and stash allow; whether proved best."""
    between = delta_e_table(_rgb(owned), _rgb(owned))
    wish = count if count is not None else (MOST_FLAT if automatic else len(owned))
    most = min(wish, len(colours), len(owned))
    pairs = delta_e_table(colours, colours)
    apart = min(LOOK_APART, float(pairs[np.triu_indices(len(colours), 1)].min(initial=LOOK_APART)))
    answer = _assign(table * weights[:, None], between, most, apart)
    if answer is None:
        answer = _assign(table * weights[:, None], between, most, 0.0)
        assert answer is not None, "any threads will do when none need to look apart"
        for a, b in itertools.combinations(sorted(set(answer.tolist())), 2):
            if between[a, b] < apart:
                notes.append(
                    f"{owned[a].name} and {owned[b].name} look nearly alike (CIEDE2000 {between[a, b]:.1f}), "
                    "and no other thread keeps these colours of the picture further apart."
                )
    for t in sorted(set(answer.tolist())):
        together = [hex_of(c) for c in colours[answer == t]]
        if len(together) > 1:
            why = "the stash has no further thread" if most == len(owned) else f"only {most} threads are used"
            notes.append(f"{', '.join(together)} all become {owned[t].name}: {why}.")
    return answer, True


def _assign(costs: Floats, between: Floats, most: int, apart: float) -> Ints | None:
    """Give each of U colours one of n threads, using exactly ``most`` threads, any two ``apart``.

    Minimises Σ costs (U, n) exactly, as a mixed-integer program: y_t = thread t is used, x_ct = colour c
    becomes t. Returns (U,) thread indices, or None if no such threads exist.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array, eye_array, hstack, kron, vstack

    u, n = costs.shape
    ones_c, ones_t = np.ones((1, u)), np.ones((1, n))
    one_each = hstack([kron(eye_array(u), ones_t), coo_array((u, n))])
    only_used = hstack([eye_array(u * n), -kron(ones_c.T, eye_array(n))])
    each_used = hstack([-kron(ones_c, eye_array(n)), eye_array(n)])
    how_many = hstack([coo_array((1, u * n)), coo_array(ones_t)])
    first, second = np.nonzero(np.triu(between < apart, 1))
    k = len(first)
    near = coo_array(
        (np.ones(2 * k), (np.tile(np.arange(k), 2), np.concatenate([first, second]))), shape=(k, n)
    )
    rules = [
        LinearConstraint(one_each, 1, 1),
        LinearConstraint(vstack([only_used, each_used]), -np.inf, 0),
        LinearConstraint(how_many, most, most),
    ]
    if k:
        rules.append(LinearConstraint(hstack([coo_array((k, u * n)), near]), -np.inf, 1))
    answer = milp(
        np.concatenate([costs.reshape(-1), np.zeros(n)]),
        integrality=np.concatenate([np.zeros(u * n), np.ones(n)]),
        bounds=Bounds(0, 1),
        constraints=rules,
        options={"mip_rel_gap": 0.0},
    )
    if answer.x is None:
        return None
    return np.asarray(answer.x[: u * n].reshape(u, n).argmax(axis=1), dtype=np.int64)


# Photos: many colours, each becomes the nearest of the threads chosen.


def _nearest(
    colours: Bytes, table: Floats, weights: Floats, count: int | None, automatic: bool
) -> tuple[Ints, bool]:
    n = table.shape[1]
    if count is None and not automatic:
        count = n
    if count is not None and count >= n:
        return np.asarray(table.argmin(axis=1), dtype=np.int64), True
    grouped, group_weights = _grouped(colours, table, weights)
    if count is None:
        count = _worthwhile(grouped, group_weights)
    chosen, exact = choose(grouped, group_weights, count)
    exact = exact and len(grouped) == len(table)
    picked = np.array(chosen, dtype=np.int64)
    return picked[table[:, picked].argmin(axis=1)], exact


def _grouped(colours: Bytes, table: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Join near colours where there are very many, so that choosing stays quick: mean rows of ``table``."""
    bits = 8
    codes = np.arange(len(colours))
    while len(np.unique(codes)) > _GROUPS:
        bits -= 1
        cut = (colours >> (8 - bits)).astype(np.int64)
        codes = (cut[:, 0] << 16) | (cut[:, 1] << 8) | cut[:, 2]
    if bits == 8:
        return table, weights
    _, group = np.unique(codes, return_inverse=True)
    total = np.bincount(group, weights).astype(np.float64)
    rows = np.zeros((len(total), table.shape[1]))
    np.add.at(rows, group, table * weights[:, None])
    return rows / total[:, None], total


def _worthwhile(table: Floats, weights: Floats) -> int:
    """The number of threads after which one more lowers the mean distance too little to be worth it."""
    most = min(MOST_PHOTO, int(table.shape[1]))
    left: list[float] = [
        _total(table, weights, choose(table, weights, k, work=0)[0]) for k in range(1, most + 1)
    ]
    for k in range(min(4, most), most):
        if left[k - 1] - left[k] < _WORTH * left[0]:
            return k
    return most


def _total(table: Floats, weights: Floats, chosen: Sequence[int]) -> float:
    return float(weights @ table[:, list(chosen)].min(axis=1))


def choose(table: Floats, weights: Floats, count: int, *, work: int = _WORK) -> tuple[tuple[int, ...], bool]:
    """Choose ``count`` columns of ``table`` (colours, threads): least Σ weights · (least of the row).

    Returns the columns, rising, and whether the search was complete (and so the choice is the best).
    """
    chosen = _interchange(table, weights, count)
    if work <= 0:
        return chosen, False
    nearest = np.bincount(table.argmin(axis=1), weights, minlength=table.shape[1])
    order = np.lexsort((weights @ table, -nearest))  # likely ones first: without them the bound is high
    place = np.argsort(order)
    search = _Search(np.ascontiguousarray(table[:, order]), weights, work)
    search.best = tuple(sorted(int(place[t]) for t in chosen))
    search.total = _total(table, weights, chosen)
    search.descend((), np.full(len(table), np.inf), 0, count)
    return tuple(sorted(int(order[t]) for t in search.best)), search.work >= 0


def _interchange(table: Floats, weights: Floats, count: int) -> tuple[int, ...]:
    """Greedy starts, each improved by the best exchange of one thread until none helps."""
    n = table.shape[1]
    singles = weights @ table
    best: tuple[int, ...] = ()
    best_total = np.inf
    for first in np.argsort(singles, kind="stable")[: min(n, 6)]:
        chosen = [int(first)]
        while len(chosen) < count:
            totals = weights @ np.minimum(table, table[:, chosen].min(axis=1)[:, None])
            totals[chosen] = np.inf
            chosen.append(int(totals.argmin()))
        total = _total(table, weights, chosen)
        while True:
            move: tuple[float, int, int] | None = None
            for i in range(count):
                others = chosen[:i] + chosen[i + 1 :]
                rest = table[:, others].min(axis=1)[:, None] if others else np.full((len(table), 1), np.inf)
                totals = weights @ np.minimum(table, rest)
                totals[chosen] = np.inf
                t = int(totals.argmin())
                if totals[t] < total - 1e-9 and (move is None or totals[t] < move[0]):
                    move = float(totals[t]), i, t
            if move is None:
                break
            total, i, t = move
            chosen[i] = t
        if total < best_total - 1e-9:
            best, best_total = tuple(sorted(chosen)), total
    return best


class _Search:
    """Branch and bound over choices of columns; a branch ends where all later columns could not save it."""

    def __init__(self, table: Floats, weights: Floats, work: int) -> None:
        self.table, self.weights, self.work = table, weights, work
        self.later = np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1]
        self.best: tuple[int, ...] = ()
        self.total = np.inf

    def descend(self, chosen: tuple[int, ...], nearest: Floats, first: int, missing: int) -> None:
        """Add ``missing`` columns from ``first`` on to those chosen, whose least of each row is given."""
        colours, n = self.table.shape
        if missing == 1:
            self.work -= colours * (n - first)
            totals = self.weights @ np.minimum(self.table[:, first:], nearest[:, None])
            t = int(totals.argmin())
            if totals[t] < self.total - 1e-9:
                self.best, self.total = (*chosen, first + t), float(totals[t])
            return
        for t in range(first, n - missing + 1):
            self.work -= 2 * colours
            if self.work < 0 or self.weights @ np.minimum(nearest, self.later[:, t]) >= self.total - 1e-9:
                return
            self.descend((*chosen, t), np.minimum(nearest, self.table[:, t]), t + 1, missing - 1)
