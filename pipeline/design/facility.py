"""Which columns of a table of costs to use, so that the least entries of its rows sum up to least.

Choosing K columns is a facility location problem (the p-median): interchange (Teitz and Bart 1968) from
several starts finds a good choice, branch and bound then proves or betters it as far as a bounded amount of
work goes. A general solver would be a second way to say the same, and slower on these tables.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.colour import Floats

_WORK = 400_000_000
"""Entries compared in a search at most (a second or two); then the best so far is the answer."""


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
