"""Seams: joins and switching rows in one place, against brute force on tiny bands and by tying them."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.knots import WORKED, Worked
from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, route
from pipeline.routing.beam import follow
from pipeline.routing.board import board, colour_error
from pipeline.routing.bound import strip_bound
from pipeline.routing.exchange import exchange
from pipeline.routing.joins import tie_with_changes
from pipeline.routing.lengthening import beside, calm_places
from pipeline.routing.seam import cut, lead_over, seamed
from tests.routing.problems import picture

BRIEF = Budget(effort=0.1)


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=2, max_size=9))
def test_a_seam_joins_half_the_difference_and_moves_the_rest(pairs: list[tuple[int, int]]) -> None:
    have, want = (np.array(side) for side in zip(*pairs, strict=True))
    seam = lead_over(have, want, 1, len(have))
    counts = [np.bincount(side, minlength=4) for side in (have, want)]
    assert len(seam.joined) == np.abs(counts[0] - counts[1]).sum() // 2
    assert len(seam.rows) <= len(have)
    assert seam.reached.tolist() == want.tolist()
    hanging = [-1 if p in seam.joined else int(thread) for p, thread in enumerate(have)]
    v = 0
    for row in seam.rows:
        for p in row.positions:
            if seam.swaps[v]:
                hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
            v += 1
    assert all(thread in (-1, aim) for thread, aim in zip(hanging, want.tolist(), strict=True))


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
        laid = cut(board(question), wires)
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


def two_halves(worked: Worked) -> Question:
    """Stripes along the band: of threads 1 and 2 in its first half, of 3 and 4 in its second."""
    rows, cells = 40, 10
    wanted = np.zeros((rows, cells), dtype=np.int64)
    wanted[2:17, 1:9] = np.where(np.arange(8) < 4, 1, 2)
    wanted[23:38, 1:9] = np.where(np.arange(8) % 4 < 2, 3, 4)
    wanted[2:17:5], wanted[23:38:5] = 2, 4
    return picture(wanted, worked, Ease.FULL, threads=5, difference=20.0)


@pytest.mark.parametrize("worked", WORKED)
def test_a_seam_is_real_and_pays(worked: Worked) -> None:
    question = two_halves(worked)
    kinds = question.costs.argmin(axis=1)
    start = route(question, BRIEF)
    if start.cost == 0:
        pytest.skip("nothing to gain")
    assert all(17 <= gap <= 23 for gap in calm_places(question, 1))
    found = seamed(question, kinds, start, 6, 8, BRIEF)
    assert found is not None
    longer, joined = found
    assert joined.joins <= 8 and longer.switching_rows <= 6
    net = longer.problem.network
    assert len(net.rows) == 40 + longer.switching_rows
    _, error, _ = tie_with_changes(net, longer.problem.costs, joined.solution, joined.changes)
    assert error == pytest.approx(joined.colour_error, abs=1e-6)
    assert error < start.cost
    again = seamed(question, kinds, start, 6, 8, BRIEF)
    assert again is not None and again[1].changes == joined.changes
    assert np.array_equal(again[1].solution.swaps, joined.solution.swaps)


def test_switching_rows_want_what_the_rows_beside_them_want() -> None:
    question = picture(np.array([[0, 1, 1], [1, 0, 0], [1, 1, 0]]), "rows", threads=2)
    kinds = question.costs.argmin(axis=1)
    rows = lead_over(np.array([0, 1, 1, 0]), np.array([1, 0, 0, 1]), 1, 4).rows
    costs, said = beside(question, kinds, 1, rows)
    picture_of = {0: [0, 1, 1], 1: [1, 0, 0]}
    expected = [picture_of[int(2 * i >= len(rows))][p] for i, row in enumerate(rows) for p in row.positions]
    assert said.tolist() == expected
    assert costs.argmin(axis=1).tolist() == expected
