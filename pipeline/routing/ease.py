"""Few hand-overs: the third goal, after colour and switching rows.

A hand-over in mid-row is work for the maker. Two ways lead to bands with few of them. One starts from a
band that shows the picture as well as can be, and re-solves strips of it with a small price on each
hand-over, never letting the colour error rise. The other starts from the plain band, which has none, and
lowers the price step by step, so that hand-overs come in where they pay most; it often ends in a better
picture too, which makes it a start for the search of full ease (a homotopy in the price). How few there
could be is not known: they are sought, not proved.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, board, colour_error, hand_overs, solution
from pipeline.routing.meter import Meter
from pipeline.routing.plain import solve_plain
from pipeline.routing.problem import Budget, Ease, Problem, Solution, Stopped
from pipeline.routing.settle import labels_of
from pipeline.routing.sweep import Strips, clock, families, strips, sweep
from pipeline.routing.windows import desk, recount

STATES = 9000
"""Most states of a window."""
MARGIN = 8
"""How far along its strip a window reaches beyond what has changed."""
FALLING = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002)
"""Prices of a hand-over on the way from plain to full ease, as shares of the largest cost of a cell."""
AT_EDGE = 1 / 50
"""Price of a hand-over at an edge, where it is a change of leader, as a share of one in mid-row."""
SHARE = 0.2
"""Share of a search's effort that goes into having few hand-overs."""
HASTY = 0.05
"""Share of a plain search's effort that finds the plain band to begin with; it is not proved here."""


def fewer_hand_overs(problem: Problem, found: Solution, budget: Budget = Budget()) -> Solution:
    """Return a routing with as few mid-row hand-overs as the effort finds, and no more colour error.

    ``found`` is a legal routing of the problem; its bound is kept. Where the plain band is as good, it is
    the answer, as it reads most simply: two threads free of bounds come out as one leader over bases of
    the other thread.
    """
    laid = board(problem)
    labels = labels_of(problem.network, found).astype(np.int8)
    if not laid.counted.any():
        return found
    meter = Meter(replace(budget, effort=SHARE * budget.effort, reporter=None), laid.knots)
    easing = Easing(laid, _row_worked(problem), meter)
    best = _Best(easing, labels)
    stopped = found.stopped
    try:
        plain = _plain(problem, budget)
        best.offer(plain)
        if best.mid_row:
            best.offer(easing.reduce(labels, best.most_error))
            eased = easing.lower_prices(plain, best.most_error)
            best.offer(easing.reduce(eased, best.most_error))
            random = np.random.default_rng(budget.seed)
            while best.mid_row and not meter.over():  # disturbing needs a hand-over to begin with
                best.offer(easing.disturb(best.labels, best.most_error, random))
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if meter.late and stopped is Stopped.DONE:
        stopped = Stopped.TIME
    return solution(problem, best.labels, found.lower_bound, stopped)


def _plain(problem: Problem, budget: Budget) -> Labels:
    hasty = replace(budget, effort=HASTY * budget.effort, reporter=None)
    found = solve_plain(replace(problem, ease=Ease.PLAIN), hasty)
    return labels_of(problem.network, found).astype(np.int8)


def _row_worked(problem: Problem) -> NDArray[np.bool_]:
    return np.array([row.worked == "rows" for row in problem.network.rows], dtype=bool)


def _mid_row(laid: Board, labels: Labels) -> int:
    return int((hand_overs(laid, labels) & laid.counted).sum())


class _Best:
    """The labels with the fewest hand-overs among those that show no worse than the start."""

    def __init__(self, easing: Easing, labels: Labels) -> None:
        self._easing = easing
        self.labels = labels
        error = float(colour_error(easing.board, labels))
        self.most_error = error + 1e-9 * max(1.0, error)
        self._rank = self._ranked(labels)

    def _ranked(self, labels: Labels) -> tuple[int, int]:
        stays = hand_overs(self._easing.board, labels) & self._easing.rows
        return _mid_row(self._easing.board, labels), int(stays.sum())

    @property
    def mid_row(self) -> int:
        return self._rank[0]

    def offer(self, labels: Labels) -> None:
        """Keep ``labels`` if they show no worse than the start and have no more hand-overs."""
        if colour_error(self._easing.board, labels) <= self.most_error:
            rank = self._ranked(labels)
            if rank <= self._rank:
                self.labels, self._rank = labels, rank


