"""The allowance of each row: every band that leaves the router keeps it, however it was made longer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.reference.brute import optimum
from benchmarks.reference.replay import replay
from pipeline.band.network import network, picture_rows
from pipeline.errors import ImpossibleError
from pipeline.routing import Budget, Ease, LongerBand, Question, route
from pipeline.routing.board import board, faults, middle, solution, tie
from pipeline.routing.joins import add_joins
from pipeline.routing.question import ANY, require_possible
from pipeline.routing.switching import insert_switching
from tests.routing.problems import tiny
from tests.routing.samples import crossed_blocks

BRIEF = Budget(effort=0.02)


def rotating(rows: int) -> Question:
    """Two columns want other threads in each third of the band; plain, no band has them all."""
    net = network(5, picture_rows(5, rows, "rows"))
    third = 3 * net.row // rows
    costs = np.zeros((net.knots, 3))
    for column in (1, 2):
        here = net.position == column
        costs[here] = 100.0 * ((third[here] + column - 1)[:, None] % 3 != np.arange(3))
    return Question(net, costs, (None,) * 5, (None,) * 3).eased(Ease.PLAIN)


@pytest.mark.parametrize("effort", [0.02, 0.3])
def test_what_hand_overs_would_save_tempts_no_plain_band(effort: float) -> None:
    asked = rotating(600)
    wanted = np.where(asked.costs.max(axis=1) > 0, asked.costs.argmin(axis=1), -1)
    for point in insert_switching(LongerBand(asked, wanted, route(asked, Budget(effort))), 2, Budget(effort)):
        seen = replay(point.question, point.solution.strands.tolist(), point.solution.swaps.tolist())
        assert seen.mid_row == 0 and seen.cost == pytest.approx(point.colour_error)
        assert point.solution.lower_bound <= seen.cost + 1e-6


def mixed(rng: np.random.Generator) -> Question:
    """A small band of both working orders whose rows differ in what they allow."""
    while True:
        asked = tiny(rng, mixed=bool(rng.integers(2)))
        allowance = tuple(int(a) for a in rng.choice([0, 1, ANY], len(asked.network.rows)))
        try:
            require_possible(asked)
        except ImpossibleError:
            continue
        if asked.network.knots:
            return replace(asked, allowance=allowance)


def test_rows_of_different_allowance_are_routed_as_brute_force_does() -> None:
    rng = np.random.default_rng(11)
    best = 0
    for _ in range(40):
        asked = mixed(rng)
        found, least = route(asked, BRIEF), optimum(asked)
        seen = replay(asked, found.strands.tolist(), found.swaps.tolist())
        assert found.lower_bound - 1e-6 <= least <= seen.cost + 1e-6
        assert seen.cost == pytest.approx(found.cost)
        best += seen.cost <= least + 1e-6
    assert best >= 36  # the search is no proof; it finds nearly all


def test_with_switching_rows_the_allowance_is_kept() -> None:
    """Random pictures, and one whose columns want other threads from the middle on, where rows pay."""
    rng = np.random.default_rng(12)
    longer = 0
    for trial in range(6):
        net = network(5, picture_rows(5, 6 if trial else 12, "rows"))
        wanted = rng.integers(0, 3, net.knots)
        allowance = tuple(int(a) for a in rng.choice([0, 1, ANY], 6, p=(0.5, 0.3, 0.2)))
        if not trial:
            halves = np.array([[0, 1, 2, 0], [2, 0, 1, 1]])
            wanted, allowance = halves[(net.row >= 6).astype(int), net.position], (0,) * 12
        costs = 30.0 * (wanted[:, None] != np.arange(3))
        asked = Question(net, costs, (None,) * 5, (None,) * 3, allowance=allowance)
        points = insert_switching(LongerBand(asked, wanted, route(asked, BRIEF)), 3, BRIEF)
        for point in points:
            seen = replay(point.question, point.solution.strands.tolist(), point.solution.swaps.tolist())
            assert seen.cost == pytest.approx(point.colour_error)
            assert point.solution.lower_bound <= optimum(point.question) + 1e-6
        longer += len(points) > 1
    assert longer


@pytest.mark.parametrize("seed", [1, 2])
def test_with_joins_the_allowance_is_kept(seed: int) -> None:
    asked, wanted = crossed_blocks(9, 16, "rows")
    allowance = np.random.default_rng(seed).choice([0, 1, ANY], 16, p=(0.5, 0.3, 0.2))
    asked = replace(asked, allowance=tuple(int(a) for a in allowance))
    points = add_joins(LongerBand(asked, wanted, route(asked, BRIEF)), 2, Budget(effort=0.1))
    assert len(points) > 1
    for point in points:
        assert (mid_row_hand_overs(asked, point) <= allowance).all()


def mid_row_hand_overs(asked: Question, point: LongerBand) -> np.ndarray:
    """(rows,) knots in mid-row where two different threads meet and both stay, with joins on the way."""
    net, hanging = asked.network, point.solution.strands.tolist()
    inside, made = middle(net), np.zeros(len(net.rows), int)
    for v, p in enumerate(net.position.tolist()):
        pair = hanging[p : p + 2]
        made[net.row[v]] += bool(inside[v] and pair[0] != pair[1] and not point.solution.swaps[v])
        if v in point.changes:
            side, thread = point.changes[v]
            pair[side] = thread
        hanging[p : p + 2] = pair[::-1] if point.solution.swaps[v] else pair
    return made


def test_a_band_that_breaks_its_allowance_cannot_leave_the_router() -> None:
    net = network(5, picture_rows(5, 1, "rows"))
    asked = Question(net, np.zeros((4, 2)), (None,) * 5, (None,) * 2)
    labels = tie(net, np.array([0, 1, 1, 0, 1]), np.array([True, False, False, True]))
    for allowance, legal in ((0, False), (1, False), (ANY, True)):
        posed = replace(asked, allowance=(allowance,))
        assert (not faults(board(posed), labels)) == legal
        if legal:
            assert solution(posed, labels, 0.0).hand_overs == 2
        else:
            with pytest.raises(RuntimeError, match="more hand-overs in the middle than allowed"):
                solution(posed, labels, 0.0)


def test_an_allowance_is_0_1_or_any_for_each_row() -> None:
    asked = rotating(3)
    for wrong in ((0, 1), (0, 1, 2), (0, 1, -1)):
        with pytest.raises(ValueError, match="allowance"):
            replace(asked, allowance=wrong)
