"""Parting a band: both parts routed by themselves, and the strands sorted in between.

More than n diagonal rows in one place are never useful: n alternating rows reach every order of n strands
(odd-even transposition; Habermann 1972; Knuth, The Art of Computer Programming 3, section 5.3.4).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import row_positions
from pipeline.band.network import RowPlan, network
from pipeline.routing.board import solution
from pipeline.routing.lengthening import Band
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.route import route
from pipeline.routing.settle import labels_of


def parted(band: Band, gap: int, most: int, budget: Budget) -> Band | None:
    """Part the band before row ``gap``, route both parts by themselves, and sort between them.

    The lower part may begin in any order of the threads that the upper one ends with. Up to ``most``
    diagonal rows take it there; if they do not suffice, the lower part begins as near as they lead.
    """
    net = band.problem.network
    n, k = net.strands, band.problem.threads
    at = int(np.searchsorted(net.row, gap))
    allowance = band.problem.allowance
    upper = replace(
        band.problem,
        network=network(n, net.rows[:gap]),
        costs=band.problem.costs[:at],
        allowance=allowance[:gap],
    )
    over = _better(route(upper, budget), upper, band.strands, band.swaps[:at])
    ending = labels_of(upper.network, over)[upper.network.last]
    counts = np.bincount(ending, minlength=k)
    lower = Question(
        network(n, net.rows[gap:]),
        band.problem.costs[at:],
        (None,) * n,
        tuple(int(count) for count in counts),
        allowance=allowance[gap:],
    )
    under = route(lower, budget)
    rows, swaps, reached = sorting_rows(ending, under.strands, most)
    if (reached != under.strands).any():
        pinned = replace(lower, start=tuple(int(t) for t in reached))
        under = route(pinned, budget)
    if over.cost + under.cost >= band.error - 1e-6:
        return None
    costs = [band.problem.costs[:at], np.zeros((len(swaps), k)), band.problem.costs[at:]]
    wanted = [band.wanted[:at], np.full(len(swaps), -1), band.wanted[at:]]
    whole = band.rebuilt(
        (*net.rows[:gap], *rows, *net.rows[gap:]),
        np.concatenate(costs),
        np.concatenate(wanted),
        np.concatenate([over.swaps, swaps, under.swaps]),
        (*allowance[:gap], *(allowance[gap],) * len(rows), *allowance[gap:]),
    )
    return replace(whole, strands=over.strands, error=over.cost + under.cost)


def _better(found: Routed, problem: Question, strands: NDArray[np.int64], swaps: NDArray[np.bool_]) -> Routed:
    """The routes at hand, if they cost less than those found anew."""
    labels = labels_of(problem.network, Routed(strands, swaps, 0.0, 0.0))
    present = solution(problem, labels, 0.0)
    return present if present.cost <= found.cost else found


def sorting_rows(
    have: NDArray[np.integer], want: NDArray[np.integer], most: int
) -> tuple[list[RowPlan], NDArray[np.bool_], NDArray[np.int64]]:
    """Diagonal rows, at most ``most``, that lead from one order of threads towards another.

    Strands of one thread keep their order; odd-even transposition does the rest. Returns the rows, their
    swaps, and the order reached.
    """
    n = len(have)
    aim = np.empty(n, np.int64)
    for thread in np.unique(have):
        aim[np.flatnonzero(have == thread)] = np.flatnonzero(want == thread)
    best: tuple[int, list[RowPlan], list[bool], NDArray[np.int64]] | None = None
    for parity in (0, 1):
        now = aim.copy()
        rows: list[RowPlan] = []
        swaps: list[bool] = []
        while len(rows) < most and (np.diff(now) < 0).any():
            positions = row_positions(n, parity + len(rows), "diagonal")
            rows.append(RowPlan("diagonal", positions))
            for p in positions:
                swap = bool(now[p] > now[p + 1])
                swaps.append(swap)
                if swap:
                    now[p], now[p + 1] = now[p + 1], now[p]
        left = int((np.diff(now) < 0).sum())
        if best is None or (left, len(rows)) < (int((np.diff(best[3]) < 0).sum()), len(best[1])):
            best = (left, rows, swaps, now)
    assert best is not None
    return best[1], np.array(best[2], dtype=bool), np.asarray(want, np.int64)[best[3]]
