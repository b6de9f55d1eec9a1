"""The front door of the router: choose the method, run it within its budget, recount the answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
from threadpoolctl import threadpool_limits

from pipeline.routing.beam import complete, follow
from pipeline.routing.board import Board, Labels, board, colour_error, row_worked, solution
from pipeline.routing.bound import strip_bound
from pipeline.routing.closed import route_closed
from pipeline.routing.ease import fewer_hand_overs, hasty_plain
from pipeline.routing.exchange import exchange
from pipeline.routing.leader import applies, improve_leader
from pipeline.routing.meter import Meter
from pipeline.routing.plain import is_plain, solve_plain
from pipeline.routing.prices import certified
from pipeline.routing.question import Budget, Question, Routed, Stopped, proved, require_possible
from pipeline.routing.repeated import route_repeated
from pipeline.routing.search import EVERYWHERE, Search
from pipeline.routing.starts import Guide, ladder, starts
from pipeline.routing.warm import compiler

STARTING, STRIPS, GUIDED = 0.4, 0.12, 0.52
"""Where rows are diagonal-worked: share of the effort spent by the end of the beams under prices of wires,
share that goes into the prices of strips, share spent by the end of the beams that look ahead over these.
"""
STRIPS_IN_ROWS, GUIDED_IN_ROWS, GUIDED_LIGHT = 0.25, 0.7, 0.85
"""The last two where all is row-worked; at light ease the search after the beams gains little."""
PROMISING = 1.15
"""Row-worked routings are exchanged where they come so near to the best after a short descent."""
LONGER = 2.0
"""How much more than a row-worked knot a diagonal-worked one is given of the effort."""
LEADER = 0.35
"""Share of the effort for the leader's programs, where the whole band is row-worked at light ease."""


def route(problem: Question, budget: Budget | None = None) -> Routed:
    """Find routes of little colour error, with a certified lower bound; fewest hand-overs come second.

    Two threads at ease full are solved exactly. Raises ImpossibleError when the pins, folds and limits
    cannot be met together. A deadline or Ctrl-C (KeyboardInterrupt) returns the best so far, and
    ``Routed.stopped`` says so.
    """
    with threadpool_limits(1):  # the vectors are short: more threads of a BLAS only wait for each other
        return _route(problem, budget or Budget())


def _route(problem: Question, budget: Budget) -> Routed:
    require_possible(problem)
    if problem.closed:
        return route_closed(problem, budget)
    if problem.repeat is not None:
        return route_repeated(problem, budget, _route)
    laid = board(problem)
    if is_plain(problem):
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
    return found if stopped is Stopped.INTERRUPT else fewer_hand_overs(problem, found, budget, run.plain)


class _Run:
    """The best labels and bound so far, kept where an interrupt finds them."""

    def __init__(self, problem: Question, laid: Board, budget: Budget) -> None:
        self.problem, self.board, self.budget, self.seed = problem, laid, budget, budget.seed
        self.leads = applies(problem)
        effort = budget.effort * (1 - LEADER * self.leads)
        self.meter = Meter(replace(budget, effort=effort), cells(problem))
        self.bound = 0.0
        self.best: Labels = simple(laid)
        self.plain: Labels | None = None

    @property
    def cost(self) -> float:
        return float(colour_error(self.board, self.best))

    @property
    def proved(self) -> bool:
        return proved(self.cost, self.bound)

    def keep(self, labels: Labels) -> None:
        """Remember ``labels`` if they are better."""
        if colour_error(self.board, labels) < self.cost:
            self.best = labels.copy()
            self.meter.cost = self.cost

    def search(self) -> None:
        if not len(self.board.wire) or self.proved:
            return
        laid, meter = self.board, self.meter
        if laid.threads == 2 and not laid.limited and not self.problem.folded:
            least = exchange(laid, laid.cost, self.best, 0, 1)
            self.bound = certified(least, laid)
            return
        in_rows = row_worked(self.problem.network)
        search = Search(laid, in_rows, meter, self.seed)
        try:
            self.start(search, bool(in_rows.any()), bool(in_rows.all()))
            if not self.proved:
                search.improve(self.best, self.bound)
        finally:
            if search.best is not None:
                self.keep(search.best)
        if self.leads and not self.proved:
            share = Meter(replace(self.budget, effort=LEADER * self.budget.effort), laid.knots)
            share.cost, share.bound = self.cost, self.bound
            improve_leader(self.problem, self.best, share, self.keep, self.seed)

    def raise_bound(self, bound: float) -> None:
        """Remember ``bound`` if it is better."""
        self.bound = self.meter.bound = max(self.bound, bound)

    def start(self, search: Search, some_rows: bool, all_rows: bool) -> None:
        """Raise the bound, and find a good routing to search on from."""
        board, meter = self.board, self.meter
        if some_rows:
            self.soften(search)
        prices = None
        if not all_rows and not self.proved and not meter.over():
            rungs = ladder(board, meter)
            best = max(rungs, key=lambda rung: rung.bound, default=None)
            if best is not None:
                prices = best.prices
                self.raise_bound(best.bound)
            self.draw(search, starts(board, rungs, meter, self.seed), STARTING)
        if self.proved or meter.over():
            return
        share, until = STRIPS, GUIDED
        if all_rows:
            share, until = STRIPS_IN_ROWS, GUIDED_LIGHT if board.limited else GUIDED_IN_ROWS
        priced = strip_bound(board, share * meter.allowed, lambda: meter.late, prices, enough=self.cost)
        meter.spend(priced.work)
        self.raise_bound(priced.bound)
        guide = Guide(board, priced, meter, self.seed, follow=not all_rows)
        self.draw(search, guide.draws(lambda: self.best), until)

    def soften(self, search: Search) -> None:
        """Start from routings without hand-overs, and let these come in where they pay most."""
        self.plain = hasty_plain(self.problem, self.budget)
        for start in (self.plain, simple(self.board)):
            self.keep(start)
            if self.proved or self.meter.over():
                return
            if not self.board.limited:  # many hand-overs cannot fade to one a row
                search.soften(start)
                self.keep(search.labels)

    def draw(self, search: Search, drawn: Iterator[Labels], share: float) -> None:
        """Descend from one routing after another; keep the best, with what the others do better."""
        for labels in drawn:
            self.keep(labels)
            if search.merging_pays:
                search.begin(labels)
                self.keep(search.labels)
                other = search.labels.copy()
                search.take(self.best)
                if search.merge(other) > 0:
                    search.descend(2, 3)
            else:
                search.take(labels)
                search.touch(0, EVERYWHERE)
                search.descend(2, 3)
                if colour_error(self.board, search.labels) < PROMISING * self.cost:
                    search.exchange(self.board.cost, 3)
                    search.descend(2, 3)
            self.keep(search.labels)
            if self.proved or self.meter.over() or self.meter.share >= share:
                return


def cells(problem: Question) -> int:
    """Count cells for the budget: a diagonal row ties every other one, and is searched longer for each."""
    diagonal = np.array([row.worked != "rows" for row in problem.network.rows], dtype=bool)
    knots = problem.network.knots
    return knots + int(LONGER * diagonal[problem.network.row].sum()) if knots else 0


def makeshift(problem: Question, laid: Board, budget: Budget) -> Labels:
    """Return a passable routing without compiled loops: the plain band, or exchanges of two threads."""
    best = simple(laid)
    if laid.limited:
        plain = hasty_plain(problem, budget)
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
