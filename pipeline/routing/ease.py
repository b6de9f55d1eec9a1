"""Few hand-overs: the third goal, after colour and switching rows.

A hand-over in mid-row is work for the maker. Two ways lead to bands with few of them. One starts from a
band that shows the picture as well as can be, and re-solves strips of it with a small price on each
hand-over, never letting the colour error rise. The other starts from the plain band, which has none, and
lowers the price step by step, so that hand-overs come in where they pay most; it often ends in a better
picture too, which makes it a start for the search of full ease (a homotopy in the price). How few there
could be is not known: they are sought, not proved.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.routing.board import Labels, colour_error, middle, solution
from pipeline.routing.easing import Easing
from pipeline.routing.meter import Meter
from pipeline.routing.plain import solve_plain
from pipeline.routing.question import Budget, Ease, Question, Routed, Stopped
from pipeline.routing.settle import labels_of

SHARE = 0.1
"""Share of a search's effort that goes into having few hand-overs."""
HASTY = 0.05
"""Share of a plain search's effort that finds the plain band to begin with; it is not proved here."""


def fewer_hand_overs(
    problem: Question, found: Routed, budget: Budget = Budget(), plain: Labels | None = None
) -> Routed:
    """Return a routing with as few mid-row hand-overs as the effort finds, and no more colour error.

    ``found`` is a legal routing of the problem; its bound is kept. ``plain``: the labels of ``hasty_plain``,
    where they are at hand. Where the plain band is as good, it is the answer, as it reads most simply: two
    threads free of bounds come out as one leader over bases of the other thread.
    """
    if not middle(problem.network).any():
        return found
    labels = labels_of(problem.network, found).astype(np.int8)
    meter = Meter(replace(budget, effort=SHARE * budget.effort, reporter=None), problem.network.knots)
    easing = Easing(problem, meter)
    best = _Best(easing, labels)
    stopped = found.stopped
    try:
        plain = hasty_plain(problem, budget) if plain is None else plain
        best.offer(plain)
        if best.mid_row:
            best.offer(easing.reduce(labels, best.most_error))
            eased = easing.lower_prices(plain, best.most_error)
            best.offer(easing.reduce(eased, best.most_error))
            random = np.random.default_rng(budget.seed)
            while best.mid_row and not meter.over():  # disturbing needs a hand-over to begin with
                best.offer(easing.disturb(best.labels, best.most_error, random))
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE:
        stopped = meter.ended
    return solution(problem, best.labels, found.lower_bound, stopped)


def hasty_plain(problem: Question, budget: Budget) -> Labels:
    """The plain band as a start, with a small share of the effort."""
    hasty = replace(budget, effort=HASTY * budget.effort, reporter=None)
    found = solve_plain(problem.eased(Ease.PLAIN), hasty)
    return labels_of(problem.network, found).astype(np.int8)


class _Best:
    """The labels with the fewest hand-overs among those that show no worse than the start."""

    def __init__(self, easing: Easing, labels: Labels) -> None:
        self._easing = easing
        self.labels = labels
        error = float(colour_error(easing.board, labels))
        self.most_error = error + 1e-9 * max(1.0, error)
        self._rank = easing.rank(labels)

    @property
    def mid_row(self) -> int:
        return self._rank[0]

    def offer(self, labels: Labels) -> None:
        """Keep ``labels`` if they show no worse than the start and have no more hand-overs."""
        if colour_error(self._easing.board, labels) <= self.most_error:
            rank = self._easing.rank(labels)
            if rank <= self._rank:
                self.labels, self._rank = labels, rank