class Easing:
    """Re-solves strips of a board with a price on hand-overs."""

    def __init__(self, laid: Board, row_worked: NDArray[np.bool_], meter: Meter) -> None:
        self.board = laid
        self.meter = meter
        self.rows = row_worked[laid.row]
        self.weight = np.where(laid.counted, 1.0, np.where(self.rows, AT_EDGE, 0.0))
        self.top = float(laid.cost.max(initial=0.0))
        self._labels = np.zeros(len(laid.ends), np.int8)
        self._desk = desk(laid, self._labels, STATES, memory=1 << 23)
        self._clock = clock(laid)
        around = list(families(laid, row_worked))
        widths = [m for m in range(2, 6) if laid.threads ** (m + 1) <= STATES] or [1]
        self._levels = [[strips(laid, across, along, m) for across, along in around] for m in widths]

    def lower_prices(self, plain: Labels, enough: float = -1.0) -> Labels:
        """From a plain band, let hand-overs in as their price falls; stop below ``enough`` colour error."""
        self._begin(plain)
        for share in FALLING:
            self._touch(np.ones(self.board.knots, dtype=bool))
            for level in self._levels[:3]:
                self._descend(level, share * self.top * self.weight)
            if self.meter.over() or colour_error(self.board, self._labels) <= enough:
                break
        return self._labels.copy()

    def reduce(self, labels: Labels, most_error: float) -> Labels:
        """Re-solve strips with a small price on each hand-over while the colour error stays allowed."""
        self._begin(labels)
        for level in self._levels:
            self._descend(level, FALLING[-1] * self.top * self.weight, most_error)
        return self._labels.copy()

    def disturb(self, labels: Labels, most_error: float, random: np.random.Generator) -> Labels:
        """Falsify the prices around some hand-over for a moment, then reduce there again."""
        laid = self.board
        self._begin(labels)
        centre = int(laid.row[random.choice(np.flatnonzero(hand_overs(laid, labels) & laid.counted))])
        reach = int(random.integers(3, 20))
        near = np.abs(laid.row - centre) <= reach
        price = FALLING[-1] * self.top * self.weight
        noisy = price.copy()
        noisy[near] *= np.exp(random.uniform(0.3, 1.5) * random.standard_normal(int(near.sum())))
        self._touch(near)
        self._sweep(self._levels[0], noisy, most_error, (centre - reach, centre + reach))
        self._touch(near)
        for level in self._levels[:2]:
            self._descend(level, price, most_error)
        return self._labels.copy()

    def _begin(self, labels: Labels) -> None:
        self._labels[:] = labels
        recount(self.board, self._labels, self._desk)
        self._touch(np.ones(self.board.knots, dtype=bool))

    def _touch(self, knots: NDArray[np.bool_]) -> None:
        """Forget what was solved: only these knots count as changed."""
        self._clock.tick[0] += 1
        self._clock.changed[:] = np.where(knots, self._clock.tick[0], 0)
        for level in self._levels:
            for family in level:
                family.solved[:] = 0

    def _descend(self, level: list[Strips], price: NDArray[np.float64], most_error: float = np.inf) -> None:
        while self._sweep(level, price, most_error) > 1e-9 and not self.meter.over():
            pass

    def _sweep(
        self,
        level: list[Strips],
        price: NDArray[np.float64],
        most_error: float,
        rows: tuple[int, int] = (0, 1 << 30),
    ) -> float:
        """Solve each strip of the level where something changed; undo those that show too badly."""
        gain = 0.0
        for family in level:
            for strip in range(len(family.solved)):
                if self.meter.over():
                    return gain
                kept = self._labels.copy()
                before = int(self._desk.work[0])
                gained = sweep(
                    *(self.board, self.board.cost, price, self._labels, self._desk, family, self._clock),
                    *(strip, strip + 1, MARGIN, *rows),
                )
                self.meter.spend(int(self._desk.work[0]) - before)
                if gained > 0 and colour_error(self.board, self._labels) > most_error:
                    self._labels[:] = kept
                    recount(self.board, self._labels, self._desk)
                else:
                    gain += gained
        return gain
