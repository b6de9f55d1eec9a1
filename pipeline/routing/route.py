"""The front door of the router: choose the method, run it within its budget, recount the answer."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from threadpoolctl import threadpool_limits

from pipeline.routing.beam import complete, follow
from pipeline.routing.board import Board, Labels, at_edge, board, colour_error, hand_overs, solution
from pipeline.routing.bound import Priced, certified, strip_bound
from pipeline.routing.closed import end_as_begun, one_run, steady
from pipeline.routing.ease import fewer_hand_overs
from pipeline.routing.exchange import exchange
from pipeline.routing.leader import applies, improve_leader
from pipeline.routing.meter import Meter
from pipeline.routing.plain import is_plain, plain_labels, solve_plain
from pipeline.routing.question import Budget, Question, Routed, Stopped, proved, require_possible
from pipeline.routing.repeated import route_repeated
from pipeline.routing.search import Search
from pipeline.routing.starts import FEWEST, Guide
from pipeline.routing.warm import compiler

STRIPS, BEAMS = 0.12, 0.52
"""Where rows are diagonal-worked: share of the effort that goes into the prices of strips, and share spent by
the end of the beams that look ahead over these.
"""
STRIPS_IN_ROWS, BEAMS_IN_ROWS, BEAMS_LIMITED = 0.25, 0.7, 0.85
"""The same where all is row-worked; where hand-overs are limited the search after the beams gains little."""
PROMISING = 1.15
"""Routings are exchanged where they come so near to the best after a short descent."""
LONGER = 2.0
"""How much more than a row-worked knot a diagonal-worked one is given of the effort."""
LEADER, HOMEWARD = 0.35, 0.05
"""Shares of the effort for the leader's programs, where they apply: at last, and for each closed band."""


def route(problem: Question, budget: Budget | None = None) -> Routed:
    """Find routes of little colour error, with a certified lower bound; fewest hand-overs come second.

    Two threads with any number of hand-overs are solved exactly. Raises ImpossibleError when the pins, folds
    and limits cannot be met together, ValueError for a closed band that cannot close. A deadline or Ctrl-C
    (KeyboardInterrupt) returns the best so far, and ``Routed.stopped`` says so.
    """
    with threadpool_limits(1):  # the vectors are short: more threads of a BLAS only wait for each other
        return _route(problem, budget or Budget())


def _route(problem: Question, budget: Budget) -> Routed:
    require_possible(problem)
    if problem.repeat is not None:
        return route_repeated(problem, budget, _route, _at_once)
    if is_plain(problem) and (not problem.closed or one_run(problem)):
        return solve_plain(problem, budget)
    run = _Run(problem, budget)
    stopped = Stopped.DONE
    try:
        run.begin()
        if run.finished:
            return solution(problem, run.best, run.bound)
        compiling = compiler(budget)
        if budget.first is not None:
            budget.first(solution(problem, run.best, run.bound))
        if compiling is not None and not compiling.done(budget, run.meter.tell):
            return solution(problem, run.best, run.bound, budget.ended)
        if not run.proved:
            run.search()
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE and not run.proved:
        stopped = run.meter.ended
    run.meter.tell(always=True)
    found = solution(problem, run.best, run.bound, stopped)
    return found if stopped is Stopped.INTERRUPT else fewer_hand_overs(problem, found, budget, run.plain)


def _at_once(problem: Question, budget: Budget) -> Routed:
    return solution(problem, simple(board(problem)), 0.0)


