"""The loops of the window program (see ``windows``)."""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled
from pipeline.routing.loops.elimination import SLOTS, domain, seat, ways

FAR = np.float32(1e30)


@compiled
def value(board, cost, penalty, labels, order):
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
def _count(board, labels, order, desk, sign):
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
def _spread(
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
def solve(board, cost, penalty, labels, order, desk):
    """Set the labels inside the window to the best there are; return how much was gained.

    ``cost``: (V, k) and ``penalty``: (V,) price of a hand-over, both float64; ``order``: knots of the
    window in elimination order. Never makes the value worse. Returns -1 when the window is too wide for
    the desk (nothing is changed then).
    """
    steps, k = len(order), board.threads
    seen = np.zeros(k, np.bool_)
    left = np.zeros(len(desk.row_used), np.int64)
    for s in range(steps):
        v = order[s]
        desk.where[v] = s
        left[board.row[v]] += 1 if board.counted[v] else 0
        for j in range(4):
            w = board.wire[v, j]
            seen[labels[w]] = True
    frees = np.int64(0)  # starting strands in the window, and how many more of each may be
    for t in range(k):
        frees += desk.thread_used[t]
    _count(board, labels, order, desk, -1)
    for t in range(k):
        frees -= desk.thread_used[t]
    spare = board.at_most - desk.thread_used
    if frees > 0:
        for t in range(k):
            seen[t] |= spare[t] >= frees
    kw = np.int64(0)
    threads = np.empty(k, np.int64)
    for t in range(k):
        if seen[t]:
            threads[kw] = t
            kw += 1
    threads = threads[:kw]
    sizes = np.zeros((steps, 4), np.int16)
    seats = np.zeros((steps, 2, 5), np.int8)
    dims = np.empty((steps + 1, SLOTS), np.int16)
    dims[:] = 1
    most, total = seat(board, desk, labels, order, left, threads, spare, frees, sizes, seats, dims)
    desk.work[0] += 1000 * steps
    if most > len(desk.now) or total > len(desk.back):
        _count(board, labels, order, desk, 1)
        for v in order:
            desk.where[v] = -1
        return -1.0
    desk.work[0] += total
    before = value(board, cost, penalty, labels, order)

    codes, code = np.empty(4 * kw * kw, np.uint16), np.empty(4 * kw * kw, np.uint16)
    froms, come = np.empty(4 * kw * kw, np.int64), np.empty(4 * kw * kw, np.uint64)
    prices, price = np.empty(4 * kw * kw, np.float64), np.empty(4 * kw * kw, np.float32)
    local, out = np.empty(4 * kw * kw, np.int64), np.empty(kw, np.int64)
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
        closed = desk.row_used[board.row[v]] >= board.allowance[board.row[v]]
        count, room = ways(
            board, cost, penalty, labels, v, sizes[s], seats[s], dims[s + 1],
            threads, spare, frees, old, closed, out, (codes, froms, local, prices),
        )  # fmt: skip
        first = np.zeros(room + 1, np.int64)
        for i in range(count):
            first[local[i] + 1] += 1
        for i in range(room):
            first[i + 1] += first[i]
        fill = np.empty(room, np.int64)
        for i in range(room):
            fill[i] = first[i]
        for i in range(count):
            q = fill[local[i]]
            code[q], come[q], price[q] = codes[i], froms[i], prices[i]
            fill[local[i]] += 1
        room_at = np.zeros(room, np.uint64)
        for i in range(room):
            digits = i
            for j in range(5):
                if seats[s, 1, j] >= 0:
                    values = dims[s + 1, seats[s, 1, j]]
                    room_at[i] += np.uint64((digits % values) * new[seats[s, 1, j]])
                    digits //= values
        low, run, runs = rest(dims[s], seats[s], old, new, old_at, new_at)
        back = desk.back[start : start + new_size]
        _spread(
            now, then, back, first, code, come, price, room_at, runs, old_at, new_at,
            np.uint64(run), np.uint64(old[low]), np.uint64(new[low]),
        )  # fmt: skip
        starts[s] = start
        start += new_size
        now, then = then, now

    kept = np.empty((steps, 4), np.int8)
    for s in range(steps):
        for j in range(4):
            kept[s, j] = labels[board.wire[order[s], j]]
    if now[0] < FAR:
        _trace(board, labels, order, threads, spare, frees, sizes, seats, dims, desk.back, starts)
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
def rest(dims, seats, old, new, old_at, new_at):
    """Split the slots that a knot leaves alone into an inner loop and an outer one.

    The longest group of neighbouring slots is the inner loop, all others the outer one. Returns the
    lowest slot of the group, its length in states, and the number of ``old_at`` and ``new_at`` filled.
    """
    touched = np.zeros(SLOTS, np.bool_)
    for i in range(2):
        for j in range(5):
            if seats[i, j] >= 0:
                touched[seats[i, j]] = True
    low, high, run = 0, 0, np.int64(1)
    p = 0
    while p < SLOTS:
        q, size = p, np.int64(1)
        while q < SLOTS and not touched[q]:
            size *= dims[q]
            q += 1
        if size > run:
            low, high, run = p, q, size
        p = q + 1
    runs = 1
    old_at[0] = 0
    new_at[0] = 0
    for p in range(SLOTS):
        if not touched[p] and dims[p] > 1 and not low <= p < high:
            for d in range(1, dims[p]):
                for r in range(runs):
                    old_at[d * runs + r] = old_at[r] + np.uint64(d * old[p])
                    new_at[d * runs + r] = new_at[r] + np.uint64(d * new[p])
            runs *= dims[p]
    return low, run, runs


@compiled
def _trace(board, labels, order, threads, spare, frees, sizes, seats, dims, back, starts):
    """Follow the best choices back from the last knot and write the labels."""
    kw = len(threads)
    digit = np.zeros(SLOTS, np.int64)
    out = np.empty(kw, np.int64)
    found = np.empty((len(order), 4), np.int8)
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
            found[s, j] = threads[t]
            if seats[s, 0, j] >= 0:
                w = board.wire[order[s], j]
                size = domain(board, labels, threads, spare, frees, w, True, out)
                for i in range(size):
                    if out[i] == t:
                        digit[seats[s, 0, j]] = i
        if seats[s, 0, 4] >= 0:
            digit[seats[s, 0, 4]] = had
    for s in range(len(order)):
        for j in range(4):
            labels[board.wire[order[s], j]] = found[s, j]
