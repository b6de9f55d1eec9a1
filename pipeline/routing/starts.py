"""Starts: beams that look ahead over strips, from either end, under true and false costs.

Where a beam errs, it errs in other places from the other end of the band, under other prices and under false
costs: many different starts are worth more than wide beams.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.beam import beam
from pipeline.routing.board import Board, Labels, board, used
from pipeline.routing.bound import Priced
from pipeline.routing.lookahead import look_ahead
from pipeline.routing.meter import Meter
from pipeline.routing.question import Question
from pipeline.routing.reversal import backwards, reversible, turned, wires

BEAM_SETUP = 2e6
"""Units of work of a beam for the start alone."""
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
AMISS = 1e3
"""Price of a thread at the end that shall not hang there; no cell costs as much."""
FEWEST = 2
"""Beams are drawn where the effort suffices for so many; on soft costs two gain more than the search."""
MEMORY = 8_000_000
"""Frontiers times knots that a beam may remember."""


class Guide:
    """Beams that look ahead over strips, with a mind of how many strands of each thread the whole band takes.

    A beam chooses strands as they come to show and cannot know what the far end will need. So after a first
    beam from either end, each is told how many strands of a thread there are: what the strips take on
    average, rounded by chance, or what the best routing so far takes, with at most one strand changed.
    ``follow``: whether prices climb on under false costs, which pays where they are nearly tight. ``end``:
    (strands,) the threads that shall hang at the end; a few strands may still come out elsewhere.
    """

    def __init__(
        self,
        question: Question,
        priced: Priced,
        meter: Meter,
        seed: int,
        *,
        follow: bool = False,
        end: NDArray[np.integer] | None = None,
    ) -> None:
        self.board, self.meter, self.priced, self.follow = board(question), meter, priced, follow
        self.at_end = np.zeros((len(self.board.ends), question.threads))
        if end is not None:
            last = question.network.last
            self.at_end[last] = AMISS
            self.at_end[last, end] = 0.0
        self.random = np.random.default_rng(seed)
        self.ends = [self.board]
        if reversible(question):
            self.ends.append(board(backwards(question)))
            self.to = wires(*self.ends)
        self.drawn = 0

    @property
    def width(self) -> int:
        """Frontiers that a beam keeps."""
        return max(1, min(GUIDED, MEMORY // max(1, self.board.knots)))

    @property
    def work(self) -> float:
        """Units of work of a beam, but for its tables."""
        return BEAM_SETUP + GUIDED_WORK * self.width * self.board.knots

    def draws(self, best: Callable[[], Labels]) -> Iterator[Labels]:
        """Yield routings until the effort is spent, ``FEWEST`` at least; ``best`` tells the best so far."""
        while not self.meter.over() or (self.drawn < FEWEST and not self.meter.late):
            labels = self.draw(best())
            if labels is not None:
                yield labels

    def draw(self, best: Labels) -> Labels | None:
        """Return a routing, or None where the beam found none or was stopped."""
        laid, random, count = self.board, self.random, self.drawn
        back = count % len(self.ends) == 1
        turn = count // len(self.ends)
        self.drawn += 1
        at_most, cost = laid.at_most.astype(np.int64), laid.cost
        if turn > 0:
            at_most = self._rounded() if turn < ROUNDED else self._near(used(laid, best))
        priced = self.priced
        if turn > 1:
            cost = cost * np.exp(random.choice(FALSE) * random.standard_normal(cost.shape))
            if self.follow:
                priced = priced.under(cost, STEPS, lambda: self.meter.late)
                self.meter.spend(priced.work)
        laid = self.ends[back]._replace(at_most=at_most.astype(np.int32))
        return self._beam(laid, cost, priced, back)

    def _beam(self, laid: Board, cost: NDArray[np.float64], priced: Priced, back: bool) -> Labels | None:
        owner, toll = priced.owner, priced.toll
        # a folded start leads to two knots, maybe before its thread is known: a beam cannot pay it by halves
        prices = np.where((self.board.weight > 0)[:, None], 0.0, priced.prices + self.at_end)
        if back:
            cost, owner, toll = cost[::-1].copy(), owner[::-1].copy(), toll[::-1].copy()
            prices = turned(self.board, prices, self.to)
        ahead = look_ahead(laid, cost, prices, owner, toll)
        self.meter.spend(self.work + TABLE_WORK * len(ahead.cost))
        labels = beam(laid, cost, prices, self.width, lambda: self.meter.late, ahead=ahead)
        return labels if labels is None or not back else labels[self.to]

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
