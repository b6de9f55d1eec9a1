"""A band with a motif that repeats: one period is routed, closed, and tied again and again.

Before and after the repeats the band may differ: these rows begin, or end, with the threads in the order in
which they hang in the period. What comes before is routed from its end: a knot lets out the threads that
came in, so the rows read backwards are a band too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat, network
from pipeline.routing.board import Labels, board, solution, tie
from pipeline.routing.bound import strip_bound
from pipeline.routing.meter import Meter
from pipeline.routing.question import Budget, Question, Routed, Stopped
from pipeline.routing.reversal import backwards

PERIOD, ENDS, BOUND = 0.8, 0.1, 0.1
"""Shares of the effort for the period, for what comes before and after, and for the bound of each repeat
that is not bound to close: bands that repeat nothing may cost less."""

Router = Callable[[Question, Budget], Routed]


def route_repeated(question: Question, budget: Budget, route: Router, at_once: Router) -> Routed:
    """Route one period and lay it out; ``route`` answers questions about the rows around, ``at_once`` does
    so too for the first routing that is heard of.

    The bound is of all bands, whether they repeat or not.
    """
    repeat = question.repeat
    if repeat is None:
        raise ValueError("the question repeats nothing")
    period = replace(part(question, repeat.first, repeat.first + repeat.rows), closed=True)
    hear, budget = budget.first, replace(budget, first=None)

    def first(once: Routed) -> None:
        if hear is not None:
            hear(solution(question, laid_out(question, repeat, once, budget, at_once), 0.0))

    once = route(period, replace(_share(budget, PERIOD), first=first))
    bound, stopped = 0.0, once.stopped
    labels = laid_out(question, repeat, once, budget, route)
    if once.cost > 0 and not budget.late:
        laid, meter = board(replace(period, closed=False)), Meter(budget, period.network.knots)
        least = strip_bound(laid, BOUND * meter.allowed, lambda: meter.late, enough=once.cost)
        bound = repeat.times * min(least.bound, once.cost)
    if stopped is Stopped.DONE:
        stopped = budget.ended
    return solution(question, labels, bound, stopped)


def laid_out(question: Question, repeat: Repeat, once: Routed, budget: Budget, route: Router) -> Labels:
    """The routing of the whole band that ties one period over and over."""
    strands, ahead, rest = reach(question, repeat, once.strands, budget, route)
    return tie(question.network, strands, np.concatenate([ahead, *[once.swaps] * repeat.times, rest]))


def reach(
    question: Question, repeat: Repeat, hanging: NDArray[np.int64], budget: Budget, route: Router
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Route what comes before and after the repeats, where ``hanging`` are the threads in the period's order.

    Returns the threads to start with, the swaps before and the swaps after.
    """
    strands, ahead, rest = hanging, np.zeros(0, dtype=bool), np.zeros(0, dtype=bool)
    if repeat.first:
        before = backwards(part(question, 0, repeat.first))
        found = route(_hanging(before, hanging), _share(budget, ENDS / 2))
        strands = tie(before.network, found.strands, found.swaps)[before.network.last].astype(np.int64)
        ahead = found.swaps[::-1]
    if repeat.stop < len(question.network.rows):
        after = part(question, repeat.stop, len(question.network.rows))
        rest = route(_hanging(after, hanging), _share(budget, ENDS / 2)).swaps
    return strands, ahead, rest


def part(question: Question, first: int, stop: int) -> Question:
    """The question of rows ``first`` … ``stop`` − 1 alone; but for the first row, free to begin anyhow."""
    net = question.network
    knots = slice(*np.searchsorted(net.row, [first, stop]).tolist())
    return replace(
        question,
        network=network(net.strands, net.rows[first:stop]),
        costs=question.costs[knots],
        allowance=question.allowance[first:stop],
        start=(None,) * net.strands if first else question.start,
        folded=() if first else question.folded,
        repeat=None,
    )


def _hanging(question: Question, strands: NDArray[np.int64]) -> Question:
    """The question with the threads that hang before it."""
    return replace(question, start=tuple(strands.tolist()), at_most=(None,) * question.threads)


def _share(budget: Budget, share: float) -> Budget:
    return replace(budget, effort=share * budget.effort)
