"""Thread changes at joins: a strand goes on as a piece of another thread where both tails hide.

A join lies in a knot in which the strand is core; up to that knot it can show its old thread, after it the
new one. On the board the strand's wire is cut there: what comes after is a wire of its own that begins in
mid-band, so every move of the router works on it. Where the cut is made matters little, for a join is moved
along its strand to the knot in which it hides best.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network, network
from pipeline.routing.beam import follow
from pipeline.routing.board import Board, Labels, board, colour_error, faults, hand_overs
from pipeline.routing.exchange import change
from pipeline.routing.lengthening import Bools, Changes, Ints, LongerBand, tied, with_better
from pipeline.routing.meter import Meter
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.search import EXCHANGE_WORK, Search

APART = 6
"""Rows by which a seam lies apart from the ends, at least."""
SETTLED = 2
"""How many of the best single changes are looked at further for each join; more where none of them helps."""
ROUNDS = 3
"""Rounds of a quick descent."""
GREEDY = 0.6
"""Share of the effort for adding joins one by one; the rest searches the whole band."""

Floats = NDArray[np.float64]


def add_joins(band: LongerBand, most: int, budget: Budget) -> tuple[LongerBand, ...]:
    """Add joins to a band until it has up to ``most``, each where it takes off the most colour error.

    Returns the trade-off, from the band itself on; the colour error falls strictly along it, and each band
    was recounted by tying it. A piece laid in counts as a strand of its thread against ``at_most``; folded
    starting pairs do not change. A deadline ends it.
    """
    meter = Meter(budget.share(GREEDY), band.question.network.knots)
    points = _one_by_one([band], most, meter)
    more = _one_by_one(with_better([band], _seam(band, most, meter)), most, meter)
    points = min(points, more, key=lambda points: points[-1].colour_error)
    if points[-1].joins and not meter.late:
        longer = CutBand.of(points[-1]).searched(budget.share(1 - GREEDY), budget.seed).tied()
        points = with_better(points, longer)
    return tuple(points)


def _one_by_one(points: list[LongerBand], most: int, meter: Meter) -> list[LongerBand]:
    """Add one join after another to the last of the points."""
    while points[-1].joins < most and not meter.late:
        longer = CutBand.of(points[-1]).with_one_more(points[-1].colour_error - 1e-6, meter)
        if longer is None:
            break
        points = with_better(points, longer)
    return points


def _seam(band: LongerBand, most: int, meter: Meter) -> LongerBand:
    """The band with all joins in one calm row, as where one picture ends and another begins."""
    asked = band.question
    if most < 2 or asked.folded or any(limit is not None for limit in asked.at_most):
        return band
    net, laid, labels = asked.network, board(asked), band.labels
    joins = min(most, net.strands)
    places = ((np.arange(joins) + 0.5) * net.strands / joins).astype(int)
    tried = [CutBand.of(band)]
    for gap in calm_places(asked):
        if meter.late:
            break
        wires = network(net.strands, net.rows[:gap]).last[places]
        parted = CutBand(band, cut(laid, wires, labels[wires]), np.append(labels, labels[wires]))
        tried.append(parted.settled(meter))
    return min(tried, key=lambda one: one.error).tied()


def calm_places(question: Question) -> list[int]:
    """Where a seam may lie: in each third of the band the row beside which the fewest threads are wanted."""
    net = question.network
    by_row = np.zeros((len(net.rows), question.threads))
    np.add.at(by_row, net.row, question.costs)
    near = sum(np.roll(by_row, shift, axis=0) for shift in (-2, -1, 0, 1))
    unrest = np.asarray(near).min(axis=1).round(6)
    thirds = np.array_split(np.arange(APART, len(unrest) - APART), 3)
    return [int(rows[unrest[rows].argmin()]) for rows in thirds if len(rows)]


@dataclass(frozen=True, slots=True, eq=False)
class CutBand:
    """A band some of whose wires are cut, as labels on a board with a wire more for each (see ``cut``)."""

    band: LongerBand
    laid: Board
    labels: Labels

    @staticmethod
    def of(band: LongerBand) -> CutBand:
        """Cut at the joins of a band."""
        laid, routes = board(band.question), band.solution
        knots = np.array(list(band.changes), dtype=np.int64)
        sides, threads = np.array(list(band.changes.values()), dtype=np.int64).reshape(-1, 2).T
        starts = np.concatenate([np.full(len(laid.ends), -1), threads]).astype(np.int8)
        starts[: laid.strands] = routes.strands
        laid = cut(laid, laid.wire[knots, 2 + (sides ^ routes.swaps[knots])], threads)
        return CutBand(band, laid, follow(laid, ~routes.swaps, starts))

    @property
    def error(self) -> float:
        """Colour error, but for what hiding the joins costs."""
        return float(colour_error(self.laid, self.labels))

    @property
    def swaps(self) -> Bools:
        return ~hand_overs(self.laid, self.labels)

    @property
    def met(self) -> Ints:
        """(knots, 2) threads that meet."""
        return self.labels[self.laid.wire[:, :2]].astype(np.int64)

    @property
    def strands(self) -> Ints:
        return self.labels[self.laid.partner].astype(np.int64)

    def settled(self, meter: Meter) -> CutBand:
        """Improved by a quick descent."""
        return replace(self, labels=Search(self.laid, meter).settle(self.labels, rounds=ROUNDS))

    def searched(self, budget: Budget, seed: int) -> CutBand:
        """Improved by the router's search, until the budget is spent."""
        search = Search(self.laid, Meter(budget, self.laid.knots), seed)
        return replace(self, labels=search.improve(self.labels, 0.0).copy())

    def tied(self) -> LongerBand:
        """The band with its joins where they hide best, recounted. Raises RuntimeError if it is not legal."""
        broken = faults(self.laid, self.labels)
        if broken:
            raise RuntimeError("the routing with joins is not legal: " + "; ".join(broken))
        asked, swaps = self.band.question, self.swaps
        changes = placed(asked, swaps, self.met)
        return replace(
            self.band, solution=tied(asked, Routed(self.strands, swaps, 0.0, 0.0), changes), changes=changes
        )

    def with_one_more(self, most_error: float, meter: Meter) -> LongerBand | None:
        """The band with the best further change found; None if none shows less than that."""
        best: LongerBand | None = None
        tried = sorted(self.changed(meter), key=lambda one: one.error)
        for number, one in enumerate(tried):
            if meter.late or (number >= SETTLED and (best is not None or meter.over())):
                break
            for band in (one,) if meter.over() else (one, one.settled(meter)):
                longer = band.tied()
                if longer.colour_error < most_error:
                    best, most_error = longer, longer.colour_error
        return best

    def changed(self, meter: Meter) -> Iterator[CutBand]:
        """For each two threads the best change of a strand from one to the other: the best that keeps all
        routes, and, unless hand-overs are limited, the best with both threads routed anew around it.
        """
        laid, limited = self.laid, self.laid.at_most < self.laid.strands
        counts = np.bincount(self.strands, minlength=laid.threads)
        spare = np.flatnonzero(~limited | (counts < laid.at_most)).tolist()
        yield from self._kept(spare)
        if laid.limited:
            return
        for old, new in product(np.unique(self.labels).tolist(), spare):
            if old == new or meter.late:
                continue
            at_most = laid.at_most - (np.arange(laid.threads) == new)
            labels = np.append(self.labels, np.int8(new))
            wire = change(laid._replace(at_most=at_most), laid.cost, labels[:-1], new, old)
            meter.spend(EXCHANGE_WORK * laid.knots)
            labels[wire] = old
            if laid.ends[wire].max() > (wire - laid.strands) // 2:  # else it is the strand's last one
                yield CutBand(self.band, cut(laid, np.array([wire]), labels[-1:]), labels)

    def _kept(self, spare: list[int]) -> Iterator[CutBand]:
        """For each two threads, of which ``spare`` may be laid in, the best change that keeps all routes."""
        asked, met, swaps = self.band.question, self.met, self.swaps
        best: dict[tuple[int, int], tuple[float, Ints]] = {}
        for knots, sides in paths(asked.network, swaps):
            threads = met[knots, sides]
            out = self.laid.wire[knots, 2 + (sides ^ swaps[knots])]
            for first, stop in pairwise([0, *(np.flatnonzero(np.diff(threads)) + 1).tolist(), len(knots)]):
                if stop - first < 2:
                    continue
                old, here = int(threads[first]), slice(first, stop)
                now, then = _joined(asked.costs, met, (knots[here], sides[here]), old)
                at = then[:-1].argmin(axis=0)
                for new in spare:
                    gain = now - then[at[new], new]
                    if new != old and gain > best.get((old, new), (-np.inf,))[0] + 1e-9:
                        best[old, new] = gain, out[here][at[new] :]
        for (_, new), (_, wires) in best.items():
            labels = np.append(self.labels, np.int8(new))
            labels[wires[1:]] = new
            yield CutBand(self.band, cut(self.laid, wires[:1], labels[-1:]), labels)


