"""The board on which the search moves: knots, the wires between them, and a thread on each wire.

A wire is an edge of the network, with the knots at its two ends. Two folded starting positions are one
wire between the two knots that take them. On a closed board the last edge at a position is the wire that
starts there: it leads from the knot that makes it on to the one that takes it in the next round. Every knot
has four wires, two in and two out, and carries the same two threads in as out; that is all a routing has to
obey beside the maker's bounds, so a routing is an array of labels, the thread on each wire.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network
from pipeline.routing.question import ANY, Question, Routed, Stopped

Labels = NDArray[np.int8]
Prices = NDArray[np.float64]
"""(E, k) of each thread on each wire."""


class Board(NamedTuple):
    """A problem as arrays for the compiled loops. V knots, E edges, n strands, k threads."""

    strands: int
    threads: int
    wire: NDArray[np.int32]
    """(V, 4) wires of each knot: in left, in right, out left, out right."""
    ends: NDArray[np.int32]
    """(E, 2) knots at the ends of each wire, -1 where there is none."""
    cost: NDArray[np.float64]
    """(V, k) cost of showing each thread."""
    row: NDArray[np.int32]
    """(V,) row of each knot."""
    position: NDArray[np.int32]
    """(V,) left position of each knot."""
    counted: NDArray[np.bool_]
    """(V,) whether a hand-over here counts against the allowance of its row; never where that is ``ANY``."""
    allowance: NDArray[np.int32]
    """(rows,) how many counted hand-overs each row may have."""
    limited: bool
    """Whether any knot is counted."""
    in_rows: NDArray[np.bool_]
    """(V,) whether the knot is of a row-worked row."""
    weight: NDArray[np.int32]
    """(E,) how many starting strands the wire stands for: 0, 1, or 2 where folded."""
    partner: NDArray[np.int32]
    """(n,) the wire that stands for each starting position: its own, or that of its folded partner."""
    pin: NDArray[np.int8]
    """(E,) the thread a wire must have, or -1."""
    at_most: NDArray[np.int32]
    """(k,) largest number of strands of each thread."""

    @property
    def knots(self) -> int:
        """Number of knots; not for the compiled loops."""
        return len(self.wire)


def board(problem: Question) -> Board:
    """Lay out a problem. Its pins on folded pairs must agree (see ``problem.check``)."""
    net = problem.network
    n, knots, k = net.strands, net.knots, problem.threads
    alias = np.arange(net.edges, dtype=np.int32)
    for p, q in problem.folded:
        alias[q] = p
    if problem.closed:
        alias[net.last] = np.arange(n, dtype=np.int32)
    wire = alias[np.concatenate([net.into, net.out], axis=1).reshape(knots, 4)]
    ends = np.full((net.edges, 2), -1, dtype=np.int32)
    flat, owner = wire.ravel(), np.repeat(np.arange(knots, dtype=np.int32), 4)
    order = np.argsort(flat, kind="stable")
    again = np.append(False, flat[order][1:] == flat[order][:-1])
    ends[flat[order], again.astype(np.int64)] = owner[order]
    if problem.closed and (ends[:, 0] == ends[:, 1])[ends[:, 0] >= 0].any():
        raise ValueError("a closed band is too short: a strand meets the same knot again")
    weight = np.bincount(alias[:n], minlength=net.edges).astype(np.int32)
    pin = np.full(net.edges, -1, dtype=np.int8)
    for p, thread in enumerate(problem.start):
        if thread is not None:
            pin[alias[p]] = thread
    at_most = [n if most is None else min(most, n) for most in problem.at_most]
    allowance = np.array(problem.allowance, dtype=np.int32)
    counted = middle(net) & (allowance < ANY)[net.row]
    return Board(
        n,
        k,
        np.ascontiguousarray(wire, dtype=np.int32),
        ends,
        np.ascontiguousarray(problem.costs, dtype=np.float64),
        net.row.astype(np.int32),
        net.position.astype(np.int32),
        counted,
        allowance,
        bool(counted.any()),
        row_worked(net),
        weight,
        alias[:n].copy(),
        pin,
        np.array(at_most, dtype=np.int32),
    )


def row_worked(network: Network) -> NDArray[np.bool_]:
    """(knots,) whether a knot is of a row-worked row."""
    return np.array([row.worked == "rows" for row in network.rows], dtype=bool)[network.row]


def middle(network: Network) -> NDArray[np.bool_]:
    """(knots,) whether a knot is neither the first nor the last of a row-worked row.

    >>> from pipeline.band.network import network, picture_rows
    >>> middle(network(4, picture_rows(4, 2, "rows"))).tolist()
    [False, True, False, False, True, False]
    """
    return np.asarray(row_worked(network) & ~at_edge(network.row))


def at_edge(row: NDArray[np.integer]) -> NDArray[np.bool_]:
    """(knots,) whether a knot is the first or the last of its row, from the (knots,) ``row`` of each."""
    turns = np.concatenate([[True], np.diff(row) != 0, [True]])
    return np.asarray((turns[:-1] | turns[1:])[: len(row)])


def colour_error(board: Board, labels: Labels) -> float:
    """Return the sum over knots of the lesser cost of the two threads that meet there."""
    return float(shown(board, labels).sum())


def shown(board: Board, labels: Labels) -> NDArray[np.float64]:
    """(V,) cost of what shows at each knot."""
    knots = np.arange(board.knots)
    return np.minimum(
        board.cost[knots, labels[board.wire[:, 0]]], board.cost[knots, labels[board.wire[:, 1]]]
    )


def hand_overs(board: Board, labels: Labels) -> NDArray[np.bool_]:
    """(V,) whether two different threads meet at the knot and both stay."""
    x, y, c = (labels[board.wire[:, i]] for i in range(3))
    return np.asarray((x != y) & (c == x))


def used(board: Board, labels: Labels) -> NDArray[np.int64]:
    """(k,) the number of starting strands of each thread."""
    n = board.strands
    return np.bincount(labels[:n], weights=board.weight[:n], minlength=board.threads).astype(np.int64)


def faults(board: Board, labels: Labels) -> list[str]:
    """Name every rule that the labels break; an empty list means a legal routing."""
    found = []
    inside, outside = np.sort(labels[board.wire[:, :2]], axis=1), np.sort(labels[board.wire[:, 2:]], axis=1)
    if (inside != outside).any():
        found.append("a knot lets other threads out than came in")
    if ((board.pin >= 0) & (board.pin != labels))[board.weight > 0].any():
        found.append("a pinned strand has another thread")
    if (used(board, labels) > board.at_most).any():
        found.append("a thread has more strands than allowed")
    made = np.bincount(board.row[hand_overs(board, labels) & board.counted], minlength=len(board.allowance))
    if (made > board.allowance).any():
        found.append("a row has more hand-overs in the middle than allowed")
    return found


def tie(network: Network, strands: NDArray[np.integer], swaps: NDArray[np.bool_]) -> Labels:
    """The thread on each wire of the network when strands of these threads are tied with these swaps.

    >>> from pipeline.band.network import network, picture_rows
    >>> net = network(3, picture_rows(3, 1, "rows"))
    >>> tie(net, np.array([0, 1, 2]), np.array([True, False])).tolist()
    [0, 1, 2, 1, 0, 0, 2]
    """
    on = strands.tolist()  # not compiled: an answer must be possible before anything is
    for (a, b), swap in zip(network.into.tolist(), swaps.tolist(), strict=True):
        on += (on[b], on[a]) if swap else (on[a], on[b])
    return np.array(on, dtype=np.int8)


def labels_of(network: Network, routes: Routed) -> Labels:
    """The thread on each wire of the network, (edges,)."""
    return tie(network, routes.strands, routes.swaps)


def solution(
    problem: Question, labels: Labels, lower_bound: float, stopped: Stopped = Stopped.DONE
) -> Routed:
    """Turn labels into strands and swaps, and recount the cost by tying every knot.

    Raises RuntimeError when the recount breaks a rule: that would be a fault of the search.
    """
    laid = board(problem)
    broken = faults(laid, labels)
    if broken:
        raise RuntimeError("the routing is not legal: " + "; ".join(broken))
    strands, stays = labels[laid.partner].astype(np.int64), hand_overs(laid, labels)
    swaps = ~stays
    tied = tie(problem.network, strands, swaps)
    if problem.closed and (tied[problem.network.last] != strands).any():
        raise RuntimeError("the recount ends in another order of threads than it began")
    meet = tied[problem.network.into]
    cost = float(problem.costs[np.arange(laid.knots)[:, None], meet].min(axis=1).sum())
    if abs(cost - colour_error(laid, labels)) > 1e-6 * max(1.0, cost):
        raise RuntimeError("the recount of the colour error differs")
    if lower_bound > cost + 1e-6 * max(1.0, cost):
        raise RuntimeError(f"the lower bound {lower_bound} lies above the colour error {cost}")
    strands.flags.writeable = swaps.flags.writeable = False
    handed = int((stays & laid.in_rows).sum())
    return Routed(strands, swaps, cost, min(lower_bound, cost), stopped, handed)
