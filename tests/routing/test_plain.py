"""Plain row work against brute force, its bound, its mirror image, and pictures of two threads.

The open data are the 8 × 8 digits that ship with scikit-learn (from the UCI repository).
"""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.datasets import load_digits

from benchmarks.reference import brute
from benchmarks.reference.replay import replay
from pipeline.errors import ImpossibleError
from pipeline.routing.board import middle
from pipeline.routing.plain import solve_plain
from pipeline.routing.question import Budget, Ease, Routed
from tests.routing.problems import mirrored, picture, tiny


def test_plain_finds_what_brute_force_finds_and_proves_it() -> None:
    rng = np.random.default_rng(4)
    impossible = 0
    for _ in range(150):
        problem = tiny(rng, ease=Ease.PLAIN)
        optimum = brute.optimum(problem)
        if not np.isfinite(optimum):
            with pytest.raises(ImpossibleError, match="no starting order"):
                solve_plain(problem)
            impossible += 1
            continue
        found = solve_plain(problem)
        assert replay(problem, found.strands, found.swaps).cost == pytest.approx(found.cost, abs=1e-9)
        assert found.cost == pytest.approx(optimum, abs=1e-6)
        assert found.lower_bound <= optimum + 1e-9 and found.proved_best
    assert 0 < impossible < 75


def test_plain_bands_with_other_rows_between_are_legal_and_their_bound_holds() -> None:
    rng = np.random.default_rng(5)
    for _ in range(60):
        problem = tiny(rng, ease=Ease.PLAIN, mixed=True)
        optimum = brute.optimum(problem)
        if not np.isfinite(optimum):
            continue
        found = solve_plain(problem)
        assert replay(problem, found.strands, found.swaps).cost == pytest.approx(found.cost, abs=1e-9)
        assert found.lower_bound <= optimum + 1e-9 <= found.cost + 2e-6


def test_without_effort_there_is_a_legal_band_and_a_true_bound() -> None:
    rng = np.random.default_rng(6)
    wanted = rng.integers(0, 4, (24, 10))
    problem = picture(wanted, "rows", Ease.PLAIN, threads=4)
    hasty = solve_plain(problem, Budget(effort=0.0))
    best = solve_plain(problem)
    assert replay(problem, hasty.strands, hasty.swaps).cost == pytest.approx(hasty.cost)
    assert hasty.lower_bound <= best.lower_bound <= best.cost <= hasty.cost


def test_the_mirror_image_costs_the_same() -> None:
    rng = np.random.default_rng(7)
    for _ in range(10):
        wanted = rng.integers(0, 3, (9, int(rng.integers(4, 8))))
        problem = picture(wanted, "rows", Ease.PLAIN, threads=3)
        one, other = solve_plain(problem), solve_plain(mirrored(problem))
        assert one.proved_best and other.proved_best
        assert one.cost == pytest.approx(other.cost)


def _one_leader(found: Routed, strands: int) -> bool:
    first = found.strands[0]
    return found.hand_overs == 0 and list(found.strands).count(first) in (1, strands)


def test_every_digit_is_tied_by_one_leader_over_bases_of_the_other_thread() -> None:
    digits = load_digits().images
    assert len(digits) == 1797
    for image in digits:
        problem = picture((image > 7).astype(int), "rows", Ease.PLAIN)
        found = solve_plain(problem)
        assert found.cost == 0 and found.proved_best
        assert _one_leader(found, problem.network.strands), found.strands


def test_mid_row_is_all_but_the_first_and_last_knot_of_row_work() -> None:
    rows = picture(np.zeros((2, 4), dtype=int), "rows")
    assert middle(rows.network).tolist() == [False, True, True, False] * 2
    assert not middle(picture(np.zeros((2, 4), dtype=int), "diagonal").network).any()
