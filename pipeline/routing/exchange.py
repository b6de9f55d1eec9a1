"""Exchange of two threads: all others stay, and the strands of these two are routed anew, exactly.

Let x be 1 on a wire that carries thread s and 0 where it carries t. A knot that meets both wires of the
pair costs f(x_a + x_b) with f(0) = c(t), f(1) = min(c(s), c(t)), f(2) = c(s). Since f(1) is the least,
f(0) - f(1) and f(2) - f(1) are not negative: f is convex, and the best x is a minimum-cost flow, whose
optimum is integral (Ahuja, Magnanti and Orlin 1993, theorem 9.10 and section 14.3).
"""

from __future__ import annotations

import numpy as np
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from pipeline.routing.board import Board, Labels, used

SCALE_BITS = 36
"""Costs become whole numbers of this size, so rounding is far below any tolerance."""


def exchange(board: Board, cost: np.ndarray, labels: Labels, s: int, t: int) -> float:
    """Route threads ``s`` and ``t`` anew in ``labels``; return the least cost of the knots they touch.

    ``cost``: (V, k). The result is exact to rounding (see ``SCALE_BITS``) when the pair covers all
    wires. Hand-overs are free here, so this is for boards without a limit on them. Folded wires keep
    their thread. The network may hold no knot.
    """
    n, knots = board.strands, len(board.wire)
    if not knots:
        return 0.0
    ours = (labels == s) | (labels == t)
    wires = np.flatnonzero(ours[: n + 2 * knots] & ((board.weight > 0) | (np.arange(len(ours)) >= n)))
    touch = ours[board.wire[:, :2]]
    both = np.flatnonzero(touch.all(axis=1))
    single = np.flatnonzero(touch[:, 0] ^ touch[:, 1])
    c_s, c_t = cost[:, s], cost[:, t]
    third = np.where(touch[single, 0], labels[board.wire[single, 1]], labels[board.wire[single, 0]])
    c_u = cost[single, third]
    top = max(float(np.abs(cost).max(initial=0.0)), 1e-30)
    scale = 2.0**SCALE_BITS / top

    def whole(values: np.ndarray) -> np.ndarray:
        return np.asarray(np.rint(values * scale), dtype=np.int64)

    enter, leave = 2 * np.arange(knots), 2 * np.arange(knots) + 1
    source, sink = 2 * knots, 2 * knots + 1
    least = whole(np.minimum(c_s[both], c_t[both]))
    at_none, at_two = whole(c_t[both]), whole(c_s[both])
    alone_s, alone_t = whole(np.minimum(c_s[single], c_u)), whole(np.minimum(c_t[single], c_u))

    # wires: from the knot that makes them (or the source) to the knot that takes them (or the sink)
    made = np.where(wires >= n, (wires - n) // 2, -1)
    first, second = board.ends[wires, 0], board.ends[wires, 1]
    taken = np.where(wires >= n, np.where(first == made, second, first), first)
    pinned = (wires < n) & ((board.pin[wires] >= 0) | (board.weight[wires] > 1))
    loose = ~pinned
    tails = [enter[both], enter[both], enter[single], np.where(made < 0, source, leave[made])[loose]]
    heads = [leave[both], leave[both], leave[single], np.where(taken < 0, sink, enter[taken])[loose]]
    prices = [least - at_none, at_two - least, alone_s - alone_t, np.zeros(int(loose.sum()), np.int64)]
    supply = np.zeros(2 * knots + 2, dtype=np.int64)
    held = wires[pinned & (labels[wires] == s)]
    for w in held:
        for knot in board.ends[w]:
            if knot >= 0:
                supply[2 * knot] += 1
    # how many of the loose starting strands may be s
    counts = used(board, labels)
    strands = int((loose & (wires < n)).sum())
    now_s = int((labels[wires[loose & (wires < n)]] == s).sum())
    most = min(strands, now_s + int(board.at_most[s] - counts[s]))
    fewest = max(0, now_s - int(board.at_most[t] - counts[t]))
    inflow = int(supply.sum())
    supply[source] = most
    supply[sink] = -(most + inflow)
    tails.append(np.array([source]))
    heads.append(np.array([sink]))
    prices.append(np.zeros(1, np.int64))
    capacity = np.ones(sum(len(part) for part in tails), dtype=np.int64)
    capacity[-1] = most - fewest

    flow = SimpleMinCostFlow()
    arcs = flow.add_arcs_with_capacity_and_unit_cost(
        np.concatenate(tails), np.concatenate(heads), capacity, np.concatenate(prices)
    )
    flow.set_nodes_supplies(np.arange(len(supply)), supply)
    if flow.solve() != flow.OPTIMAL:
        raise RuntimeError("the exchange of two threads found no flow, not even the present one")
    begin = 2 * len(both) + len(single)
    carries = flow.flows(arcs[begin:-1])
    labels[wires[loose]] = np.where(carries > 0, s, t)
    return float((flow.optimal_cost() + at_none.sum() + alone_t.sum()) / scale)
