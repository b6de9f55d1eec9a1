"""What a single cell costs: the best band found in which it is made.

The cell is forced by making every other thread there dear, and the routes are descended anew from the band
at hand. The result is a real band, so its colour error is an upper bound on the least there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.routing.board import Board, Labels, board, colour_error, labels_of, shown
from pipeline.routing.exchange import exchange
from pipeline.routing.meter import Meter
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.search import EXCHANGE_WORK, Search

FORCE = 1e3
"""Price of another thread in the forced cell; CIEDE2000 stays near or below 120."""
EFFORT = 0.3
"""Effort of all cells together, as a share of a plain search's."""


def costs_if_made(
    problem: Question,
    solution: Routed,
    knots: Sequence[int],
    budget: Budget,
) -> dict[int, float]:
    """Return, for as many of ``knots`` as the budget allows, the colour error found with that cell made.

    Made means here: shows the thread that costs least. The dearest cells are tried first. A cell is missing
    from the answer if it was not tried, or if no band that makes it was found.
    """
    laid = board(problem)
    base = labels_of(problem.network, solution)
    pain = shown(laid, base)
    meter = Meter(replace(budget, effort=EFFORT * budget.effort, reporter=None), len(laid.wire))
    answers: dict[int, float] = {}
    for v in sorted(knots, key=lambda v: (-pain[v], v)):
        if meter.over():
            break
        error = _forced(laid, base.copy(), v, int(problem.costs[v].argmin()), meter)
        if error is not None:
            answers[v] = error
    return answers


def _forced(laid: Board, labels: Labels, knot: int, thread: int, meter: Meter) -> float | None:
    cost = laid.cost.copy()
    others = np.arange(laid.threads) != thread
    cost[knot, others] = FORCE
    forced = laid._replace(cost=cost)
    if not laid.limited:
        best: Labels | None = None
        for other in np.flatnonzero(others):
            tried = labels.copy()
            exchange(forced, cost, tried, thread, int(other))
            meter.spend(EXCHANGE_WORK * len(laid.wire))
            if best is None or colour_error(forced, tried) < colour_error(forced, best):
                best = tried
        assert best is not None
        labels = best
    else:
        labels = Search(forced, meter).settle(labels, rounds=2)
    made = thread in labels[laid.wire[knot, :2]]
    return float(colour_error(laid, labels)) if made else None
