"""A band with rows put in: where they may go, how the routes go on, and how they are improved.

Two kinds of block may go between two picture rows and move nothing: diagonal rows in which every knot
stays, and a straight row with its return, both crossed by one leader. What they show counts like the rows
beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import row_positions
from pipeline.band.network import RowPlan, network
from pipeline.routing.board import (
    Board,
    Labels,
    board,
    colour_error,
    faults,
    hand_overs,
    labels_of,
    shown,
    solution,
    tie,
)
from pipeline.routing.bound import strip_bound
from pipeline.routing.meter import Meter
from pipeline.routing.plain import is_plain
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.search import Search
from pipeline.routing.starts import Guide

A_START, A_KNOT = 1.6e8, 8e3
"""Units of work of routing from nothing, and what each knot and pair of threads adds."""
APART = 6
"""Rows by which calm places lie apart, and from the ends, at least."""


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A band with ``switching_rows`` rows put in, as a problem of its own and its solution."""

    switching_rows: int
    made: int
    colour_error: float
    problem: Question
    wanted: NDArray[np.int64]
    """(knots,) kind of cell, −1 where nothing is asked."""
    solution: Routed


def count_made(problem: Question, routes: Routed, wanted: NDArray[np.int64]) -> int:
    """Cells, of the kinds ``wanted`` (knots,), that are made by what shows: the cheaper of two that meet."""
    labels = labels_of(problem.network, routes)[problem.network.into].astype(np.int64)
    knots = np.arange(len(wanted))
    left, right = problem.costs[knots, labels[:, 0]], problem.costs[knots, labels[:, 1]]
    either = problem.makes(wanted, labels[:, 0]) | problem.makes(wanted, labels[:, 1])
    cheaper = problem.makes(wanted, np.where(left < right, labels[:, 0], labels[:, 1]))
    return int(np.where(left == right, either, cheaper).sum())


def calm_places(question: Question, most: int) -> list[int]:
    """Rows before which a seam may lie: where the rows beside want few threads, and not at the very ends."""
    net = question.network
    count = len(net.rows)
    by_row = np.zeros((count, question.threads))
    np.add.at(by_row, net.row, question.costs)
    near = sum(np.roll(by_row, shift, axis=0) for shift in (-2, -1, 0, 1))
    unrest = np.asarray(near).min(axis=1)
    middle = np.abs(np.arange(count) / max(1, count) - 0.5)
    places: list[int] = []
    for gap in np.lexsort((middle, unrest.round(6))).tolist():
        inside = APART <= gap <= count - APART
        if inside and all(abs(gap - other) >= APART for other in places):
            places.append(gap)
        if len(places) == most:
            break
    return places


