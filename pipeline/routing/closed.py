"""A band that closes: its threads hang at the end as at the beginning, so it can be tied over and over.

A motif that repeats is routed as one such period, whatever the number of repeats. The first routing is
steady: in diagonal rows every strand stays at its position, straight rows are crossed to and fro by one
leader. It closes, and so does whatever the moves of the router make of it, for a closed board has no other
routings.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.beam import complete, follow
from pipeline.routing.board import Board, Labels, board
from pipeline.routing.exchange import NoFlow, exchange
from pipeline.routing.leader import applies, led_home
from pipeline.routing.question import Question
from pipeline.routing.stretches import stretches


def one_run(question: Question) -> bool:
    """Whether all rows take turns from edge to edge."""
    runs = list(stretches(question.network))
    return len(runs) == 1 and len(runs[0].rows) == len(question.network.rows)


def steady(laid: Board, question: Question) -> Labels:
    """The best routing in which diagonal knots stay and straight ones swap (of one leader, if any).

    Only a return of the leader closes straight rows: raises ValueError where their number is odd.
    """
    rows = sum(row.worked == "rows" and bool(row.positions) for row in question.network.rows)
    if rows % 2:
        raise ValueError(f"{rows} straight rows do not bring the leader back")
    n, k = laid.strands, laid.threads
    meets = np.zeros((n - 1, k, k))
    np.add.at(meets, laid.position, np.minimum(laid.cost[:, :, None], laid.cost[:, None]))
    threads = laid.pin.copy()
    if (laid.at_most >= n).all():
        allowed = np.where((threads[:n, None] < 0) | (threads[:n, None] == np.arange(k)), 0.0, np.inf)
        if not laid.in_rows.any():
            threads[:n] = _neighbours(meets, allowed)
        elif laid.position[laid.in_rows.argmax()] == 0:
            threads[:n] = _leading(meets, allowed)
        else:  # the leader sets out from the right edge
            threads[:n] = _leading(meets[::-1], allowed[::-1])[::-1]
    complete(laid, threads)
    return follow(laid, ~laid.in_rows, threads)


def end_as_begun(question: Question, labels: Labels) -> bool:
    """Let an open band end with the threads with which it begins, all pinned; False where that fails.

    Two threads at a time change places at the end, and are routed anew up to there. A flow does not see the
    allowance of rows: where there is one, the leader brings them home.
    """
    laid, last = board(question), question.network.last
    strands = labels[: question.network.strands].copy()
    if laid.limited:
        return applies(question) and led_home(question, labels)
    try:
        for p in np.flatnonzero(labels[last] != strands):
            had, wanted = labels[last[p]], strands[p]
            if had == wanted:
                continue
            q = np.flatnonzero((labels[last] == wanted) & (strands != wanted))[0]
            labels[last[[p, q]]] = wanted, had
            pin = laid.pin.copy()
            pin[last] = labels[last]
            exchange(laid._replace(pin=pin), laid.cost, labels, int(had), int(wanted))
    except NoFlow:
        return False
    return True


def _leading(meets: NDArray[np.float64], allowed: NDArray[np.float64]) -> NDArray[np.int64]:
    """The best thread of a leader at position 0, and of the base that it meets at each position."""
    bases = meets + allowed[1:, None]
    leader = int((bases.min(axis=2).sum(axis=0) + allowed[0]).argmin())
    return np.append(leader, bases[:, leader].argmin(axis=1))


def _neighbours(meets: NDArray[np.float64], allowed: NDArray[np.float64]) -> NDArray[np.int64]:
    """The best thread at each position where neighbours meet (a program along the positions)."""
    value, came = allowed[0], []
    for p, pair in enumerate(meets):
        total = value[:, None] + pair
        came.append(total.argmin(axis=0))
        value = total.min(axis=0) + allowed[p + 1]
    threads = [int(value.argmin())]
    for back in reversed(came):
        threads.append(int(back[threads[-1]]))
    return np.array(threads[::-1])
