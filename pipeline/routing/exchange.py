"""Exchange of two threads: all others stay, and the strands of these two are routed anew, exactly.

Let x be 1 on a wire that carries thread s and 0 where it carries t. A knot that meets both wires of the
pair costs f(x_a + x_b) with f(0) = c(t), f(1) = min(c(s), c(t)), f(2) = c(s). Since f(1) is the least,
f(0) - f(1) and f(2) - f(1) are not negative: f is convex, and the best x is a minimum-cost flow, whose
optimum is integral (Ahuja, Magnanti and Orlin 1993, theorem 9.10 and section 14.3).

On a closed board the flow is a circulation. There a limit on the strands of a thread bounds the sum of the
flows over the seam, which no network can do: then each of these has a price, found by bisection (Lagrangian
relaxation), and the best circulation on the way that keeps the limits is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from pipeline.routing.board import Board, Labels, used

SCALE_BITS = 36
"""Costs become whole numbers of this size, so rounding is far below any tolerance."""
BISECTIONS = 24
"""Prices tried for the strands of a closed board with limits."""

Ints = NDArray[np.int64]


class NoFlow(RuntimeError):
    """No routing of two threads has the ends asked for."""


@dataclass(frozen=True, slots=True, eq=False)
class _Flow:
    """The flow of two threads: arcs of knots, then those of the wires that may change, then a bypass."""

    arcs: tuple[Ints, Ints, Ints, Ints]
    """Tail, head, capacity and cost of each."""
    supply: Ints
    """By node: the entry and the exit of each knot in turn, the source, the sink."""
    wires: Ints
    """The wires that may change."""
    strands: NDArray[np.bool_]
    """(wires,) which of them are strands that cross the seam of a closed board."""
    limits: tuple[int, int]
    """How many of these may be s, at least and at most."""
    hidden: tuple[Ints, Ints]
    """Knots that touch either thread, and what it costs that a strand of t does not show there."""
    fixed: int
    """Cost that comes on top."""
    scale: float
    """How many whole units one of cost is."""

    def solve(self, price: int = 0) -> tuple[int, NDArray[np.bool_]]:
        """Least cost with a price on each strand that crosses the seam as s, and which wires carry s."""
        tails, heads, capacity, costs = self.arcs
        first = len(tails) - 1 - len(self.wires)
        if price:
            costs = costs.copy()
            costs[first:-1][self.strands] += price
        cost, carried = _least((tails, heads, capacity, costs), self.supply)
        return cost, carried[first:-1]

    def within(self) -> tuple[float, NDArray[np.bool_] | None]:
        """A lower bound under the limits on strands across the seam, and the best answer found, if any."""
        fewest, most = self.limits
        least, carries = self.solve()
        count = int(carries[self.strands].sum())
        if fewest <= count <= most or not self.strands.any():
            return least, carries
        many = count > most
        limit = most if many else fewest
        bound, best, best_cost = float(least), None, 0
        low, high = 0, (1 << SCALE_BITS) * len(self.supply) * (1 if many else -1)
        for _ in range(BISECTIONS):
            price = (low + high) // 2
            value, carries = self.solve(price)
            count = int(carries[self.strands].sum())
            bound = max(bound, float(value - price * limit))
            if fewest <= count <= most and (best is None or value - price * count < best_cost):
                best, best_cost = carries, value - price * count
            if count == limit:
                break
            still = count > most if many else count < fewest
            low, high = (price, high) if still else (low, price)
        return bound, best

    def joined(self) -> tuple[NDArray[np.bool_], int]:
        """Which wires carry s where one strand of t goes on as s, and the knot in which it hides."""
        knots, prices = self.hidden
        joiner, first = len(self.supply), len(self.arcs[0]) - 1 - len(self.wires)
        more = (np.full(len(knots), joiner), 2 * knots + 1, np.ones(len(knots), np.int64), prices)
        supply = np.append(self.supply, 1)
        supply[joiner - 1] -= 1
        arcs = tuple(np.append(arcs, added) for arcs, added in zip(self.arcs, more, strict=True))
        carried = _least(arcs, supply)[1][first:]
        return carried[: len(self.wires)], int(knots[carried[len(self.wires) + 1 :].argmax()])


def _least(arcs: tuple[Ints, ...], supply: Ints) -> tuple[int, NDArray[np.bool_]]:
    """The cost of the cheapest flow, and which arcs carry any."""
    tails, heads, capacity, costs = arcs
    flow = SimpleMinCostFlow()
    made = flow.add_arcs_with_capacity_and_unit_cost(tails, heads, capacity, costs)
    flow.set_nodes_supplies(np.arange(len(supply)), supply)
    if flow.solve() != flow.OPTIMAL:
        raise NoFlow("two threads were routed anew and found no flow, not even the present one")
    return flow.optimal_cost(), np.asarray(flow.flows(made) > 0)


def exchange(
    board: Board, cost: np.ndarray, labels: Labels, s: int, t: int, within: Ints | None = None
) -> float:
    """Route threads ``s`` and ``t`` anew in ``labels``; return the least cost of the knots they touch.

    ``cost``: (V, k); ``within``: the knots, rising, that may change, all others stay. The result is exact to
    rounding (see ``SCALE_BITS``) when the pair covers all wires; on a closed board with limits the labels may
    cost more than what is returned, a lower bound. Hand-overs are free here, so this is for boards without a
    limit on them. Folded and pinned wires keep their thread. The network may hold no knot.
    """
    if not len(board.wire):
        return 0.0
    flow = _flow(board, cost, labels, s, t, within)
    bound, carries = flow.within()
    if carries is not None:
        labels[flow.wires] = np.where(carries, s, t)
    return (bound + flow.fixed) / flow.scale


def change(board: Board, cost: np.ndarray, labels: Labels, s: int, t: int) -> int:
    """Route both threads anew like ``exchange``, and let one strand of ``t`` go on as ``s`` somewhere.

    Returns the wire on which it comes out of the knot of its join as s.
    """
    flow = _flow(board, cost, labels, s, t)
    carries, knot = flow.joined()
    labels[flow.wires] = np.where(carries, s, t)
    wires = board.wire[knot]
    left, right = labels[wires[2:]] == s
    crossing = left and right and labels[wires[0]] == t  # it swaps rather than stays
    return int(wires[3 if crossing or not left else 2])


def _flow(
    board: Board, cost: np.ndarray, labels: Labels, s: int, t: int, within: Ints | None = None
) -> _Flow:
    """The flow of the wires that carry s through some knots, at least one."""
    wire, cost = (board.wire, cost) if within is None else (board.wire[within], cost[within])
    knots = len(wire)
    maker, taker = np.full(len(board.ends), -1), np.full(len(board.ends), -1)
    for side in (0, 1):
        taker[wire[:, side]] = np.arange(knots)
        maker[wire[:, 2 + side]] = np.arange(knots)
    ours = ((labels == s) | (labels == t)) & ((board.weight > 0) | (maker >= 0) | (taker >= 0))
    fixed = ours & _fixed(board, within, maker)
    wires = np.flatnonzero(ours & ~fixed)
    maker, taker = maker[wires], taker[wires]

    touch = ours[wire[:, :2]]
    both = np.flatnonzero(touch.all(axis=1))
    single = np.flatnonzero(touch[:, 0] ^ touch[:, 1])
    third = np.where(touch[single, 0], labels[wire[single, 1]], labels[wire[single, 0]])
    scale = 2.0**SCALE_BITS / max(float(np.abs(cost).max(initial=0.0)), 1e-30)
    whole = np.rint(cost * scale).astype(np.int64)
    at_none, at_two = whole[both, t], whole[both, s]
    least, alone = np.minimum(at_none, at_two), whole[single, third]
    alone_s, alone_t = (np.minimum(whole[single, thread], alone) for thread in (s, t))

    # from the knot that makes a wire (or the source) to the knot that takes it (or the sink)
    enter, leave = 2 * np.arange(knots), 2 * np.arange(knots) + 1
    source, sink = 2 * knots, 2 * knots + 1
    tails = [enter[both], enter[both], enter[single], np.where(maker < 0, source, leave[maker])]
    heads = [leave[both], leave[both], leave[single], np.where(taker < 0, sink, enter[taker])]
    free = np.zeros(len(wires) + 1, np.int64)
    costs = np.concatenate([least - at_none, at_two - least, alone_s - alone_t, free])
    held = (fixed & (labels == s))[wire].astype(np.int64)
    supply = np.zeros(2 * knots + 2, dtype=np.int64)
    supply[enter], supply[leave] = held[:, :2].sum(axis=1), -held[:, 2:].sum(axis=1)
    # how many of the loose starting strands may be s
    counts, begins = used(board, labels), maker < 0
    strands = board.weight[wires] > 0
    now_s = int((labels[wires[strands]] == s).sum())
    most = min(int(strands.sum()), now_s + int(board.at_most[s] - counts[s]))
    fewest = max(0, now_s - int(board.at_most[t] - counts[t]))
    pieces = int((begins & ~strands).sum())
    inflow = pieces + (most if (begins & strands).any() else 0)
    supply[source], supply[sink] = inflow, -(inflow + int(supply.sum()))
    capacity = np.ones(len(costs), dtype=np.int64)
    capacity[-1] = max(0, inflow - (fewest if inflow > pieces else 0))
    return _Flow(
        (np.append(np.concatenate(tails), source), np.append(np.concatenate(heads), sink), capacity, costs),
        supply,
        wires,
        strands & ~begins,
        (fewest, most),
        (np.append(both, single), np.append(np.zeros(len(both), np.int64), alone - alone_t)),
        int(at_none.sum() + alone_t.sum()),
        scale,
    )


def _fixed(board: Board, within: Ints | None, maker: Ints) -> NDArray[np.bool_]:
    """(wires,) which keep their thread; ``maker`` (wires,): the knot within that lets each out, or −1."""
    fixed = (board.pin >= 0) | (board.weight > 1)
    if within is not None:
        inside = np.zeros(len(board.wire) + 1, np.bool_)
        inside[within] = inside[-1] = True  # the last one stands for an end without a knot
        fixed |= ~inside[board.ends].all(axis=1)
        if (board.at_most < board.strands).any():  # no network bounds the sum over the seam
            fixed |= (board.weight > 0) & (maker >= 0)
    return np.asarray(fixed)
