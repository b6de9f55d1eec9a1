"""One hand-over a row: a beam over the rows of a band of light ease.

In a run of row-worked rows, light ease is plain (``turns``, ``columns``) with one more move: once a row, in
mid-row, the leader may park in a column and the base that hung there leads on. So the state between two
rows is the base of each column and the three strands that take turns. The beam follows the best states row
by row. It ranks them by cost so far plus what the rest would cost if the leaders and the bases went on as in
the band at hand, discounted, for the future can still be changed. A band can be tied from its end as well
as from its start, so the search goes to and fro, each time with the start left free that was the end before.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Labels
from pipeline.routing.meter import Meter
from pipeline.routing.problem import Ease, Problem
from pipeline.routing.settle import relabel
from pipeline.routing.stretches import Stretch, costs_of, stretches
from pipeline.routing.turns import Floats, Ints

WIDTH = 100
"""States kept after each row."""
DISCOUNTS = (0.8, 0.9, 0.7, 0.95)
PATIENCE = 16
"""Beams without gain after which the search ends."""
WORK_PER_CELL = 90.0
"""Units of work of a beam for each state, thread and cell."""
NONE = -1


class Row(NamedTuple):
    """A row's leader at its start and at its end, and the column of the base that takes over, or NONE."""

    first: int
    column: int
    last: int


class Band(NamedTuple):
    """A light band seen from the edge where row 0 starts."""

    costs: Floats
    """(rows, strands−1, threads)."""
    order: Ints
    """(strands,) thread at each position before row 0."""
    rows: tuple[Row, ...]