def cut(laid: Board, wires: NDArray[np.integer], threads: NDArray[np.integer]) -> Board:
    """The board with wires cut: what comes after each is a wire of its own, with a thread of its own.

    Where the strands of any thread are limited, pieces are held to their ``threads`` and count as strands.
    """
    wire, ends = laid.wire.copy(), np.concatenate([laid.ends, np.full((len(wires), 2), -1, np.int32)])
    for i, w in enumerate(wires.tolist()):
        made, taken = np.sort(ends[w])
        there = np.flatnonzero(wire[taken, :2] == w)
        if not len(there):
            raise ValueError(f"wire {w} leads to no knot")
        wire[taken, there[0]] = len(laid.ends) + i
        ends[w], ends[len(laid.ends) + i] = (made, -1), (taken, -1)
    limits = laid.at_most < laid.strands
    held = threads if limits.any() else np.full(len(wires), -1)
    return laid._replace(
        wire=wire,
        ends=ends,
        weight=np.concatenate([laid.weight, np.zeros(len(wires), np.int32)]),
        pin=np.concatenate([laid.pin, held]).astype(np.int8),
        at_most=(laid.at_most - limits * np.bincount(threads, minlength=laid.threads)).astype(np.int32),
    )


def paths(net: Network, swaps: Bools) -> Iterator[tuple[Ints, Ints]]:
    """For each strand the knots that it goes through, and the sides on which it enters them."""
    hanging = list(range(net.strands))
    found: list[list[tuple[int, int]]] = [[] for _ in hanging]
    for v, (p, swap) in enumerate(zip(net.position.tolist(), swaps.tolist(), strict=True)):
        found[hanging[p]].append((v, 0))
        found[hanging[p + 1]].append((v, 1))
        if swap:
            hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    for path in found:
        knots, sides = np.array(path, dtype=np.int64).reshape(-1, 2).T
        yield knots, sides


