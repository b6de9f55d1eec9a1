"""The front door of the router: choose the method, run it within its budget, recount the answer."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from threadpoolctl import threadpool_limits

from pipeline.routing.beam import complete, follow
from pipeline.routing.board import Board, Labels, board, colour_error, solution
from pipeline.routing.bound import strip_bound
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.exchange import exchange
from pipeline.routing.leader import applies, improve_leader
from pipeline.routing.meter import Meter
from pipeline.routing.plain import solve_plain
from pipeline.routing.prices import Rung, certified
from pipeline.routing.problem import Budget, Ease, Problem, Solution, Stopped, require_possible
from pipeline.routing.search import EVERYWHERE, Search
from pipeline.routing.settle import labels_of
from pipeline.routing.starts import Guide, ladder, starts
from pipeline.routing.warm import compiler

STARTING = 0.4
"""Share of the effort that goes into prices and starts of diagonal work."""
BOUND = 0.25
"""Share of the effort for the bound of strips."""
PROMISING = 1.15
"""A guided beam is exchanged where it comes so near to the best after a short descent."""
GUIDED = 0.85
"""Share of the effort that is spent by the end of the guided beams."""
LONGER = 2.0
"""How much more than a row-worked knot a diagonal-worked one is given of the effort."""
PLAIN = 0.05
"""Share of a plain search's effort that makes a start."""
LEADER = 0.35
"""Share of the effort for the leader's programs, where the whole band is row-worked at light ease."""


def route(problem: Problem, budget: Budget | None = None) -> Solution:
    """Find routes of little colour error, with a certified lower bound; fewest hand-overs come second.

    Two threads at ease full are solved exactly. Raises ImpossibleError when the pins, folds and limits
    cannot be met together. A deadline or Ctrl-C (KeyboardInterrupt) returns the best so far, and
    ``Solution.stopped`` says so.
    """
    with threadpool_limits(1):  # the vectors are short: more threads of a BLAS only wait for each other
        return _route(problem, budget or Budget())


def _route(problem: Problem, budget: Budget) -> Solution:
    require_possible(problem)
    laid = board(problem)
    if problem.ease is Ease.PLAIN and laid.light:
        return solve_plain(problem, budget)
    compiling = compiler(budget)
    if compiling is not None:
        passable = makeshift(problem, laid, budget)
        if not compiling.done(budget):
            return solution(problem, passable, 0.0, budget.ended)
    run = _Run(problem, laid, budget)
    stopped = Stopped.DONE
    try:
        run.search()
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE and not run.proved:
        stopped = run.meter.ended
    run.meter.tell(always=True)
    found = solution(problem, run.best, run.bound, stopped)
    return found if stopped is Stopped.INTERRUPT else fewer_hand_overs(problem, found, budget)


