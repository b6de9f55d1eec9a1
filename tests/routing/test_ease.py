"""The passes for few hand-overs and for light ease: legal, never worse, and where they lead."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.instances import hills
from benchmarks.instances import problem as of_case
from benchmarks.reference import brute
from benchmarks.reference.replay import Replayed, replay
from pipeline.routing import route
from pipeline.routing.board import board, colour_error, faults, labels_of, solution
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.exchange import exchange
from pipeline.routing.light import read_trail, write_trail
from pipeline.routing.plain import solve_plain
from pipeline.routing.question import Budget, Ease, Question, Routed
from pipeline.routing.stretches import stretches
from tests.routing.problems import mirrored, picture, tiny


def _seen(problem: Question, found: Routed) -> Replayed:
    return replay(problem, found.strands.tolist(), found.swaps.tolist())


def test_fewer_hand_overs_keeps_the_colour_error_and_every_rule() -> None:
    rng = np.random.default_rng(21)
    for _ in range(25):
        problem = tiny(rng, mixed=True)
        if not np.isfinite(brute.optimum(problem)):
            continue
        found = route(problem, Budget(effort=0.02))
        eased = fewer_hand_overs(problem, found, Budget(effort=0.2))
        before, after = _seen(problem, found), _seen(problem, eased)
        assert after.cost <= before.cost + 1e-6
        assert after.mid_row <= before.mid_row
        assert eased.lower_bound == pytest.approx(found.lower_bound)


def test_the_flow_of_two_threads_hands_over_needlessly_and_the_pass_mends_it() -> None:
    rng = np.random.default_rng(22)
    start = (0, 1) * 4
    problem = replace(picture(rng.integers(0, 2, (16, 7)), "rows"), start=start)
    laid = board(problem)
    labels = labels_of(problem.network, solve_plain(problem.eased(Ease.PLAIN))).astype(np.int8)
    exchange(laid, laid.cost, labels, 0, 1)
    found = solution(problem, labels, 0.0)
    eased = fewer_hand_overs(problem, found, Budget(effort=1.0))
    assert _seen(problem, eased).cost <= found.cost + 1e-9
    assert _seen(problem, eased).mid_row < _seen(problem, found).mid_row


def _plain_labels(problem: Question) -> np.ndarray:
    plain = solve_plain(problem.eased(Ease.PLAIN))
    return labels_of(problem.network, plain).astype(np.int8)


def test_light_bands_are_better_than_the_plain_one_and_stay_light() -> None:
    problem = of_case(hills(30, 11, 4), "rows", Ease.LIGHT)
    for seen in (problem, mirrored(problem)):
        found = route(seen, Budget(effort=0.3))
        assert _seen(seen, found).most_in_a_row == 1
        assert found.cost < 0.95 * colour_error(board(seen), _plain_labels(seen))


def test_pinned_and_folded_starts_stay_at_light_ease() -> None:
    rng = np.random.default_rng(23)
    free = of_case(hills(20, 7, 3), "rows", Ease.LIGHT)
    start = tuple(int(rng.integers(3)) if position % 2 else None for position in range(8))
    for problem in (replace(free, start=start), replace(free, folded=((0, 1), (4, 6)))):
        _seen(problem, route(problem, Budget(effort=0.1)))


def test_a_light_band_read_row_by_row_is_the_same_band() -> None:
    for rows in (9, 10):
        for problem in (light := of_case(hills(rows, 6, 4), "rows", Ease.LIGHT), mirrored(light)):
            labels = labels_of(problem.network, route(problem, Budget(effort=0.1)))
            (stretch,) = stretches(problem.network)
            again = write_trail(problem, stretch, read_trail(problem, stretch, labels))
            laid = board(problem)
            assert not faults(laid, again.astype(np.int8))
            assert colour_error(laid, again) == pytest.approx(colour_error(laid, labels))
