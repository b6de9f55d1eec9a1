"""The window program: free a set of knots, fix everything around it, and solve the rest exactly.

The knots of the window are eliminated one by one. Between two eliminations the state is the thread of
every wire that leads from an eliminated knot to one still to come (a slot each), and, where at most one
hand-over is allowed in a row, whether it has been used up (one more slot, of two values). This is
variable elimination, or non-serial dynamic programming (Bertelè and Brioschi 1972); the result does not
depend on the order of elimination, only the number of states does.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board, Labels, hand_overs, used
from pipeline.routing.compiled import compiled

SLOTS = 20
"""More wires than this are never open at once within a sensible number of states."""
FAR = np.float32(1e30)
FIXED, OPEN, LOOSE = 0, 1, 2


class Desk(NamedTuple):
    """Scratch memory of the window program, and counts that go with the labels it works on."""

    where: NDArray[np.int32]
    """(V,) place of each knot in the window, -1 outside; always left at -1."""
    row_used: NDArray[np.int32]
    """(rows,) counted hand-overs in each row under the present labels."""
    thread_used: NDArray[np.int32]
    """(k,) starting strands of each thread under the present labels."""
    now: NDArray[np.float32]
    then: NDArray[np.float32]
    back: NDArray[np.uint16]
    work: NDArray[np.int64]
    """(1,) states visited so far: the measure of effort."""


def desk(board: Board, labels: Labels, states: int = 1 << 15, memory: int = 1 << 24) -> Desk:
    """Set up scratch memory for windows of at most ``states`` states and ``memory`` states in all."""
    rows = int(board.row.max()) + 1 if len(board.row) else 1
    made = Desk(
        np.full(len(board.wire), -1, np.int32),
        np.zeros(rows, np.int32),
        np.zeros(board.threads, np.int32),
        np.zeros(states, np.float32),
        np.zeros(states, np.float32),
        np.zeros(memory, np.uint16),
        np.zeros(1, np.int64),
    )
    recount(board, labels, made)
    return made


def recount(board: Board, labels: Labels, desk: Desk) -> None:
    """Bring the counts of the desk up to date after labels were changed by something else."""
    mid = hand_overs(board, labels) & board.counted
    desk.row_used[:] = np.bincount(board.row[mid], minlength=len(desk.row_used))
    desk.thread_used[:] = used(board, labels)


@compiled
def value(board, cost, penalty, labels, order):  # type: ignore[no-untyped-def]
    """Return colour error plus hand-over penalties of the knots in ``order``."""
    total = 0.0
    for v in order:
        x = labels[board.wire[v, 0]]
        y = labels[board.wire[v, 1]]
        total += min(cost[v, x], cost[v, y])
        if x != y and labels[board.wire[v, 2]] == x:
            total += penalty[v]
    return total


@compiled
def _count(board, labels, order, desk, sign):  # type: ignore[no-untyped-def]
    """Add (or take away) the counted hand-overs and starting strands of the knots in ``order``."""
    for v in order:
        x = labels[board.wire[v, 0]]
        if board.counted[v] and x != labels[board.wire[v, 1]] and x == labels[board.wire[v, 2]]:
            desk.row_used[board.row[v]] += sign
        for j in range(2):
            w = board.wire[v, j]
            # a folded pair with both ends in the window is met twice and counted at its first end
            first = board.ends[w, 0] == v or desk.where[board.ends[w, 0]] < 0
            if board.weight[w] > 0 and first and (j == 0 or w != board.wire[v, 0]):
                desk.thread_used[labels[w]] += sign * board.weight[w]


@compiled
def _seat(board, desk, order, left, kind, seats, dims, kinds):  # type: ignore[no-untyped-def]
    """Give every open wire a slot from its first knot to its last; return the largest and total sizes.

    ``seats[s, i, j]`` is the slot of wire j (4: the row's allowance) before (i = 0) and after step s.
    """
    steps = len(order)
    place = np.full(SLOTS, -1, np.int64)
    busy = np.zeros(SLOTS, np.int64)
    begun = np.zeros(len(desk.row_used), np.bool_)
    seats[:] = -1
    for s in range(steps):
        v = order[s]
        for j in range(4):
            w = board.wire[v, j]
            other = board.ends[w, 0] if board.ends[w, 0] != v else board.ends[w, 1]
            if board.pin[w] >= 0 or (other >= 0 and other != v and desk.where[other] < 0):
                kind[s, j] = FIXED
            elif other < 0 or other == v:
                kind[s, j] = LOOSE
            else:
                kind[s, j] = OPEN
                if desk.where[other] < s:
                    for p in range(SLOTS):
                        if place[p] == w:
                            seats[s, 0, j] = p
        row = board.row[v]
        if board.light and board.counted[v]:
            left[row] -= 1
            if begun[row]:
                for p in range(SLOTS):
                    if place[p] == -2 - row:
                        seats[s, 0, 4] = p
        for j in range(5):
            if seats[s, 0, j] >= 0:
                place[seats[s, 0, j]] = -1
        for j in range(5):
            if j < 4:
                if kind[s, j] != OPEN or seats[s, 0, j] >= 0:
                    continue
                key, wish = np.int64(board.wire[v, j]), seats[s, 0, 3 - j]
            else:
                if not (board.light and board.counted[v]) or left[row] == 0:
                    continue
                key, wish = np.int64(-2 - row), seats[s, 0, 4]
                begun[row] = True
            if wish < 0 or place[wish] != -1:
                wish = -1
                for i in range(5):
                    p = seats[s, 0, i]
                    if wish < 0 and p >= 0 and place[p] == -1:
                        wish = p
                for p in range(SLOTS):
                    if wish < 0 and place[p] == -1:
                        wish = p
                if wish < 0:
                    return 1 << 40, 1 << 40
            place[wish] = key
            seats[s, 1, j] = wish
        for i in range(2):
            for j in range(5):
                if seats[s, i, j] >= 0:
                    busy[seats[s, i, j]] += 1
        for p in range(SLOTS):
            dims[s + 1, p] = 1 if place[p] == -1 else (2 if place[p] < -1 else kinds)
    # slots that rest most go lowest: long runs of neighbouring states are then treated alike
    rank = np.argsort(busy, kind="mergesort")
    # empty slots first would be useless but harmless: they have one value
    to = np.empty(SLOTS, np.int64)
    for i in range(SLOTS):
        to[rank[i]] = i
    most, total = 1, 0
    moved = np.ones(SLOTS, np.int8)
    for s in range(steps):
        for i in range(2):
            for j in range(5):
                if seats[s, i, j] >= 0:
                    seats[s, i, j] = to[seats[s, i, j]]
        size = 1
        for p in range(SLOTS):
            moved[to[p]] = dims[s + 1, p]
            size *= dims[s + 1, p]
            size = min(size, 1 << 40)
        dims[s + 1] = moved
        most = max(most, size)
        total += size
    dims[0] = 1
    return most, total


@compiled
def _knot(board, cost, penalty, labels, v, kind, seats, threads, index, old, new, frees, spare, moves):  # type: ignore[no-untyped-def]
    """List what the knot may do: (code, offset before, local index after, cost) for each possibility.

    Returns their number and the number of local states after the knot.
    """
    kw = len(threads)
    wire = board.wire[v]
    codes, froms, locals_, costs = moves
    room = 1
    base = np.zeros(5, np.int64)
    for j in range(5):
        if seats[1, j] >= 0:
            base[j] = room
            room *= 2 if j == 4 else kw
    count = 0
    for x in range(kw):
        for y in range(kw):
            if wire[0] == wire[1] and x != y:
                continue
            for turn in range(2):  # 0: both go straight on (swap), 1: both stay
                if turn == 1 and x == y:
                    continue
                legal = True
                come, local = 0, 0
                for j in range(4):
                    if j < 2:
                        t = x if j == 0 else y
                    else:
                        t = (y if turn == 0 else x) if j == 2 else (x if turn == 0 else y)
                    if kind[j] == FIXED:
                        legal &= index[labels[wire[j]]] == t
                    elif board.weight[wire[j]] > 0:
                        legal &= threads[t] == labels[wire[j]] or spare[threads[t]] >= frees
                    if seats[0, j] >= 0:
                        come += t * old[seats[0, j]]
                    if seats[1, j] >= 0:
                        local += t * base[j]
                if not legal:
                    continue
                price = min(cost[v, threads[x]], cost[v, threads[y]]) + (penalty[v] if turn == 1 else 0.0)
                takes = 1 if board.light and board.counted[v] and turn == 1 else 0
                for had in range(2 if seats[0, 4] >= 0 else 1):
                    has = had + takes
                    if has > 1 or (takes == 1 and new == 0):
                        continue
                    codes[count] = ((x * kw + y) * 2 + turn) * 2 + had
                    froms[count] = come + (had * old[seats[0, 4]] if seats[0, 4] >= 0 else 0)
                    locals_[count] = local + (has * base[4] if seats[1, 4] >= 0 else 0)
                    costs[count] = price
                    count += 1
    return count, room


@compiled
def _spread(  # type: ignore[no-untyped-def]
    now, then, back, first, code, come, price, room_at, runs, old_at, new_at, run, old_step, new_step
):
    """Fill the states after a knot, each local state from its one, two or many sources.

    ``room_at[i]``: offset of local state i; its sources are ``first[i]`` … ``first[i + 1]`` - 1.
    """
    for i in range(len(room_at)):
        q = first[i]
        sources = first[i + 1] - q
        for r in range(runs):
            n0 = room_at[i] + new_at[r]
            if sources == 0:
                for e in range(run):
                    then[n0 + e * new_step] = FAR
            elif sources <= 2:
                last = q + sources - 1
                a0, ca, pa = old_at[r] + come[q], code[q], price[q]
                b0, cb, pb = old_at[r] + come[last], code[last], price[last]
                if old_step == 1 and new_step == 1:
                    for e in range(run):
                        va, vb = now[a0 + e] + pa, now[b0 + e] + pb
                        left = va <= vb
                        then[n0 + e] = va if left else vb
                        back[n0 + e] = ca if left else cb
                else:
                    for e in range(run):
                        va, vb = now[a0 + e * old_step] + pa, now[b0 + e * old_step] + pb
                        left = va <= vb
                        then[n0 + e * new_step] = va if left else vb
                        back[n0 + e * new_step] = ca if left else cb
            else:
                for e in range(run):
                    best, which = now[old_at[r] + come[q] + e * old_step] + price[q], code[q]
                    for other in range(q + 1, q + sources):
                        value = now[old_at[r] + come[other] + e * old_step] + price[other]
                        if value < best:
                            best, which = value, code[other]
                    then[n0 + e * new_step] = best
                    back[n0 + e * new_step] = which


@compiled
def solve(board, cost, penalty, labels, order, desk):  # type: ignore[no-untyped-def]
    """Set the labels inside the window to the best there are; return how much was gained.

    ``cost``: (V, k) and ``penalty``: (V,) price of a hand-over, both float64; ``order``: knots of the
    window in elimination order. Never makes the value worse. Returns -1 when the window is too wide for
    the desk (nothing is changed then).
    """
    steps = len(order)
    k = board.threads
    for s in range(steps):
        desk.where[order[s]] = s
    seen = np.zeros(k, np.bool_)
    frees = 0
    left = np.zeros(len(desk.row_used), np.int64)
    for v in order:
        left[board.row[v]] += 1 if board.counted[v] else 0
        for j in range(4):
            w = board.wire[v, j]
            seen[labels[w]] = True
            if j < 2 and board.weight[w] > 0 and board.pin[w] < 0:
                frees += board.weight[w]
    spare = board.at_most - desk.thread_used
    if frees > 0:
        for t in range(k):
            seen[t] |= spare[t] >= frees
    threads = np.flatnonzero(seen)
    kw = len(threads)
    index = np.full(k, -1, np.int64)
    for i in range(kw):
        index[threads[i]] = i
    kind = np.zeros((steps, 4), np.int8)
    seats = np.zeros((steps, 2, 5), np.int8)
    dims = np.ones((steps + 1, SLOTS), np.int8)
    most, total = _seat(board, desk, order, left, kind, seats, dims, kw)
    if most > len(desk.now) or total > len(desk.back):
        for v in order:
            desk.where[v] = -1
        return -1.0
    desk.work[0] += total + 1000 * steps
    before = value(board, cost, penalty, labels, order)
    _count(board, labels, order, desk, -1)

    codes = np.empty(4 * kw * kw, np.uint16)
    froms = np.empty(4 * kw * kw, np.int64)
    local = np.empty(4 * kw * kw, np.int64)
    prices = np.empty(4 * kw * kw, np.float64)
    code = np.empty(4 * kw * kw, np.uint16)
    come = np.empty(4 * kw * kw, np.uint64)
    price = np.empty(4 * kw * kw, np.float32)
    old, new = np.empty(SLOTS, np.int64), np.empty(SLOTS, np.int64)
    old_at, new_at = np.empty(most, np.uint64), np.empty(most, np.uint64)
    now, then = desk.now, desk.then
    now[0] = 0
    start = np.int64(0)
    starts = np.empty(steps, np.int64)
    for s in range(steps):
        v = order[s]
        old_size, new_size = np.int64(1), np.int64(1)
        for p in range(SLOTS):
            old[p], new[p] = old_size, new_size
            old_size *= dims[s, p]
            new_size *= dims[s + 1, p]
        allowed = 1 if not board.light or desk.row_used[board.row[v]] < 1 or not board.counted[v] else 0
        count, room = _knot(
            board,
            cost,
            penalty,
            labels,
            v,
            kind[s],
            seats[s],
            threads,
            index,
            old,
            allowed,
            frees,
            spare,
            (codes, froms, local, prices),
        )
        first = np.zeros(room + 1, np.int64)
        for i in range(count):
            first[local[i] + 1] += 1
        for i in range(room):
            first[i + 1] += first[i]
        fill = first[:-1].copy()
        for i in range(count):
            q = fill[local[i]]
            code[q], come[q], price[q] = codes[i], froms[i], prices[i]
            fill[local[i]] += 1
        touched = np.zeros(SLOTS, np.bool_)
        for i in range(2):
            for j in range(5):
                if seats[s, i, j] >= 0:
                    touched[seats[s, i, j]] = True
        # the longest group of neighbouring slots at rest is the inner loop, all others the outer one
        low, high, run = 0, 0, np.int64(1)
        p = 0
        while p < SLOTS:
            q, size = p, np.int64(1)
            while q < SLOTS and not touched[q]:
                size *= dims[s, q]
                q += 1
            if size > run:
                low, high, run = p, q, size
            p = q + 1
        runs = 1
        old_at[0] = 0
        new_at[0] = 0
        for p in range(SLOTS):
            if not touched[p] and dims[s, p] > 1 and not low <= p < high:
                for d in range(1, dims[s, p]):
                    for r in range(runs):
                        old_at[d * runs + r] = old_at[r] + np.uint64(d * old[p])
                        new_at[d * runs + r] = new_at[r] + np.uint64(d * new[p])
                runs *= dims[s, p]
        back = desk.back[start : start + new_size]
        room_at = np.zeros(room, np.uint64)
        for i in range(room):
            rest = i
            for j in range(5):
                if seats[s, 1, j] >= 0:
                    values = 2 if j == 4 else kw
                    room_at[i] += np.uint64((rest % values) * new[seats[s, 1, j]])
                    rest //= values
        _spread(
            now,
            then,
            back,
            first,
            code,
            come,
            price,
            room_at,
            runs,
            old_at,
            new_at,
            np.uint64(run),
            np.uint64(old[low]),
            np.uint64(new[low]),
        )
        starts[s] = start
        start += new_size
        now, then = then, now

    kept = np.empty((steps, 4), np.int8)
    for s in range(steps):
        for j in range(4):
            kept[s, j] = labels[board.wire[order[s], j]]
    if now[0] < FAR:
        _trace(board, labels, order, threads, kind, seats, dims, desk.back, starts)
    gain = before - value(board, cost, penalty, labels, order)
    if gain <= 1e-9:
        for s in range(steps):
            for j in range(4):
                labels[board.wire[order[s], j]] = kept[s, j]
        gain = 0.0
    _count(board, labels, order, desk, 1)
    for v in order:
        desk.where[v] = -1
    return gain


@compiled
def _trace(board, labels, order, threads, kind, seats, dims, back, starts):  # type: ignore[no-untyped-def]
    """Follow the best choices back from the last knot and write the labels."""
    kw = len(threads)
    digit = np.zeros(SLOTS, np.int64)
    for s in range(len(order) - 1, -1, -1):
        at, size = np.int64(0), np.int64(1)
        for p in range(SLOTS):
            at += digit[p] * size
            size *= dims[s + 1, p]
        code = np.int64(back[starts[s] + at])
        had, turn, pair = code & 1, (code >> 1) & 1, code >> 2
        x, y = pair // kw, pair % kw
        for j in range(5):
            if seats[s, 1, j] >= 0:
                digit[seats[s, 1, j]] = 0
        for j in range(4):
            if j < 2:
                t = x if j == 0 else y
            else:
                t = (y if turn == 0 else x) if j == 2 else (x if turn == 0 else y)
            if kind[s, j] != FIXED:
                labels[board.wire[order[s], j]] = threads[t]
            if seats[s, 0, j] >= 0:
                digit[seats[s, 0, j]] = t
        if seats[s, 0, 4] >= 0:
            digit[seats[s, 0, 4]] = had
