"""Routing as a mixed-integer linear programme, solved by HiGHS through scipy.

x[e, t]: edge e carries thread t, y[v, t]: knot v shows thread t. Each edge carries one thread, a knot
conserves the threads that pass it and shows one of them. The whole-numbered programme is the problem
itself; without whole numbers (LP) its value is a lower bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from benchmarks.reference.replay import swaps_of
from pipeline.routing.question import ANY, Question


@dataclass(frozen=True, slots=True)
class Answer:
    """A solver's routing (None where it found none) and its own bound."""

    strands: np.ndarray | None
    swaps: np.ndarray | None
    bound: float
    done: bool
    """Whether the solver says that this is the optimum."""


class _Rows:
    """Collects the rows of a sparse constraint matrix."""

    def __init__(self) -> None:
        self.entries: list[tuple[int, int, float]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, terms: list[tuple[int, float]], low: float, high: float) -> None:
        self.entries += [(len(self.low), column, value) for column, value in terms]
        self.low.append(low)
        self.high.append(high)

    def constraint(self, columns: int) -> LinearConstraint:
        row, column, value = (np.array(part) for part in zip(*self.entries, strict=True))
        return LinearConstraint(
            coo_array((value, (row, column)), shape=(len(self.low), columns)).tocsr(), self.low, self.high
        )


def solve(problem: Question, *, whole: bool = True, time_limit: float | None = None) -> Answer:
    """Solve the programme; ``whole=False`` gives the LP bound alone. ``time_limit`` in seconds."""
    network, k = problem.network, problem.threads
    edges, knots = network.edges, network.knots
    shown_from = edges * k
    handed_from = shown_from + knots * k
    columns = handed_from + (knots if 1 in problem.allowance else 0)
    rows = _Rows()
    for edge in range(edges):
        rows.add([(edge * k + t, 1.0) for t in range(k)], 1, 1)
    for knot in range(knots):
        (a, b), (c, d) = network.into[knot].tolist(), network.out[knot].tolist()
        shown = shown_from + knot * k
        rows.add([(shown + t, 1.0) for t in range(k)], 1, 1)
        for t in range(k):
            rows.add([(shown + t, 1.0), (a * k + t, -1.0), (b * k + t, -1.0)], -np.inf, 0)
            rows.add([(a * k + t, 1.0), (b * k + t, 1.0), (c * k + t, -1.0), (d * k + t, -1.0)], 0, 0)
    _ease(problem, rows, handed_from)
    for t, most in enumerate(problem.at_most):
        if most is not None:
            rows.add([(strand * k + t, 1.0) for strand in range(network.strands)], 0, most)
    for a, b in problem.folded:
        for t in range(k):
            rows.add([(a * k + t, 1.0), (b * k + t, -1.0)], 0, 0)
    low, high = np.zeros(columns), np.ones(columns)
    for strand, pin in enumerate(problem.start):
        if pin is not None:
            low[strand * k + pin] = 1
    cost = np.zeros(columns)
    cost[shown_from:handed_from] = problem.costs.ravel()
    integrality = np.zeros(columns)
    if whole:
        integrality[:shown_from] = 1
        integrality[handed_from:] = 1
    options = {"mip_rel_gap": 0.0} | ({} if time_limit is None else {"time_limit": time_limit})
    found = milp(
        cost,
        integrality=integrality,
        bounds=Bounds(low, high),
        constraints=rows.constraint(columns),
        options=options,
    )
    if not whole:
        return Answer(None, None, float(found.fun) if found.status == 0 else 0.0, found.status == 0)
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else 0.0
    bound = max(0.0, float(bound)) if np.isfinite(bound) else 0.0
    if found.x is None:
        return Answer(None, None, np.inf if found.status == 2 else bound, found.status == 2)
    labels = found.x[:shown_from].reshape(edges, k).argmax(axis=1)
    return Answer(labels[: network.strands], swaps_of(problem, labels), bound, found.status == 0)


def _ease(problem: Question, rows: _Rows, handed_from: int) -> None:
    """In mid-row different threads swap, but for as many knots as the row's allowance."""
    network, k = problem.network, problem.threads
    for index, row in enumerate(network.rows):
        allowance = problem.allowance[index]
        if row.worked != "rows" or allowance == ANY:
            continue
        knots = network.knots_of_row(index)
        inside = range(knots.start + 1, knots.stop - 1)
        for knot in inside:
            (a, b), (c, d) = network.into[knot].tolist(), network.out[knot].tolist()
            for t in range(k):
                for enters, leaves in ((a, d), (b, c)):
                    if allowance == 0:
                        rows.add([(enters * k + t, 1.0), (leaves * k + t, -1.0)], 0, 0)
                    else:
                        terms = [(enters * k + t, 1.0), (leaves * k + t, -1.0), (handed_from + knot, -1.0)]
                        rows.add(terms, -np.inf, 0)
        if allowance == 1 and len(inside) > 1:
            rows.add([(handed_from + knot, 1.0) for knot in inside], 0, 1)
