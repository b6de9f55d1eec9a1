"""Thread changes at joins: recounted by the checker, and bounded by brute force on tiny bands."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest

from pipeline.band.knots import WORKED, Worked
from pipeline.band.network import network, picture_rows
from pipeline.band.reading import problems
from pipeline.routing import Budget, Ease, LongerBand, Question, Routed, route
from pipeline.routing.beam import follow
from pipeline.routing.board import board, colour_error
from pipeline.routing.bound import strip_bound
from pipeline.routing.exchange import exchange
from pipeline.routing.joins import CutBand, add_joins, calm_places, cut, paths
from pipeline.routing.lengthening import tied
from pipeline.verdict.feasibility import check
from tests.routing.problems import picture
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
    points = add_joins(LongerBand(problem, wanted, start), 4, Budget(effort=0.5))
    assert points[0].joins == 0 and points[-1].joins >= 1
    for fewer, more in pairwise(points):
        assert fewer.joins < more.joins <= 4
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
            best = min(best, tied(problem, routes, {knot: (side, thread)}).cost)
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
        points = add_joins(LongerBand(problem, np.full(net.knots, -1), start), 1, EFFORT)
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
    assert len(add_joins(LongerBand(full, wanted, start), 3, EFFORT)) == 1


def test_no_joins_allowed_gives_the_band_itself() -> None:
    problem, wanted = crossed_blocks(5, 6, "rows")
    start = route(problem, EFFORT)
    (point,) = add_joins(LongerBand(problem, wanted, start), 0, EFFORT)
    assert point.colour_error == pytest.approx(start.cost)
    assert point.solution.hand_overs == start.hand_overs and not point.changes


def tiny(rng: np.random.Generator, worked: Worked) -> tuple[Question, np.ndarray]:
    net = network(3, picture_rows(3, 4 if worked == "diagonal" else 3, worked))
    costs = rng.integers(0, 9, (net.knots, 2)).astype(float)
    inside = [w for w in range(3, net.edges) if w not in net.last.tolist()]
    return Question(net, costs, (None,) * 3, (None, None)), rng.choice(inside, 2, replace=False)


@pytest.mark.parametrize("worked", WORKED)
def test_two_threads_on_a_cut_board_are_routed_exactly(worked: Worked) -> None:
    rng = np.random.default_rng(21)
    for _ in range(8):
        question, wires = tiny(rng, worked)
        laid = cut(board(question), wires, np.zeros(2, np.int64))
        least = np.inf
        threads = np.full(len(laid.ends), -1, np.int8)
        for choice in product((0, 1), repeat=5):
            threads[:3], threads[-2:] = choice[:3], choice[3:]
            for swaps in product((False, True), repeat=question.network.knots):
                labels = follow(laid, ~np.array(swaps), threads)
                least = min(least, float(colour_error(laid, labels)))
        labels = follow(laid, np.zeros(question.network.knots, bool), threads)
        assert exchange(laid, laid.cost, labels, 0, 1) == pytest.approx(least, abs=1e-6)
        assert colour_error(laid, labels) == pytest.approx(least, abs=1e-6)
        assert strip_bound(laid, 1e8, lambda: False).bound <= least + 1e-6


def two_halves(rng: np.random.Generator, worked: Worked) -> Question:
    """Two pictures in one band, calm in between: no thread of the first half is wanted in the second."""
    wanted = np.zeros((40, 10), dtype=np.int64)
    wanted[2:17, 1:9] = rng.integers(1, 3, (3, 4)).repeat(5, axis=0).repeat(2, axis=1)
    wanted[23:38, 1:9] = rng.integers(3, 5, (3, 4)).repeat(5, axis=0).repeat(2, axis=1)
    return picture(wanted, worked, Ease.PLAIN, threads=5, difference=20.0)


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("seed", [1, 2])
def test_joins_lead_from_one_picture_to_another(worked: Worked, seed: int) -> None:
    question = two_halves(np.random.default_rng(seed), worked)
    start = route(question, EFFORT)
    assert start.cost > 0 and 17 <= calm_places(question)[1] <= 23
    bare = LongerBand(question, question.costs.argmin(axis=1), start)
    longer, again = (add_joins(bare, 8, EFFORT)[-1] for _ in range(2))
    assert 4 <= longer.joins <= 8
    assert tied(question, longer.solution, longer.changes).cost == longer.colour_error < 0.4 * start.cost
    assert again.changes == longer.changes and np.array_equal(again.solution.swaps, longer.solution.swaps)


@pytest.mark.parametrize("worked", WORKED)
def test_bounds_on_threads_hold_with_joins(worked: Worked) -> None:
    question = two_halves(np.random.default_rng(1), worked)
    question = replace(question, at_most=(None, None, None, 2, 1))
    bare = LongerBand(question, question.costs.argmin(axis=1), route(question, EFFORT))
    longer = add_joins(bare, 8, EFFORT)[-1]
    assert longer.joins
    pieces = [thread for _, thread in longer.changes.values()]
    counts = np.bincount([*longer.solution.strands, *pieces], minlength=5)
    assert counts[3] <= 2 and counts[4] <= 1


@pytest.mark.parametrize("worked", WORKED)
def test_a_band_is_cut_at_its_joins_and_joined_there_again(worked: Worked) -> None:
    question = two_halves(np.random.default_rng(3), worked)
    bare = LongerBand(question, question.costs.argmin(axis=1), route(question, EFFORT))
    longer = add_joins(bare, 8, EFFORT)[-1]
    parted = CutBand.of(longer)
    assert len(parted.laid.ends) == question.network.edges + longer.joins
    assert parted.error <= longer.colour_error + 1e-6
    again = parted.tied()
    assert again.colour_error <= longer.colour_error + 1e-6 and again.joins <= longer.joins


@pytest.mark.parametrize("worked", WORKED)
def test_halves_of_a_folded_cut_are_not_joined(worked: Worked) -> None:
    question = two_halves(np.random.default_rng(1), worked)
    question = replace(question, folded=tuple((p, p + 1) for p in range(0, 6, 2)))
    bare = LongerBand(question, question.costs.argmin(axis=1), route(question, EFFORT))
    longer = add_joins(bare, 6, EFFORT)[-1]
    strands, swaps = longer.solution.strands, longer.solution.swaps
    assert longer.joins and (strands[0:6:2] == strands[1:6:2]).all()
    joined = {(v, side) for v, (side, _) in longer.changes.items()}
    for knots, sides in list(paths(question.network, swaps))[:6]:
        assert not joined & set(zip(knots.tolist(), sides.tolist(), strict=True))
