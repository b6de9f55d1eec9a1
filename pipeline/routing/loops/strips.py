"""The loops over the tensors of a strip (see ``strips``): a sweep forward, and its slope back.

Minima are taken two by two and smoothed by a parabola: the lesser of x and y, less (δ − |x − y|)²/4δ where
they differ by less than δ (dynamic programming with a squared norm as regulariser; Mensch and Blondel 2018,
"Differentiable dynamic programming for structured prediction and attention"). So nothing sinks below what
floats can tell, and at δ = 0 the same sweep is exact. One sweep back gives the slope.
"""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.codes import ENTER, FAR, LEAVE, ROW, TIE, TIE_COUNTED
from pipeline.routing.loops.compiled import compiled


@compiled
def lesser(x, y, smooth, curve):
    """The lesser of two, smoothed; ``curve`` is 1/4δ."""
    near = max(smooth - abs(x - y), 0.0)
    return min(x, y) - near * near * curve


@compiled
def share(x, y, smooth, curve):
    """The slope of ``lesser`` by x."""
    return min(max((smooth + y - x) * (curve + curve), 0.0), 1.0)


@compiled
def forward(board, strip, prices, limit, toll, smooth, curve, memory):
    """Fill ``memory`` with the tensors of a sweep; return the least cost of the strip.

    ``prices`` (E, k) of wires, ``limit`` (k,) of each starting strand, ``toll`` (rows,) of each counted
    hand-over; ``smooth``: δ, and ``curve`` = 1/4δ, or both 0.
    """
    k = board.threads
    lowered = 0.0
    memory[0] = 0.0
    if board.limited:
        memory[1] = FAR
    for s in range(len(strip.steps)):
        what, item, sign, high, low = strip.steps[s]
        now, then = memory[strip.begin[s] :], memory[strip.begin[s + 1] :]
        if what <= TIE_COUNTED:
            block = k * k * low
            half = high // 2 if what == TIE_COUNTED else high
            used = half * block
            for x in range(k):
                for y in range(x + 1):
                    cost = min(board.cost[item, x], board.cost[item, y])
                    p, q = (x * k + y) * low, (y * k + x) * low
                    for h in range(half):
                        for e in range(h * block, h * block + low):
                            if what == TIE:
                                least = now[p + e] + cost
                                if x != y:
                                    least = lesser(now[p + e], now[q + e], smooth, curve) + cost
                                then[p + e] = least
                                then[q + e] = least
                            elif x == y:
                                then[p + e] = now[p + e] + cost
                                then[used + p + e] = now[used + p + e] + cost
                            else:
                                a, b = now[p + e], now[q + e]
                                c, d = now[used + p + e], now[used + q + e]
                                then[p + e], then[q + e] = b + cost, a + cost
                                then[used + p + e] = (
                                    lesser(d, a + toll[board.row[item]], smooth, curve) + cost
                                )
                                then[used + q + e] = (
                                    lesser(c, b + toll[board.row[item]], smooth, curve) + cost
                                )
        elif what == LEAVE:
            smallest = np.inf
            for h in range(high):
                for e in range(low):
                    least = now[h * k * low + e] + sign * prices[item, 0]
                    for t in range(1, k):
                        other = now[(h * k + t) * low + e] + sign * prices[item, t]
                        least = lesser(least, other, smooth, curve)
                    then[h * low + e] = least
                    smallest = min(smallest, least)
            lowered += smallest
            for i in range(high * low):
                then[i] -= smallest
        elif what == ENTER:
            for t in range(k):
                price = sign * prices[item, t]
                if sign > 0:
                    price += board.weight[item] * limit[t]
                if board.pin[item] >= 0 and board.pin[item] != t:
                    price = FAR
                for h in range(high):
                    for e in range(low):
                        then[(h * k + t) * low + e] = now[h * low + e] + price
        elif what == ROW:
            half = high // 2 * low
            for i in range(half):
                then[i] = lesser(now[i], now[half + i], smooth, curve)
                then[half + i] = FAR
    least = np.inf
    for i in range(strip.begin[-2], strip.begin[-1]):
        least = min(least, memory[i])
    return lowered + least


@compiled
def backward(board, strip, prices, toll, smooth, curve, memory, work, slopes):
    """Add the slopes of ``forward`` to ``slopes``: by prices (E, k), limit (k,) and toll (rows,).

    ``memory``: as ``forward`` left it; ``work``: (2, most) scratch.
    """
    k = board.threads
    slope, limits, tolls = slopes
    after, before = work[0], work[1]
    running = np.empty(k)
    begin, end = strip.begin[-2], strip.begin[-1]
    best = begin
    for i in range(begin, end):
        after[i - begin] = 0.0
        if memory[i] < memory[best]:
            best = i
    after[best - begin] = 1.0
    for s in range(len(strip.steps) - 1, -1, -1):
        what, item, sign, high, low = strip.steps[s]
        now = memory[strip.begin[s] :]
        if what <= TIE_COUNTED:
            block = k * k * low
            half = high // 2 if what == TIE_COUNTED else high
            used = half * block
            made = 0.0
            for x in range(k):
                for y in range(x + 1):
                    p, q = (x * k + y) * low, (y * k + x) * low
                    for h in range(half):
                        for e in range(h * block, h * block + low):
                            if what == TIE:
                                if x == y:
                                    before[p + e] = after[p + e]
                                else:
                                    both = after[p + e] + after[q + e]
                                    part = share(now[p + e], now[q + e], smooth, curve) * both
                                    before[p + e], before[q + e] = part, both - part
                            elif x == y:
                                before[p + e] = after[p + e]
                                before[used + p + e] = after[used + p + e]
                            else:
                                price = toll[board.row[item]]
                                u, v = after[used + p + e], after[used + q + e]
                                d = share(now[used + q + e], now[p + e] + price, smooth, curve) * u
                                c = share(now[used + p + e], now[q + e] + price, smooth, curve) * v
                                before[used + q + e], before[used + p + e] = d, c
                                before[p + e] = after[q + e] + (u - d)
                                before[q + e] = after[p + e] + (v - c)
                                made += u - d + v - c
            tolls[board.row[item]] += made
        elif what == LEAVE:
            for h in range(high):
                for e in range(low):
                    running[0] = now[h * k * low + e] + sign * prices[item, 0]
                    for t in range(1, k):
                        other = now[(h * k + t) * low + e] + sign * prices[item, t]
                        running[t] = lesser(running[t - 1], other, smooth, curve)
                    rest = after[h * low + e]
                    for t in range(k - 1, 0, -1):
                        other = now[(h * k + t) * low + e] + sign * prices[item, t]
                        kept = share(running[t - 1], other, smooth, curve) * rest
                        before[(h * k + t) * low + e] = rest - kept
                        slope[item, t] += sign * (rest - kept)
                        rest = kept
                    before[h * k * low + e] = rest
                    slope[item, 0] += sign * rest
        elif what == ENTER:
            for i in range(high * low):
                before[i] = 0.0
            for t in range(k):
                paid = 0.0
                for h in range(high):
                    for e in range(low):
                        part = after[(h * k + t) * low + e]
                        before[h * low + e] += part
                        paid += part
                slope[item, t] += sign * paid
                if sign > 0:
                    limits[t] += board.weight[item] * paid
        elif what == ROW:
            half = high // 2 * low
            for i in range(half):
                part = share(now[i], now[half + i], smooth, curve) * after[i]
                before[i], before[half + i] = part, after[i] - part
        after, before = before, after
