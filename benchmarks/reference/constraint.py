"""Routing as a CP-SAT model (ortools): the same unknowns as the linear programme, whole costs."""

from __future__ import annotations

import numpy as np
from ortools.sat.python import cp_model

from benchmarks.reference.linear import Answer
from benchmarks.reference.replay import swaps_of
from pipeline.routing.question import ANY, Question

UNIT = 1000
"""CP-SAT wants integers: thousandths of a ΔE."""


def solve(problem: Question, *, time_limit: float, seed: int = 0) -> Answer:
    """Search with one worker for ``time_limit`` seconds. Only where every allowance is ``ANY``."""
    assert set(problem.allowance) <= {ANY}
    network, k = problem.network, problem.threads
    whole = np.rint(problem.costs * UNIT).astype(np.int64)
    model = cp_model.CpModel()
    carried = [[model.new_bool_var("") for _ in range(k)] for _ in range(network.edges)]
    shown = [[model.new_bool_var("") for _ in range(k)] for _ in range(network.knots)]
    for literals in (*carried, *shown):
        model.add_exactly_one(literals)
    for knot in range(network.knots):
        (a, b), (c, d) = network.into[knot].tolist(), network.out[knot].tolist()
        for t in range(k):
            model.add_bool_or([shown[knot][t].negated(), carried[a][t], carried[b][t]])
            model.add(carried[a][t] + carried[b][t] == carried[c][t] + carried[d][t])
    for t, most in enumerate(problem.at_most):
        if most is not None:
            model.add(sum(carried[strand][t] for strand in range(network.strands)) <= most)
    for strand, pin in enumerate(problem.start):
        if pin is not None:
            model.add(carried[strand][pin] == 1)
    for one, other in problem.folded:
        for t in range(k):
            model.add(carried[one][t] == carried[other][t])
    model.minimize(
        sum(
            int(whole[knot, t]) * shown[knot][t]
            for knot in range(network.knots)
            for t in range(k)
            if whole[knot, t]
        )
    )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_time_in_seconds = time_limit
    status = solver.solve(model)
    rounding = 0.5 * network.knots / UNIT
    bound = max(0.0, solver.best_objective_bound / UNIT - rounding)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Answer(None, None, bound, status == cp_model.INFEASIBLE)
    labels = np.array([[solver.boolean_value(literal) for literal in edge] for edge in carried]).argmax(
        axis=1
    )
    return Answer(labels[: network.strands], swaps_of(problem, labels), bound, status == cp_model.OPTIMAL)
