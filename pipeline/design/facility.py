"""Two small problems of choice, on tables of costs alone: which columns, and which column for each row.

Choosing K columns so that the least entries of the rows sum up to least is a facility location problem
(the p-median): interchange (Teitz and Bart 1968) from several starts finds a good choice, branch and bound
then proves or betters it as far as a bounded amount of work goes. Giving each row a column with rules
between the columns is a mixed-integer program, left to HiGHS.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.colour import Floats

_WORK = 400_000_000
"""Entries compared in a search at most (a second or two); then the best so far is the answer."""
_NODES = 500
"""Nodes of the mixed-integer program's search at most; drawings need a few."""
_CROWD = 40
"""Columns among which the fewest near pairs are sought, where near pairs cannot be avoided."""


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
    search.total = total_of(table, weights, chosen)
    search.descend((), np.full(len(table), np.inf), 0, count)
    return tuple(sorted(int(order[t]) for t in search.best)), search.work >= 0


def total_of(table: Floats, weights: Floats, chosen: Sequence[int]) -> float:
    """Σ weights · (least entry of the row among the chosen columns)."""
    return float(weights @ table[:, list(chosen)].min(axis=1))


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
        total = total_of(table, weights, chosen)
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


def assign_apart(costs: Floats, between: Floats, most: int, apart: float) -> tuple[NDArray[np.int64], bool]:
    """Give each of U rows one of n columns, using exactly ``most`` columns (at most U and n).

    ``between`` (n, n) says how far columns are apart. First, as few pairs of used columns as can be are
    nearer than ``apart``; second, Σ costs (U, n) is least. Returns (U,) columns, and whether that is proved
    (else a bounded search ended). A mixed-integer program: y_t = column t is used, x_ct = row c takes
    column t, z_p = both columns of the near pair p are used.
    """
    u, n = costs.shape
    near = np.argwhere(np.triu(between < apart, 1))
    rules = _rules(u, n, near, most)
    pairs = np.concatenate([np.zeros(u * n + n), np.ones(len(near))])
    cost = np.concatenate([costs.reshape(-1), np.zeros(n + len(near))])
    found, proved = _solved(cost, u, n, [*rules, (pairs[None], -np.inf, 0.0)])
    if found is None and n > _CROWD:
        kept = _spread(costs, between, _CROWD)
        found_among, _ = assign_apart(costs[:, kept], between[np.ix_(kept, kept)], most, apart)
        return kept[found_among], False
    if found is None:  # some pair is near whatever is used
        fewest, few_proved = _solved(pairs, u, n, rules)
        assert fewest is not None, "without a limit on near pairs there is always an answer"
        found, proved = _solved(cost, u, n, [*rules, (pairs[None], -np.inf, round(fewest @ pairs))])
        found, proved = (fewest, False) if found is None else (found, proved and few_proved)
    return found[: u * n].reshape(u, n).argmax(axis=1).astype(np.int64), proved


def _spread(costs: Floats, between: Floats, count: int) -> NDArray[np.int64]:
    """Columns that stand for all: the cheapest of each row, then always the furthest from those chosen."""
    chosen = sorted({int(t) for t in costs.argmin(axis=1)})
    while len(chosen) < count:
        far = between[:, chosen].min(axis=1)
        far[chosen] = -1.0
        chosen.append(int(far.argmax()))
    return np.array(sorted(chosen), dtype=np.int64)


Rule = tuple[Any, float, float]
"""A matrix, and the least and greatest value of each of its rows times the unknowns."""


def _rules(u: int, n: int, near: NDArray[np.int64], most: int) -> list[Rule]:
    from scipy.sparse import coo_array, eye_array, hstack, kron

    k = len(near)
    pairs, columns = np.repeat(np.arange(k), 2), near.reshape(-1)
    both = coo_array((np.ones(2 * k), (pairs, columns)), shape=(k, n))
    each, some = np.ones((1, n)), np.ones((1, u))
    return [
        (hstack([kron(eye_array(u), each), coo_array((u, n + k))]), 1, 1),  # a column for each row
        (hstack([eye_array(u * n), -kron(some.T, eye_array(n)), coo_array((u * n, k))]), -np.inf, 0),
        (hstack([-kron(some, eye_array(n)), eye_array(n), coo_array((n, k))]), -np.inf, 0),  # none idle
        (hstack([coo_array((1, u * n)), coo_array(each), coo_array((1, k))]), most, most),
        (hstack([coo_array((k, u * n)), both, -eye_array(k)]), -np.inf, 1),
    ]


def _solved(objective: Floats, u: int, n: int, rules: Sequence[Rule]) -> tuple[Floats | None, bool]:
    from scipy.optimize import Bounds, LinearConstraint, milp

    whole = np.zeros(len(objective))
    whole[u * n : u * n + n] = 1
    answer = milp(
        objective,
        integrality=whole,
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(*rule) for rule in rules if rule[0].shape[0]],
        options={"mip_rel_gap": 0.0, "node_limit": _NODES},
    )
    return answer.x, answer.status == 0
