"""Eliminating knots one by one: which wires are open when, and what each knot may do.

The window program takes the best of all ways through (``windows``).
"""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled

SLOTS = 24
"""More wires than this are never open at once within a sensible number of states."""
HUGE = 1 << 40


@compiled
def domain(board, labels, threads, spare, frees, w, inside, out):
    """List the threads that wire ``w`` may have, as indices into ``threads``; return how many.

    Always holds the present one. A starting wire takes another thread only while ``spare``
    strands of it suffice for all ``frees`` that may ask.
    """
    size = 0
    for i in range(len(threads)):
        t = threads[i]
        free = inside and board.pin[w] < 0
        if t == labels[w] or (free and (board.weight[w] == 0 or spare[t] >= frees)):
            out[size] = i
            size += 1
    return size


@compiled
def seat(board, desk, labels, order, left, threads, spare, frees, sizes, seats, dims):
    """Give every open wire a slot from its first knot to its last; return the largest and total sizes.

    ``sizes[s, j]``: how many threads wire j of the knot of step s may have; ``seats[s, i, j]``: the slot
    of wire j (4: the row's allowance) before (i = 0) and after the step, or -1; ``dims[s, p]``: values
    that slot p takes before step s. A wire with one possible thread needs no slot.
    """
    steps = len(order)
    place = np.empty(SLOTS, np.int64)
    place[:] = -1
    busy = np.zeros(SLOTS, np.int64)
    begun = np.zeros(len(desk.row_used), np.bool_)
    out = np.empty(len(threads), np.int64)
    seats[:] = -1
    for s in range(steps):
        v = order[s]
        dims[s + 1] = dims[s]
        for j in range(4):
            w = board.wire[v, j]
            other = board.ends[w, 0] if board.ends[w, 0] != v else board.ends[w, 1]
            within = other < 0 or desk.where[other] >= 0
            sizes[s, j] = domain(board, labels, threads, spare, frees, w, within, out)
            if sizes[s, j] > 1 and other >= 0 and desk.where[other] < s:
                for p in range(SLOTS):
                    if place[p] == w:
                        seats[s, 0, j] = p
        row = board.row[v]
        counts = board.counted[v] and desk.row_used[row] < board.allowance[row]
        if counts:
            left[row] -= 1
            if begun[row]:
                for p in range(SLOTS):
                    if place[p] == -2 - row:
                        seats[s, 0, 4] = p
        for j in range(5):
            if seats[s, 0, j] >= 0:
                place[seats[s, 0, j]] = -1
                dims[s + 1, seats[s, 0, j]] = 1
        for j in range(5):
            if j < 4:
                w = board.wire[v, j]
                other = board.ends[w, 0] if board.ends[w, 0] != v else board.ends[w, 1]
                if sizes[s, j] == 1 or other < 0 or desk.where[other] <= s:
                    continue
                key, wish, values = np.int64(w), seats[s, 0, 3 - j], sizes[s, j]
            else:
                if not counts or left[row] == 0:
                    continue
                key, wish, values = np.int64(-2 - row), seats[s, 0, 4], 2
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
                    return HUGE, HUGE
            place[wish] = key
            dims[s + 1, wish] = values
            seats[s, 1, j] = wish
        for i in range(2):
            for j in range(5):
                if seats[s, i, j] >= 0:
                    busy[seats[s, i, j]] += 1
    # slots that rest most go lowest: long runs of neighbouring states are then treated alike
    to = np.empty(SLOTS, np.int64)
    for i in range(SLOTS):
        to[i] = 0
        for p in range(SLOTS):
            if busy[p] < busy[i] or (busy[p] == busy[i] and p < i):
                to[i] += 1
    most, total = 1, 0
    moved = np.empty(SLOTS, np.int16)
    moved[:] = 1
    for s in range(steps):
        for i in range(2):
            for j in range(5):
                if seats[s, i, j] >= 0:
                    seats[s, i, j] = to[seats[s, i, j]]
        size = 1
        for p in range(SLOTS):
            moved[to[p]] = dims[s + 1, p]
            size = min(size * dims[s + 1, p], HUGE)
        dims[s + 1] = moved
        most = max(most, size)
        total += size
    return most, total


@compiled
def ways(board, cost, penalty, labels, v, sizes, seats, dims, threads, spare, frees, old, closed, out, moves):
    """List what knot ``v`` may do: (code, offset before, local state after, cost) of each possibility.

    Returns their number and the number of local states after the knot. ``closed``: whether the row allows
    no further hand-over. ``out``: (4, kw) scratch; ``dims``: values of the slots after the knot.
    """
    kw = len(threads)
    wire = board.wire[v]
    code, come, local, price = moves
    digit = np.empty((4, kw), np.int64)
    digit[:] = -1
    for j in range(4):
        w = wire[j]
        size = domain(board, labels, threads, spare, frees, w, sizes[j] > 1, out)
        for i in range(size):
            digit[j, out[i]] = i
    room = 1
    base = np.zeros(5, np.int64)
    for j in range(5):
        if seats[1, j] >= 0:
            base[j] = room
            room *= dims[seats[1, j]]
    before = np.zeros(5, np.int64)
    for j in range(5):
        if seats[0, j] >= 0:
            before[j] = old[seats[0, j]]
    counts = board.counted[v]
    count = 0
    for x in range(kw):
        for y in range(kw):
            if digit[0, x] < 0 or digit[1, y] < 0 or (wire[0] == wire[1] and x != y):
                continue
            for turn in range(2):  # 0: both go straight on (they swap), 1: both stay
                c, d = (y, x) if turn == 0 else (x, y)
                if (turn == 1 and x == y) or digit[2, c] < 0 or digit[3, d] < 0:
                    continue
                takes = 1 if counts and turn == 1 else 0
                for had in range(2 if seats[0, 4] >= 0 else 1):
                    if had + takes > 1 or (takes == 1 and closed):
                        continue
                    code[count] = ((x * kw + y) * 2 + turn) * 2 + had
                    come[count] = (
                        digit[0, x] * before[0]
                        + digit[1, y] * before[1]
                        + digit[2, c] * before[2]
                        + digit[3, d] * before[3]
                        + had * before[4]
                    )
                    local[count] = (
                        digit[0, x] * base[0]
                        + digit[1, y] * base[1]
                        + digit[2, c] * base[2]
                        + digit[3, d] * base[3]
                        + (had + takes) * base[4]
                    )
                    price[count] = min(cost[v, threads[x]], cost[v, threads[y]]) + turn * penalty[v]
                    count += 1
    return count, room
