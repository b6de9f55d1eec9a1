"""The beam that looks ahead over strips: its tables against their bound, its answers against brute force."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.instances import hills
from benchmarks.instances import problem as of_case
from benchmarks.reference.brute import optimum
from pipeline.errors import ImpossibleError
from pipeline.routing import Budget, Ease
from pipeline.routing.beam import beam
from pipeline.routing.board import board, colour_error, faults, used
from pipeline.routing.bound import strip_bound
from pipeline.routing.lookahead import Ahead, look_ahead
from pipeline.routing.loops.beams import state
from pipeline.routing.meter import Meter
from pipeline.routing.question import Question, require_possible
from pipeline.routing.starts import Guide
from tests.routing.problems import tiny


def never() -> bool:
    return False


def least(ahead: Ahead) -> float:
    """Cost to go of all strips where no strand has a thread yet."""
    nobody = np.full(int((ahead.low + ahead.wide).max()), -1, np.int8)
    begins = [ahead.first[s] + state(ahead, s, nobody) for s in range(len(ahead.low))]
    return float(sum(ahead.cost[at] for at in begins))


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_the_tables_begin_with_the_bound_of_the_strips(worked: str) -> None:
    laid = board(of_case(hills(14, 8, 4), "rows" if worked == "rows" else "diagonal"))
    priced = strip_bound(laid, 2e7, never)
    assert priced.bound > 0
    assert len(np.unique(priced.owner)) > 1
    ahead = look_ahead(laid, laid.cost, priced.prices, priced.owner, priced.toll)
    assert least(ahead) == pytest.approx(priced.bound, rel=1e-5)


def possible(problem: Question) -> bool:
    try:
        require_possible(problem)
    except ImpossibleError:
        return False
    return True


@pytest.mark.parametrize("ease", [Ease.FULL, Ease.LIGHT])
def test_a_beam_that_forgets_nothing_finds_the_best(ease: Ease) -> None:
    rng = np.random.default_rng(31)
    seen = 0
    while seen < 60:
        # folded pairs are left out: which two strands are a pair is not part of what a beam remembers
        problem = replace(tiny(rng, ease=ease, mixed=bool(rng.integers(2))), folded=())
        if not problem.network.knots or not possible(problem):
            continue
        laid = board(problem)
        priced = strip_bound(laid, 1e5, never)
        prices = priced.prices * rng.uniform(0.5, 2)  # must not matter to a beam that keeps every frontier
        ahead = look_ahead(laid, laid.cost, prices, priced.owner, priced.toll)
        labels = beam(laid, laid.cost, prices, 20_000, never, problem.threads, ahead)
        assert labels is not None
        assert not faults(laid, labels)
        assert colour_error(laid, labels) == pytest.approx(optimum(problem))
        seen += 1


@pytest.mark.parametrize("ease", [Ease.FULL, Ease.LIGHT])
def test_a_guide_keeps_to_the_bounds_of_the_maker(ease: Ease) -> None:
    problem = of_case(hills(12, 9, 4), "rows", ease)
    limited = replace(problem, at_most=(2, None, 4, 3))
    pinned = replace(problem, start=(0, None, 1, *(None,) * 7), folded=((3, 9),))
    for posed in (problem, limited, pinned):
        laid = board(posed)
        guide = Guide(posed, strip_bound(laid, 1e7, never), Meter(Budget(), laid.knots), 0)
        drawn, best = 0, np.zeros(len(laid.ends), np.int8)
        for _ in range(10):
            labels = guide.draw(best)
            if labels is not None:
                assert not faults(laid, labels)
                drawn, best = drawn + 1, labels
        assert drawn >= 4
        assert used(laid, best).sum() == laid.strands
