"""The search over routings with many threads: descend, disturb, descend again, keep what is better.

Iterated local search (Lourenço, Martin and Stützle 2003) with window programs and exchanges of two
threads as descent. A disturbance falsifies the costs around a bad knot for a moment, so that the same
moves lead elsewhere. Work is counted, not timed, so a seed gives the same answer anywhere.
"""

from __future__ import annotations

import time
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, colour_error
from pipeline.routing.cycles import reroute
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
        for begin in range(0, count, 8):
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
                min(count, begin + 8),
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

    def mark(self, knots: NDArray[np.bool_]) -> None:
        """Count only ``knots`` (V,) as changed."""
        self.clock.tick[0] += 1
        self.clock.changed[:] = np.where(knots, self.clock.tick[0], 0)
        for level in self.levels:
            for family in level:
                family.solved[:] = 0

    def mark_changes(self, before: Labels) -> None:
        """Count only knots on wires whose label differs from ``before`` as changed."""
        knots = self.board.ends[before != self.labels].ravel()
        changed = np.zeros(len(self.board.wire), np.bool_)
        changed[knots[knots >= 0]] = True
        self.mark(changed)

    def local_exchange(self, cost: NDArray[np.float64], low: int, high: int) -> None:
        """Exchange all pairs of threads present in rows ``low`` … ``high``, in random order."""
        board = self.board
        order = np.flatnonzero((board.row >= low) & (board.row <= high)).astype(np.int32)
        present = np.unique(self.labels[board.wire[order, :2]])
        pairs = list(combinations(present.tolist(), 2))
        before = int(self.desk.work[0])
        old = self.labels.copy()
        for i in self.random.permutation(len(pairs)):
            s, t = pairs[i]
            reroute(board, cost, self.labels, s, t, order, self.desk, 200)
        self.meter.spend(int(self.desk.work[0]) - before)
        knots = board.ends[old != self.labels].ravel()
        self.clock.tick[0] += 1
        self.clock.changed[knots[knots >= 0]] = self.clock.tick[0]

    def disturb(self, centre: int) -> None:
        """Falsify the costs around knot ``centre`` and let a few moves follow them."""
        board, random = self.board, self.random
        row, position = int(board.row[centre]), int(board.position[centre])
        reach, wide = int(random.choice(self.REACH)), int(random.choice(self.WIDE))
        low, high = row - reach, row + reach
        near = (board.row >= low) & (board.row <= high) & (abs(board.position - position) <= wide)
        noisy = board.cost.copy()
        sigma = random.choice(self.SIGMA)
        noisy[near] *= np.exp(sigma * random.standard_normal((int(near.sum()), board.threads)))
        self.mark(near)
        self.note = {("reach", reach), ("wide", wide), ("sigma", sigma)}
        ex = not board.light and random.random() < self.EX
        self.note.add(("ex", ex))
        if ex:
            self.local_exchange(noisy, low, high)
        level = int(random.choice(self.LEVEL))
        self.note.add(("level", level))
        if level and level <= len(self.levels):
            for family in self.levels[level - 1]:
                self.sweep(noisy, family, low, high)

    REACH = (2, 4, 8, 16)
    WIDE = (3, 6, 12, 99)
    SIGMA = (0.2, 0.4, 0.8)
    EX = 0.5
    LEVEL = (0, 2, 3, 4)
    FIN = (3, 4)

    def improve(self, best: Labels, bound: float) -> Labels:
        """Search on from ``best`` until the effort is spent or the bound is met; return the best found."""
        board, random = self.board, self.random
        self.labels[:] = best
        recount(board, self.labels, self.desk)
        self.touch(0, 1 << 30)
        self.descend(2, len(self.levels))
        current = best_cost = float(colour_error(board, self.labels))
        kept, best = self.labels.copy(), self.labels.copy()
        self.stats = {}
        self.iterations = 0
        while best_cost - bound > 1e-6 * max(1.0, best_cost) and not self.meter.over():
            self.iterations += 1
            w0 = self.meter.spent
            t0 = time.process_time()
            self.meter.cost = best_cost
            pain = shown(board, self.labels)
            total = pain.sum()
            if total <= 0:
                break
            self.disturb(int(random.choice(len(pain), p=pain / total)))
            self.mark_changes(kept)
            if not board.light and random.random() < self.EX2:
                rows = board.row[self.clock.changed == self.clock.tick[0]]
                if len(rows):
                    self.local_exchange(board.cost, int(rows.min()) - 3, int(rows.max()) + 3)
            fin = int(random.choice(self.FIN))
            self.note.add(("fin", fin))
            self.descend(2, min(fin, len(self.levels)))
            now = float(colour_error(board, self.labels))
            for key in [*self.note, ("all",)]:
                a = self.stats.setdefault(key, [0, 0, 0, 0, 0])
                a[0] += 1
                a[1] += now < current - 1e-9
                a[2] += max(0, current - now)
                a[3] += (self.meter.spent - w0) / 1e9
                a[4] += time.process_time() - t0
            if now <= current + 1e-9:
                current = now
                kept[:] = self.labels
                if now < best_cost - 1e-9:
                    best_cost = now
                    best[:] = self.labels
            else:
                self.labels[:] = kept
                recount(board, self.labels, self.desk)
        return best

    EX2 = 0.5


def shown(board: Board, labels: Labels) -> NDArray[np.float64]:
    """(V,) cost of what shows at each knot."""
    knots = np.arange(len(board.wire))
    return np.minimum(
        board.cost[knots, labels[board.wire[:, 0]]], board.cost[knots, labels[board.wire[:, 1]]]
    )
