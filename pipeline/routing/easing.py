"""Strips of a band re-solved with a price on hand-overs of different threads.

A knot in mid-row has the full price, one at a row's edge a small share of it, one of a diagonal row none.
A low price sorts out needless hand-overs, a falling one lets in those that pay, a forbidding one keeps a
plain band plain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Labels, board, colour_error, hand_overs, middle, row_worked
from pipeline.routing.meter import Meter
from pipeline.routing.question import Question
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


class Easing:
    """Re-solves strips of a board with a price on hand-overs."""

    def __init__(self, problem: Question, meter: Meter) -> None:
        laid = self.board = board(problem)
        self.meter = meter
        self.rows = row_worked(problem.network)
        self.middle = middle(problem.network)
        self.weight = np.where(self.middle, 1.0, np.where(self.rows, AT_EDGE, 0.0))
        self.top = float(laid.cost.max(initial=0.0))
        self._labels = np.zeros(len(laid.ends), np.int8)
        self._desk = desk(laid, self._labels, STATES, memory=1 << 23)
        self._clock = clock(laid)
        around = list(families(laid, self.rows))
        widths = [m for m in range(2, 6) if laid.threads ** (m + 1) <= STATES] or [1]
        self._levels = [[strips(family, m) for family in around] for m in widths]

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

    def keep_plain(self, labels: Labels) -> Labels:
        """Re-solve strips of a question whose allowances are 0."""
        self._begin(labels)
        for level in self._levels[:3]:
            self._descend(level, np.zeros(self.board.knots))
        return self._labels.copy()

    def mid_row(self, labels: Labels) -> int:
        """Hand-overs in mid-row."""
        return int((hand_overs(self.board, labels) & self.middle).sum())

    def rank(self, labels: Labels) -> tuple[int, int]:
        """Hand-overs in mid-row, and all of row work."""
        return self.mid_row(labels), int((hand_overs(self.board, labels) & self.rows).sum())

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
        centre = int(laid.row[random.choice(np.flatnonzero(hand_overs(laid, labels) & self.middle))])
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