def placed(question: Question, swaps: Bools, met: Ints) -> Changes:
    """Put the join of each change along a strand where it hides best, from (knots, 2) threads that meet.

    Halves of folded cuts go on as they began.
    """
    changes: dict[int, tuple[int, int]] = {}
    met = met.copy()
    folded = {position for pair in question.folded for position in pair}
    for start, (knots, sides) in enumerate(paths(question.network, swaps)):
        if start in folded:
            met[knots, sides] = met[knots[:1], sides[:1]]
        threads = met[knots, sides]
        turns = (np.flatnonzero(np.diff(threads)) + 1).tolist()
        first = 0
        for turn, stop in pairwise([*turns, len(knots)]):
            old, new = int(threads[turn - 1]), int(threads[turn])
            here = knots[first:stop], sides[first:stop]
            taken = np.array([v in changes for v in here[0].tolist()])
            at = first + int(_joined(question.costs, met, here, old, taken)[1][:, new].argmin())
            met[knots[first : at + 1], sides[first : at + 1]] = old
            met[knots[at + 1 : stop], sides[at + 1 : stop]] = new
            if at + 1 < len(knots):  # else the new thread would be tied nowhere
                changes[int(knots[at])] = int(sides[at]), new
            first = at + 1
    return changes


def _joined(
    costs: Floats, met: Ints, path: tuple[Ints, Ints], old: int, taken: Bools | None = None
) -> tuple[float, Floats]:
    """What the knots of a path cost, and with a join in each of them: (knots, threads) by the new thread.

    ``taken`` (knots,): where the strand that is met is joined itself, and so does not show.
    """
    knots, sides = path
    alone = costs[knots, met[knots, 1 - sides]]
    seen = alone if taken is None else np.where(taken, np.inf, alone)
    either = np.minimum(costs[knots], seen[:, None])
    before, after = np.cumsum(either[:, old]), np.cumsum(either, axis=0)
    joined = (before - either[:, old] + seen)[:, None] + after[-1] - after
    return float(before[-1]), joined
