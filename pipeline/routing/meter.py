"""Counts the work of a search, watches the clock, and tells the reporter how it goes."""

from __future__ import annotations

import time

from pipeline.routing.question import Budget, Stopped

WORK_PER_KNOT = 1.4e6
"""Units of work that effort 1 allows a knot."""
SMALL_KNOTS, SMALL_WORK = 1000, 2.5e9
"""Bands of this size get so much work on top, smaller ones in proportion."""
REPORT_EVERY_S = 0.25


class Meter:
    """The budget of one search as it is being spent. A unit of work is about a nanosecond."""

    def __init__(self, budget: Budget, knots: int) -> None:
        self.allowed = budget.effort * (
            WORK_PER_KNOT * max(1, knots) + SMALL_WORK * min(1.0, knots / SMALL_KNOTS)
        )
        self.spent = 0.0
        self.cost = float("inf")
        self.bound = 0.0
        self._budget = budget
        self._told = 0.0

    def spend(self, work: float) -> None:
        """Add ``work`` units."""
        self.spent += work

    @property
    def late(self) -> bool:
        """Whether the deadline has passed, or somebody wants a halt."""
        return self._budget.late

    @property
    def ended(self) -> Stopped:
        """Why it is late; DONE while it is not."""
        return self._budget.ended

    @property
    def share(self) -> float:
        """The share of the effort that is spent."""
        return min(1.0, self.spent / self.allowed) if self.allowed > 0 else 1.0

    def over(self) -> bool:
        """Whether to stop: effort spent or deadline passed. Also reports, a few times a second."""
        self.tell()
        return self.share >= 1.0 or self.late

    def tell(self, *, always: bool = False) -> None:
        """Report the share done, the cost and the bound, unless that was done a moment ago."""
        reporter = self._budget.reporter
        if reporter is None:
            return
        now = time.monotonic()
        if always or now - self._told >= REPORT_EVERY_S:
            self._told = now
            reporter.routing(self.share, self.cost, self.bound)