class _Run:
    """The best labels and bound so far, kept where an interrupt finds them."""

    def __init__(self, problem: Question, budget: Budget) -> None:
        self.problem, self.budget = problem, budget
        self.board = board(problem)
        self.open = replace(problem, closed=False)
        self.open_board = board(self.open) if problem.closed else self.board
        self.leading = LEADER * applies(problem)
        self.meter = Meter(replace(budget, effort=budget.effort * (1 - self.leading)), cells(problem))
        self.bound = 0.0
        self.best: Labels = steady(self.board, problem) if problem.closed else simple(self.board)
        self.plain: Labels | None = self.best if problem.closed else None

    @property
    def cost(self) -> float:
        return colour_error(self.board, self.best)

    @property
    def proved(self) -> bool:
        return proved(self.cost, self.bound)

    @property
    def finished(self) -> bool:
        """Whether the best is proved and has no hand-over in mid-row."""
        inside = self.board.in_rows & ~at_edge(self.board.row)
        return self.proved and not (hand_overs(self.board, self.best) & inside).any()

    def keep(self, labels: Labels) -> None:
        """Remember ``labels`` if they are better."""
        if colour_error(self.board, labels) < self.cost:
            self.best = labels.copy()
            self.meter.cost = self.cost

    def begin(self) -> None:
        """A passable routing without compiled loops: the plain band, exchanges of two threads."""
        laid = self.board
        if laid.in_rows.any() and (not self.problem.closed or one_run(self.problem)):
            self.plain = plain_labels(self.problem, self.budget)
            if colour_error(laid, self.plain) <= self.cost:  # of equals it reads most simply
                self.best = self.plain
        if laid.limited or self.proved:
            return
        exact = laid.threads == 2 and not self.problem.folded
        for s, t in combinations(range(laid.threads), 2):
            if self.budget.late and not exact:
                break
            least = exchange(laid, laid.cost, self.best, s, t)
            if exact:
                self.bound = certified(least, laid)

    def search(self) -> None:
        """Raise the bound, and search until the effort is spent."""
        search = Search(self.board, self.meter, self.budget.seed)
        try:
            if not self.board.limited:  # else narrow windows would spoil the plain band before it is improved
                search.begin(self.best)
                self.keep(search.labels)
            self.draw(search)
            if not self.proved:
                search.improve(self.best, self.bound)
        finally:
            if search.best is not None:
                self.keep(search.best)
        self.lead(self.best, self.leading)

    def lead(self, labels: Labels, share: float) -> None:
        """Improve labels by programs of the leader, where they apply."""
        if self.leading and not self.proved:
            meter = Meter(replace(self.budget, effort=share * self.budget.effort), self.board.knots)
            meter.cost, meter.bound = self.cost, self.bound
            improve_leader(self.problem, labels, meter, self.keep, self.budget.seed)
            self.meter.spend(meter.spent)

    def raise_bound(self) -> Priced | None:
        """Raise the bound by strips; None where there is no effort left for it."""
        laid, meter = self.open_board, self.meter  # what holds for any band holds for one that closes
        if self.proved or meter.over():
            return None
        share = STRIPS_IN_ROWS if laid.in_rows.all() else STRIPS
        priced = strip_bound(laid, share * meter.allowed, lambda: meter.late, enough=self.cost)
        meter.spend(priced.work)
        self.bound = meter.bound = max(self.bound, priced.bound)
        return priced

    def draw(self, search: Search) -> None:
        """Raise the bound by strips; descend from one beam over them after another, and keep the best."""
        laid, meter, priced = self.board, self.meter, self.raise_bound()
        if priced is None or self.proved:
            return
        until = BEAMS
        if laid.in_rows.all():
            until = BEAMS_LIMITED if laid.limited else BEAMS_IN_ROWS
        guide = Guide(self.open, priced, meter, self.budget.seed, follow=not laid.in_rows.all())
        if meter.spent + FEWEST * guide.work > until * meter.allowed:
            return
        free = Search(self.open_board, meter, self.budget.seed) if self.problem.closed else None
        for labels in guide.draws(lambda: self.best):
            if free is None or self.close(labels, priced, free):
                self.keep(labels)
                search.take(labels)
                search.descend(2, 3)
                if search.error < PROMISING * self.cost:
                    search.exchange(3)
                    search.descend(2, 3)
                self.keep(search.labels)
                if free is not None:
                    self.lead(search.labels, HOMEWARD)
            if self.proved or (meter.share >= until and guide.drawn >= FEWEST):
                return

    def close(self, labels: Labels, priced: Priced, free: Search) -> bool:
        """Let ``labels`` of a band end with the threads with which it begins; False if that fails.

        ``free``: a search on the open board, which improves them before.
        """
        free.take(labels)
        free.descend(2, 3)
        strands = free.labels[: self.board.strands]
        hung = replace(self.open, start=tuple(strands.tolist()))
        found = Guide(hung, priced, self.meter, self.budget.seed, end=strands).draw(labels)
        if found is None or not end_as_begun(hung, found):
            return False
        labels[:] = found
        return True


def cells(problem: Question) -> int:
    """Count cells for the budget: a diagonal row ties every other one, and is searched longer for each."""
    diagonal = np.array([row.worked != "rows" for row in problem.network.rows], dtype=bool)
    knots = problem.network.knots
    return knots + int(LONGER * diagonal[problem.network.row].sum()) if knots else 0


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
    return follow(laid, np.zeros(laid.knots, np.bool_), threads)
