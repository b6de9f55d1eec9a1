"""Strips of the board swept whole: the least cost of a strip under prices, and its slope.

A strip is a few neighbouring columns of knots, tied in working order. The state between two knots is the
thread at each of its positions, so a tensor with one axis a position holds the least cost of every state.
A strand that leaves for the next strip, or comes from it, is paid by its thread; its axis is minimised out,
or put in. Where a row may have at most one hand-over, a foremost axis tells whether the strip has made it.

Minima are taken two by two and smoothed by a parabola: the lesser of x and y, less (δ − |x − y|)²/4δ where
they differ by less than δ (dynamic programming with a squared norm as regulariser; Mensch and Blondel 2018,
"Differentiable dynamic programming for structured prediction and attention"). So nothing sinks below what
floats can tell, and at δ = 0 the same sweep is exact. One sweep back gives the slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board
from pipeline.routing.compiled import compiled

TIE, TIE_COUNTED, LEAVE, ENTER, ROW = range(5)
FAR = 1e9
"""Costs of what may not be. Larger than any real difference."""


class Strip(NamedTuple):
    """One strip as a list of steps.

    ``steps``: (steps, 5) what is done, the knot or wire or row, the sign of its price, and how many states
    the axes before and after the step's own ones have. ``begin``: (steps + 2,) where in the memory of a
    sweep the tensor before each step begins, and where the last one begins and ends. ``most``: entries of
    the largest tensor.
    """

    steps: NDArray[np.int64]
    begin: NDArray[np.int64]
    most: int

    @property
    def total(self) -> int:
        """Entries of all tensors; not for the compiled loops."""
        return int(self.begin[-1])


class Split(NamedTuple):
    """The board in strips; ``owner``: (V,) strip of each knot, ``cross``: the wires that have prices."""

    strips: tuple[Strip, ...]
    owner: NDArray[np.int64]
    cross: NDArray[np.int64]


def split(board: Board, first: Sequence[int]) -> Split:
    """Split the board into strips that begin at the columns ``first`` (rising, from 0 on)."""
    owner = np.unique(np.searchsorted(first, board.position, side="right"), return_inverse=True)[1]
    two = (board.ends >= 0).all(axis=1)
    cross = np.zeros(len(board.ends), np.bool_)
    cross[two] = (owner[board.ends[two, 0]] != owner[board.ends[two, 1]]) | (board.weight[two] > 0)
    strips = [strip(board, np.flatnonzero(owner == i), cross) for i in range(owner.max() + 1)]
    return Split(tuple(strips), owner, np.flatnonzero(cross))


def strip(board: Board, knots: NDArray[np.int64], cross: NDArray[np.bool_]) -> Strip:
    """Make the steps of the strip of ``knots``, rising; ``cross`` (E,): the wires that have prices."""
    k, low = board.threads, int(board.position[knots].min())
    sizes = [1] * (int(board.position[knots].max()) - low + 2)
    flags = 2 if board.light else 1
    steps: list[tuple[int, int, int, int, int]] = []
    begin = [0]

    def step(what: int, item: int, sign: int, axis: int, axes: int) -> None:
        high, lower = flags, 1
        for size in sizes[:axis]:
            high *= size
        for size in sizes[axis + axes :]:
            lower *= size
        inner = k if what == LEAVE else 1 if what == ENTER else k**axes
        steps.append((what, item, sign, high, lower))
        begin.append(begin[-1] + high * inner * lower)

    row = -1
    for v in knots.tolist():
        axis = int(board.position[v]) - low
        for side in (0, 1):
            w = int(board.wire[v, side])
            if cross[w] or board.weight[w] > 0:
                first = board.ends[w, 0] == v and (side == 0 or board.wire[v, 0] != w)
                step(ENTER, w, 1 if first else -1, axis + side, 1)
                sizes[axis + side] = k
        counted = board.light and bool(board.counted[v])
        if counted and board.row[v] != row:
            row = int(board.row[v])
            step(ROW, row, 0, 0, 0)
        step(TIE_COUNTED if counted else TIE, v, 0, axis, 2)
        for side in (0, 1):
            w = int(board.wire[v, 2 + side])
            if cross[w]:
                step(LEAVE, w, 1 if board.ends[w, 0] == v else -1, axis + side, 1)
                sizes[axis + side] = 1
    begin.append(begin[-1] + flags * int(np.prod(sizes)))
    most = int(np.diff(begin).max())
    return Strip(np.array(steps, np.int64).reshape(-1, 5), np.array(begin, np.int64), most)


@compiled
def _meet(now, then, a, b, count, stride, cost, smooth, curve):  # type: ignore[no-untyped-def]
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
def _part(now, slope, a, b, count, stride, smooth, curve):  # type: ignore[no-untyped-def]
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
def _tie(now, then, cost, high, low, k, smooth, curve):  # type: ignore[no-untyped-def]
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
def _untie(now, slope, high, low, k, smooth, curve):  # type: ignore[no-untyped-def]
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
def _lesser(had, now, then, at, a, to, count, stride, to_stride, price, smooth, curve):  # type: ignore[no-untyped-def]
    """A run of states takes the lesser of two, smoothed: what is had, and what is now plus ``price``."""
    zero = smooth - smooth
    for i in range(count):
        x, y = had[at + i * to_stride], now[a + i * stride] + price
        near = smooth - abs(x - y)
        near = near if near > zero else zero
        then[to + i * to_stride] = (x if x < y else y) - near * near * curve


@compiled
def _shift(now, then, a, to, count, stride, to_stride, price):  # type: ignore[no-untyped-def]
    """A run of states takes what another has, plus ``price``."""
    for i in range(count):
        then[to + i * to_stride] = now[a + i * stride] + price


@compiled
def _add(now, then, a, to, count, stride, to_stride):  # type: ignore[no-untyped-def]
    """Add a run of states to another."""
    for i in range(count):
        then[to + i * to_stride] += now[a + i * stride]


@compiled
def _return(had, now, after, before, at, a, to, count, stride, to_stride, price, smooth, curve):  # type: ignore[no-untyped-def]
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
def _leave(now, then, price, sign, high, low, k, smooth, curve, every):  # type: ignore[no-untyped-def]
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
                _shift(now, then, a, to + e, count, stride, to_stride, mine)
            else:
                _lesser(then, now, then, at + e, a, to + e, count, stride, to_stride, mine, smooth, curve)


@compiled
def _unleave(now, after, before, had, price, slope, sign, high, low, k, smooth, curve):  # type: ignore[no-untyped-def]
    """The slope of ``_leave`` goes from ``after`` to ``before``, that of prices to ``slope`` (k,)."""
    one = np.uint64(1)
    size = high * low
    _leave(now, had, price, sign, high, low, k, smooth, curve, True)
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
                _shift(after, before, e, a, count, to_stride, stride, smooth - smooth)
            slope[t] += sign * _total(before, a, count, stride)


@compiled
def _total(values, a, count, stride):  # type: ignore[no-untyped-def]
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
def _hand_over(now, then, half, p, q, count, stride, cost, allowance, smooth, curve):  # type: ignore[no-untyped-def]
    """A run of states p is reached by a swap from q, in the second ``half`` by a hand-over from p too."""
    zero = smooth - smooth
    for i in range(count):
        a, b = p + i * stride, q + i * stride
        then[a] = now[b] + cost
        x, y = now[half + b], now[a] + allowance
        near = smooth - abs(x - y)
        near = near if near > zero else zero
        then[half + a] = (x if x < y else y) - near * near * curve + cost


@compiled
def _take_back(now, after, before, half, p, q, count, stride, allowance, smooth, curve):  # type: ignore[no-untyped-def]
    """The slope of ``_hand_over`` goes from ``after`` to ``before``."""
    zero = smooth - smooth
    one = zero + np.float32(1)
    for i in range(count):
        a, b = p + i * stride, q + i * stride
        share = (smooth + (now[a] + allowance) - now[half + b]) * (curve + curve)
        share = share if share > zero else zero
        share = share if share < one else one
        part = share * after[half + a]
        before[half + b] = part
        before[a] = after[b] + (after[half + a] - part)


@compiled
def _tie_counted(now, then, cost, allowance, half, high, low, k, smooth, curve):  # type: ignore[no-untyped-def]
    """A knot where to stay costs ``allowance``, and is allowed once: the second ``half`` is after that."""
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
                    _shift(now, then, p + at, p + at, count, stride, stride, c)
                    _shift(now, then, half + p + at, half + p + at, count, stride, stride, c)
                else:
                    _hand_over(now, then, half, p + at, q + at, count, stride, c, allowance, smooth, curve)


@compiled
def _untie_counted(now, after, before, allowance, half, high, low, k, smooth, curve):  # type: ignore[no-untyped-def]
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
                    _shift(after, before, p + at, p + at, count, stride, stride, smooth - smooth)
                    _shift(
                        after, before, half + p + at, half + p + at, count, stride, stride, smooth - smooth
                    )
                else:
                    _take_back(
                        now, after, before, half, p + at, q + at, count, stride, allowance, smooth, curve
                    )  # fmt: skip
                    made += _total(before, p + at, count, stride) - _total(after, q + at, count, stride)
    return made


@compiled
def forward(board, strip, cost, prices, limit, allowance, smooth, curve, memory):  # type: ignore[no-untyped-def]
    """Fill ``memory`` with the tensors of a sweep; return the least cost of the strip.

    ``prices`` (E, k) of wires, ``limit`` (k,) of each starting strand, ``allowance`` (rows,) of each counted
    hand-over; ``smooth``: δ, and ``curve`` = 1/4δ, or both 0.
    """
    k = np.uint64(board.threads)
    one = np.uint64(1)
    far = memory.dtype.type(FAR)
    nothing = far - far
    lowered = 0.0
    memory[0] = 0
    if board.light:
        memory[1] = far
    for s in range(len(strip.steps)):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now, then = memory[strip.begin[s] :], memory[strip.begin[s + 1] :]
        if what == TIE:
            _tie(now, then, cost[item], high, low, k, smooth, curve)
        elif what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            _tie_counted(
                now, then, cost[item], allowance[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            _leave(now, then, prices[item], sign, high, low, k, smooth, curve, False)
            least = then[: high * low].min()
            lowered += least
            for i in range(high * low):
                then[i] -= least
        elif what == ENTER:
            for t in range(k):
                price = prices[item, t] if sign > 0 else -prices[item, t]
                if sign > 0:
                    price += memory.dtype.type(board.weight[item]) * limit[t]
                if board.pin[item] >= 0 and board.pin[item] != t:
                    price = far
                for j in range(min(high, low)):
                    if low >= high:
                        _shift(now, then, j * low, (j * k + t) * low, low, one, one, price)
                    else:
                        _shift(now, then, j, t * low + j, high, low, k * low, price)
        else:
            half = high // np.uint64(2) * low
            zero = np.uint64(0)
            _lesser(now, now, then, zero, half, zero, half, one, one, nothing, smooth, curve)
            then[half : half + half] = far
    return lowered + memory[strip.begin[-2] : strip.begin[-1]].min()


@compiled
def backward(board, strip, prices, allowance, smooth, curve, memory, work, slopes):  # type: ignore[no-untyped-def]
    """Add the slopes of ``forward`` to ``slopes``: by prices (E, k), limit (k,) and allowance (rows,).

    ``memory``: as ``forward`` left it; ``work``: (3, most) scratch.
    """
    k, one = np.uint64(board.threads), np.uint64(1)
    slope, limits, allowances = slopes
    after, before, had = work[0], work[1], work[2]
    last = memory[strip.begin[-2] : strip.begin[-1]]
    after[: len(last)] = 0
    after[last.argmin()] = 1
    for s in range(len(strip.steps) - 1, -1, -1):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now = memory[strip.begin[s] :]
        if what == TIE:
            _untie(now, after, high, low, k, smooth, curve)
            continue
        if what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            allowances[board.row[item]] += _untie_counted(
                now, after, before, allowance[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            _unleave(now, after, before, had, prices[item], slope[item], sign, high, low, k, smooth, curve)
        elif what == ENTER:
            before[: high * low] = 0
            for t in range(k):
                share = 0.0
                for j in range(min(high, low)):
                    if low >= high:
                        _add(after, before, (j * k + t) * low, j * low, low, one, one)
                        share += _total(after, (j * k + t) * low, low, one)
                    else:
                        _add(after, before, t * low + j, j, high, k * low, low)
                        share += _total(after, t * low + j, high, k * low)
                slope[item, t] += sign * share
                if sign > 0:
                    limits[t] += board.weight[item] * share
        else:
            half = high // np.uint64(2) * low
            for i in range(half):
                share = min(max((smooth + now[half + i] - now[i]) * (curve + curve), 0.0), 1.0)
                before[i] = share * after[i]
                before[half + i] = after[i] - before[i]
        after, before = before, after
