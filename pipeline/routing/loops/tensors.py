"""Loops over the tensors of a strip (see ``strips``): one step forward, and its slope back.

Minima are taken two by two and smoothed by a parabola: the lesser of x and y, less (δ − |x − y|)²/4δ where
they differ by less than δ (dynamic programming with a squared norm as regulariser; Mensch and Blondel 2018,
"Differentiable dynamic programming for structured prediction and attention"). So nothing sinks below what
floats can tell, and at δ = 0 the same sweep is exact. One sweep back gives the slope.
"""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled


@compiled
def _meet(now, then, a, b, count, stride, cost, smooth, curve):
    """Two runs of states take, both, the lesser of the two smoothed, plus ``cost``."""
    zero = smooth - smooth
    for i in range(count):
        x, y = now[a + i * stride], now[b + i * stride]
        near = smooth - abs(x - y)
        near = near if near > zero else zero
        least = (x if x < y else y) - near * near * curve + cost
        then[a + i * stride] = least
        then[b + i * stride] = least


@compiled
def _part(now, slope, a, b, count, stride, smooth, curve):
    """Hand the slope of two runs of states back to where ``_meet`` took them from."""
    zero = smooth - smooth
    one = zero + np.float32(1)
    for i in range(count):
        share = (smooth + now[b + i * stride] - now[a + i * stride]) * (curve + curve)
        share = share if share > zero else zero
        share = share if share < one else one
        both = slope[a + i * stride] + slope[b + i * stride]
        part = share * both
        slope[a + i * stride] = part
        slope[b + i * stride] = both - part


@compiled
def tie(now, then, cost, high, low, k, smooth, curve):
    """A knot: its threads come out in either order, at the lesser of their costs."""
    for x in range(k):
        for h in range(high):
            p = ((h * k + x) * k + x) * low
            for e in range(low):
                then[p + e] = now[p + e] + cost[x]
        for y in range(x):
            c = min(cost[x], cost[y])
            p, q = (x * k + y) * low, (y * k + x) * low
            if low >= high:
                for h in range(high):
                    at = h * k * k * low
                    _meet(now, then, p + at, q + at, low, np.uint64(1), c, smooth, curve)
            else:
                for e in range(low):
                    _meet(now, then, p + e, q + e, high, k * k * low, c, smooth, curve)


@compiled
def untie(now, slope, high, low, k, smooth, curve):
    """The slope of ``_tie``."""
    for x in range(k):
        for y in range(x):
            p, q = (x * k + y) * low, (y * k + x) * low
            if low >= high:
                for h in range(high):
                    at = h * k * k * low
                    _part(now, slope, p + at, q + at, low, np.uint64(1), smooth, curve)
            else:
                for e in range(low):
                    _part(now, slope, p + e, q + e, high, k * k * low, smooth, curve)


@compiled
def lesser(had, now, then, at, a, to, count, stride, to_stride, price, smooth, curve):
    """A run of states takes the lesser of two, smoothed: what is had, and what is now plus ``price``."""
    zero = smooth - smooth
    for i in range(count):
        x, y = had[at + i * to_stride], now[a + i * stride] + price
        near = smooth - abs(x - y)
        near = near if near > zero else zero
        then[to + i * to_stride] = (x if x < y else y) - near * near * curve


@compiled
def shift(now, then, a, to, count, stride, to_stride, price):
    """A run of states takes what another has, plus ``price``."""
    for i in range(count):
        then[to + i * to_stride] = now[a + i * stride] + price


@compiled
def add(now, then, a, to, count, stride, to_stride):
    """Add a run of states to another."""
    for i in range(count):
        then[to + i * to_stride] += now[a + i * stride]


@compiled
def _return(had, now, after, before, at, a, to, count, stride, to_stride, price, smooth, curve):
    """Hand the slope of a run, in ``after``, back to where ``_lesser`` took it from."""
    zero = smooth - smooth
    one = zero + np.float32(1)
    for i in range(count):
        share = (smooth + (now[a + i * stride] + price) - had[at + i * to_stride]) * (curve + curve)
        share = share if share > zero else zero
        share = share if share < one else one
        both = after[to + i * to_stride]
        part = both - share * both
        after[to + i * to_stride] = both - part
        before[a + i * stride] = part


@compiled
def leave(now, then, price, sign, high, low, k, smooth, curve, every):
    """Minimise an axis out, each thread at its price; ``every``: keep what is had after each thread."""
    one = np.uint64(1)
    size = high * low
    for t in range(k):
        mine = price[t] if sign > 0 else -price[t]
        to = t * size if every else t - t
        at = to - size if every and t > 0 else t - t
        for i in range(min(high, low)):
            # the longer runs are the quicker ones
            if low >= high:
                a, e, count, stride, to_stride = (i * k + t) * low, i * low, low, one, one
            else:
                a, e, count, stride, to_stride = t * low + i, i, high, k * low, low
            if t == 0:
                shift(now, then, a, to + e, count, stride, to_stride, mine)
            else:
                lesser(then, now, then, at + e, a, to + e, count, stride, to_stride, mine, smooth, curve)


