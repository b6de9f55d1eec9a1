"""Switching sections: rows that show nothing asked for and let strands change places.

Two kinds of block may go between two picture rows. Diagonal rows in which every knot stays change nothing,
and neither does a straight row with its return, both crossed by one leader; so a band at hand goes on being
legal, and as good, when a block is put in, and whatever the freed knots then gain is gain. Blocks are put in
greedily where they gain most a row, in several block sizes; rows that turn out to move nothing are taken out
again. What remains is a trade-off: fewest colour errors for each number of rows.

More than n diagonal rows in one place are never useful: n alternating rows reach every order of n strands
(odd-even transposition; Habermann 1972; Knuth, The Art of Computer Programming 3, section 5.3.4).
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.knots import row_positions
from pipeline.network import Network, RowPlan, network
from pipeline.routing.board import board, hand_overs, solution
from pipeline.routing.problem import Budget, Problem, Solution
from pipeline.routing.settle import labels_of, settle

WORK = 60.0
"""Trial insertions at effort 1.0 for a band of 3,000 knots and 6 threads; scaled by size elsewhere."""


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A band with ``switching_rows`` rows put in, as a problem of its own and its solution."""

    switching_rows: int
    made: int
    colour_error: float
    problem: Problem
    wanted: NDArray[np.int64]
    """(knots,) thread wanted, −1 where nothing is asked."""
    solution: Solution


@dataclass(frozen=True, slots=True)
class _Block:
    """Rows to put in, with the swaps by which they change nothing."""

    rows: tuple[RowPlan, ...]
    swaps: bool


def count_made(net: Network, routes: Solution, wanted: NDArray[np.int64]) -> int:
    """Cells whose wanted thread meets in their knot, so that it can show."""
    labels = labels_of(net, routes)
    meets = (labels[net.into] == wanted[:, None]).any(axis=1)
    return int((meets & (wanted >= 0)).sum())


def insert_switching(
    problem: Problem, wanted: NDArray[np.int64], start: Solution, limit: int, budget: Budget
) -> tuple[Point, ...]:
    """Put in up to ``limit`` switching rows; return the trade-off from 0 rows on.

    ``problem``: without switching rows; ``wanted``: (knots,) thread index or −1; ``start``: its solution. The
    colour error falls strictly along the points, each of which is a solution recounted by tying it, and the
    last one has the fewest rows found for its colour error. ``Solution.lower_bound`` of the points beyond the
    first is 0: nothing is certified for a longer band until it is bounded as a problem of its own.
    """
    first = _Band.of(problem, wanted, start).point()
    points = {0: first}
    trials = _Trials(budget, problem)
    for size in _sizes(limit, problem.network.strands):
        band = _Band.of(problem, wanted, start)
        while band.inserted + size <= limit and not trials.spent and band.error > 1e-6:
            longer = _best_block(band, size, trials)
            if longer is None:
                break
            band = longer.trimmed()
            kept = points.get(band.inserted)
            if kept is None or band.error < kept.colour_error - 1e-6:
                points[band.inserted] = band.point()
    return _falling(points)


def _falling(points: dict[int, Point]) -> tuple[Point, ...]:
    """Keep the points that are better than every one with fewer rows."""
    kept: list[Point] = []
    for rows in sorted(points):
        if not kept or points[rows].colour_error < kept[-1].colour_error - 1e-6:
            kept.append(points[rows])
    return tuple(kept)


def _sizes(limit: int, strands: int) -> tuple[int, ...]:
    """Block sizes to try: the whole limit, then halves of it, down to 1."""
    size, sizes = min(limit, strands), []
    while size >= 1:
        sizes.append(size)
        size //= 2
    return tuple(sizes)


@dataclass(slots=True)
class _Trials:
    """Counts trial insertions against the budget."""

    budget: Budget
    problem: Problem
    done: float = 0.0

    @property
    def spent(self) -> bool:
        late = self.budget.deadline is not None and time.monotonic() >= self.budget.deadline
        return late or self.done >= WORK * self.budget.effort

    def count(self, knots: int) -> None:
        k = self.problem.threads
        self.done += knots / 3000 * k * (k - 1) / 30


