"""``route`` against brute force, HiGHS, networkx and pictures that two threads always show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sklearn.datasets import load_digits

from benchmarks.instances import hills
from benchmarks.instances import problem as of_case
from benchmarks.reference import brute, flow, linear
from benchmarks.reference.replay import replay
from pipeline.errors import ImpossibleError
from pipeline.routing import route
from pipeline.routing.question import Budget, Ease, Question, Routed
from tests.routing.problems import mirrored, picture, tiny

QUICK = Budget(effort=0.3)


def _routed(problem: Question, budget: Budget = QUICK) -> Routed:
    """Route, and tie what comes back: the cost must be true and every rule kept."""
    found = route(problem, budget)
    seen = replay(problem, found.strands.tolist(), found.swaps.tolist())
    assert seen.cost == pytest.approx(found.cost, abs=1e-9)
    assert seen.hand_overs == found.hand_overs
    return found


@pytest.mark.parametrize("ease", list(Ease))
def test_route_finds_the_optimum_of_tiny_bands_and_never_bounds_above_it(ease: Ease) -> None:
    rng = np.random.default_rng(11)
    for _ in range(40):
        problem = tiny(rng, ease=ease)
        optimum = brute.optimum(problem)
        if not np.isfinite(optimum):
            with pytest.raises(ImpossibleError):
                route(problem, QUICK)
            continue
        found = _routed(problem)
        assert found.cost == pytest.approx(optimum, abs=1e-6)
        assert found.lower_bound <= optimum + 1e-6


@pytest.mark.parametrize("ease", list(Ease))
def test_bands_that_mix_both_orders_are_legal_and_their_bound_holds(ease: Ease) -> None:
    rng = np.random.default_rng(12)
    for _ in range(15):
        problem = tiny(rng, ease=ease, mixed=True)
        optimum = brute.optimum(problem)
        if np.isfinite(optimum):
            found = _routed(problem)
            assert found.lower_bound <= optimum + 1e-6
            assert found.cost >= optimum - 1e-6


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_two_threads_with_bounds_cost_what_highs_and_networkx_say(worked: str) -> None:
    rng = np.random.default_rng(13)
    for trial in range(8):
        wanted = rng.integers(0, 2, (12, 9))
        free = picture(wanted, worked, difference=float(rng.uniform(5, 60)))
        n = free.network.strands
        if trial % 2:
            problem = replace(free, at_most=(int(rng.integers(2, n)), int(rng.integers(n - 2, n + 1))))
        else:
            problem = replace(
                free, start=tuple(int(rng.integers(2)) if rng.random() < 0.7 else None for _ in range(n))
            )
        found = _routed(problem)
        assert found.proved_best
        assert found.cost == pytest.approx(flow.optimum(problem), abs=1e-4)
        assert found.cost == pytest.approx(linear.solve(problem, whole=False).bound, abs=1e-5)


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
@pytest.mark.parametrize("ease", list(Ease))
def test_two_threads_free_of_bounds_show_any_picture(worked: str, ease: Ease) -> None:
    rng = np.random.default_rng(14)
    for size in ((1, 3), (7, 8), (20, 13)):
        found = _routed(picture(rng.integers(0, 2, size), worked, ease))
        assert found.cost == 0 and found.proved_best
        if worked == "rows":
            assert found.hand_overs == 0


@pytest.mark.parametrize("ease", [Ease.LIGHT, Ease.FULL])
def test_digits_of_two_threads_have_one_leader_and_no_hand_over(ease: Ease) -> None:
    for image in load_digits().images[::120]:
        found = _routed(picture((image > 7).astype(int), "rows", ease))
        assert found.cost == 0 and found.hand_overs == 0
        assert list(found.strands).count(found.strands[0]) in (1, len(found.strands))


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_optima_are_the_same_in_a_mirror(worked: str) -> None:
    rng = np.random.default_rng(15)
    for cells in (6, 7):
        problem = picture(rng.integers(0, 2, (10, cells)), worked)
        start = tuple(int(rng.integers(2)) for _ in range(cells + 1))
        problem = replace(problem, start=start)
        one, other = _routed(problem), _routed(mirrored(problem))
        assert one.proved_best and other.proved_best
        assert one.cost == pytest.approx(other.cost)


def test_more_ease_never_costs_more_on_a_picture_of_hills() -> None:
    case = hills(24, 10, 4)
    costs = [_routed(of_case(case, "rows", ease), Budget(effort=0.2)).cost for ease in Ease]
    assert costs[0] >= costs[1] >= costs[2] > 0
