"""Loops over the tensors of a strip (see ``strips``): one step forward, and its slope back.

Minima are taken two by two and smoothed by a parabola: the lesser of x and y, less (δ − |x − y|)²/4δ where
they differ by less than δ (dynamic programming with a squared norm as regulariser; Mensch and Blondel 2018,
"Differentiable dynamic programming for structured prediction and attention"). So nothing sinks below what
floats can tell, and at δ = 0 the same sweep is exact. One sweep back gives the slope.

``high`` and ``low`` are how many states the axes before and after a step's own ones have, ``curve`` is 1/4δ.
"""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled


@compiled
def lesser(x, y, smooth, curve):
    """The lesser of two numbers, smoothed."""
    near = max(smooth - abs(x - y), smooth - smooth)
    return min(x, y) - near * near * curve


@compiled
def share(x, y, smooth, curve):
    """How much of the slope of the lesser of two is that of the first."""
    zero = smooth - smooth
    return min(max((smooth + y - x) * (curve + curve), zero), zero + np.float32(1))


@compiled
def run(i, high, low, size):
    """Run i of the states beside axes of ``size`` states: where it begins, its length, its stride.

    There are min(high, low) of them; the longer runs are the quicker ones.
    """
    if low >= high:
        return i * size * low, low, np.uint64(1)
    return i, high, size * low


@compiled
def shift(now, then, a, to, count, stride, to_stride, price):
    """A run of states takes what another has, plus ``price``."""
    for i in range(count):
        then[to + i * to_stride] = now[a + i * stride] + price


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
def tie(now, then, cost, high, low, k, smooth, curve):
    """A knot: its threads come out in either order, at the lesser of their costs."""
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k * k)
        for x in range(k):
            p = at + (x * k + x) * low
            shift(now, then, p, p, count, stride, stride, cost[x])
            for y in range(x):
                c, p, q = min(cost[x], cost[y]), at + (x * k + y) * low, at + (y * k + x) * low
                for e in range(count):
                    a, b = p + e * stride, q + e * stride
                    then[a] = then[b] = lesser(now[a], now[b], smooth, curve) + c


@compiled
def untie(now, slope, high, low, k, smooth, curve):
    """The slope of ``tie``, in place."""
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k * k)
        for x in range(k):
            for y in range(x):
                p, q = at + (x * k + y) * low, at + (y * k + x) * low
                for e in range(count):
                    a, b = p + e * stride, q + e * stride
                    both = slope[a] + slope[b]
                    slope[a] = share(now[a], now[b], smooth, curve) * both
                    slope[b] = both - slope[a]


@compiled
def tie_counted(now, then, cost, toll, half, high, low, k, smooth, curve):
    """A knot where to stay costs ``toll``, and is allowed once: the second ``half`` is after that."""
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k * k)
        for x in range(k):
            for y in range(k):
                p, q, c = at + (x * k + y) * low, at + (y * k + x) * low, min(cost[x], cost[y])
                if x == y:
                    shift(now, then, p, p, count, stride, stride, c)
                    shift(now, then, half + p, half + p, count, stride, stride, c)
                    continue
                for e in range(count):
                    a, b = p + e * stride, q + e * stride
                    then[a] = now[b] + c
                    then[half + a] = lesser(now[half + b], now[a] + toll, smooth, curve) + c


@compiled
def untie_counted(now, after, before, toll, half, high, low, k, smooth, curve):
    """The slope of ``tie_counted`` goes from ``after`` to ``before``; return the share of hand-overs."""
    nothing = smooth - smooth
    made = 0.0
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k * k)
        for x in range(k):
            for y in range(k):
                p, q = at + (x * k + y) * low, at + (y * k + x) * low
                if x == y:
                    shift(after, before, p, p, count, stride, stride, nothing)
                    shift(after, before, half + p, half + p, count, stride, stride, nothing)
                    continue
                for e in range(count):
                    a, b = p + e * stride, q + e * stride
                    part = share(now[half + b], now[a] + toll, smooth, curve) * after[half + a]
                    before[half + b] = part
                    before[a] = after[b] + (after[half + a] - part)
                made += total(before, p, count, stride) - total(after, q, count, stride)
    return made


@compiled
def leave(now, then, prices, high, low, k, smooth, curve, every):
    """Minimise an axis out, each thread at its price; ``every``: keep what is had after each thread."""
    size = high * low if every else k - k
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k)
        to, _, step = run(i, high, low, np.uint64(1))
        shift(now, then, at, to, count, stride, step, prices[0])
        for t in range(np.uint64(1), k):
            had, to = to, to + size
            for e in range(count):
                then[to + e * step] = lesser(
                    then[had + e * step], now[at + t * low + e * stride] + prices[t], smooth, curve
                )


@compiled
def unleave(now, after, before, had, prices, high, low, k, smooth, curve):
    """The slope of ``leave`` goes from ``after`` to ``before``; return that of prices (k,)."""
    one, shares = np.uint64(1), np.zeros(k)
    leave(now, had, prices, high, low, k, smooth, curve, True)
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k)
        to, _, step = run(i, high, low, np.uint64(1))
        for back in range(k):
            t = k - one - back
            a = at + t * low
            if t > 0:
                old = (t - one) * high * low + to
                for e in range(count):
                    x, y = had[old + e * step], now[a + e * stride] + prices[t]
                    both = after[to + e * step]
                    after[to + e * step] = share(x, y, smooth, curve) * both
                    before[a + e * stride] = both - after[to + e * step]
            else:
                shift(after, before, to, a, count, step, stride, smooth - smooth)
            shares[t] += total(before, a, count, stride)
    return shares


@compiled
def enter(now, then, prices, high, low, k):
    """Put an axis in, each thread at its price."""
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k)
        begin, _, step = run(i, high, low, np.uint64(1))
        for t in range(k):
            shift(now, then, begin, at + t * low, count, step, stride, prices[t])


@compiled
def unenter(after, before, high, low, k):
    """The slope of ``enter`` goes from ``after`` to ``before``; return that of prices (k,)."""
    shares = np.zeros(k)
    before[: high * low] = 0
    for i in range(min(high, low)):
        at, count, stride = run(i, high, low, k)
        begin, _, step = run(i, high, low, np.uint64(1))
        for t in range(k):
            for e in range(count):
                before[begin + e * step] += after[at + t * low + e * stride]
            shares[t] += total(after, at + t * low, count, stride)
    return shares
