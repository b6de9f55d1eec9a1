"""The solvers that the benchmark compares, each as problem in, routing and bound out."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.routing.question import Budget, Ease, Question


@dataclass(frozen=True, slots=True)
class Result:
    """``cost`` is what the replay says where there is a routing, else what the solver says, or None."""

    cost: float | None
    bound: float
    hand_overs: int | None = None
    strands: np.ndarray | None = None
    swaps: np.ndarray | None = None
    replayed: bool = False


Solver = Callable[[Question, float], Result]
"""Takes a problem and an allowance: effort for our router at an effort, else a time limit in seconds."""


def _replayed(problem: Question, strands: np.ndarray, swaps: np.ndarray, bound: float) -> Result:
    from benchmarks.reference.replay import replay

    seen = replay(problem, strands.tolist(), swaps.tolist())
    return Result(seen.cost, bound, seen.hand_overs, strands, swaps, True)


def _ours(problem: Question, budget: Budget) -> Result:
    from pipeline.routing import route

    found = route(problem, budget)
    return _replayed(problem, found.strands, found.swaps, found.lower_bound)


def ours(problem: Question, effort: float) -> Result:
    """Our router, full ease."""
    return _ours(problem, Budget(effort=effort))


def ours_long(problem: Question, limit: float) -> Result:
    """Our router with as much effort as it takes about the limit to spend, at 10 s an effort of 1."""
    return _ours(problem, Budget(effort=limit / 10, deadline=time.monotonic() + limit))


def ours_light(problem: Question, effort: float) -> Result:
    """Our router, at most one hand-over in mid-row."""
    return _ours(problem.eased(Ease.LIGHT), Budget(effort=effort))


def ours_plain(problem: Question, effort: float) -> Result:
    """Our router, no hand-over in mid-row."""
    return _ours(problem.eased(Ease.PLAIN), Budget(effort=effort))


def by_hand(problem: Question, limit: float) -> Result:
    """The baseline of somebody who plans without a router."""
    from benchmarks.reference.hand import by_hand as cost

    return Result(cost(problem), 0.0)


def cp_sat(problem: Question, limit: float) -> Result:
    """CP-SAT with one worker."""
    from benchmarks.reference import constraint

    answer = constraint.solve(problem, time_limit=limit)
    if answer.strands is None or answer.swaps is None:
        return Result(None, answer.bound)
    return _replayed(problem, answer.strands, answer.swaps, answer.bound)


def highs(problem: Question, limit: float) -> Result:
    """HiGHS on the mixed-integer programme."""
    from benchmarks.reference import linear

    answer = linear.solve(problem, time_limit=limit)
    if answer.strands is None or answer.swaps is None:
        return Result(None, answer.bound)
    return _replayed(problem, answer.strands, answer.swaps, answer.bound)


def networkx(problem: Question, limit: float) -> Result:
    """The network simplex of networkx, for two threads; it has no time limit."""
    from benchmarks.reference import flow

    cost = flow.optimum(problem)
    return Result(cost, cost)


SOLVERS: dict[str, Solver] = {
    "ours": ours,
    "ours-long": ours_long,
    "ours-light": ours_light,
    "ours-plain": ours_plain,
    "by-hand": by_hand,
    "cp-sat": cp_sat,
    "highs": highs,
    "networkx": networkx,
}
BY_EFFORT = ("ours", "ours-light", "ours-plain")
"""Solvers that count work."""
UNLIMITED = ("by-hand", "networkx")
"""Solvers that take no allowance."""
ROWS_ONLY = ("ours-light", "ours-plain")
"""Ease does not bind diagonal-worked rows."""
TWO_ONLY = ("networkx",)
"""Solvers of two threads."""
