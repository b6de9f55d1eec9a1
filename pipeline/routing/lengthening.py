"""A band with rows put in, and with strands that change their thread: a question of its own, and its routes.

A band can be taken apart between two rows and put together again, with other rows between, as long as the
threads that hang there are the same. Rows that are put in say the picture twice: each cell wants what the
nearer of the two rows beside wants there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network, Repeat, RowPlan, network
from pipeline.routing.board import (
    Labels,
    labels_of,
    row_worked,
)
from pipeline.routing.question import Question, Routed
from pipeline.routing.repeated import part

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Changes = Mapping[int, tuple[int, int]]
"""{knot: (side, thread)}: the strand on that side (0 left, 1 right) is core there, then ``thread``."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Rows to put in before row ``gap``, and their (knots,) swaps."""

    gap: int
    rows: tuple[RowPlan, ...]
    swaps: Bools


@dataclass(frozen=True, slots=True, eq=False)
class LongerBand:
    """A band with some rows put in and some joins.

    ``kinds``: (knots,) kind of cell, −1 where nothing is asked; ``solution``: strands, swaps and the colour
    error that they give; no bound is certified for bands with joins.
    """

    question: Question
    kinds: Ints
    solution: Routed
    changes: Changes = field(default_factory=dict)

    @property
    def switching_rows(self) -> int:
        return sum(row.picture is None for row in self.question.network.rows)

    @property
    def joins(self) -> int:
        return len(self.changes)

    @property
    def colour_error(self) -> float:
        return self.solution.cost

    @property
    def cells(self) -> int:
        """Cells of which something is asked."""
        return int((self.kinds >= 0).sum())

    @property
    def made(self) -> int:
        """Cells that are made."""
        return count_made(self.question, self.solution, self.kinds, self.changes)

    @property
    def labels(self) -> Labels:
        """The thread on each wire of the network; of a band without joins."""
        return labels_of(self.question.network, self.solution)

    def part(self, first: int, stop: int) -> LongerBand:
        """Rows ``first`` … ``stop`` − 1 alone, with the threads that hang before them."""
        net = self.question.network
        knots = slice(*np.searchsorted(net.row, [first, stop]).tolist())
        strands = self.solution.strands
        if first:
            strands = self.labels[network(net.strands, net.rows[:first]).last].astype(np.int64)
        routes = Routed(strands, self.solution.swaps[knots], 0.0, 0.0)
        return LongerBand(part(self.question, first, stop), self.kinds[knots], routes)

    def with_blocks(self, blocks: Sequence[Block]) -> LongerBand:
        """Put in blocks, with the allowance of the row they come before."""
        parts, at = [], 0
        for block in sorted(blocks, key=lambda block: block.gap):
            parts += [self.part(at, block.gap), self.said_twice(block)]
            at = block.gap
        return stacked(self.question, [*parts, self.part(at, len(self.question.network.rows))])

    def said_twice(self, block: Block) -> LongerBand:
        """A block by itself, its cells in the colours of the rows beside it."""
        asked = self.question
        costs, kinds = beside(asked, self.kinds, block.gap, block.rows)
        alone = replace(
            part(asked, 0, 0),
            network=network(asked.network.strands, block.rows),
            costs=costs,
            allowance=(asked.allowance[block.gap],) * len(block.rows),
        )
        return LongerBand(alone, kinds, Routed(np.empty(0, np.int64), block.swaps, 0.0, 0.0))


def stacked(like: Question, parts: Sequence[LongerBand], repeat: Repeat | None = None) -> LongerBand:
    """Parts of bands one below another, which begins as the first one; ``like`` has the bounds on threads.

    The rows of the picture are numbered anew.
    """
    number, rows = count(), [row for part in parts for row in part.question.network.rows]
    rows = [row if row.picture is None else replace(row, picture=next(number)) for row in rows]
    asked = replace(
        like,
        network=network(like.network.strands, rows),
        costs=np.concatenate([part.question.costs for part in parts]),
        allowance=tuple(allowed for part in parts for allowed in part.question.allowance),
        repeat=repeat,
    )
    kinds = np.concatenate([part.kinds for part in parts])
    routes = replace(parts[0].solution, swaps=np.concatenate([part.solution.swaps for part in parts]))
    return LongerBand(asked, kinds, tied(asked, routes, {}))


def with_better(points: list[LongerBand], more: LongerBand) -> list[LongerBand]:
    """The trade-off with a further band, if it is better than all, in place of those with as many extras."""
    if more.colour_error >= points[-1].colour_error - 1e-6:
        return points
    size = more.switching_rows + more.joins
    return [*(point for point in points if point.switching_rows + point.joins < size), more]


def beside(
    question: Question, kinds: Ints, gap: int, rows: Sequence[RowPlan]
) -> tuple[NDArray[np.float64], Ints]:
    """What rows put in before row ``gap`` want: (knots, threads) costs and (knots,) kinds of cells.

    Each cell wants what the nearer of the two rows beside wants there, or the other one where that ties no
    knot; nothing where neither does.
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


# -- what is tied ----------------------------------------------------------------------------------------


def meeting(net: Network, routes: Routed, changes: Changes) -> Ints:
    """(knots, 2) threads that come to each knot, where strands change thread on the way."""
    hanging, met = routes.strands.tolist(), []
    for v, (p, swap) in enumerate(zip(net.position.tolist(), routes.swaps.tolist(), strict=True)):
        pair = hanging[p : p + 2]
        met.append(tuple(pair))
        if v in changes:
            side, thread = changes[v]
            pair[side] = thread
        hanging[p : p + 2] = pair[::-1] if swap else pair
    return np.array(met, dtype=np.int64).reshape(-1, 2)


def showing(question: Question, met: Ints, changes: Changes) -> NDArray[np.float64]:
    """(knots, 2) cost of showing each of the two threads; of a strand that is joined, infinite."""
    costs = np.take_along_axis(question.costs, met, axis=1)
    for v, (side, _) in changes.items():
        costs[v, side] = np.inf
    return costs


def tied(question: Question, routes: Routed, changes: Changes) -> Routed:
    """The routes with colour error and hand-overs as they come out of tying the band."""
    net = question.network
    met = meeting(net, routes, changes)
    handed = row_worked(net) & ~routes.swaps & (met[:, 0] != met[:, 1])
    cost = float(showing(question, met, changes).min(axis=1).sum())
    return replace(routes, cost=cost, hand_overs=int(handed.sum()))


def count_made(question: Question, routes: Routed, kinds: Ints, changes: Changes | None = None) -> int:
    """Cells, of the (knots,) ``kinds``, made by what shows: the cheaper of two, or either of equals."""
    met = meeting(question.network, routes, changes or {})
    costs = showing(question, met, changes or {})
    makes = question.makes(kinds[:, None], met) & (costs == costs.min(axis=1, keepdims=True))
    return int(makes.any(axis=1).sum())
