"""A quick descent from a routing at hand: exchanges of two threads and windows over columns, to a fixpoint.

Much cheaper than a search, and never worse than its start; for asking "what would this change give?" many
times over.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network
from pipeline.routing.board import Board, Labels, colour_error
from pipeline.routing.exchange import exchange
from pipeline.routing.meter import Meter
from pipeline.routing.question import Routed
from pipeline.routing.search import EXCHANGE_WORK
from pipeline.routing.windows import desk, recount, solve

STATES = 4096
"""Most states of a window; the width of the strips follows from it and the number of threads."""
HAND_OVER = 1e-3
"""Price of a hand-over in ΔE, to choose among equals."""
SETTING_UP = 2e7
"""Units of work of laying out the strips."""


def labels_of(network: Network, solution: Routed) -> Labels:
    """The thread on each wire of the network, (edges,) int8."""
    return relabel(network, solution.strands, solution.swaps)


def relabel(network: Network, strands: NDArray[np.int64], swaps: NDArray[np.bool_]) -> Labels:
    """The thread on each wire when strands of these threads are tied with these swaps."""
    labels = np.empty(network.edges, dtype=np.int8)
    labels[: network.strands] = strands
    on = strands.tolist()  # not compiled: an answer must be possible before anything is
    for (a, b), swap in zip(network.into.tolist(), swaps.tolist(), strict=True):
        on += (on[b], on[a]) if swap else (on[a], on[b])
    labels[:] = on
    return labels


def settle(board: Board, labels: Labels, meter: Meter, rounds: int = 8) -> float:
    """Improve ``labels`` in place; return their colour error. The work is charged to ``meter``.

    Exchanges are used where hand-overs are free.
    """
    penalty = np.full(len(board.wire), HAND_OVER)
    present = len(np.unique(labels[: board.strands]))
    width = max(1, min(4, int(np.log(STATES) / np.log(max(2, present))) - 1))
    strips = [
        np.flatnonzero((board.position >= at) & (board.position < at + wide)).astype(np.int32)
        for wide in range(min(2, width), width + 1)
        for at in range(max(1, board.strands - wide))
    ]
    paper = desk(board, labels, states=1 << 14, memory=1 << 23)
    meter.spend(SETTING_UP)
    last = float(colour_error(board, labels))
    for _ in range(rounds):
        if not board.limited:
            for t, s in combinations(range(board.threads), 2):
                exchange(board, board.cost, labels, s, t)
                meter.spend(EXCHANGE_WORK * len(board.wire))
            recount(board, labels, paper)
        before = int(paper.work[0])
        for strip in strips:
            solve(board, board.cost, penalty, labels, strip, paper)
        meter.spend(int(paper.work[0]) - before)
        now = float(colour_error(board, labels))
        if now > last - 1e-6 or meter.late:
            break
        last = now
    return float(colour_error(board, labels))
