"""The search over routings with many threads: descend, disturb, descend again, keep what is better.

Iterated local search (Lourenço, Martin and Stützle 2003) with window programs and exchanges of two
threads as descent. A disturbance falsifies the costs around a bad knot for a moment, so that the same
moves lead elsewhere. Work is counted, not timed, so a seed gives the same answer anywhere.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, colour_error
from pipeline.routing.exchange import exchange
from pipeline.routing.meter import Meter
from pipeline.routing.sweep import Strips, clock, families, strips, sweep
from pipeline.routing.windows import desk, recount

STATES = 9000
"""Windows get no wider than this many states."""
MARGIN = 8
"""How far along its strip a window reaches beyond what has changed."""
EXCHANGE_WORK = 3e3
"""Units of work of an exchange, for each knot."""


class Search:
    """Labels that only get better, and the tools that improve them."""

    def __init__(self, board: Board, rows_worked: NDArray[np.bool_], meter: Meter, seed: int) -> None:
        self.board = board
        self.meter = meter
        self.random = np.random.default_rng(seed)
        self.labels = np.zeros(len(board.ends), np.int8)
        self.desk = desk(board, self.labels, max(STATES, 64), memory=1 << 23)
        self.clock = clock(board)
        self.free = np.zeros(len(board.wire))
        widest = 1
        while board.threads ** (widest + 2) <= STATES and widest < 8:
            widest += 1
        around = list(families(board, rows_worked))
        self.levels = [
            [strips(board, across, along, m) for across, along in around] for m in range(1, widest + 1)
        ]

    # -- descent ---------------------------------------------------------------------------------------

    def touch(self, low: int, high: int) -> None:
        """Forget what was solved: only the knots of rows ``low`` … ``high`` count as changed."""
        self.clock.tick[0] += 1
        rows = self.board.row
        self.clock.changed[:] = 0
        self.clock.changed[(rows >= low) & (rows <= high)] = self.clock.tick[0]
        for level in self.levels:
            for family in level:
                family.solved[:] = 0

    def sweep(self, cost: NDArray[np.float64], family: Strips, low: int = 0, high: int = 1 << 30) -> float:
        """Solve the strips of a family where something changed; return the gain."""
        gain, count = 0.0, len(family.solved)
        for begin in range(0, count, 4):
            if self.meter.over():
                break
            before = int(self.desk.work[0])
            gain += sweep(
                self.board,
                cost,
                self.free,
                self.labels,
                self.desk,
                family,
                self.clock,
                begin,
                min(count, begin + 4),
                MARGIN,
                low,
                high,
            )
            self.meter.spend(int(self.desk.work[0]) - before)
        return gain

    def descend(self, first: int, last: int) -> None:
        """Sweep with windows of width ``first`` … ``last`` until none of them gains anything."""
        for level in self.levels[first - 1 : last]:
            gain = 1.0
            while gain > 0 and not self.meter.over():
                gain = sum(self.sweep(self.board.cost, family) for family in level)

    def exchange(self, cost: NDArray[np.float64], rounds: int = 1) -> None:
        """Exchange every pair of threads, at most ``rounds`` times or until nothing changes."""
        if self.board.light:
            return
        for _ in range(rounds):
            before = self.labels.copy()
            for s, t in combinations(range(self.board.threads), 2):
                if self.meter.over():
                    break
                exchange(self.board, cost, self.labels, s, t)
                self.meter.spend(EXCHANGE_WORK * len(self.board.wire))
            wires = np.flatnonzero(before != self.labels)
            knots = self.board.ends[wires].ravel()
            self.clock.tick[0] += 1
            self.clock.changed[knots[knots >= 0]] = self.clock.tick[0]
            recount(self.board, self.labels, self.desk)
            if not len(wires):
                break

    def begin(self, labels: Labels) -> float:
        """Start from ``labels``, descend, and return the colour error reached."""
        self.labels[:] = labels
        recount(self.board, self.labels, self.desk)
        self.touch(0, 1 << 30)
        self.exchange(self.board.cost, 3)
        self.descend(2, 3)
        return float(colour_error(self.board, self.labels))

    # -- disturbance -----------------------------------------------------------------------------------

    def improve(self, best: Labels, bound: float) -> Labels:
        """Search on from ``best`` until the effort is spent or the bound is met; return the best found."""
        board, random = self.board, self.random
        rows = int(board.row.max()) + 1
        self.labels[:] = best
        recount(board, self.labels, self.desk)
        self.touch(0, 1 << 30)
        self.descend(2, len(self.levels))
        current = best_cost = float(colour_error(board, self.labels))
        kept, best = self.labels.copy(), self.labels.copy()
        while best_cost - bound > 1e-6 * max(1.0, best_cost) and not self.meter.over():
            self.meter.cost = best_cost
            pain = np.minimum(
                board.cost[np.arange(len(board.wire)), self.labels[board.wire[:, 0]]],
                board.cost[np.arange(len(board.wire)), self.labels[board.wire[:, 1]]],
            )
            if pain.sum() <= 0:
                break
            centre = int(board.row[random.choice(len(pain), p=pain / pain.sum())])
            reach = int(random.integers(3, max(4, min(20, rows))))
            low, high = centre - reach, centre + reach
            noisy = board.cost.copy()
            near = (board.row >= low) & (board.row <= high)
            noisy[near] *= np.exp(
                random.uniform(0.2, 1.0) * random.standard_normal((int(near.sum()), board.threads))
            )
            self.touch(low, high)
            if random.random() < 0.3:
                self.exchange(noisy)
            level = int(random.integers(1, min(3, len(self.levels))))
            for family in self.levels[level]:
                self.sweep(noisy, family, low, high)
            self.descend(2, min(4, len(self.levels)))
            now = float(colour_error(board, self.labels))
            if now <= current * 1.000 + 1e-9:
                current = now
                kept[:] = self.labels
                if now < best_cost - 1e-9:
                    best_cost = now
                    best[:] = self.labels
            else:
                self.labels[:] = kept
                recount(board, self.labels, self.desk)
        return best