@compiled
def unleave(now, after, before, had, price, slope, sign, high, low, k, smooth, curve):
    """The slope of ``_leave`` goes from ``after`` to ``before``, that of prices to ``slope`` (k,)."""
    one = np.uint64(1)
    size = high * low
    leave(now, had, price, sign, high, low, k, smooth, curve, True)
    for back in range(k):
        t = k - one - back
        for i in range(min(high, low)):
            if low >= high:
                a, e, count, stride, to_stride = (i * k + t) * low, i * low, low, one, one
            else:
                a, e, count, stride, to_stride = t * low + i, i, high, k * low, low
            if t > 0:
                mine = price[t] if sign > 0 else -price[t]
                old = (t - one) * size + e
                _return(had, now, after, before, old, a, e, count, stride, to_stride, mine, smooth, curve)
            else:
                shift(after, before, e, a, count, to_stride, stride, smooth - smooth)
            slope[t] += sign * total(before, a, count, stride)


@compiled
def total(values, a, count, stride):
    """The sum of a run; four sums that do not wait for each other are quicker than one."""
    four = np.uint64(4)
    w = x = y = z = 0.0
    for i in range(count // four):
        at = a + four * i * stride
        w += values[at]
        x += values[at + stride]
        y += values[at + stride + stride]
        z += values[at + stride + stride + stride]
    for i in range(count - count % four, count):
        w += values[a + i * stride]
    return w + x + y + z


@compiled
def _hand_over(now, then, half, p, q, count, stride, cost, toll, smooth, curve):
    """A run of states p is reached by a swap from q, in the second ``half`` by a hand-over from p too."""
    zero = smooth - smooth
    for i in range(count):
        a, b = p + i * stride, q + i * stride
        then[a] = now[b] + cost
        x, y = now[half + b], now[a] + toll
        near = smooth - abs(x - y)
        near = near if near > zero else zero
        then[half + a] = (x if x < y else y) - near * near * curve + cost


@compiled
def _take_back(now, after, before, half, p, q, count, stride, toll, smooth, curve):
    """The slope of ``_hand_over`` goes from ``after`` to ``before``."""
    zero = smooth - smooth
    one = zero + np.float32(1)
    for i in range(count):
        a, b = p + i * stride, q + i * stride
        share = (smooth + (now[a] + toll) - now[half + b]) * (curve + curve)
        share = share if share > zero else zero
        share = share if share < one else one
        part = share * after[half + a]
        before[half + b] = part
        before[a] = after[b] + (after[half + a] - part)


@compiled
def tie_counted(now, then, cost, toll, half, high, low, k, smooth, curve):
    """A knot where to stay costs ``toll``, and is allowed once: the second ``half`` is after that."""
    one = np.uint64(1)
    for x in range(k):
        for y in range(k):
            p, q, c = (x * k + y) * low, (y * k + x) * low, min(cost[x], cost[y])
            for i in range(min(high, low)):
                if low >= high:
                    at, count, stride = i * k * k * low, low, one
                else:
                    at, count, stride = i, high, k * k * low
                if x == y:
                    shift(now, then, p + at, p + at, count, stride, stride, c)
                    shift(now, then, half + p + at, half + p + at, count, stride, stride, c)
                else:
                    _hand_over(now, then, half, p + at, q + at, count, stride, c, toll, smooth, curve)


@compiled
def untie_counted(now, after, before, toll, half, high, low, k, smooth, curve):
    """The slope of ``_tie_counted`` goes from ``after`` to ``before``; return the share of hand-overs."""
    one = np.uint64(1)
    made = 0.0
    for x in range(k):
        for y in range(k):
            p, q = (x * k + y) * low, (y * k + x) * low
            for i in range(min(high, low)):
                if low >= high:
                    at, count, stride = i * k * k * low, low, one
                else:
                    at, count, stride = i, high, k * k * low
                if x == y:
                    shift(after, before, p + at, p + at, count, stride, stride, smooth - smooth)
                    shift(after, before, half + p + at, half + p + at, count, stride, stride, smooth - smooth)
                else:
                    _take_back(
                        now, after, before, half, p + at, q + at, count, stride, toll, smooth, curve
                    )  # fmt: skip
                    made += total(before, p + at, count, stride) - total(after, q + at, count, stride)
    return made
