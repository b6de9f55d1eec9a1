"""Starts: beams under fine prices, from either end, under true and false costs.

The dual of diagonal work is nearly tight, so that finely smoothed prices of wires lead a beam close to the
best. Row work needs a longer view: a beam that looks ahead over strips. Where a beam errs, it errs in other
places from the other end of the band, under other prices and under false costs: many different starts are
worth more than wide beams.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.beam import beam
from pipeline.routing.board import Board, Labels, used
from pipeline.routing.bound import Priced
from pipeline.routing.lookahead import look_ahead
from pipeline.routing.meter import Meter
from pipeline.routing.prices import Rung, climb
from pipeline.routing.reversal import reverse, reversible, turned

SMOOTHINGS = (10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01)
"""Smoothing in ΔE while climbing to prices, one after another."""
MOST_STEPS = 600
"""Steps at most at each smoothing."""
CLIMBING = 0.15
"""Share of the effort for climbing."""
STEP_WORK, STEP_SETUP = 32.0, 8e4
"""Units of work of a step, for each knot and pair of threads, and for the step alone."""
FALSE_STEPS, FALSE_SMOOTHINGS = 50, (0.1, 0.03)
"""Steps at each smoothing to the prices of false costs."""
SPREAD = (0.1, 0.2, 0.4)
"""Standard deviations of the logarithm of a false cost."""
NARROW, WIDE = 300, 3000
"""Frontiers kept in a beam."""
BEAM_WORK, BEAM_SETUP = 120.0, 2e6
"""Units of work of a beam, for each frontier and knot, and for the start alone."""
STEPS = 12
"""Steps by which prices follow false costs."""
CHANGED, UNLIKELY = 0.6, 0.3
"""How often one strand gets another thread, and how likely one that the strips do not ask for."""
ROUNDED = 3
"""Turns after which numbers of strands come from the best routing so far."""
GUIDED, GUIDED_WORK, TABLE_WORK = 300, 200.0, 2.0
"""Frontiers of a beam that looks ahead; units of work for each and knot, and for an entry of its tables."""
FALSE = (0.05, 0.1, 0.2)
"""Standard deviations of the logarithm of a false cost for a beam that looks ahead."""
MEMORY = 8_000_000
"""Frontiers times knots that a beam may remember."""


def ladder(board: Board, meter: Meter) -> list[Rung]:
    """Climb to prices of finer and finer smoothing, as far as the effort allows."""
    step = _step_work(board)
    steps = CLIMBING * meter.allowed / (step * len(SMOOTHINGS))
    steps = int(min(MOST_STEPS, max(5, steps)))
    rungs = []
    for rung in climb(board, steps, lambda: meter.late, SMOOTHINGS):
        meter.spend(step * steps)
        rungs.append(rung)
    return rungs


def _step_work(board: Board) -> float:
    return STEP_SETUP + STEP_WORK * len(board.wire) * board.threads**2


def starts(board: Board, rungs: Sequence[Rung], meter: Meter, seed: int) -> Iterator[Labels]:
    """Yield routings without end, until the deadline; their work is charged to ``meter``."""
    random = np.random.default_rng(seed)
    both_ends = reversible(board)
    back, to = reverse(board) if both_ends else (board, np.arange(len(board.ends)))
    step = _step_work(board)
    fine = sorted(rungs, key=lambda rung: -rung.bound)[:3]
    guides = [(board.cost, rung.prices) for rung in fine]
    count = 0
    while guides:
        width = NARROW if count % 4 < 3 else WIDE
        width = max(1, min(width, MEMORY // max(1, len(board.wire))))
        for cost, prices in guides:
            for backwards in (False, True)[: 1 + both_ends]:
                if meter.late:
                    return
                meter.spend(BEAM_SETUP + BEAM_WORK * width * len(board.wire))
                if backwards:
                    false = np.ascontiguousarray(cost[::-1])
                    labels = beam(back, false, turned(board, prices, to), width, lambda: meter.late)
                else:
                    labels = beam(board, cost, prices, width, lambda: meter.late)
                if labels is None:
                    return
                yield labels[to] if backwards else labels
        count += 1
        noise = random.choice(SPREAD) * random.standard_normal(board.cost.shape)
        cost = board.cost * np.exp(noise)
        prices = fine[int(random.integers(len(fine)))].prices
        for rung in climb(
            board._replace(cost=cost), FALSE_STEPS, lambda: meter.late, FALSE_SMOOTHINGS, prices
        ):
            prices = rung.prices
            meter.spend(step * FALSE_STEPS)
        guides = [(cost, prices)]


class Guide:
    """Beams that look ahead over strips, with a mind of how many strands of each thread the whole band takes.

    A beam chooses strands as they come to show and cannot know what the far end will need. So after a first
    beam from either end, each is told how many strands of a thread there are: what the strips take on
    average, rounded by chance, or what the best routing so far takes, with at most one strand changed.
    ``follow``: whether prices climb on under false costs, which pays where they are nearly tight.
    """

    def __init__(
        self, board: Board, priced: Priced, meter: Meter, seed: int, *, follow: bool = False
    ) -> None:
        self.board, self.meter, self.priced, self.follow = board, meter, priced, follow
        self.random = np.random.default_rng(seed)
        self.ends = [board]
        if reversible(board):
            back, self.to = reverse(board)
            self.ends.append(back)
        self.drawn = 0

    def draws(self, best: Callable[[], Labels]) -> Iterator[Labels]:
        """Yield routings until the effort is spent; ``best`` tells the best there is by then."""
        while not self.meter.over():
            labels = self.draw(best())
            if labels is not None:
                yield labels

    def draw(self, best: Labels) -> Labels | None:
        """Return a routing, or None where the beam found none or was stopped."""
        board, random, count = self.board, self.random, self.drawn
        backwards = count % len(self.ends) == 1
        turn = count // len(self.ends)
        self.drawn += 1
        at_most, cost = board.at_most.astype(np.int64), board.cost
        if turn > 0:
            at_most = self._rounded() if turn < ROUNDED else self._near(used(board, best))
        priced = self.priced
        if turn > 1:
            cost = cost * np.exp(random.choice(FALSE) * random.standard_normal(cost.shape))
            if self.follow:
                priced = priced.under(cost, STEPS, lambda: self.meter.late)
                self.meter.spend(priced.work)
        laid = self.ends[backwards]._replace(at_most=at_most.astype(np.int32))
        return self._beam(laid, cost, priced, backwards)

    def _beam(self, laid: Board, cost: NDArray[np.float64], priced: Priced, backwards: bool) -> Labels | None:
        owner, toll = priced.owner, priced.toll
        # a folded start leads to two knots, maybe before its thread is known: a beam cannot pay it by halves
        prices = np.where((self.board.weight > 0)[:, None], 0.0, priced.prices)
        if backwards:
            cost, owner, toll = cost[::-1].copy(), owner[::-1].copy(), toll[::-1].copy()
            prices = turned(self.board, prices, self.to)
        ahead = look_ahead(laid, cost, prices, owner, toll)
        width = max(1, min(GUIDED, MEMORY // max(1, len(laid.wire))))
        self.meter.spend(BEAM_SETUP + GUIDED_WORK * width * len(laid.wire) + TABLE_WORK * len(ahead.cost))
        labels = beam(laid, cost, prices, width, lambda: self.meter.late, ahead=ahead)
        return labels if labels is None or not backwards else labels[self.to]

    def _rounded(self) -> NDArray[np.int64]:
        """Numbers of strands (k,) that are the strips' on average."""
        numbers = np.floor(self.priced.strands).astype(np.int64)
        rest = np.clip(self.priced.strands - numbers, 1e-9, None)
        for _ in range(self.board.strands - int(numbers.sum())):
            thread = self.random.choice(len(rest), p=rest / rest.sum())
            numbers[thread] += 1
            rest[thread] = max(1e-9, rest[thread] - 1.0)
        return np.minimum(numbers, self.board.at_most)

    def _near(self, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
        """Numbers of strands (k,) as given, or with one changed, likely towards the strips' average."""
        numbers = numbers.copy()
        more = numbers - self.priced.strands
        off, on = (
            self.random.choice(len(weight), p=weight / weight.sum())
            for weight in (np.maximum(more, 0.0) + UNLIKELY, np.maximum(-more, 0.0) + UNLIKELY)
        )
        if self.random.random() < CHANGED and numbers[off] > 0 and numbers[on] < self.board.at_most[on]:
            numbers[off] -= 1
            numbers[on] += 1
        return numbers
