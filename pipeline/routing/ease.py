"""Few hand-overs: the third goal, after colour and switching rows.

A hand-over in mid-row is work for the maker. Two ways lead to bands with few of them. One starts from a
band that shows the picture as well as can be, and re-solves strips of it with a small price on each
hand-over, never letting the colour error rise. The other starts from the plain band, which has none, and
lowers the price step by step, so that hand-overs come in where they pay most (a homotopy in the price). How
few there could be is not known: they are sought, not proved.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.routing.board import Labels, board, colour_error, hand_overs, labels_of, solution
from pipeline.routing.meter import Meter
from pipeline.routing.plain import plain_labels
from pipeline.routing.question import Budget, Question, Routed, Stopped
from pipeline.routing.search import Floats, Search

SHARE = 0.1
"""Share of a search's effort that goes into having few hand-overs."""
FALLING = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002)
"""Prices of a hand-over on the way from none to many, as shares of the largest cost of a cell."""
AT_EDGE = 1 / 50
"""Price of a hand-over at an edge, where it is a change of leader, as a share of one in mid-row."""


def fewer_hand_overs(
    problem: Question, found: Routed, budget: Budget = Budget(), plain: Labels | None = None
) -> Routed:
    """Return a routing with as few mid-row hand-overs as the effort finds, and no more colour error.

    ``found`` is a legal routing of the problem; its bound is kept. ``plain``: the labels of the plain band,
    where they are at hand. Where that is as good, it is the answer, as it reads most simply: two threads free
    of bounds come out as one leader over bases of the other thread.
    """
    laid, labels = board(problem), labels_of(problem.network, found)
    meter = Meter(replace(budget, effort=SHARE * budget.effort, reporter=None), problem.network.knots)
    thrift = _Thrift(Search(laid, meter, budget.seed), labels)
    if not thrift.search.middle.any():
        return found
    stopped = found.stopped
    try:
        plain = plain_labels(problem, budget) if plain is None else plain
        thrift.offer(plain)
        if thrift.mid_row:
            thrift.reduce(labels)
            thrift.lower_prices(plain)
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPT
    if stopped is Stopped.DONE:
        stopped = meter.ended
    return solution(problem, thrift.labels, found.lower_bound, stopped)


class _Thrift:
    """The labels with the fewest hand-overs among those that show no worse than the start."""

    def __init__(self, search: Search, labels: Labels) -> None:
        self.search, self.labels = search, labels
        error = colour_error(search.board, labels)
        self.most_error = error + 1e-9 * max(1.0, error)
        self._rank = self._ranked(labels)
        at_edge = np.where(search.board.in_rows, AT_EDGE, 0.0)
        self._price: Floats = np.where(search.middle, 1.0, at_edge) * search.board.cost.max(initial=0.0)

    @property
    def mid_row(self) -> int:
        """Hand-overs in mid-row."""
        return self._rank[0]

    def _ranked(self, labels: Labels) -> tuple[int, int]:
        """Hand-overs in mid-row, and all of row work."""
        made = hand_overs(self.search.board, labels)
        return int((made & self.search.middle).sum()), int((made & self.search.board.in_rows).sum())

    def offer(self, labels: Labels) -> None:
        """Keep ``labels`` if they show no worse than the start and have no more hand-overs."""
        if colour_error(self.search.board, labels) <= self.most_error:
            rank = self._ranked(labels)
            if rank <= self._rank:
                self.labels, self._rank = labels.copy(), rank

    def reduce(self, labels: Labels) -> None:
        """Re-solve strips with a small price on each hand-over while the colour error stays allowed."""
        self.search.take(labels)
        self.search.price[:] = FALLING[-1] * self._price
        self.search.descend(2, 5, most_error=self.most_error)
        self.offer(self.search.labels)

    def lower_prices(self, plain: Labels) -> None:
        """From a plain band, let hand-overs in as their price falls, until it shows well enough."""
        self.search.take(plain)
        for share in FALLING:
            self.search.touch()
            self.search.price[:] = share * self._price
            self.search.descend(2, 4)
            if self.search.meter.over() or self.search.error <= self.most_error:
                break
        self.reduce(self.search.labels.copy())