class _Run:
    """The best labels and bound so far, kept where an interrupt finds them."""

    def __init__(self, problem: Problem, laid: Board, budget: Budget) -> None:
        self.problem, self.board, self.budget, self.seed = problem, laid, budget, budget.seed
        self.leads = applies(problem)
        effort = budget.effort * (1 - LEADER * self.leads)
        self.meter = Meter(replace(budget, effort=effort), cells(problem))
        self.bound = 0.0
        self.best: Labels = simple(laid)

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
        if not len(self.board.wire) or self.proved:
            return
        laid, meter = self.board, self.meter
        if laid.threads == 2 and not laid.light and not self.problem.folded:
            least = exchange(laid, laid.cost, self.best, 0, 1)
            self.bound = certified(least, laid)
            return
        in_rows = np.array([row.worked == "rows" for row in self.problem.network.rows])
        in_rows = in_rows[self.problem.network.row]
        search = Search(laid, in_rows, meter, self.seed)
        try:
            rungs = [] if in_rows.all() else ladder(laid, meter)
            self.raise_bound([rung.bound for rung in rungs])
            self.start(search, rungs, bool(in_rows.any()))
            if not self.proved and not meter.over():
                start = max(rungs, key=lambda rung: rung.bound).prices if rungs else None
                found = strip_bound(
                    laid,
                    (1 + laid.light) * BOUND * meter.allowed,
                    lambda: meter.late,
                    start,
                    enough=self.cost,
                )
                meter.spend(found.work)
                self.raise_bound([found.bound])
                if in_rows.any():
                    self.guided(search, Guide(laid, found, meter, self.seed))
            if not self.proved:
                search.improve(self.best, self.bound)
        finally:
            if search.best is not None:
                self.keep(search.best)
        if self.leads and not self.proved:
            share = Meter(replace(self.budget, effort=LEADER * self.budget.effort), laid.knots)
            share.cost, share.bound = self.cost, self.bound
            improve_leader(self.problem, self.best, share, self.keep, self.seed)

    def raise_bound(self, bounds: list[float]) -> None:
        """Remember the largest of ``bounds`` if it is better."""
        self.bound = self.meter.bound = max([self.bound, *bounds])

    def start(self, search: Search, rungs: list[Rung], some_rows: bool) -> None:
        """Try several starts; keep the best after a short descent, with what the others do better."""
        meter = self.meter
        if some_rows:
            for start in (self.from_plain(), simple(self.board)):
                self.keep(start)
                if self.board.light:
                    continue  # many hand-overs cannot fade to one a row
                search.soften(start)
                self.keep(search.labels)
                if self.proved or meter.over():
                    return
        for labels in starts(self.board, rungs, meter, self.seed):
            self.keep(labels)
            search.begin(labels)
            self.keep(search.labels)
            other = search.labels.copy()
            search.take(self.best)
            if search.merge(other) > 0:
                search.descend(2, 3)
                self.keep(search.labels)
            if self.proved or meter.over() or meter.share >= STARTING:
                return

    def guided(self, search: Search, guide: Guide) -> None:
        """Draw routings from beams that look ahead; keep the best after a short descent."""
        while not self.proved and not self.meter.over() and self.meter.share < GUIDED:
            labels = guide.draw(self.best)
            if labels is not None:
                self.keep(labels)
                search.take(labels)
                search.touch(0, EVERYWHERE)
                search.descend(2, 3)
                if colour_error(self.board, search.labels) < PROMISING * self.cost:
                    search.exchange(self.board.cost, 3)
                    search.descend(2, 3)
                self.keep(search.labels)

    def from_plain(self) -> Labels:
        """The plain band."""
        hasty = replace(self.budget, effort=PLAIN * self.budget.effort, reporter=None)
        plain = solve_plain(replace(self.problem, ease=Ease.PLAIN), hasty)
        return labels_of(self.problem.network, plain)


def cells(problem: Problem) -> int:
    """Count cells for the budget: a diagonal row ties every other one, and is searched longer for each."""
    diagonal = np.array([row.worked != "rows" for row in problem.network.rows], dtype=bool)
    knots = problem.network.knots
    return knots + int(LONGER * diagonal[problem.network.row].sum()) if knots else 0


def makeshift(problem: Problem, laid: Board, budget: Budget) -> Labels:
    """Return a passable routing without compiled loops: the plain band, or exchanges of two threads."""
    best = simple(laid)
    if laid.light:
        hasty = replace(budget, effort=PLAIN * budget.effort, reporter=None)
        plain = labels_of(problem.network, solve_plain(replace(problem, ease=Ease.PLAIN), hasty))
        return min(best, plain, key=lambda labels: colour_error(laid, labels))
    for s, t in combinations(range(laid.threads), 2):
        if budget.late:
            break
        exchange(laid, laid.cost, best, s, t)
    return best


def simple(laid: Board) -> Labels:
    """Return a legal routing at once: every knot swaps, each strand has what shows best at its knots."""
    hanging, wishes = laid.partner.copy(), np.zeros((laid.strands, laid.threads))
    for v, p in enumerate(laid.position):
        wishes[hanging[p]] += laid.cost[v]
        wishes[hanging[p + 1]] += laid.cost[v]
        hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    threads = laid.pin.copy()
    if (laid.at_most >= laid.strands).all():
        starts = np.flatnonzero((laid.weight[: laid.strands] > 0) & (threads[: laid.strands] < 0))
        threads[starts] = wishes[starts].argmin(axis=1)
    complete(laid, threads)
    labels = follow(laid, np.zeros(len(laid.wire), np.bool_), threads)
    return labels
