"""What a maker would do without a router: the benchmark's baseline, not always a band that can be tied."""

from __future__ import annotations

import numpy as np

from pipeline.routing.question import Question


def by_hand(problem: Question) -> float:
    """Colour error of the baseline.

    Row work: the best base thread for each column and one leader thread for all rows. Diagonal work: every
    knot swaps, and each strand has the best thread (to a local optimum, from each single thread).
    """
    rows = problem.network.rows
    if all(row.worked == "rows" for row in rows):
        return _one_leader(problem)
    return _all_swap(problem)


def _one_leader(problem: Question) -> float:
    costs = problem.costs
    best = np.inf
    for leader in range(problem.threads):
        cells = np.minimum(costs, costs[:, [leader]])
        columns = np.zeros((problem.network.strands - 1, problem.threads))
        np.add.at(columns, problem.network.position, cells)
        best = min(best, float(columns.min(axis=1).sum()))
    return best


def _all_swap(problem: Question) -> float:
    network = problem.network
    order = np.arange(network.strands)
    met = np.empty((network.knots, 2), dtype=np.int64)
    for knot, position in enumerate(network.position.tolist()):
        met[knot] = order[position : position + 2]
        order[[position, position + 1]] = order[[position + 1, position]]
    here = [np.flatnonzero((met == strand).any(axis=1)) for strand in range(network.strands)]
    best = np.inf
    for first in range(problem.threads):
        threads = np.full(network.strands, first)
        cost = np.inf
        while True:
            for strand, knots in enumerate(here):
                other = threads[np.where(met[knots, 0] == strand, met[knots, 1], met[knots, 0])]
                shown = np.minimum(problem.costs[knots], problem.costs[knots, other][:, None])
                threads[strand] = shown.sum(axis=0).argmin()
            sides = threads[met]
            knots = np.arange(network.knots)
            now = float(
                np.minimum(problem.costs[knots, sides[:, 0]], problem.costs[knots, sides[:, 1]]).sum()
            )
            if now >= cost:
                break
            cost = now
        best = min(best, cost)
    return best
