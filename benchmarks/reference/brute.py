"""The optimum by following every starting order through every swap. For tiny bands only."""

from __future__ import annotations

from itertools import product

import numpy as np

from pipeline.routing.question import Question


def optimum(problem: Question) -> float:
    """Least colour error of any routing that the problem allows, or infinity where it allows none."""
    best = np.inf
    for start in product(range(problem.threads), repeat=problem.network.strands):
        if _legal(problem, start):
            best = min(best, _follow(problem, start))
    return float(best)


def _legal(problem: Question, start: tuple[int, ...]) -> bool:
    return (
        all(pin is None or pin == thread for pin, thread in zip(problem.start, start, strict=True))
        and all(most is None or start.count(t) <= most for t, most in enumerate(problem.at_most))
        and all(start[a] == start[b] for a, b in problem.folded)
    )


def _follow(problem: Question, start: tuple[int, ...]) -> float:
    """Least cost from one starting order: every reachable order of threads with its least cost so far."""
    reached = {(start, 0): 0.0}
    knot = 0
    for row, allowed in zip(problem.network.rows, problem.allowance, strict=True):
        for place, position in enumerate(row.positions):
            counts = row.worked == "rows" and 0 < place < len(row.positions) - 1
            after: dict[tuple[tuple[int, ...], int], float] = {}
            for (order, handed), cost in reached.items():
                left, right = order[position], order[position + 1]
                total = cost + min(problem.costs[knot, left], problem.costs[knot, right])
                swapped = (*order[:position], right, left, *order[position + 2 :])
                for now, so_far in ((swapped, handed), (order, handed + (counts and left != right))):
                    if so_far <= allowed and total < after.get((now, so_far), np.inf):
                        after[now, so_far] = total
            reached = after
            knot += 1
        at_row_end: dict[tuple[tuple[int, ...], int], float] = {}
        for (order, _), cost in reached.items():
            at_row_end[order, 0] = min(cost, at_row_end.get((order, 0), np.inf))
        reached = at_row_end
    ends = (cost for (order, _), cost in reached.items() if not problem.closed or order == start)
    return min(ends, default=np.inf)
