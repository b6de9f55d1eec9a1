"""The parts of the router on small boards: what each promises, against brute force over all labels."""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.band.network import network, picture_rows
from pipeline.errors import ImpossibleError
from pipeline.routing import Budget, Ease, Question, Stopped, route
from pipeline.routing.beam import beam
from pipeline.routing.board import Board, board, colour_error, faults
from pipeline.routing.bound import Dual, strip_bound
from pipeline.routing.exchange import exchange
from pipeline.routing.loops.windows import solve
from pipeline.routing.question import require_possible
from pipeline.routing.reversal import backwards, reversible, turned, wires
from pipeline.routing.route import simple
from pipeline.routing.strips import split
from pipeline.routing.windows import desk
from tests.routing.problems import tiny


def never() -> bool:
    return False


def best_by_hand(laid: Board) -> float:
    """Follow every start and every choice of stay or swap; return the least colour error."""
    n = laid.strands
    least = np.inf
    for start in product(range(laid.threads), repeat=n):
        labels = np.array(start, np.int64)
        if any(labels[p] != labels[q] for p, q in enumerate(laid.partner)):
            continue
        if any(laid.pin[w] not in (-1, labels[w]) for w in laid.partner):
            continue
        if (np.bincount(labels, minlength=laid.threads) > laid.at_most).any():
            continue
        states = {(start, 0): 0.0}
        for v, p in enumerate(laid.position):
            new_row = v > 0 and laid.row[v] != laid.row[v - 1]
            after: dict[tuple[tuple[int, ...], int], float] = {}
            for (hung, used), cost in states.items():
                had = 0 if new_row else used
                x, y = hung[p], hung[p + 1]
                now = cost + min(laid.cost[v, x], laid.cost[v, y])
                swapped = (*hung[:p], y, x, *hung[p + 2 :])
                ways = [(swapped, had)]
                if x != y:
                    more = had + int(laid.counted[v])
                    if more <= 1:
                        ways.append((hung, more))
                for way in ways:
                    after[way] = min(now, after.get(way, np.inf))
            states = after
        least = min(least, min(states.values()))
    return float(least)


def problem(seed: int, ease: Ease) -> Question:
    posed = tiny(np.random.default_rng(seed), ease=ease, mixed=seed % 2 == 1)
    try:
        require_possible(posed)
    except ImpossibleError:
        assume(False)
    return posed


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.sampled_from([Ease.FULL, Ease.LIGHT]))
def test_a_window_over_the_whole_board_is_exact_and_bounds_stay_below(seed: int, ease: Ease) -> None:
    posed = problem(seed, ease)
    laid = board(posed)
    least = best_by_hand(laid)
    labels = simple(laid)
    before = float(colour_error(laid, labels))
    order = np.arange(laid.knots, dtype=np.int32)
    gain = solve(laid, laid.cost, np.zeros(laid.knots), labels, order, desk(laid, labels))
    assert gain >= 0
    assert faults(laid, labels) == []
    assert colour_error(laid, labels) == pytest.approx(before - gain, abs=1e-6)
    free = all(pin is None for pin in posed.start) and (laid.at_most >= laid.strands).all()
    if free:  # a limit on a thread makes the window careful with starting strands
        assert colour_error(laid, labels) == pytest.approx(least, abs=1e-5)
    assert strip_bound(laid, 1e6, never).bound <= least + 1e-9
    assert strip_bound(laid, 1e8, never).bound <= least + 1e-9


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.sampled_from([Ease.FULL, Ease.LIGHT]), st.integers(1, 4))
def test_strips_bound_from_below_at_any_prices(seed: int, ease: Ease, width: int) -> None:
    laid = board(problem(seed, ease))
    random = np.random.default_rng(seed)
    least = best_by_hand(laid)
    columns = int(laid.position.max(initial=-1)) + 1
    if not columns:
        return
    start = np.zeros((len(laid.ends), laid.threads))
    dual = Dual(laid, split(laid, range(0, columns, width)), start, kind=np.float64)
    size, free = len(dual.start), dual.free
    for spread in (0.0, 1.0, 10.0):
        at = random.normal(0, spread, size)
        at[free:] = abs(at[free:])
        assert dual.hard(at) <= least + 1e-9
        smoothed, slope = dual.smoothed(at, 2.0)
        assert smoothed <= dual.hard(at) + 1e-6
        if spread == 0:
            continue  # costs that tie have no slope
        ahead = random.normal(0, 1, size)
        step = 1e-5 * ahead
        rise = (dual.smoothed(at + step, 2.0)[0] - dual.smoothed(at - step, 2.0)[0]) / 2e-5
        assert rise == pytest.approx(float(slope @ ahead), rel=1e-3, abs=1e-3)
    if width >= columns and not len(dual.cross) and not len(dual.limited):  # one strip, nothing relaxed
        assert dual.hard(dual.start) == pytest.approx(least, abs=1e-6)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_exchanges_never_worsen_and_leave_alone_what_lies_outside(seed: int) -> None:
    laid = board(problem(seed, Ease.FULL))
    if laid.threads < 2:
        return
    labels = simple(laid)
    everywhere = labels.copy()
    before = float(colour_error(laid, labels))
    exchange(laid, laid.cost, labels, 0, 1)
    assert faults(laid, labels) == []
    assert colour_error(laid, labels) <= before + 1e-6
    exchange(laid, laid.cost, everywhere, 0, 1, np.arange(laid.knots))
    assert faults(laid, everywhere) == []
    assert colour_error(laid, everywhere) == pytest.approx(float(colour_error(laid, labels)), abs=1e-5)
    within = np.flatnonzero(np.random.default_rng(seed).random(laid.knots) < 0.5)
    if len(within):
        some = simple(laid)
        exchange(laid, laid.cost, some, 0, 1, within)
        assert faults(laid, some) == []
        assert colour_error(laid, labels) - 1e-6 <= colour_error(laid, some) <= before + 1e-6
        outside = np.setdiff1d(np.arange(laid.knots), within)
        assert (some[laid.wire[outside]] == simple(laid)[laid.wire[outside]]).all()


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.sampled_from([Ease.FULL, Ease.LIGHT]))
def test_the_beam_keeps_pins_limits_folds_and_ease(seed: int, ease: Ease) -> None:
    laid = board(problem(seed, ease))
    labels = beam(laid, laid.cost, np.zeros((len(laid.ends), laid.threads)), 20, never)
    assert labels is not None
    assert faults(laid, labels) == []


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_a_board_read_backwards_has_the_same_routings_and_bounds(seed: int) -> None:
    asked = problem(seed, Ease.FULL)
    if not reversible(asked):
        return
    laid, back = board(asked), board(backwards(asked))
    to, home = wires(laid, back), wires(back, laid)
    labels = beam(back, back.cost, np.zeros((len(back.ends), back.threads)), 20, never)
    assert labels is not None
    assert faults(back, labels) == []
    assert faults(laid, labels[to]) == []
    assert colour_error(laid, labels[to]) == pytest.approx(colour_error(back, labels))
    assert (home[to] == np.arange(len(to))).all()
    assert (board(backwards(backwards(asked))).wire == laid.wire).all()
    if laid.knots:
        priced = strip_bound(laid, 1e5, never)
        turned_back = turned(back, turned(laid, priced.prices, to), home)
        assert turned_back[laid.strands :] == pytest.approx(priced.prices[laid.strands :])


