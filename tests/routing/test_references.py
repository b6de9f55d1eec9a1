"""The reference solvers agree with one another, so that what they say of the router counts.

``brute`` follows every routing; HiGHS (scipy) solves the mixed-integer programme; networkx solves the
two-thread flow.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.reference import brute, constraint, flow, linear
from benchmarks.reference.replay import replay
from pipeline.routing.question import Ease
from tests.routing.problems import tiny


@pytest.mark.parametrize("ease", list(Ease))
def test_the_mixed_integer_programme_finds_what_brute_force_finds(ease: Ease) -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        problem = tiny(rng, ease=ease)
        optimum = brute.optimum(problem)
        answer = linear.solve(problem)
        if not np.isfinite(optimum):
            assert answer.strands is None and answer.done
            continue
        assert answer.strands is not None and answer.swaps is not None
        assert replay(problem, answer.strands.tolist(), answer.swaps.tolist()).cost == pytest.approx(
            optimum, abs=1e-6
        )
        assert linear.solve(problem, whole=False).bound <= optimum + 1e-6


def test_two_threads_are_a_flow() -> None:
    rng = np.random.default_rng(2)
    compared = 0
    while compared < 30:
        problem = tiny(rng, threads=2)
        if problem.threads != 2 or problem.folded:
            continue
        assert flow.optimum(problem) == pytest.approx(brute.optimum(problem), abs=1e-4)
        compared += 1


def test_the_constraint_model_finds_what_brute_force_finds() -> None:
    rng = np.random.default_rng(3)
    for _ in range(8):
        problem = tiny(rng)
        optimum = brute.optimum(problem)
        answer = constraint.solve(problem, time_limit=10)
        assert answer.done
        if np.isfinite(optimum):
            assert answer.strands is not None and answer.swaps is not None
            cost = replay(problem, answer.strands.tolist(), answer.swaps.tolist()).cost
            assert cost == pytest.approx(optimum, abs=problem.network.knots / constraint.UNIT)
            assert answer.bound <= optimum + 1e-9
