"""A band that closes: its threads hang at the end as at the beginning, so it can be tied over and over.

A motif that repeats is routed as one such period, whatever the number of repeats. The first routing is
steady: in diagonal rows every strand stays at its position, straight rows are crossed to and fro by one
leader. It closes, and so does whatever the moves of the router make of it, for a closed board has no other
routings.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.beam import complete, follow
from pipeline.routing.board import Board, Labels, board, colour_error, solution
from pipeline.routing.bound import strip_bound
from pipeline.routing.ease import fewer_hand_overs, hasty_plain
from pipeline.routing.exchange import exchange
from pipeline.routing.leader import applies, improve_leader
from pipeline.routing.meter import Meter
from pipeline.routing.plain import is_plain, solve_plain
from pipeline.routing.prices import certified, knot_prices
from pipeline.routing.question import Budget, Question, Routed, Stopped
from pipeline.routing.search import Search
from pipeline.routing.stretches import stretches

BOUND = 0.15
"""Share of the effort for the bound."""
STEPS, STEP_WORK = 40, 130.0
"""Steps at each smoothing to prices of wires, and units of work of all of them for a knot and two threads."""
LEADER = 0.6
"""Share of the effort for the leader's programs, where all is row-worked at an ease that binds the leader."""


def route_closed(question: Question, budget: Budget) -> Routed:
    """Route a closed question; two threads at ease full without limits are solved exactly.

    Where only an all-round return of the leader closes (straight rows), their number must be even: raises
    ValueError.
    """
    straight = _straight(question)
    if is_plain(question) and _one_run(question):
        return solve_plain(question, budget)
    laid = board(question)
    run = _Run(question, laid, straight, budget)
    stopped = Stopped.DONE
    try:
        run.search()
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE and not run.proved:
        stopped = budget.ended
    found = solution(question, run.best, run.bound, stopped)
    return found if stopped is Stopped.INTERRUPT else fewer_hand_overs(question, found, budget, run.plain)


class _Run:
    """The best labels and bound so far, kept where an interrupt finds them."""

    def __init__(self, question: Question, laid: Board, straight: NDArray[np.bool_], budget: Budget) -> None:
        self.question, self.board, self.straight, self.budget = question, laid, straight, budget
        self.meter = Meter(budget, laid.knots)
        self.best = self.plain = steady(laid, straight)
        self.bound = 0.0

    @property
    def cost(self) -> float:
        return float(colour_error(self.board, self.best))

    @property
    def proved(self) -> bool:
        return self.cost - self.bound <= 1e-6 * max(1.0, self.cost)

    def keep(self, labels: Labels) -> None:
        """Remember ``labels`` if they are better."""
        if colour_error(self.board, labels) < self.cost:
            self.best = labels.copy()
            self.meter.cost = self.cost

    def search(self) -> None:
        laid, meter = self.board, self.meter
        if self.proved:
            return
        if laid.threads == 2 and not laid.limited:
            self.bound = certified(exchange(laid, laid.cost, self.best, 0, 1), laid)
            return
        if _one_run(self.question):
            self.plain = hasty_plain(self.question, self.budget)
            self.keep(self.plain)
        self.bound = meter.bound = quick_bound(laid, self.straight, meter, BOUND, self.cost)
        if self.proved:
            return
        if applies(self.question):
            share = Meter(replace(self.budget, effort=LEADER * self.budget.effort), laid.knots)
            share.cost, share.bound = self.cost, self.bound
            improve_leader(self.question, self.best, share, self.keep, self.budget.seed)
            meter.spend(share.spent)
        if self.proved:
            return
        search = Search(laid, self.straight, meter, self.budget.seed)
        try:
            search.begin(self.best)
            self.keep(search.labels)
            search.improve(self.best, self.bound)
        finally:
            if search.best is not None:
                self.keep(search.best)


def quick_bound(laid: Board, straight: NDArray[np.bool_], meter: Meter, share: float, enough: float) -> float:
    """A certified bound for a share of the effort: of strips, in diagonal work from prices of wires on."""
    prices, bound = None, 0.0
    if not straight.all():
        prices, bound = knot_prices(laid, STEPS, lambda: meter.late)
        meter.spend(STEPS * STEP_WORK * len(laid.wire) * laid.threads**2)
    if bound < enough and not meter.over():
        priced = strip_bound(laid, share * meter.allowed, lambda: meter.late, prices, enough=enough)
        meter.spend(priced.work)
        bound = max(bound, priced.bound)
    return bound


def _one_run(question: Question) -> bool:
    """Whether all rows take turns from edge to edge."""
    runs = list(stretches(question.network))
    return len(runs) == 1 and len(runs[0].rows) == len(question.network.rows)


def _straight(question: Question) -> NDArray[np.bool_]:
    """(knots,) which are row-worked; raises ValueError for an odd number of straight rows."""
    rows = np.array([row.worked == "rows" and bool(row.positions) for row in question.network.rows])
    if rows.sum() % 2:
        raise ValueError(f"{int(rows.sum())} straight rows do not bring the leader back")
    return np.asarray(rows[question.network.row], dtype=bool)


def steady(laid: Board, straight: NDArray[np.bool_]) -> Labels:
    """The best routing in which diagonal knots stay and straight ones swap (of one leader, if any)."""
    n, k = laid.strands, laid.threads
    meets = np.zeros((n - 1, k, k))
    np.add.at(meets, laid.position, np.minimum(laid.cost[:, :, None], laid.cost[:, None]))
    threads = laid.pin.copy()
    if (laid.at_most >= n).all():
        allowed = np.where((threads[:n, None] < 0) | (threads[:n, None] == np.arange(k)), 0.0, np.inf)
        if not straight.any():
            threads[:n] = _neighbours(meets, allowed)
        elif laid.position[straight.argmax()] == 0:
            threads[:n] = _leading(meets, allowed)
        else:  # the leader sets out from the right edge
            threads[:n] = _leading(meets[::-1], allowed[::-1])[::-1]
    complete(laid, threads)
    return follow(laid, ~straight, threads)


def _leading(meets: NDArray[np.float64], allowed: NDArray[np.float64]) -> NDArray[np.int64]:
    """The best thread of a leader at position 0, and of the base that it meets at each position."""
    bases = meets + allowed[1:, None]
    leader = int((bases.min(axis=2).sum(axis=0) + allowed[0]).argmin())
    return np.append(leader, bases[:, leader].argmin(axis=1))


def _neighbours(meets: NDArray[np.float64], allowed: NDArray[np.float64]) -> NDArray[np.int64]:
    """The best thread at each position where neighbours meet (a program along the positions)."""
    value, came = allowed[0], []
    for p, pair in enumerate(meets):
        total = value[:, None] + pair
        came.append(total.argmin(axis=0))
        value = total.min(axis=0) + allowed[p + 1]
    threads = [int(value.argmin())]
    for back in reversed(came):
        threads.append(int(back[threads[-1]]))
    return np.array(threads[::-1])