def hills(rows: int, strands: int, threads: int, ease: Ease = Ease.FULL) -> Question:
    """A picture of slanting waves that cannot be made whole."""
    net = network(strands, picture_rows(strands, rows, "rows"))
    wanted = ((net.row + 2 * net.position + (net.row * net.position) // 7) // 3) % threads
    costs = 20.0 * np.abs(wanted[:, None] - np.arange(threads))
    return Question(net, costs, (None,) * strands, (None,) * threads, (), ease.allowance(net))


def test_the_same_seed_gives_the_same_routes() -> None:
    one, two = (route(hills(14, 9, 4), Budget(effort=0.05, seed=3)) for _ in range(2))
    assert one.cost == two.cost
    assert one.lower_bound == two.lower_bound
    assert (one.strands == two.strands).all()
    assert (one.swaps == two.swaps).all()


@pytest.mark.parametrize("ease", [Ease.FULL, Ease.LIGHT])
def test_a_passed_deadline_still_gives_a_legal_answer_that_says_so(ease: Ease) -> None:
    found = route(hills(20, 13, 5, ease), Budget(effort=1.0, deadline=time.monotonic()))
    assert found.stopped is Stopped.TIME
    assert found.lower_bound <= found.cost


class Impatient:
    """Presses Ctrl-C at the third report."""

    def __init__(self) -> None:
        self.heard: list[tuple[float, float, float]] = []

    def routing(self, done: float, cost: float, bound: float) -> None:
        self.heard.append((done, cost, bound))
        if len(self.heard) == 3:
            raise KeyboardInterrupt


def test_an_interrupt_gives_the_best_so_far_with_its_bound() -> None:
    reporter = Impatient()
    found = route(hills(40, 17, 5), Budget(effort=5.0, reporter=reporter))
    assert found.stopped is Stopped.INTERRUPT
    assert 0 <= found.lower_bound <= found.cost <= reporter.heard[1][1]


@pytest.mark.parametrize(
    ("start", "at_most", "folded", "words"),
    [
        ((None,) * 4, (1, 2), (), "allow only 3"),
        ((0, 1, None, None), (None, None), ((0, 1),), "halves of one folded cut"),
        ((0, 0, None, None), (1, None), (), "at most 1 are allowed"),
        ((None,) * 4, (1, 3), ((0, 1), (2, 3)), "folded pairs need two strands"),
    ],
)
def test_what_cannot_be_is_said(
    start: tuple[int | None, ...],
    at_most: tuple[int | None, ...],
    folded: tuple[tuple[int, int], ...],
    words: str,
) -> None:
    net = network(4, picture_rows(4, 3, "rows"))
    posed = Question(net, np.zeros((net.knots, 2)), start, at_most, folded)
    with pytest.raises(ImpossibleError, match=words):
        route(posed)


def test_a_band_without_knots_or_of_one_thread_is_routed() -> None:
    bare = network(3, ())
    found = route(Question(bare, np.zeros((0, 2)), (1, None, None), (None, None)))
    assert found.strands[0] == 1
    assert found.proved_best
    net = network(2, picture_rows(2, 3, "rows"))
    single = route(Question(net, np.ones((3, 1)), (None, None), (None,)))
    assert (single.cost, single.lower_bound) == pytest.approx((3.0, 3.0), abs=1e-5)
