"""Thread changes at joins: recounted by the checker, and bounded by brute force on tiny bands."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest

from pipeline.band.knots import Worked
from pipeline.band.network import network, picture_rows
from pipeline.band.reading import problems
from pipeline.routing import Budget, Ease, Question, Routed, route, thread_changes
from pipeline.routing.joins import tie_with_changes
from pipeline.verdict.feasibility import check
from tests.routing.samples import crossed_blocks
from tests.verdict.bands import assembled

EFFORT = Budget(effort=0.3)


@pytest.mark.parametrize(
    ("worked", "ease"),
    [("rows", Ease.FULL), ("rows", Ease.LIGHT), ("rows", Ease.PLAIN), ("diagonal", Ease.LIGHT)],
)
def test_joins_are_real_and_the_error_falls(worked: Worked, ease: Ease) -> None:
    problem, wanted = crossed_blocks(13 if worked == "diagonal" else 9, 16, worked, ease)
    plain = ease is not Ease.FULL and worked == "rows"  # a plain band is legal under any ease
    start = route(problem.eased(Ease.PLAIN) if plain else problem, EFFORT)
    points = thread_changes(problem, wanted, start, 4, Budget(effort=0.5))
    assert points[0].joins == 0 and points[-1].joins >= 1
    for fewer, more in pairwise(points):
        assert more.joins == fewer.joins + 1 <= 4
        assert more.colour_error < fewer.colour_error
    for point in points:
        pattern = assembled(
            problem.network,
            point.solution,
            wanted.tolist(),
            changes=point.changes,
        )
        assert list(problems(pattern)) == []
        found = check(pattern)
        assert (found.joins, found.thread_changes) == (point.joins, point.joins)
        assert found.colour_error == pytest.approx(point.colour_error)
        assert (found.made, found.hand_overs) == (point.made, point.solution.hand_overs)


def least_with_one_join(problem: Question, strands: tuple[int, ...]) -> float:
    """Brute force: all swaps and all single joins of a band with given starting strands."""
    net, best = problem.network, np.inf
    for swaps in product((False, True), repeat=net.knots):
        routes = Routed(np.array(strands), np.array(swaps), 0.0, 0.0)
        for knot, side, thread in product(range(net.knots), (0, 1), range(problem.threads)):
            _, error, _ = tie_with_changes(net, problem.costs, routes, {knot: (side, thread)})
            best = min(best, error)
    return best


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_one_join_in_two_threads_is_best_or_near(worked: Worked) -> None:
    best = reached = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        net = network(4, picture_rows(4, 2 if worked == "rows" else 4, worked))
        problem = Question(
            net, rng.integers(0, 9, size=(net.knots, 2)).astype(float), (0, 0, 0, 1), (None,) * 2
        )
        start = route(problem, EFFORT)
        points = thread_changes(problem, np.full(net.knots, -1), start, 1, EFFORT)
        least = least_with_one_join(problem, (0, 0, 0, 1))
        assert points[-1].colour_error >= least - 1e-9
        best += points[-1].colour_error == pytest.approx(least)
        reached += len(points) > 1
    assert reached >= 3 and best >= 10


def test_a_bound_on_strands_counts_the_pieces_laid_in() -> None:
    problem, wanted = crossed_blocks(9, 16, "diagonal")
    start = route(problem, EFFORT)
    counts = np.bincount(start.strands, minlength=4)
    full = Question(problem.network, problem.costs, problem.start, tuple(int(c) for c in counts))
    assert len(thread_changes(full, wanted, start, 3, EFFORT)) == 1


def test_no_joins_allowed_gives_the_band_itself() -> None:
    problem, wanted = crossed_blocks(5, 6, "rows")
    start = route(problem, EFFORT)
    (point,) = thread_changes(problem, wanted, start, 0, EFFORT)
    assert point.colour_error == pytest.approx(start.cost)
    assert point.solution.hand_overs == start.hand_overs and not point.changes
