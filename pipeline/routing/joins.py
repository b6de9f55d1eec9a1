"""Thread changes at joins: a strand goes on as a piece of another thread where both tails hide.

A join lies in a knot in which the strand is core; up to that knot it can show its old thread, after it the
new one. In the network one unit of flow changes its commodity there. For two threads the best single
change and the routes of both around it are one minimum-cost flow: beside the arcs of ``exchange`` there is
one unit that may enter at any knot, for the colour that hiding the join costs.

A strand that changes is kept as a *leg*: a thread of its own, beside the real ones, whose costs are those
of its old thread before the join and of its new thread after it. So every move of the router works on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from pipeline.band.network import Network
from pipeline.routing.board import Board, Labels, board, colour_error, labels_of
from pipeline.routing.meter import Meter
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.search import Search

HIDDEN = 1e3
"""Cost of showing the strand in the knot of its join (CIEDE2000 stays near or below 120)."""
SETTLED = 3
"""How many of the best single changes are looked at further for each join; more where none of them helps."""
SCALE = 2.0**24
"""Costs times this are whole numbers in the flows."""
Changes = Mapping[int, tuple[int, int]]
"""{knot: (side, thread)}: the strand on that side (0 left, 1 right) is core there, then ``thread``."""


@dataclass(frozen=True, slots=True, eq=False)
class JoinedPoint:
    """A band with ``joins`` thread changes, recounted by tying it."""

    joins: int
    made: int
    colour_error: float
    solution: Routed
    """Starting strands and swaps; its ``lower_bound`` is 0, since none is certified for bands with joins."""
    changes: Changes


@dataclass(frozen=True, slots=True)
class _Leg:
    old: int
    new: int
    knot: int


def tie_with_changes(
    network: Network, costs: NDArray[np.float64], solution: Routed, changes: Changes
) -> tuple[NDArray[np.int64], float, int]:
    """Tie a band with thread changes: (knots,) thread that shows, colour error, hand-overs in row work."""
    hanging = solution.strands.copy()
    shown = np.empty(network.knots, dtype=np.int64)
    hand_overs = 0
    straight = [row.worked == "rows" for row in network.rows]
    for v in range(network.knots):
        p = int(network.position[v])
        pair = [int(hanging[p]), int(hanging[p + 1])]
        change = changes.get(v)
        if change is None:
            shown[v] = pair[0] if costs[v, pair[0]] <= costs[v, pair[1]] else pair[1]
        else:
            shown[v] = pair[1 - change[0]]
        if not solution.swaps[v] and pair[0] != pair[1] and straight[int(network.row[v])]:
            hand_overs += 1
        if change is not None:
            pair[change[0]] = change[1]
        hanging[p : p + 2] = pair[::-1] if solution.swaps[v] else pair
    return shown, float(costs[np.arange(network.knots), shown].sum()), hand_overs


def thread_changes(
    problem: Question, wanted: NDArray[np.int64], solution: Routed, most: int, budget: Budget
) -> tuple[JoinedPoint, ...]:
    """Add up to ``most`` thread changes to ``solution``, each where it takes off the most colour error.

    ``wanted``: (knots,) kind of cell or −1. Returns the trade-off, from 0 joins on; the colour error falls
    strictly along it, and each point was recounted by tying the band. A piece laid in counts as a strand of
    its thread against ``at_most``. Folded starting pairs do not change. The effort of the budget goes into
    routing the band anew around each change; when it is spent, changes are only placed. A deadline ends it.
    """
    meter = Meter(replace(budget, reporter=None), problem.network.knots)
    search = _Joins(problem, solution, meter)
    points = [search.point(wanted)]
    while len(search.legs) < most:
        if meter.late:
            break
        if not search.step():
            break
        point = search.point(wanted)
        if point.colour_error >= points[-1].colour_error - 1e-6:
            break
        points.append(point)
    return tuple(points)


class _Joins:
    """The present band as labels over real threads and legs."""

    def __init__(self, problem: Question, solution: Routed, meter: Meter) -> None:
        self.problem = problem
        self.real = board(problem)
        self.labels = labels_of(problem.network, solution)
        self.legs: list[_Leg] = []
        self.meter = meter
        self.strict = self.real.limited  # few hand-overs are allowed: flows could break it

    def costs(self, legs: list[_Leg]) -> NDArray[np.float64]:
        """(V, threads + legs) costs."""
        base = self.problem.costs
        knots = np.arange(len(base))
        columns = [base]
        for leg in legs:
            column = np.where(knots < leg.knot, base[:, leg.old], base[:, leg.new])
            column[leg.knot] = HIDDEN
            columns.append(column[:, None])
        return np.ascontiguousarray(np.concatenate(columns, axis=1))

    def board(self, labels: Labels, legs: list[_Leg]) -> Board:
        """The board with legs as threads of one strand each."""
        k = self.problem.threads
        at_most = np.concatenate([self.real.at_most, np.ones(len(legs), np.int32)])
        pin = self.real.pin.copy()
        for i, leg in enumerate(legs):
            at_most[leg.old] -= 1
            at_most[leg.new] -= 1
            pinned = np.flatnonzero((pin == leg.old) & (labels == k + i))
            pin[pinned] = k + i
        return self.real._replace(
            threads=k + len(legs), cost=self.costs(legs), at_most=np.maximum(at_most, 0), pin=pin
        )

    def point(self, wanted: NDArray[np.int64]) -> JoinedPoint:
        solution, changes = self._tied(self.labels, self.legs)
        shown, error, hand_overs = tie_with_changes(
            self.problem.network, self.problem.costs, solution, changes
        )
        made = int(self.problem.makes(wanted, shown).sum())
        solution = replace(solution, cost=error, hand_overs=hand_overs)
        return JoinedPoint(len(self.legs), made, error, solution, changes)

    def step(self) -> bool:
        """Add the best further change; False if none takes off colour error."""
        present = self.error(self.labels, self.legs)
        candidates: list[tuple[float, int, Labels, list[_Leg]]] = []
        k = self.problem.threads
        spare = self.real.at_most - np.bincount(
            [self._start(int(t)) for t in self.labels[: self.real.strands]] + [leg.new for leg in self.legs],
            minlength=k,
        )
        for old in sorted({int(t) for t in self.labels if t < k}):
            for new in range(k):
                if new == old or spare[new] < 1:
                    continue
                candidate = self._suffix(old, new) if self.strict else self._flow(old, new)
                if candidate is None:
                    continue
                labels, legs = candidate
                candidates.append((self.error(labels, legs), len(candidates), labels, legs))
        candidates.sort(key=lambda candidate: candidate[:2])
        best, found = present - 1e-6, False
        for number, (_, _, labels, legs) in enumerate(candidates):
            if found and number >= SETTLED:
                break
            if not self.meter.over():
                labels, legs = self._settled(labels, legs)
            error = self.error(labels, legs)
            if error < best:
                best, found = error, True
                self.labels, self.legs = labels, legs
            if self.meter.late:
                break
        return found

    def _settled(self, labels: Labels, legs: list[_Leg]) -> tuple[Labels, list[_Leg]]:
        """Route everything anew around the legs, then place their joins anew; or leave all as it is."""
        moved = Search(self.board(labels, legs), self.meter).settle(labels, rounds=2)
        placed = list(legs)
        for i, leg in enumerate(legs):
            there = self._placed(moved, self.problem.threads + i, leg.old, leg.new, placed)
            if there is None:
                return labels, legs
            placed[i] = there
        knots = [leg.knot for leg in placed]
        if len(set(knots)) < len(knots) or self.error(moved, placed) >= self.error(labels, legs):
            return labels, legs
        return moved, placed

    def error(self, labels: Labels, legs: list[_Leg]) -> float:
        return float(colour_error(self.real._replace(cost=self.costs(legs)), labels))

    def _start(self, label: int) -> int:
        """The thread with which a strand of this label starts."""
        k = self.problem.threads
        return label if label < k else self.legs[label - k].old

    def _flow(self, old: int, new: int) -> tuple[Labels, list[_Leg]] | None:
        """The best change of one strand from ``old`` to ``new``, with all strands of both routed anew."""
        made = _change_flow(self.real, self.costs(self.legs), self.labels, new, old)
        if made is None:
            return None
        labels, knot = made
        label = self.problem.threads + len(self.legs)
        path = _through(self.real, labels, knot, old, new)
        if path is None:
            return None
        labels[path] = label
        leg = self._placed(labels, label, old, new, self.legs)
        return None if leg is None else (labels, [*self.legs, leg])

    def _placed(self, labels: Labels, label: int, old: int, new: int, legs: list[_Leg]) -> _Leg | None:
        """Place the join of a leg in the best knot of its path; None if it is never in a knot."""
        base, costs = self.problem.costs, self.costs(legs)
        wire = self.real.wire
        on_left = labels[wire[:, 0]] == label
        knots = np.flatnonzero(on_left | (labels[wire[:, 1]] == label))
        if not len(knots):
            return None
        other = np.where(on_left[knots], labels[wire[knots, 1]], labels[wire[knots, 0]])
        alone = costs[knots, other]
        before = np.minimum(base[knots, old], alone)
        after = np.minimum(base[knots, new], alone)
        total = np.cumsum(before) - before + alone + after.sum() - np.cumsum(after)
        return _Leg(old, new, int(knots[int(total.argmin())]))

    def _suffix(self, old: int, new: int) -> tuple[Labels, list[_Leg]] | None:
        """The best change of one strand that keeps its route, so that no hand-over is added."""
        label = self.problem.threads + len(self.legs)
        best: tuple[float, Labels, _Leg] | None = None
        for start in np.flatnonzero(self.labels[: self.real.strands] == old):
            if self.real.weight[start] != 1:
                continue
            labels = self.labels.copy()
            labels[_down(self.real, labels, int(start), old)] = label
            leg = self._placed(labels, label, old, new, self.legs)
            if leg is None:
                continue
            error = self.error(labels, [*self.legs, leg])
            if best is None or error < best[0] - 1e-9:
                best = (error, labels, leg)
        return None if best is None else (best[1], [*self.legs, best[2]])

    def _tied(self, labels: Labels, legs: list[_Leg]) -> tuple[Routed, dict[int, tuple[int, int]]]:
        """Turn labels with legs into real strands, swaps and changes."""
        wire, k = self.real.wire, self.problem.threads
        now = [(leg.old, i) for i, leg in enumerate(legs)]
        first = np.array([t if t < k else now[int(t) - k][0] for t in labels[: self.real.strands]], np.int64)
        for p, q in self.problem.folded:
            first[q] = first[p]
        changes: dict[int, tuple[int, int]] = {}
        for i, leg in enumerate(legs):
            side = 0 if labels[wire[leg.knot, 0]] == k + i else 1
            changes[leg.knot] = (side, leg.new)
        stays = (labels[wire[:, 0]] == labels[wire[:, 2]]) & (labels[wire[:, 0]] != labels[wire[:, 1]])
        return Routed(first, ~stays, 0.0, 0.0), changes


def _change_flow(
    laid: Board, cost: NDArray[np.float64], labels: Labels, s: int, t: int
) -> tuple[Labels, int] | None:
    """Route threads ``s`` and ``t`` anew from their present starts, one strand of t changing to s.

    Returns new labels, in which knot v lets out one s more than came in, and v; None if none is possible.
    """
    n, knots = laid.strands, len(laid.wire)
    ours = (labels == s) | (labels == t)
    wires = np.flatnonzero(ours & (np.arange(len(ours)) >= n))
    touch = ours[laid.wire[:, :2]]
    both = np.flatnonzero(touch.all(axis=1))
    single = np.flatnonzero(touch[:, 0] ^ touch[:, 1])
    third = np.where(touch[single, 0], labels[laid.wire[single, 1]], labels[laid.wire[single, 0]])
    c_s, c_t, c_u = cost[:, s], cost[:, t], cost[single, third]
    least = np.minimum(c_s[both], c_t[both])
    alone_s, alone_t = np.minimum(c_s[single], c_u), np.minimum(c_t[single], c_u)
    enter, leave = 2 * np.arange(knots), 2 * np.arange(knots) + 1
    joiner, sink = 2 * knots, 2 * knots + 1
    made = (wires - n) // 2
    first, second = laid.ends[wires, 0], laid.ends[wires, 1]
    taken = np.where(first == made, second, first)
    tails = np.concatenate(
        [enter[both], enter[both], enter[single], leave[made], np.full(len(both) + len(single), joiner)]
    )
    beyond = np.where(taken < 0, sink, enter[taken])
    heads = np.concatenate([leave[both], leave[both], leave[single], beyond, leave[both], leave[single]])
    hide = np.concatenate([np.zeros(len(both)), c_u - alone_t])
    prices = np.concatenate(
        [least - c_t[both], c_s[both] - least, alone_s - alone_t, np.zeros(len(wires)), hide]
    )
    supply = np.zeros(2 * knots + 2, dtype=np.int64)
    starts = np.flatnonzero(labels[:n] == s)
    for w in starts:
        for v in laid.ends[w]:
            if v >= 0:
                supply[2 * v] += 1
    supply[joiner] = 1
    supply[sink] = -int(supply.sum())
    flow = SimpleMinCostFlow()
    arcs = flow.add_arcs_with_capacity_and_unit_cost(
        tails, heads, np.ones(len(tails), np.int64), np.rint(prices * SCALE).astype(np.int64)
    )
    flow.set_nodes_supplies(np.arange(len(supply)), supply)
    if flow.solve() != flow.OPTIMAL:
        return None
    begin = 2 * len(both) + len(single)
    carries = flow.flows(arcs[begin:])
    joined = np.flatnonzero(carries[len(wires) :] > 0)
    if not len(joined):
        return None
    answer = labels.copy()
    answer[wires] = np.where(carries[: len(wires)] > 0, s, t)
    return answer, int(np.concatenate([both, single])[joined[0]])


def _through(laid: Board, labels: Labels, knot: int, old: int, new: int) -> NDArray[np.int64] | None:
    """Wires of a strand that comes to ``knot`` as ``old`` and leaves it as ``new``; None if it is folded."""
    come = next(w for w in laid.wire[knot, :2] if labels[w] == old)
    leave = next(w for w in laid.wire[knot, 2:] if labels[w] == new)
    if sum(labels[w] == new for w in laid.wire[knot, :2]) == 1:
        come = next(w for w in laid.wire[knot, :2] if labels[w] == old)
    path = [*_up(laid, labels, int(come), old), *_down(laid, labels, int(leave), new)]
    return None if laid.weight[path[0]] != 1 else np.array(path, dtype=np.int64)


def _down(laid: Board, labels: Labels, wire: int, thread: int) -> list[int]:
    """Wires from ``wire`` to the end of the band, following ``thread``; two of a thread swap."""
    path = [wire]
    while True:
        w = path[-1]
        knot = max(laid.ends[w]) if w < laid.strands else _taker(laid, w)
        if knot < 0:
            return path
        left, right, out_left, out_right = laid.wire[knot]
        if labels[left] == labels[right]:
            path.append(int(out_right if w == left else out_left))
        else:
            path.append(int(out_left if labels[out_left] == thread else out_right))


def _taker(laid: Board, wire: int) -> int:
    maker = (wire - laid.strands) // 2
    first, second = laid.ends[wire]
    return int(second if first == maker else first)


def _up(laid: Board, labels: Labels, wire: int, thread: int) -> list[int]:
    """Wires from the start of the band to ``wire``, following ``thread`` back."""
    path = [wire]
    while path[-1] >= laid.strands:
        w = path[-1]
        left, right, out_left, _ = laid.wire[(w - laid.strands) // 2]
        if labels[left] == labels[right]:
            path.append(int(right if w == out_left else left))
        else:
            path.append(int(left if labels[left] == thread else right))
    return path[::-1]