def improve_light(problem: Problem, labels: Labels, meter: Meter, seed: int = 0) -> Labels:
    """Return labels of less colour error, or ``labels`` where none are found.

    ``labels``: a legal routing of light ease. Only bands of one run of row-worked rows are improved. Pinned
    and folded starts stay as they are; the number of strands of each thread never changes.
    """
    runs = list(stretches(problem.network))
    whole = len(runs) == 1 and len(runs[0].rows) == len(problem.network.rows)
    if problem.ease is not Ease.LIGHT or not whole or problem.network.strands < 4:
        return labels
    held = bool(problem.folded) or any(pin is not None for pin in problem.start)
    band = read_band(problem, runs[0], labels)
    begun = best = error(band)
    random = np.random.default_rng(seed)
    turned, idle, number = False, 0, 0
    while idle < PATIENCE and not meter.over():
        quiet = number < 2 * len(DISCOUNTS)
        discount = DISCOUNTS[number // 2 % len(DISCOUNTS)]
        noise = 0.0 if quiet else float(random.choice((0.0, 0.3, 0.6)))
        costs = band.costs * np.exp(noise * random.standard_normal(band.costs.shape)) if noise else band.costs
        tried = band._replace(rows=_beam(band._replace(costs=costs), discount))
        meter.spend(WORK_PER_CELL * WIDTH * band.costs.size)
        now = error(tried)
        idle += 1
        number += 1
        if now < best - 1e-9 * max(1.0, best):
            band, best, idle = tried, now, 0
        if not held:
            band, turned = reverse(band), not turned
    if best >= begun - 1e-9 * max(1.0, begun):
        return labels
    return write_band(problem, runs[0], reverse(band) if turned else band)


def follow(band: Band) -> tuple[Ints, Ints, Ints]:
    """Tie a band: (rows, columns) leader and base that meet in each knot, and the order after the last row.

    In an edge column the base is the parked strand.
    """
    order = band.order.copy()
    leaders = np.empty(band.costs.shape[:2], dtype=np.int64)
    bases = np.empty_like(leaders)
    last = len(order) - 1
    for number, row in enumerate(band.rows):
        step = 1 if number % 2 == 0 else -1
        here, edge = (0, last) if step == 1 else (last, 0)
        if order[here] != row.first:
            order[[here, here + step]] = order[[here + step, here]]
        for column in range(last)[::step]:
            at = column if step == 1 else column + 1
            leaders[number, column], bases[number, column] = order[at], order[at + step]
            if column != row.column or at + step == edge:
                order[[at, at + step]] = order[[at + step, at]]
    return leaders, bases, order


def error(band: Band) -> float:
    """Colour error of a band."""
    leaders, bases, _ = follow(band)
    knots = np.arange(leaders.size)
    costs = band.costs.reshape(leaders.size, -1)
    return float(np.minimum(costs[knots, leaders.ravel()], costs[knots, bases.ravel()]).sum())


def reverse(band: Band) -> Band:
    """The band tied from its end: seen from the edge where the last row ends."""
    _, _, order = follow(band)
    columns = band.costs.shape[1]
    rows = [Row(row.last, row.column, row.first) for row in reversed(band.rows)]
    if len(rows) % 2 == 0:
        return Band(band.costs[::-1], order, tuple(rows))
    mirrored = [row._replace(column=columns - 1 - row.column if row.column != NONE else NONE) for row in rows]
    return Band(band.costs[::-1, ::-1], order[::-1].copy(), tuple(mirrored))


def read_band(problem: Problem, stretch: Stretch, labels: Labels) -> Band:
    """The band that (edges,) labels describe."""
    network = problem.network
    rows = []
    for number in stretch.rows:
        knots = network.knots_of_row(number)
        onward = int(network.position[knots.start] == 0)
        leads = labels[network.out[knots, onward]]
        inside = leads[:-1]
        changes = np.flatnonzero(inside[1:] != inside[:-1]) + 1
        column = int(network.position[knots.start + changes[0]]) if len(changes) else NONE
        if stretch.falling and column != NONE:
            column = network.strands - 2 - column
        rows.append(Row(int(leads[0]), column, int(inside[-1] if len(inside) else leads[0])))
    order = stretch.seen(labels[: network.strands].astype(np.int64))
    return Band(costs_of(problem, stretch), order, tuple(rows))


def write_band(problem: Problem, stretch: Stretch, band: Band) -> Labels:
    """(edges,) labels of a band."""
    network = problem.network
    swaps = np.ones(network.knots, dtype=bool)
    order = stretch.seen(band.order)
    strands = order.copy()
    for number, row in zip(stretch.rows, band.rows, strict=True):
        knots = network.knots_of_row(number)
        edge = 0 if network.position[knots.start] == 0 else network.strands - 1
        swaps[knots.start] = order[edge] == row.first
        for knot in range(knots.start, knots.stop):
            at = int(network.position[knot])
            column = network.strands - 2 - at if stretch.falling else at
            if column == row.column and knot > knots.start:
                swaps[knot] = order[at] == order[at + 1]
            if swaps[knot]:
                order[[at, at + 1]] = order[[at + 1, at]]
    return relabel(network, strands, swaps)


class _Future(NamedTuple):
    """What the rest of the band costs, discounted."""

    turning: Floats
    """(rows+1, k, k, k) from a row on, by (leader, parked near, parked far), with the bases of the band."""
    bases: Floats
    """(rows+1, bases, k) more for another base in a column from a row on, with the leaders of the band."""


def _turned(values: Floats, row: int) -> Floats:
    """The lesser of going on or changing places at the edge where ``row`` starts."""
    other = values.transpose(1, 0, 2) if row % 2 == 0 else values.transpose(2, 1, 0)
    lesser: Floats = np.minimum(values, other)
    return lesser


def _future(band: Band, discount: float) -> _Future:
    leaders, bases, _ = follow(band)
    count, columns, k = band.costs.shape
    inner, led, own = band.costs[:, 1:-1], leaders[:, 1:-1, None], bases[:, 1:-1, None]
    led_cost, own_cost = np.take_along_axis(inner, led, 2), np.take_along_axis(inner, own, 2)
    by_leader = np.minimum(inner, own_cost).sum(axis=1)
    by_base = np.minimum(inner, led_cost)
    as_is = np.minimum(led_cost, own_cost).sum(axis=(1, 2))
    near, far = (np.minimum(band.costs[:, e, :, None], band.costs[:, e, None, :]) for e in (0, -1))
    more = np.zeros((count + 1, columns - 2, k))
    turning = np.zeros((count + 1, k, k, k))
    for row in range(count - 1, -1, -1):
        more[row] = by_base[row] + discount * more[row + 1]
    more[:-1] -= np.take_along_axis(more[:-1], own, 2)
    for row in range(count - 1, -1, -1):
        after = discount * (_turned(turning[row + 1], row + 1) if row + 1 < count else turning[row + 1])
        first, column, last = band.rows[row]
        turning[row] = by_leader[row][:, None, None] + near[row][:, :, None] + far[row][:, None, :] + after
        if column != NONE:
            turning[row] += discount * max(0.0, more[row + 1, column - 1, last])
            starts, ends = (near, far) if row % 2 == 0 else (far, near)
            edges = [starts[row][first], ends[row][last]]
            at_near, at_far = edges if row % 2 == 0 else edges[::-1]
            handed = as_is[row] + at_near[:, None] + at_far[None, :] + after[last]
            turning[row, first] = np.minimum(turning[row, first], handed)
    return _Future(turning, more)


def _beam(band: Band, discount: float) -> tuple[Row, ...]:
    """The rows of the best band found from the same start."""
    costs, future = band.costs, _future(band, discount)
    count, columns, _ = costs.shape
    inner = np.arange(columns - 2)
    zeroth, second, *hung, last = band.order.tolist()
    lead, near, far = np.array([zeroth, second]), np.array([second, zeroth]), np.array([last, last])
    bases, spent = np.array([hung, hung], dtype=np.int64).reshape(2, -1), np.zeros(2)
    trail = []
    for row in range(count):
        parent = np.arange(len(spent))
        if row:  # the leader may change at the edge where the row starts
            other = (near, lead, far) if row % 2 == 0 else (far, near, lead)
            change = np.flatnonzero(other[0] != lead)
            parent = np.concatenate([parent, change])
            lead, near, far = (
                np.concatenate([a, b[change]]) for a, b in zip((lead, near, far), other, strict=True)
            )
        states = np.arange(len(parent))
        step = 1 if row % 2 == 0 else -1
        met = bases[parent][:, ::step]
        here = costs[row][::step]
        own = here[inner + 1, met]
        along = np.cumsum(np.minimum(here[1:-1].T[None], own[:, None, :]), axis=2)
        total = along[:, :, -1]
        rest = total[states[:, None], met] - along[states[:, None], met, inner]
        ways = np.concatenate([total[states, lead][:, None], along[states, lead] + rest], axis=1)
        leads = np.concatenate([lead[:, None], met], axis=1)
        start, end = (near, far) if step == 1 else (far, near)
        at_edges = np.minimum(here[0, lead], here[0, start])[:, None]
        at_edges = at_edges + np.minimum(here[-1, leads], here[-1, end][:, None])
        reached = spent[parent][:, None] + ways + at_edges
        ahead = future.turning[row + 1]
        ahead = _turned(ahead, row + 1) if row + 1 < count else ahead
        more = future.bases[row + 1][::step]
        hanging = more[inner, met]
        kept = hanging.sum(axis=1)[:, None]
        parked = np.concatenate([kept, kept + more[inner, lead[:, None]] - hanging], axis=1)
        rank = reached + discount * (ahead[leads, near[:, None], far[:, None]] + parked)
        rank[:, 1:][met == lead[:, None]] = np.inf
        chosen = _least(rank.ravel(), 3 * WIDTH)
        state, way = np.divmod(chosen, columns - 1)
        column = np.where(way == 0, NONE, way if step == 1 else columns - 1 - way)
        after = bases[parent[state]]
        handed = np.flatnonzero(way)
        after[handed, column[handed] - 1] = lead[state[handed]]
        now = leads[state, way]
        keys = np.column_stack([after, now, near[state], far[state]])
        different = np.sort(np.unique(keys, axis=0, return_index=True)[1])[:WIDTH]
        state, way, column, now = state[different], way[different], column[different], now[different]
        trail.append((parent[state], lead[state], column, now))
        bases, spent = after[different], reached[state, way]
        lead, near, far = now, near[state], far[state]
    rows, at = [], int(spent.argmin())
    for parents, first, column, final in reversed(trail):
        rows.append(Row(int(first[at]), int(column[at]), int(final[at])))
        at = parents[at]
    return tuple(reversed(rows))


def _least(rank: Floats, count: int) -> NDArray[np.int64]:
    """Indices of the ``count`` smallest finite values, rising, the earlier of equals first."""
    count = min(count, len(rank))
    least = np.sort(np.argpartition(rank, count - 1)[:count])
    least = least[np.argsort(rank[least], kind="stable")]
    return least[np.isfinite(rank[least])].astype(np.int64)
