"""A first routing: sweep the knots in working order with a beam of frontiers.

All strands start unassigned, and a strand gets its thread only at the first knot where it shows. The
frontiers kept are those of least cost so far plus the prices of their wires (see ``prices``) and what the
strips of the board cost at least (see ``lookahead``), which together estimate what the rest will cost.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels
from pipeline.routing.compiled import compiled
from pipeline.routing.lookahead import Ahead, blind, digit, state

STEPS = 200
"""Knots swept between two looks at the clock."""
WORST = 1e300


class Frontiers(NamedTuple):
    """The frontiers alive, twice: before a knot and after it in turn. W is the width of the beam."""

    threads: NDArray[np.int8]
    """(2, W, n) thread at each position, -1 where not yet assigned."""
    strand: NDArray[np.int32]
    """(2, W, n) the starting wire of the strand at each position."""
    counts: NDArray[np.int32]
    """(2, W, k) starting strands that have each thread."""
    mid: NDArray[np.bool_]
    """(2, W) whether the row has had its hand-over."""
    score: NDArray[np.float64]
    """(2, W) cost so far plus the guess for the rest."""
    mark: NDArray[np.uint64]
    """(2, W) hash of the frontier."""
    parent: NDArray[np.int32]
    """(V, W)"""
    move: NDArray[np.int32]
    """(V, W) left thread + 1, right thread + 1, and whether both stay, packed."""


@compiled
def _key(position, thread):  # type: ignore[no-untyped-def]
    """Return a hash of a thread at a position (the finaliser of SplitMix64)."""
    z = np.uint64(position * 64 + thread + 2) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@compiled
def _guess(prices, lowest, wire, thread):  # type: ignore[no-untyped-def]
    return prices[wire, thread] if thread >= 0 else lowest[wire]


@compiled
def _room_left(board, counts, strand, threads, t, w):  # type: ignore[no-untyped-def]
    """Whether the strands without a thread can still be given one after wire ``w`` gets thread ``t``.

    Pairs need two of a thread; when the pairs fit and the total fits, the single strands fit too.
    """
    singles, pairs, places, doubles = 0, 0, 0, 0
    for q in range(board.strands):
        if threads[q] < 0 and strand[q] != w:
            if board.weight[strand[q]] > 1:
                pairs += 1  # each pair is met twice
            else:
                singles += 1
    for u in range(board.threads):
        free = board.at_most[u] - counts[u] - (board.weight[w] if u == t else 0)
        if free < 0:
            return False
        places += free
        doubles += free // 2
    return doubles >= pairs // 2 and places >= singles + pairs


@compiled
def _advance(  # type: ignore[no-untyped-def]
    board, cost, prices, lowest, ahead, fronts, begin, end, side, alive, choices
):
    """Take the frontiers over knots ``begin`` … ``end`` - 1; return (side, number alive)."""
    n, k = board.strands, board.threads
    width = fronts.score.shape[1]
    room = width * 4 * (1 + choices)
    origin, move = np.empty(room, np.int32), np.empty(room, np.int32)
    score, mark = np.empty(room, np.float64), np.empty(room, np.uint64)
    size = 1
    while size < 2 * room:
        size *= 2
    table = np.empty(size, np.int32)
    best = np.empty(choices, np.int64)
    row_mark = _key(n, 0)
    sees, layers, base = len(ahead.owner) > 0, ahead.layers, ahead.base
    strip, one, size_of, tables = np.int64(0), np.int64(1), np.int64(1), np.int64(0)
    begun = again = False
    limited = False
    for t in range(k):
        limited |= board.at_most[t] < n
    for v in range(begin, end):
        p = board.position[v]
        a, b, c, d = board.wire[v]
        for i in range(choices):
            best[i] = -1
            for t in range(k):
                fresh = True
                for j in range(i):
                    fresh &= best[j] != t
                if fresh and (best[i] < 0 or cost[v, t] < cost[v, best[i]]):
                    best[i] = t
        counted = board.counted[v]
        closed = counted and board.allowance[board.row[v]] == 0
        threads, strand, counts = fronts.threads[side], fronts.strand[side], fronts.counts[side]
        if v == 0 or board.row[v] != board.row[v - 1]:
            for s in range(alive):
                if fronts.mid[side, s]:
                    fronts.score[side, s] -= ahead.toll[board.row[v - 1]] if sees else 0.0
                    fronts.mid[side, s] = False
                    fronts.mark[side, s] ^= row_mark
        if sees:
            strip = ahead.owner[v]
            one, size_of = base ** (p - ahead.low[strip]), base ** ahead.wide[strip]
            tables = ahead.first[strip] + ahead.step[v] * layers * size_of
            begun = v > 0 and board.row[v - 1] == board.row[v] and ahead.owner[v - 1] == strip
            again = (
                v + 1 < len(board.row) and board.row[v + 1] == board.row[v] and ahead.owner[v + 1] == strip
            )
        children = 0
        for s in range(alive):
            x0, y0 = threads[s, p], threads[s, p + 1]
            paired = strand[s, p] == strand[s, p + 1]
            rest = fronts.score[side, s] - _guess(prices, lowest, a, x0) - _guess(prices, lowest, b, y0)
            bare = fronts.mark[side, s] ^ _key(p, x0) ^ _key(p + 1, y0)
            others = np.int64(0)  # where the threads at all other positions lead to in the next table
            if sees:
                here = state(ahead, strip, threads[s])
                had = layers == 2 and begun and fronts.mid[side, s]
                rest -= ahead.cost[tables + had * size_of + here]
                others = tables + layers * size_of + here
                others -= (digit(ahead, x0) + digit(ahead, y0) * base) * one
            for i in range(1 + (choices if x0 < 0 else 0)):
                for j in range(1 + (choices if y0 < 0 else 0)):
                    x = x0 if i == 0 else best[i - 1]
                    y = y0 if j == 0 else best[j - 1]
                    if (i > 0 and j > 0) != (paired and x0 < 0) or (x < 0 and y < 0):
                        continue
                    if paired and x != y:
                        continue
                    if i > 0 or j > 0:
                        t, w = (x, strand[s, p]) if i > 0 else (y, strand[s, p + 1])
                        other = y0 if i > 0 else x0
                        if other >= 0 and cost[v, other] <= cost[v, t]:
                            continue
                        if limited and not _room_left(board, counts[s], strand[s], threads[s], t, w):
                            continue
                    shown = min(cost[v, x] if x >= 0 else WORST, cost[v, y] if y >= 0 else WORST)
                    for turn in range(2):
                        if turn == 1 and (x == y or closed or (counted and fronts.mid[side, s])):
                            continue
                        left, right = (x, y) if turn == 1 else (y, x)
                        origin[children] = s
                        move[children] = (x + 1) | (y + 1) << 8 | turn << 16
                        guess = _guess(prices, lowest, c, left) + _guess(prices, lowest, d, right)
                        if sees:
                            hands = counted and turn == 1
                            has = layers == 2 and again and (fronts.mid[side, s] or hands)
                            after = others + (digit(ahead, left) + digit(ahead, right) * base) * one
                            guess += ahead.cost[after + has * size_of]
                            guess += ahead.toll[board.row[v]] if hands else 0.0
                        score[children] = rest + shown + guess
                        mark[children] = bare ^ _key(p, left) ^ _key(p + 1, right)
                        if counted and turn == 1:
                            mark[children] ^= row_mark
                        children += 1
        # of equal frontiers only the cheapest goes on
        table[:] = -1
        for i in range(children):
            at = np.int64(mark[i] & np.uint64(size - 1))
            while table[at] >= 0 and mark[table[at]] != mark[i]:
                at = (at + 1) & (size - 1)
            j = table[at]
            if j >= 0 and score[j] <= score[i]:
                score[i] = WORST
            else:
                if j >= 0:
                    score[j] = WORST
                table[at] = i
        limit = WORST
        if children > width:
            limit = np.partition(score[:children], width - 1)[width - 1]
        alive, to = np.int64(0), 1 - side
        for i in range(children):
            if score[i] > limit or score[i] >= WORST or alive == width:
                continue
            s = origin[i]
            x, y, turn = (move[i] & 255) - 1, (move[i] >> 8 & 255) - 1, move[i] >> 16
            after, hung, tally = fronts.threads[to, alive], fronts.strand[to, alive], fronts.counts[to, alive]
            after[:], hung[:], tally[:] = threads[s], strand[s], counts[s]
            mixed = np.uint64(0)
            for q in range(2):
                t = x if q == 0 else y
                if t >= 0 and after[p + q] < 0:
                    w = hung[p + q]
                    tally[t] += board.weight[w]
                    if board.weight[w] > 1:
                        for e in range(n):
                            if hung[e] == w:
                                if e != p and e != p + 1:
                                    mixed ^= _key(e, -1) ^ _key(e, t)
                                after[e] = t
                    after[p + q] = t
            if turn == 0:
                after[p], after[p + 1] = after[p + 1], after[p]
                hung[p], hung[p + 1] = hung[p + 1], hung[p]
            fronts.mid[to, alive] = fronts.mid[side, s] or (counted and turn == 1)
            fronts.score[to, alive], fronts.mark[to, alive] = score[i], mark[i] ^ mixed
            fronts.parent[v, alive], fronts.move[v, alive] = s, move[i]
            alive += 1
        side = to
    return side, alive


def follow(board: Board, turns: NDArray[np.bool_], threads: NDArray[np.int8]) -> Labels:
    """Return the labels that follow from ``threads`` on starting wires (E,) and ``turns`` (V,), who stays."""
    labels = threads.copy()
    labels[: board.strands] = labels[board.partner]
    on = labels.tolist()  # not compiled: an answer must be possible before anything is
    for (a, b, c, d), turn in zip(board.wire.tolist(), turns.tolist(), strict=True):
        on[c], on[d] = (on[a], on[b]) if turn else (on[b], on[a])
    labels[:] = on
    return labels


def beam(
    board: Board,
    cost: NDArray[np.float64],
    prices: NDArray[np.float64],
    width: int,
    stop: Callable[[], bool],
    choices: int = 2,
    ahead: Ahead | None = None,
) -> Labels | None:
    """Return the labels of the best frontier found, or None when stopped or where none is left.

    ``cost`` (V, k), ``prices`` (E, k) and the tables ``ahead`` guide the beam; ``width`` frontiers are kept
    and ``choices`` threads tried on an unassigned strand. Pins, folds, the limit on each thread and on
    hand-overs hold.
    """
    n, k, knots = board.strands, board.threads, len(board.wire)
    fronts = Frontiers(
        np.full((2, width, n), -1, np.int8),
        np.zeros((2, width, n), np.int32),
        np.zeros((2, width, k), np.int32),
        np.zeros((2, width), np.bool_),
        np.zeros((2, width), np.float64),
        np.zeros((2, width), np.uint64),
        np.zeros((knots, width), np.int32),
        np.zeros((knots, width), np.int32),
    )
    wires = board.partner
    fronts.threads[:] = board.pin[wires]
    fronts.strand[:] = wires
    pinned = np.flatnonzero((board.pin[:n] >= 0) & (board.weight[:n] > 0))
    fronts.counts[:] = np.bincount(board.pin[pinned], weights=board.weight[pinned], minlength=k)
    lowest = prices.min(axis=1)
    choices = min(choices, k)
    if any(most < n for most in board.at_most):
        choices = k  # the best few may be used up
    sight = ahead or blind()
    side, alive = 0, 1
    for begin in range(0, knots, STEPS):
        if stop():
            return None
        end = min(knots, begin + STEPS)
        side, alive = _advance(board, cost, prices, lowest, sight, fronts, begin, end, side, alive, choices)
        if alive == 0:
            return None
    at = int(np.argmin(fronts.score[side, :alive]))
    moves = np.zeros(knots, np.int32)
    for v in range(knots - 1, -1, -1):
        moves[v] = fronts.move[v, at]
        at = int(fronts.parent[v, at])
    return _assign(board, wires, moves)


def _assign(board: Board, wires: NDArray[np.int32], moves: NDArray[np.int32]) -> Labels:
    """Read the threads of the starting strands off the moves; strands that never show take what is left."""
    threads = board.pin.copy()
    hanging = wires.copy()
    for v, p in enumerate(board.position):
        x, y, turn = (moves[v] & 255) - 1, (moves[v] >> 8 & 255) - 1, moves[v] >> 16
        if x >= 0:
            threads[hanging[p]] = x
        if y >= 0:
            threads[hanging[p + 1]] = y
        if not turn:
            hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    complete(board, threads)
    return follow(board, moves >> 16 > 0, threads)


def complete(board: Board, threads: NDArray[np.int8]) -> None:
    """Give the starting wires without a thread one that still has room, pairs first."""
    starts = np.flatnonzero(board.weight[: board.strands] > 0)
    free = board.at_most.astype(np.int64).copy()
    for w in starts[threads[starts] >= 0]:
        free[threads[w]] -= board.weight[w]
    for weight in (2, 1):
        for w in starts[(threads[starts] < 0) & (board.weight[starts] == weight)]:
            # where pairs are short of room an odd place is worth nothing to them: keep even places whole
            order = np.lexsort((-free, free % 2 == 0)) if weight == 1 else np.argsort(-free)
            thread = next(int(t) for t in order if free[t] >= weight)
            threads[w] = thread
            free[thread] -= weight
