"""The search over routings with many threads: descend, disturb, descend again, keep what is better.

Iterated local search (Lourenço, Martin and Stützle 2003) with window programs and exchanges of two
threads as descent. A disturbance falsifies the costs around a bad knot, or everywhere, for a moment, so
that the same moves lead elsewhere. Work is counted, not timed, so a seed gives the same answer anywhere.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, at_edge, colour_error
from pipeline.routing.cycles import reroute
from pipeline.routing.exchange import exchange
from pipeline.routing.meter import Meter
from pipeline.routing.sweep import Strips, clock, families, strips, sweep
from pipeline.routing.windows import desk, recount, solve

STATES = 9000
"""Windows get no wider than this many states."""
MARGIN = 8
"""How far along its strip a window reaches beyond what has changed."""
EXCHANGE_WORK = 3e3
"""Units of work of an exchange over the whole board, for each knot."""
EVERYWHERE = 1 << 30
REACH = (8, 16, 30, EVERYWHERE)
"""Rows on either side of a bad knot whose costs a disturbance falsifies."""
SPREAD = (0.2, 0.4, 0.8, 1.2)
"""Standard deviations of the logarithm of a falsified cost."""
FALLING = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002)
"""Prices of a hand-over from plain to full ease, as shares of the largest cost of a cell."""
AT_EDGE = 0.02
"""Price of a hand-over at an edge as a share of one in mid-row."""
CYCLES = 200
"""Cycles cancelled at most in one local exchange."""
BOTH = 11
"""Widest strip in which two routings are merged: 2 to this power and one more are within ``STATES``."""


class Search:
    """Labels that only get better, and the tools that improve them."""

    def __init__(self, board: Board, rows_worked: NDArray[np.bool_], meter: Meter, seed: int) -> None:
        self.board = board
        self.meter = meter
        self.random = np.random.default_rng(seed)
        self.labels = np.zeros(len(board.ends), np.int8)
        self.best: Labels | None = None
        self.desk = desk(board, self.labels, max(STATES, 64), memory=1 << 23)
        self.clock = clock(board)
        self.free = np.zeros(len(board.wire))
        self.middle = rows_worked & ~at_edge(board.row)
        widest = 1
        while board.threads ** (widest + 2) <= STATES and widest < 8:
            widest += 1
        around = list(families(board, rows_worked))
        self.levels = [[strips(family, m) for family in around] for m in range(1, widest + 1)]
        self.merging_pays = not rows_worked.all()
        self.merging = [strips(family, BOTH) for family in around]

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
        if self.board.limited:
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

    def take(self, labels: Labels) -> None:
        """Go on from ``labels``."""
        self.labels[:] = labels
        recount(self.board, self.labels, self.desk)

    def begin(self, labels: Labels) -> float:
        """Start from ``labels``, descend, and return the colour error reached."""
        self.take(labels)
        self.touch(0, 1 << 30)
        self.exchange(self.board.cost, 3)
        self.descend(2, 3)
        return float(colour_error(self.board, self.labels))

    def merge(self, other: Labels) -> float:
        """Take over from ``other`` what is better there; return the gain.

        A wire may keep its thread or take that of ``other``. So few states are left that windows reach far,
        over all knots in doubt where these are few, else over wide strips (cf. the fusion moves of
        Lempitsky, Rother, Roth and Blake 2010).
        """
        board, desk = self.board, self.desk
        doubt = self.changed(other)
        if not doubt.any():
            return 0.0
        before, work, gain = self.labels.copy(), int(desk.work[0]), 0.0
        desk.mask[:] = (1 << before.astype(np.int64)) | (1 << other.astype(np.int64))
        whole = solve(board, board.cost, self.free, self.labels, np.flatnonzero(doubt).astype(np.int32), desk)
        self.meter.spend(int(desk.work[0]) - work)
        if whole < 0:
            self.mark(doubt)
            for family in self.merging:
                family.solved[:] = 0
                gain += self.sweep(board.cost, family)
        desk.mask[:] = -1
        self.mark(self.changed(before))
        return gain + max(float(whole), 0.0)

    def soften(self, labels: Labels) -> float:
        """Start from ``labels`` under a high price on hand-overs and let it fall; return the colour error.

        Hand-overs then come in first where they pay most, and the whole keeps its shape (a homotopy).
        """
        self.labels[:] = labels
        recount(self.board, self.labels, self.desk)
        weight = np.where(self.middle, 1.0, AT_EDGE) * self.board.cost.max(initial=0.0)
        for share in FALLING:
            self.free[:] = share * weight
            self.touch(0, EVERYWHERE)
            self.descend(3, 3)
        self.free[:] = 0.0
        self.touch(0, EVERYWHERE)
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

    def changed(self, before: Labels) -> NDArray[np.bool_]:
        """(V,) knots on wires whose label differs from ``before``."""
        knots = self.board.ends[before != self.labels].ravel()
        changed = np.zeros(len(self.board.wire), np.bool_)
        changed[knots[knots >= 0]] = True
        return changed

    def exchange_near(self, cost: NDArray[np.float64], low: int, high: int) -> None:
        """Exchange all pairs of threads within rows ``low`` … ``high``, in random order."""
        board, desk = self.board, self.desk
        order = np.flatnonzero((board.row >= low) & (board.row <= high)).astype(np.int32)
        pairs = list(combinations(np.unique(self.labels[board.wire[order, :2]]).tolist(), 2))
        before, work = self.labels.copy(), int(desk.work[0])
        for i in self.random.permutation(len(pairs)):
            if self.meter.late:
                break
            reroute(board, cost, self.labels, *pairs[i], order, desk, CYCLES)
        self.meter.spend(int(desk.work[0]) - work)
        self.clock.tick[0] += 1
        self.clock.changed[self.changed(before)] = self.clock.tick[0]

    def disturb(self, centre: int) -> None:
        """Falsify the costs around knot ``centre`` and let a few moves follow them."""
        board, random = self.board, self.random
        reach = int(random.choice(REACH))
        low, high = int(board.row[centre]) - reach, int(board.row[centre]) + reach
        near = (board.row >= low) & (board.row <= high)
        false = board.cost.copy()
        false[near] *= np.exp(
            random.choice(SPREAD) * random.standard_normal((int(near.sum()), board.threads))
        )
        self.mark(near)
        level = self.levels[min(int(random.choice((2, 3))), len(self.levels)) - 1]
        if not board.limited:
            self.exchange_near(false, low, high)
        elif random.random() < 0.5:
            self.free[near] = random.choice((0.05, 0.2)) * board.cost.max()
        for family in level:
            self.sweep(false, family, low, high)
        self.free[:] = 0.0

    def improve(self, best: Labels, bound: float) -> Labels:
        """Search on from ``best`` until the effort is spent or the bound is met; return the best found.

        ``self.best`` always holds the best so far, for who interrupts the search.
        """
        board, random = self.board, self.random
        self.best = best.copy()
        self.labels[:] = best
        recount(board, self.labels, self.desk)
        self.touch(0, EVERYWHERE)
        self.descend(2, len(self.levels))
        current = float(colour_error(board, self.labels))
        self.best[:] = self.labels
        while current - bound > 1e-6 * max(1.0, current) and not self.meter.over():
            self.meter.cost = current
            pain = shown(board, self.labels)
            self.disturb(int(random.choice(len(pain), p=pain / pain.sum())))
            moved = self.changed(self.best)
            if moved.any():
                self.mark(moved)
                if not board.limited and random.random() < 0.5:
                    rows = board.row[moved]
                    self.exchange_near(board.cost, int(rows.min()) - 3, int(rows.max()) + 3)
                self.descend(2, min(int(random.choice((3, 4))), len(self.levels)))
            now = float(colour_error(board, self.labels))
            if now > current + 1e-9:
                other = self.labels.copy()
                self.labels[:] = self.best
                recount(board, self.labels, self.desk)
                if self.merging_pays:
                    now = current - self.merge(other)
                    if now < current:
                        self.descend(2, 3)
                        now = float(colour_error(board, self.labels))
            if now <= current + 1e-9:
                current = now
                self.best[:] = self.labels
        return self.best


def shown(board: Board, labels: Labels) -> NDArray[np.float64]:
    """(V,) cost of what shows at each knot."""
    knots = np.arange(len(board.wire))
    return np.minimum(
        board.cost[knots, labels[board.wire[:, 0]]], board.cost[knots, labels[board.wire[:, 1]]]
    )
