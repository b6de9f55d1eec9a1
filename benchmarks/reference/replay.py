"""Ties an answer knot by knot with the simulator, apart from anything a solver believes about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.band.knots import knot_of, tie
from pipeline.routing.question import Question


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a routing really gives: colour error, and hand-overs of different threads in row-worked rows."""

    cost: float
    hand_overs: int
    mid_row: int
    """Those of them that are neither at a row's first nor at its last knot."""
    most_in_a_row: int
    """The most of the latter in one row."""
    shown: tuple[int, ...]
    """The thread that shows at each knot."""


def replay(problem: Question, strands: Sequence[int], swaps: Sequence[bool]) -> Replayed:
    """Tie the band and count. Raises AssertionError where pins, bounds, folds or an allowance are broken."""
    threads = [int(thread) for thread in strands]
    assert len(threads) == problem.network.strands and len(swaps) == problem.network.knots
    assert all(0 <= thread < problem.threads for thread in threads)
    assert all(pin is None or pin == thread for pin, thread in zip(problem.start, threads, strict=True))
    assert all(most is None or threads.count(t) <= most for t, most in enumerate(problem.at_most))
    assert all(threads[a] == threads[b] for a, b in problem.folded)
    order = list(range(len(threads)))
    cost, knot = 0.0, 0
    everywhere, inside, shown = 0, [], []
    for row in problem.network.rows:
        in_row = 0
        for place, position in enumerate(row.positions):
            left, right = (threads[order[position + side]] for side in (0, 1))
            costs = problem.costs[knot]
            tied = tie(
                order, position, knot_of(left_ties=bool(costs[left] <= costs[right]), swaps=bool(swaps[knot]))
            )
            cost += float(costs[threads[tied.tying]])
            shown.append(threads[tied.tying])
            if row.worked == "rows" and not swaps[knot] and left != right:
                everywhere += 1
                in_row += 0 < place < len(row.positions) - 1
            knot += 1
        inside.append(in_row)
    assert all(made <= most for made, most in zip(inside, problem.allowance, strict=True))
    return Replayed(cost, everywhere, sum(inside), max(inside, default=0), tuple(shown))


def swaps_of(problem: Question, labels: np.ndarray) -> np.ndarray:
    """Which knots swap, from (edges,) thread of each edge; two strands of one thread swap."""
    into, out = problem.network.into, problem.network.out
    return (labels[out[:, 0]] == labels[into[:, 1]]) & (labels[out[:, 1]] == labels[into[:, 0]])
