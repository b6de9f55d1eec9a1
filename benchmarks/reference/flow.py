"""Two threads as a minimum-cost flow with convex costs, solved by networkx's network simplex.

A unit of flow is a strand of thread 1. A knot that f strands of it pass costs f(0), f(1) or f(2), convex
because f(1) is the lesser of the two ends; two arcs in parallel price the first and the second strand.
Integral data have an integral optimum (Ahuja, Magnanti and Orlin 1993).
"""

from __future__ import annotations

import networkx as nx
import numpy as np

from pipeline.routing.question import Question

UNIT = 1_000_000
"""Whole-numbered costs: millionths, as network simplex wants integers."""


def optimum(problem: Question) -> float:
    """Least colour error of two threads, free of any ease; pins and at_most kept, nothing folded.

    A closed band without limits is a circulation: its last wires lead on to the knots of its first ones.
    """
    assert problem.threads == 2 and not problem.folded
    network = problem.network
    whole = np.rint(problem.costs * UNIT).astype(np.int64)
    none, two = whole[:, 0], whole[:, 1]
    one = np.minimum(none, two)
    graph = nx.MultiDiGraph()
    tail: dict[int, object] = dict.fromkeys(range(network.strands), "source")
    for knot in range(network.knots):
        graph.add_edge(("in", knot), ("out", knot), capacity=1, weight=int(one[knot] - none[knot]))
        graph.add_edge(("in", knot), ("out", knot), capacity=1, weight=int(two[knot] - one[knot]))
        for edge in network.out[knot].tolist():
            tail[edge] = ("out", knot)
    head: dict[int, object] = dict.fromkeys(network.last.tolist(), "sink")
    for knot in range(network.knots):
        for edge in network.into[knot].tolist():
            head[edge] = ("in", knot)
    if problem.closed:
        for edge, end in enumerate(network.last.tolist()):
            tail[edge] = tail.pop(end)
    demand: dict[object, int] = dict.fromkeys([*graph.nodes, "source", "sink"], 0)
    pinned = 0
    for edge, start in tail.items():
        pin = problem.start[edge] if edge < network.strands else None
        if pin == 1:
            demand[head[edge]] -= 1
            demand[start] += problem.closed
            pinned += not problem.closed
        elif pin is None:
            graph.add_edge(start, head[edge], capacity=1, weight=0)
    if problem.closed:
        assert problem.at_most == (None, None)
        nx.set_node_attributes(graph, demand, "demand")
        return float(nx.network_simplex(graph)[0] + none.sum()) / UNIT
    most = [network.strands if most is None else most for most in problem.at_most]
    fewest, most_of_1 = max(network.strands - most[0], pinned), min(most[1], network.strands)
    if fewest > most_of_1:
        return float("inf")
    demand["source"] -= most_of_1 - pinned
    demand["sink"] += most_of_1
    graph.add_edge("source", "sink", capacity=most_of_1 - fewest, weight=0)
    nx.set_node_attributes(graph, demand, "demand")
    try:
        cost, _ = nx.network_simplex(graph)
    except nx.NetworkXUnfeasible:
        return float("inf")
    return float(cost + none.sum()) / UNIT
