"""Closed bands, which end as they begin: against brute force, networkx, and by tying them over and over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.reference import brute, flow
from benchmarks.reference.replay import replay
from pipeline.band.knots import WORKED, Worked
from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, Routed, route
from pipeline.routing.board import board, colour_error, faults, labels_of, tie
from pipeline.routing.closed import end_as_begun
from tests.routing.problems import picture

QUICK = Budget(effort=0.05)


def closed(
    rng: np.random.Generator,
    worked: Worked,
    *,
    strands: int,
    rows: int,
    threads: int,
    ease: Ease = Ease.FULL,
    start: tuple[int | None, ...] | None = None,
    at_most: tuple[int | None, ...] | None = None,
) -> Question:
    """A closed question with random costs."""
    net = network(strands, picture_rows(strands, rows, worked))
    costs = 30 * rng.random((net.knots, threads))
    costs[np.arange(net.knots), rng.integers(0, threads, net.knots)] = 0
    free = start or (None,) * strands
    return Question(net, costs, free, at_most or (None,) * threads, closed=True).eased(ease)


def three_times(question: Question) -> Question:
    """The same band three times over, as an open one."""
    rows = question.network.rows
    net = network(question.network.strands, rows * 3)
    return replace(
        question,
        network=net,
        costs=np.tile(question.costs, (3, 1)),
        allowance=question.allowance * 3,
        closed=False,
    )


def ties_on(question: Question, found: Routed) -> None:
    """Tied three times over from one start, the band costs three times as much and hangs as it hung."""
    once = replay(question, found.strands.tolist(), found.swaps.tolist())
    thrice = replay(three_times(question), found.strands.tolist(), found.swaps.tolist() * 3)
    assert once.cost == pytest.approx(found.cost, abs=1e-6)
    assert thrice.cost == pytest.approx(3 * found.cost, abs=1e-6)
    assert thrice.shown == once.shown * 3


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("ease", list(Ease))
def test_tiny_closed_bands_are_legal_and_near_what_brute_force_finds(worked: Worked, ease: Ease) -> None:
    rng = np.random.default_rng(5)
    best = 0
    for trial in range(12):
        start, at_most = None, None
        if trial % 3 == 1:
            start = (None, 1, None, 0)
        elif trial % 3 == 2:
            at_most = (2, 3, 1)
        question = closed(rng, worked, strands=4, rows=4, threads=3, ease=ease, start=start, at_most=at_most)
        found = route(question, QUICK)
        ties_on(question, found)
        optimum = brute.optimum(question)
        assert found.lower_bound <= optimum + 1e-6 and found.cost >= optimum - 1e-6
        best += found.cost <= optimum + 1e-6
    assert best >= 10


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("pins", [False, True])
def test_two_threads_close_as_cheaply_as_networkx_says(worked: Worked, pins: bool) -> None:
    rng = np.random.default_rng(6)
    for _ in range(6):
        strands = int(rng.integers(5, 12))
        start = tuple(int(rng.integers(2)) if pins and rng.random() < 0.7 else None for _ in range(strands))
        rows = 2 * int(rng.integers(2, 8))
        question = closed(rng, worked, strands=strands, rows=rows, threads=2, start=start)
        question = replace(
            question, costs=np.where(rng.random(question.costs.shape) < 0.3, 5.0, question.costs)
        )
        found = route(question, QUICK)
        ties_on(question, found)
        assert found.proved_best
        assert found.cost == pytest.approx(flow.optimum(question), abs=1e-4)


@pytest.mark.parametrize("worked", WORKED)
def test_two_threads_with_limits_keep_them_and_the_bound_holds(worked: Worked) -> None:
    rng = np.random.default_rng(7)
    best = 0
    for _ in range(8):
        question = closed(rng, worked, strands=5, rows=4, threads=2, at_most=(5, 1))
        found = route(question, QUICK)
        ties_on(question, found)
        assert int((found.strands == 1).sum()) <= 1
        optimum = brute.optimum(question)
        assert found.lower_bound <= optimum + 1e-6 <= found.cost + 2e-6
        best += found.cost <= optimum + 1e-6
    assert best >= 6


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("ease", list(Ease))
def test_a_picture_of_two_threads_closes_at_no_cost(worked: Worked, ease: Ease) -> None:
    """With free starts two threads show any picture, row-worked with one leader, diagonal without swaps."""
    wanted = np.random.default_rng(8).integers(0, 2, (8, 11))
    found = route(replace(picture(wanted, worked, ease), closed=True), QUICK)
    assert found.cost == 0 and found.proved_best and found.hand_overs == 0


@pytest.mark.parametrize("motif", [0, 1])
def test_of_equal_closed_bands_the_motif_leads_and_the_ground_hangs(motif: int) -> None:
    """Else the ground's thread would tie nearly every knot, in one strand as long as all of them."""
    drawn = np.zeros((8, 11), dtype=bool)
    drawn[2:6, 2:9] = np.random.default_rng(12).random((4, 7)) < 0.5
    found = route(replace(picture(np.where(drawn, motif, 1 - motif), "rows", Ease.PLAIN), closed=True), QUICK)
    assert found.cost == 0
    assert (found.strands == motif).sum() == 1