@dataclass(frozen=True, slots=True, eq=False)
class _Band:
    """A band with some rows put in, and its routes as strands and swaps."""

    problem: Problem
    wanted: NDArray[np.int64]
    strands: NDArray[np.int64]
    swaps: NDArray[np.bool_]
    error: float

    @classmethod
    def of(cls, problem: Problem, wanted: NDArray[np.int64], routes: Solution) -> _Band:
        return cls(problem, wanted, routes.strands, routes.swaps, routes.cost)

    @property
    def inserted(self) -> int:
        return sum(row.picture is None for row in self.problem.network.rows)

    def gaps(self) -> list[int]:
        """Row indices before which a block may go: between picture rows, not within a section."""
        rows = self.problem.network.rows
        return [r for r in range(len(rows)) if rows[r].picture is not None]

    def with_block(self, gap: int, block: _Block) -> _Band:
        """Put in a block before row ``gap``; the routes change nothing there."""
        net = self.problem.network
        rows = (*net.rows[:gap], *block.rows, *net.rows[gap:])
        at = int(np.searchsorted(net.row, gap))
        new = sum(len(row.positions) for row in block.rows)
        return self._rebuilt(
            rows,
            np.insert(self.problem.costs, [at] * new, 0.0, axis=0),
            np.insert(self.wanted, [at] * new, -1),
            np.insert(self.swaps, [at] * new, block.swaps),
        )

    def _rebuilt(
        self,
        rows: tuple[RowPlan, ...],
        costs: NDArray[np.float64],
        wanted: NDArray[np.int64],
        swaps: NDArray[np.bool_],
    ) -> _Band:
        longer = replace(self.problem, network=network(self.problem.network.strands, rows), costs=costs)
        return _Band(longer, wanted, self.strands, swaps, self.error)

    def settled(self) -> _Band:
        """Improve the routes by a quick descent."""
        laid = board(self.problem)
        labels = labels_of(self.problem.network, self.routes())
        error = settle(laid, labels, self.problem.ease, rounds=3)
        strands = labels[: laid.strands].astype(np.int64)
        return _Band(self.problem, self.wanted, strands, ~hand_overs(laid, labels), error)

    def routes(self) -> Solution:
        return Solution(self.strands, self.swaps, self.error, 0.0)

    def trimmed(self) -> _Band:
        """Take out diagonal switching rows at the ends of their section in which nothing moves."""
        net = self.problem.network
        labels = labels_of(net, self.routes())
        moves = self.swaps & (labels[net.into[:, 0]] != labels[net.into[:, 1]])
        moving = np.zeros(len(net.rows), dtype=bool)
        np.logical_or.at(moving, net.row, moves)
        free = np.array([row.picture is None and row.worked == "diagonal" for row in net.rows])
        drop = np.zeros(len(net.rows), dtype=bool)
        for order in (range(len(net.rows)), range(len(net.rows) - 1, -1, -1)):
            edge = True
            for r in order:
                edge = (edge or not free[r]) and not (free[r] and moving[r])
                drop[r] |= free[r] and edge
        if not drop.any():
            return self
        rows = tuple(row for row, gone in zip(net.rows, drop, strict=True) if not gone)
        keep = ~drop[net.row]
        return self._rebuilt(rows, self.problem.costs[keep], self.wanted[keep], self.swaps[keep])

    def point(self) -> Point:
        labels = labels_of(self.problem.network, self.routes())
        routes = solution(self.problem, labels, 0.0)
        made = count_made(self.problem.network, routes, self.wanted)
        return Point(self.inserted, made, routes.cost, self.problem, self.wanted, routes)


def _blocks(strands: int, size: int) -> Iterator[_Block]:
    """Blocks of ``size`` rows: diagonal of either parity, and straight there and back."""
    for parity in (0, 1):
        yield _Block(
            tuple(RowPlan("diagonal", row_positions(strands, parity + i, "diagonal")) for i in range(size)),
            False,
        )
    if size == 2:
        for turn in (0, 1):
            yield _Block(
                tuple(RowPlan("rows", row_positions(strands, turn + i, "rows")) for i in range(2)), True
            )


def _best_block(band: _Band, size: int, trials: _Trials) -> _Band | None:
    """The band with one block of ``size`` rows more where it gains most; None if nothing gains."""
    gaps = band.gaps()
    step = max(1, len(gaps) // 12)
    tried: dict[int, _Band] = {}

    def attempt(i: int) -> float:
        if i not in tried and 0 <= i < len(gaps) and not trials.spent:
            best = None
            for block in _blocks(band.problem.network.strands, size):
                longer = band.with_block(gaps[i], block).settled()
                trials.count(longer.problem.network.knots)
                if best is None or longer.error < best.error - 1e-9:
                    best = longer
                if size > 2:
                    break
            assert best is not None
            tried[i] = best
        return tried[i].error if i in tried else np.inf

    for i in range(step // 2, len(gaps), step):
        attempt(i)
    while step > 1 and tried:
        step = (step + 1) // 2 if step > 2 else 1
        centre = min(tried, key=lambda i: (tried[i].error, i))
        for i in (centre - step, centre + step):
            attempt(i)
    if not tried:
        return None
    best = min(tried.values(), key=lambda b: b.error)
    return best if best.error < band.error - 1e-6 else None
