"""Starts for boards with diagonal work: beams under fine prices, from either end, under true and false costs.

The dual of diagonal work is nearly tight, so that finely smoothed prices lead a beam close to the best.
Where it errs, it errs in other places from the other end of the band, under other prices and under false
costs: many different starts are worth more than wide beams.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.routing.beam import beam
from pipeline.routing.board import Board, Labels
from pipeline.routing.meter import Meter
from pipeline.routing.prices import Rung, climb
from pipeline.routing.reversal import reverse, reversible, turned

SMOOTHINGS = (10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01)
"""Smoothing in ΔE while climbing to prices, one after another."""
MOST_STEPS = 600
"""Steps at most at each smoothing."""
CLIMBING = 0.2
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
MEMORY = 8_000_000
"""Frontiers times knots that a beam may remember."""


def ladder(board: Board, meter: Meter) -> list[Rung]:
    """Climb to prices of finer and finer smoothing, as far as the effort allows."""
    step = STEP_SETUP + STEP_WORK * len(board.wire) * board.threads**2
    steps = CLIMBING * meter.allowed / (step * len(SMOOTHINGS))
    steps = int(min(MOST_STEPS, max(5, steps)))
    rungs = []
    for rung in climb(board, steps, lambda: meter.late, SMOOTHINGS):
        meter.spend(step * steps)
        rungs.append(rung)
    return rungs


def starts(board: Board, rungs: Sequence[Rung], meter: Meter, seed: int) -> Iterator[Labels]:
    """Yield routings without end, until the deadline; their work is charged to ``meter``."""
    random = np.random.default_rng(seed)
    both_ends = reversible(board)
    back, to = reverse(board) if both_ends else (board, np.arange(len(board.ends)))
    step = STEP_SETUP + STEP_WORK * len(board.wire) * board.threads**2
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