@pytest.mark.parametrize("ease", list(Ease))
def test_hand_overs_stay_within_their_allowance_across_the_seam(ease: Ease) -> None:
    question = closed(np.random.default_rng(9), "rows", strands=9, rows=12, threads=4, ease=ease)
    found = route(question, QUICK)
    ties_on(question, found)
    tied = replay(three_times(question), found.strands.tolist(), found.swaps.tolist() * 3)
    assert tied.most_in_a_row <= {Ease.PLAIN: 0, Ease.LIGHT: 1, Ease.FULL: 7}[ease]


def test_a_closed_band_that_cannot_be_is_refused() -> None:
    rng = np.random.default_rng(10)
    with pytest.raises(ValueError, match="straight rows"):
        route(closed(rng, "rows", strands=4, rows=5, threads=3), QUICK)
    with pytest.raises(ValueError, match="too short"):
        route(closed(rng, "diagonal", strands=4, rows=2, threads=3), QUICK)
    with pytest.raises(ValueError, match="folded"):
        replace(closed(rng, "rows", strands=4, rows=4, threads=3), folded=((0, 1),))


def test_the_same_seed_closes_the_same_way() -> None:
    question = closed(np.random.default_rng(11), "diagonal", strands=9, rows=12, threads=4)
    one, other = route(question, QUICK), route(question, QUICK)
    assert np.array_equal(one.swaps, other.swaps) and np.array_equal(one.strands, other.strands)


@pytest.mark.parametrize(
    ("worked", "ease"), [("rows", Ease.FULL), ("diagonal", Ease.FULL), ("rows", Ease.LIGHT)]
)
def test_an_open_band_is_made_to_end_as_it_begins(worked: Worked, ease: Ease) -> None:
    mended = 0
    for seed in range(12):
        asked = closed(np.random.default_rng(seed), worked, strands=7, rows=12, threads=3, ease=ease)
        free = replace(asked, closed=False)
        labels = labels_of(free.network, route(free, QUICK))
        hung = replace(free, start=tuple(labels[:7].tolist()))
        before, begins = labels.copy(), labels[:7].copy()
        if not end_as_begun(hung, labels):
            continue
        assert (labels[free.network.last] == begins).all()
        assert not faults(board(hung), labels)
        assert not faults(board(asked), labels)
        mended += bool((before != labels).any())
    assert mended >= 3


def test_a_ring_of_more_threads_than_a_program_holds_is_told() -> None:
    """Nine threads: a program holds the leader and two columns, and here seven strands change places."""
    net = network(9, picture_rows(9, 6, "rows"))
    strands, swaps = np.arange(9), np.ones(net.knots, dtype=bool)
    for row in range(6):
        swaps[np.flatnonzero((net.row == row) & (net.position == row + 1))] = False  # a hand-over each
    labels = tie(net, strands, swaps)
    asked = Question(net, np.ones((net.knots, 9)), tuple(strands.tolist()), (None,) * 9).eased(Ease.LIGHT)
    assert not faults(board(asked), labels)
    assert not end_as_begun(asked, labels)


def test_beams_that_close_pay(monkeypatch: pytest.MonkeyPatch) -> None:
    net = network(20, picture_rows(20, 30, "diagonal"))
    wanted = ((net.row + 2 * net.position + (net.row * net.position) // 7) // 3) % 4
    costs = 20.0 * np.abs(wanted[:, None] - np.arange(4))
    asked = Question(net, costs, (None,) * 20, (None,) * 4, closed=True)
    found = route(asked, Budget(0.12))
    monkeypatch.setattr("pipeline.routing.starts.GUIDED_WORK", 1e9)  # no effort suffices for a beam
    without = route(asked, Budget(0.12))
    assert found.cost < without.cost
    assert colour_error(board(asked), labels_of(net, found)) == pytest.approx(found.cost)
