"""Exchange of two threads within a set of knots, by cancelling negative cycles.

The same flow as in ``exchange``, restricted to some knots with everything around them fixed. The present
routing is a feasible flow, and a flow is of least cost when its residual network has no negative cycle
(Klein 1967; Ahuja, Magnanti and Orlin 1993, section 9.6). From a good start few cycles are left to cancel,
so this costs a small part of a flow computed anew.
"""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled

TINY = 1e-7
"""A cycle must gain more than this, in units of cost."""


@compiled
def reroute(board, cost, labels, s, t, order, desk, rounds):
    """Route threads ``s`` and ``t`` anew through the knots in ``order``; return whether anything changed.

    At most ``rounds`` cycles are cancelled, so the result may fall short of the best but is never worse.
    Folded wires and pinned ones keep their thread. Only for boards without a limit on hand-overs.
    """
    knots = len(order)
    for i in range(knots):
        desk.where[order[i]] = i
    # nodes: 2i where knot i is entered, 2i + 1 where it is left; then the start and the end of the band
    start, end = 2 * knots, 2 * knots + 1
    tail, head = np.empty(8 * knots + 2, np.int32), np.empty(8 * knots + 2, np.int32)
    price = np.empty(8 * knots + 2, np.float64)
    wire = np.empty(8 * knots + 2, np.int32)
    changed = False
    limited = board.at_most.min() < board.strands
    desk.work[0] += 50 * knots
    distance, via = np.empty(2 * knots + 2), np.empty(2 * knots + 2, np.int32)
    for _ in range(rounds):
        arcs = 0
        for i in range(knots):
            v = order[i]
            a, b = labels[board.wire[v, 0]], labels[board.wire[v, 1]]
            ours_a, ours_b = a in (s, t), b in (s, t)
            ours = (1 if ours_a else 0) + (1 if ours_b else 0)
            if ours == 0:
                continue
            flow = (1 if a == s else 0) + (1 if b == s else 0)
            if ours == 2:
                now = min(cost[v, a], cost[v, b])
                more = min(cost[v, s], cost[v, t]) if flow == 0 else cost[v, s]
                less = min(cost[v, s], cost[v, t]) if flow == 2 else cost[v, t]
            else:
                other = b if ours_a else a
                now = min(cost[v, a], cost[v, b])
                more, less = min(cost[v, s], cost[v, other]), min(cost[v, t], cost[v, other])
            if flow < ours:
                tail[arcs], head[arcs], price[arcs], wire[arcs] = 2 * i, 2 * i + 1, more - now, -1
                arcs += 1
            if flow > 0:
                tail[arcs], head[arcs], price[arcs], wire[arcs] = 2 * i + 1, 2 * i, less - now, -1
                arcs += 1
            for j in range(4):
                w = board.wire[v, j]
                if labels[w] != s and labels[w] != t:
                    continue
                other = board.ends[w, 0] if board.ends[w, 0] != v else board.ends[w, 1]
                if j < 2:
                    if other >= 0 or board.weight[w] > 1 or board.pin[w] >= 0:
                        continue  # folded, pinned, or met where it leaves a knot
                    u, x = start, 2 * i
                else:
                    if (other >= 0 and desk.where[other] < 0) or board.pin[w] >= 0:
                        continue
                    if limited and board.weight[w] > 0:
                        continue  # on a closed board nothing tells how many strands the cycle changes
                    u, x = 2 * i + 1, (2 * desk.where[other] if other >= 0 else end)
                if labels[w] == s:
                    u, x = x, u
                tail[arcs], head[arcs], price[arcs], wire[arcs] = u, x, 0.0, w
                arcs += 1
        if desk.thread_used[s] < board.at_most[s]:
            tail[arcs], head[arcs], price[arcs], wire[arcs] = end, start, 0.0, -1
            arcs += 1
        if desk.thread_used[t] < board.at_most[t]:
            tail[arcs], head[arcs], price[arcs], wire[arcs] = start, end, 0.0, -1
            arcs += 1
        distance[:] = 0.0
        via[:] = -1
        found = -1
        for sweep in range(2 * knots + 2):
            last = -1
            for e in range(arcs):
                reach = distance[tail[e]] + price[e]
                if reach < distance[head[e]] - TINY:
                    distance[head[e]] = reach
                    via[head[e]] = e
                    last = head[e]
            if last < 0:
                break
            desk.work[0] += arcs
            if sweep % 4 == 3:
                found = _cycle(via, tail, last)
                if found >= 0:
                    break
        if found < 0:
            break
        node = found
        while True:
            e = via[node]
            if wire[e] >= 0:
                labels[wire[e]] = t if labels[wire[e]] == s else s
                if board.weight[wire[e]] > 0:
                    desk.thread_used[s] += 1 if labels[wire[e]] == s else -1
                    desk.thread_used[t] += 1 if labels[wire[e]] == t else -1
            node = tail[e]
            if node == found:
                break
        changed = True
    for i in range(knots):
        desk.where[order[i]] = -1
    return changed


@compiled
def _cycle(via, tail, node):
    """Return a node on a cycle of the tree of last arcs above ``node``, or -1."""
    for _ in range(len(via)):
        if via[node] < 0:
            return -1
        node = tail[via[node]]
    return node
