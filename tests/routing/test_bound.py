"""The bound of strips against brute force, and against the linear relaxation solved by HiGHS (scipy)."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.reference import brute, linear
from pipeline.band.knots import Worked
from pipeline.errors import ImpossibleError
from pipeline.routing.board import board
from pipeline.routing.bound import strip_bound
from pipeline.routing.question import Ease, require_possible
from tests.routing.problems import picture, tiny


def never() -> bool:
    return False


@pytest.mark.parametrize("ease", list(Ease))
def test_the_bound_never_exceeds_what_brute_force_finds_and_often_meets_it(ease: Ease) -> None:
    """Pins, limits, folded strands and rows of both orders between are among the bands."""
    rng = np.random.default_rng(7)
    met = tried = 0
    for number in range(80):
        problem = tiny(rng, ease=ease, mixed=number % 2 == 1)
        try:
            require_possible(problem)
        except ImpossibleError:
            continue
        optimum = brute.optimum(problem)
        if problem.network.knots == 0 or not np.isfinite(optimum):
            continue
        found = strip_bound(board(problem), 2e7, never)
        assert 0 <= found.bound <= optimum + 1e-9
        tried += 1
        met += found.bound >= optimum - 0.01 * max(1.0, optimum)
    assert tried > 30 and met >= 0.8 * tried


@pytest.mark.parametrize(("worked", "better"), [("rows", 1.0), ("diagonal", -0.01)])
def test_strips_bound_as_well_as_the_linear_relaxation_and_better_in_rows(
    worked: Worked, better: float
) -> None:
    rng = np.random.default_rng(8)
    problem = picture(rng.integers(0, 4, (10, 7)), worked, threads=4, difference=20.0)
    relaxed = linear.solve(problem, whole=False).bound
    found = strip_bound(board(problem), 3e8, never)
    assert found.bound > relaxed + better


def test_prices_are_those_of_wires_from_strip_to_strip() -> None:
    rng = np.random.default_rng(9)
    laid = board(picture(rng.integers(0, 3, (8, 6)), "rows", threads=3, difference=20.0))
    found = strip_bound(laid, 1e6, never)
    crosses = (laid.ends >= 0).all(axis=1)
    crosses[crosses] = found.owner[laid.ends[crosses, 0]] != found.owner[laid.ends[crosses, 1]]
    assert crosses.any() and found.prices[crosses].any()
    assert not found.prices[~crosses].any()


def test_more_work_gives_a_better_bound_and_the_same_work_the_same() -> None:
    rng = np.random.default_rng(10)
    laid = board(picture(rng.integers(0, 4, (12, 8)), "rows", threads=4, difference=20.0))
    bounds = [strip_bound(laid, work, never).bound for work in (0.0, 1e7, 1e8, 1e8)]
    assert bounds[0] < bounds[1] < bounds[2] == bounds[3]
