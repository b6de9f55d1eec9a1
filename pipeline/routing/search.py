"""The engine: labels on a board, and the moves that make them better.

Moves are windows over strips of the board (``sweep``) and exchanges of two threads, everywhere or within some
rows (``exchange``). Each can work under costs falsified for a moment, windows under a price on hand-overs
too, and none raises what it works on.
The search over many threads descends, disturbs and descends again (iterated local search; Lourenço, Martin
and Stützle 2003). Work is counted, not timed, so a seed gives the same answer anywhere.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, at_edge, colour_error, shown
from pipeline.routing.exchange import exchange
from pipeline.routing.meter import Meter
from pipeline.routing.sweep import Step, Strips, clock, families, strips, sweep
from pipeline.routing.windows import desk, recount

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STATES = 9000
"""Windows get no wider than this many states."""
WIDEST = 8
EXCHANGE_WORK = 2e3
"""Units of work of an exchange, for each knot that it goes through."""
SETTING_UP = 2e7
"""Units of work of laying out a board for a quick descent."""
HAND_OVER = 1e-3
"""Price of a hand-over in ΔE that tells equals apart in a quick descent."""
EVERYWHERE = 1 << 30
REACH = (8, 16, 30, EVERYWHERE)
"""Rows on either side of a bad knot whose costs a disturbance falsifies."""
SPREAD = (0.2, 0.4, 0.8, 1.2)
"""Standard deviations of the logarithm of a falsified cost."""


class Search:
    """Labels (edges,), and the moves that improve them under a ``price`` (V,) of a hand-over at each knot."""

    def __init__(self, board: Board, meter: Meter, seed: int = 0) -> None:
        self.board, self.meter = board, meter
        self.random = np.random.default_rng(seed)
        self.labels: Labels = np.zeros(len(board.ends), np.int8)
        self.best: Labels | None = None
        self.price = np.zeros(board.knots)
        self.middle: Bools = board.in_rows & ~at_edge(board.row)
        self.thorough = False
        """Whether moves run on after the effort is spent (not after a deadline)."""
        self._desk = desk(board, self.labels, max(STATES, 64), memory=1 << 23)
        self._clock = clock(board)
        self._families = list(families(board, board.in_rows))
        self._levels: dict[int, list[Strips]] = {}
        widths = [m for m in range(1, WIDEST + 1) if board.threads ** (m + 1) <= STATES]
        self.widest = max(widths, default=1)

    @property
    def error(self) -> float:
        """Colour error of the labels."""
        return colour_error(self.board, self.labels)

    @property
    def over(self) -> bool:
        """Whether a move is to end."""
        return self.meter.late if self.thorough else self.meter.over()

    def take(self, labels: Labels) -> None:
        """Go on from ``labels``, in which everything counts as changed."""
        self.labels[:] = labels
        recount(self.board, self.labels, self._desk)
        self.touch()

    def touch(self, knots: Bools | None = None) -> None:
        """Forget what was solved: only ``knots`` (V,) count as changed, or all of them."""
        self._clock.tick[0] += 1
        tick = self._clock.tick[0]
        self._clock.changed[:] = tick if knots is None else np.where(knots, tick, 0)
        for level in self._levels.values():
            for family in level:
                family.solved[:] = 0

    def changed(self, before: Labels) -> Bools:
        """(V,) knots on wires whose label differs from ``before``."""
        knots = self.board.ends[before != self.labels].ravel()
        changed = np.zeros(self.board.knots, np.bool_)
        changed[knots[knots >= 0]] = True
        return changed

    def level(self, width: int) -> list[Strips]:
        """Strips of a width, of each family; of the widest there are where that is wider."""
        width = min(width, self.widest)
        if width not in self._levels:
            self._levels[width] = [strips(family, width) for family in self._families]
        return self._levels[width]

    # -- moves -----------------------------------------------------------------------------------------

    def sweep(self, step: Step, family: Strips, most_error: float = np.inf) -> float:
        """Solve the strips of a family where something changed; return the gain.

        With ``most_error`` strips are undone that show worse than that.
        """
        gain, count = 0.0, len(family.solved)
        at_once = 8 if most_error == np.inf else 1
        for begin in range(0, count, at_once):
            if self.over:
                break
            before, kept = int(self._desk.work[0]), self.labels.copy() if at_once == 1 else None
            which = range(begin, min(count, begin + at_once))
            gained = sweep(self.board, step, self.labels, self._desk, family, self._clock, which)
            self.meter.spend(int(self._desk.work[0]) - before)
            if kept is not None and gained > 0 and self.error > most_error:
                self.labels[:] = kept
                recount(self.board, self.labels, self._desk)
            else:
                gain += gained
        return gain

    def descend(self, first: int, last: int, *, most_error: float = np.inf) -> None:
        """Sweep with windows of width ``first`` … ``last`` until none of them gains anything."""
        step = Step(self.board.cost, self.price)
        for width in range(first, max(first, min(last, self.widest)) + 1):
            gain = 1.0
            while gain > 1e-9 and not self.over:
                gain = sum(self.sweep(step, family, most_error) for family in self.level(width))

    def exchange(self, rounds: int = 1) -> None:
        """Exchange every pair of threads, at most ``rounds`` times or until nothing changes."""
        if self.board.limited:  # a flow does not see the allowance of rows
            return
        pairs = list(combinations(range(self.board.threads), 2))
        for _ in range(rounds):
            if not self._exchanged(self.board.cost, pairs):
                break

    def exchange_near(self, cost: Floats, low: int, high: int) -> None:
        """Exchange all pairs of threads within rows ``low`` … ``high``, in random order."""
        within = np.flatnonzero((self.board.row >= low) & (self.board.row <= high))
        pairs = list(combinations(np.unique(self.labels[self.board.wire[within, :2]]).tolist(), 2))
        self._exchanged(cost, [pairs[i] for i in self.random.permutation(len(pairs))], within)

    def _exchanged(
        self, cost: Floats, pairs: list[tuple[int, int]], within: NDArray[np.int64] | None = None
    ) -> bool:
        """Exchange pairs of threads, within some knots or everywhere; return whether anything changed."""
        before, board = self.labels.copy(), self.board
        for s, t in pairs:
            if self.over:
                break
            exchange(board, cost, self.labels, s, t, within)
            self.meter.spend(EXCHANGE_WORK * (board.knots if within is None else len(within)))
        self._clock.tick[0] += 1
        self._clock.changed[self.changed(before)] = self._clock.tick[0]
        recount(board, self.labels, self._desk)
        return bool((before != self.labels).any())

    # -- what is made of them --------------------------------------------------------------------------

    def begin(self, labels: Labels) -> float:
        """Start from ``labels``, descend, and return the colour error reached."""
        self.take(labels)
        self.exchange(3)
        self.descend(2, 3)
        return self.error

    def settle(self, labels: Labels, rounds: int = 8) -> Labels:
        """Return ``labels`` after a quick descent, never worse: exchanges, and windows over columns.

        Much cheaper than a search; for asking "what would this change give?" many times over.
        """
        self.take(labels)
        self.meter.spend(SETTING_UP)
        self.price[:], self.thorough = HAND_OVER, True
        step = Step(self.board.cost, self.price)
        last, best = np.inf, self.labels.copy()
        for _ in range(rounds):
            self.exchange()
            for width in range(2, 5):
                if width <= max(2, self.widest):
                    self.sweep(step, self.level(width)[0])
            now = self.error
            if now >= last - 1e-6 or self.meter.late:
                break
            last, best = now, self.labels.copy()
        self.price[:], self.thorough = 0.0, False
        return best

    def disturb(self, centre: int) -> None:
        """Falsify the costs around knot ``centre`` and let a few moves follow them."""
        board, random = self.board, self.random
        reach = int(random.choice(REACH))
        low, high = int(board.row[centre]) - reach, int(board.row[centre]) + reach
        near = (board.row >= low) & (board.row <= high)
        false, price = board.cost.copy(), np.zeros(board.knots)
        false[near] *= np.exp(
            random.choice(SPREAD) * random.standard_normal((int(near.sum()), board.threads))
        )
        self.touch(near)
        if not board.limited:
            self.exchange_near(false, low, high)
        elif random.random() < 0.5:
            price[near] = random.choice((0.05, 0.2)) * board.cost.max()
        for family in self.level(int(random.choice((2, 3)))):
            self.sweep(Step(false, price, (low, high)), family)

    def improve(self, best: Labels, bound: float) -> Labels:
        """Search on from ``best`` until the effort is spent or the bound is met; return the best found.

        ``self.best`` always holds the best so far, for who interrupts the search.
        """
        board, random = self.board, self.random
        self.best = best.copy()
        self.take(best)
        self.descend(2, self.widest)
        current = self.error
        self.best[:] = self.labels
        while current - bound > 1e-6 * max(1.0, current) and not self.meter.over():
            self.meter.cost = current
            pain = shown(board, self.labels)
            self.disturb(int(random.choice(len(pain), p=pain / pain.sum())))
            moved = self.changed(self.best)
            if moved.any():
                self.touch(moved)
                if not board.limited and random.random() < 0.5:
                    rows = board.row[moved]
                    self.exchange_near(board.cost, int(rows.min()) - 3, int(rows.max()) + 3)
                self.descend(2, int(random.choice((3, 4))))
            now = self.error
            if now <= current + 1e-9:
                current = now
                self.best[:] = self.labels
            else:
                self.labels[:] = self.best
                recount(board, self.labels, self._desk)
        return self.best
