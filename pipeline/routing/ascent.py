"""Climbing a concave function whose hills change slowly: L-BFGS that keeps what it has learnt.

The direction is that of Nocedal and Wright 2006, "Numerical Optimization", algorithm 7.4, with a metric of
the caller's in place of the unit matrix. Curvatures are kept when the function gives way to a finer one,
where a library's routine would begin anew. A concave function needs no more of a step than that it rises
enough (Armijo); some numbers may have to stay at zero or above, and are put back there (Bertsekas 1982).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KEPT = 8
"""Pairs of steps and changes of slope that are remembered."""
TRIES = 6
"""Shorter and shorter steps along one direction."""
RISE = 1e-4
"""Share of the rise that the slope promises with which a step is content."""


class Ascent:
    """A climb from ``at``; numbers from ``free`` on are never negative; ``metric`` spreads a slope."""

    def __init__(self, at: Floats, free: int, metric: Callable[[Floats], Floats]) -> None:
        self.at, self.free, self.metric = at, free, metric
        self._pairs: list[tuple[Floats, Floats]] = []

    def climb(
        self, height: Callable[[Floats], tuple[float, Floats]], steps: int, stop: Callable[[], bool]
    ) -> None:
        """Go up with about ``steps`` evaluations of ``height``, which gives a value and its slope."""
        here, slope = height(self.at)
        steps -= 1
        while steps > 0:
            way = self._way(slope)
            length = 1.0
            for _ in range(TRIES):
                if stop():
                    return
                at = self.at + length * way
                at[self.free :] = np.maximum(at[self.free :], 0.0)
                there, ahead = height(at)
                steps -= 1
                promised = float(slope @ (at - self.at))
                if there >= here + RISE * promised:
                    break
                # the top of the parabola through both heights and the slope here, within reason
                fall = promised - (there - here)
                length *= min(0.5, max(0.1, promised / (2 * fall))) if promised > 0 else 0.3
            else:
                if not self._pairs:
                    return
                self._pairs.clear()
                continue
            move, change = at - self.at, slope - ahead
            if move @ change > 1e-10:
                self._pairs = [*self._pairs[1 - KEPT :], (move, change)]
            self.at, here, slope = at, there, ahead

    def _way(self, slope: Floats) -> Floats:
        """The direction to go; at first one by which no number changes by more than 1."""
        way = slope.copy()
        held = np.zeros(len(way), np.bool_)
        held[self.free :] = (self.at[self.free :] <= 0) & (slope[self.free :] < 0)
        way[held] = 0.0
        shares = []
        for move, change in reversed(self._pairs):
            shares.append(float(move @ way) / float(move @ change))
            way -= shares[-1] * change
        way = self.metric(way)
        if self._pairs:
            move, change = self._pairs[-1]
            way *= float(move @ change) / float(change @ self.metric(change))
        else:
            way /= max(1e-12, float(np.abs(way).max(initial=0.0)))
        for (move, change), share in zip(self._pairs, reversed(shares), strict=True):
            way += (share - float(change @ way) / float(move @ change)) * move
        way[held] = 0.0
        return way