def beside(
    question: Question, kinds: NDArray[np.int64], gap: int, rows: Sequence[RowPlan]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """What switching rows put in before row ``gap`` want: (knots, threads) costs and (knots,) kinds of cells.

    A switching row is a row of the picture said twice: each cell wants what the nearer of the two rows beside
    wants there, or the other one where that ties no knot; nothing where neither does.
    """
    net = question.network
    at = [
        {int(net.position[v]): v for v in range(*net.knots_of_row(row).indices(net.knots))}
        for row in (gap - 1, gap)
    ]
    sources = [
        near.get(p, far.get(p, -1))
        for number, row in enumerate(rows)
        for near, far in ((at, at[::-1])[2 * number >= len(rows)],)
        for p in row.positions
    ]
    said = np.array(sources, dtype=np.int64)
    known = said >= 0
    return np.where(known[:, None], question.costs[said], 0.0), np.where(known, kinds[said], -1)


@dataclass(frozen=True, slots=True)
class Block:
    """Rows to put in before row ``gap``, with the swaps by which they move nothing."""

    gap: int
    rows: tuple[RowPlan, ...]
    swaps: bool


def diagonal_block(strands: int, gap: int, rows: int, parity: int = 0) -> Block:
    positions = (row_positions(strands, parity + i, "diagonal") for i in range(min(rows, strands)))
    return Block(gap, tuple(RowPlan("diagonal", p) for p in positions), swaps=False)


def straight_block(strands: int, gap: int, turn: int) -> Block:
    """A straight row and its return; ``turn`` 0 goes out from the left edge, 1 from the right one."""
    there_and_back = (RowPlan("rows", row_positions(strands, turn + i, "rows")) for i in range(2))
    return Block(gap, tuple(there_and_back), swaps=True)


@dataclass(frozen=True, slots=True, eq=False)
class LongerBand:
    """A band with some rows put in, and its routes as strands and swaps."""

    problem: Question
    wanted: NDArray[np.int64]
    strands: NDArray[np.int64]
    swaps: NDArray[np.bool_]
    error: float

    @property
    def inserted(self) -> int:
        return sum(row.picture is None for row in self.problem.network.rows)

    @property
    def routes(self) -> Routed:
        return Routed(self.strands, self.swaps, self.error, 0.0)

    def painful(self, places: int) -> list[int]:
        """Different rows to put blocks before, so that the colour error is shared evenly among them.

        Of the rows near such a place it is the ones that show well: they are said twice.
        """
        net = self.problem.network
        labels = labels_of(net, self.routes)
        pain = shown(board(self.problem), labels)
        by_row = np.bincount(net.row, weights=pain, minlength=len(net.rows)) + 1e-9
        shares = (np.arange(places) + 0.5) / places
        twice = by_row + np.roll(by_row, 1)
        reach = len(by_row) // (2 * places) + 2
        wishes = []
        for wish in np.searchsorted(np.cumsum(by_row) / by_row.sum(), shares).tolist():
            near = range(max(1, wish - reach), min(len(by_row), wish + reach + 1))
            wishes.append(min(near, key=lambda r: (round(float(twice[r]), 6), abs(r - wish)), default=wish))
        return self._gaps(np.array(wishes, np.int64))

    def spread(self, places: int) -> list[int]:
        """Different rows to put blocks before, spread evenly."""
        rows = len(self.problem.network.rows)
        return self._gaps((np.arange(places) + 0.5) / places * rows)

    def _gaps(self, wishes: NDArray[np.floating | np.integer]) -> list[int]:
        rows = self.problem.network.rows
        open_ = [r for r in range(1, len(rows)) if rows[r].picture is not None]
        gaps: list[int] = []
        for wish in wishes:
            if open_:
                gap = min(open_, key=lambda r: (abs(r - wish), r))
                open_.remove(gap)
                gaps.append(gap)
        return sorted(gaps)

    def with_blocks(self, blocks: Sequence[Block]) -> LongerBand:
        """Put in blocks, with the allowance of the row they come before; the routes move nothing there."""
        band = self
        for block in sorted(blocks, key=lambda block: -block.gap):
            net, allowance, gap = band.problem.network, band.problem.allowance, block.gap
            costs, kinds = beside(band.problem, band.wanted, gap, block.rows)
            at = [int(np.searchsorted(net.row, block.gap))] * len(kinds)
            band = band.rebuilt(
                (*net.rows[: block.gap], *block.rows, *net.rows[block.gap :]),
                np.insert(band.problem.costs, at, costs, axis=0),
                np.insert(band.wanted, at, kinds),
                np.insert(band.swaps, at, block.swaps),
                (*allowance[:gap], *(allowance[gap],) * len(block.rows), *allowance[gap:]),
            )
        return band

    def rebuilt(
        self,
        rows: tuple[RowPlan, ...],
        costs: NDArray[np.float64],
        wanted: NDArray[np.int64],
        swaps: NDArray[np.bool_],
        allowance: tuple[int, ...],
    ) -> LongerBand:
        net = network(self.problem.network.strands, rows)
        changed = replace(self.problem, repeat=None, network=net, costs=costs, allowance=allowance)
        error = colour_error(board(changed), tie(net, self.strands, swaps))
        return LongerBand(changed, wanted, self.strands, swaps, error)

    def settled(self, meter: Meter) -> LongerBand:
        """Improve the routes by a quick descent."""
        laid = board(self.problem)
        labels = labels_of(self.problem.network, self.routes)
        return self._with(laid, Search(laid, meter).settle(labels, rounds=3))

    def searched(self, budget: Budget, seed: int) -> LongerBand:
        """Improve the routes by the router's search, until the budget is spent."""
        meter = Meter(budget, self.problem.network.knots)
        laid = board(self.problem)
        if is_plain(self.problem):
            return self.settled(meter)
        search = Search(laid, meter, seed)
        return self._with(laid, search.improve(labels_of(self.problem.network, self.routes), 0.0))

    @property
    def work_anew(self) -> float:
        """Units of work of routing from nothing, before the descent."""
        knots, pairs = self.problem.network.knots, self.problem.threads**2
        return A_START + A_KNOT * knots * pairs

    def routed_anew(self, meter: Meter, seed: int) -> LongerBand:
        """Route from nothing, guided by prices; keep the routes at hand if they are better."""
        laid = board(self.problem)
        if is_plain(self.problem):
            return self
        priced = strip_bound(laid, self.work_anew / 2, lambda: meter.late)
        meter.spend(priced.work)
        labels = Guide(self.problem, priced, meter, seed).draw(labels_of(self.problem.network, self.routes))
        if labels is None:
            return self
        search = Search(laid, meter, seed)
        search.begin(labels)
        return self._with(laid, search.labels)

    def _with(self, laid: Board, labels: Labels) -> LongerBand:
        """The band with the routes of ``labels``, if they are legal and better."""
        error = float(colour_error(laid, labels))
        if error >= self.error or faults(laid, labels):
            return self
        strands = labels[laid.partner].astype(np.int64)
        return replace(self, strands=strands, swaps=~hand_overs(laid, labels), error=error)

    def trimmed(self) -> LongerBand:
        """Take out diagonal switching rows at the ends of their section in which nothing moves."""
        net = self.problem.network
        labels = labels_of(net, self.routes)
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
        allowance = tuple(a for a, gone in zip(self.problem.allowance, drop, strict=True) if not gone)
        keep = ~drop[net.row]
        return self.rebuilt(rows, self.problem.costs[keep], self.wanted[keep], self.swaps[keep], allowance)

    def point(self, lower_bound: float) -> Point:
        routes = solution(self.problem, labels_of(self.problem.network, self.routes), lower_bound)
        made = count_made(self.problem, routes, self.wanted)
        return Point(self.inserted, made, routes.cost, self.problem, self.wanted, routes)
