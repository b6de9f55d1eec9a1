"""The sweeps of a strip, forward and its slope back (see ``strips``)."""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.codes import ENTER, FAR, LEAVE, TIE, TIE_COUNTED
from pipeline.routing.loops.compiled import compiled
from pipeline.routing.loops.tensors import (
    add,
    leave,
    lesser,
    shift,
    tie,
    tie_counted,
    total,
    unleave,
    untie,
    untie_counted,
)  # fmt: skip


@compiled
def forward(board, strip, cost, prices, limit, toll, smooth, curve, memory):
    """Fill ``memory`` with the tensors of a sweep; return the least cost of the strip.

    ``prices`` (E, k) of wires, ``limit`` (k,) of each starting strand, ``toll`` (rows,) of each counted
    hand-over; ``smooth``: δ, and ``curve`` = 1/4δ, or both 0.
    """
    k = np.uint64(board.threads)
    one = np.uint64(1)
    far = memory.dtype.type(FAR)
    nothing = far - far
    lowered = 0.0
    memory[0] = 0
    if board.limited:
        memory[1] = far
    for s in range(len(strip.steps)):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now, then = memory[strip.begin[s] :], memory[strip.begin[s + 1] :]
        if what == TIE:
            tie(now, then, cost[item], high, low, k, smooth, curve)
        elif what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            tie_counted(
                now, then, cost[item], toll[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            leave(now, then, prices[item], sign, high, low, k, smooth, curve, False)
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
                        shift(now, then, j * low, (j * k + t) * low, low, one, one, price)
                    else:
                        shift(now, then, j, t * low + j, high, low, k * low, price)
        else:
            half = high // np.uint64(2) * low
            zero = np.uint64(0)
            lesser(now, now, then, zero, half, zero, half, one, one, nothing, smooth, curve)
            then[half : half + half] = far
    return lowered + memory[strip.begin[-2] : strip.begin[-1]].min()


@compiled
def backward(board, strip, prices, toll, smooth, curve, memory, work, slopes):
    """Add the slopes of ``forward`` to ``slopes``: by prices (E, k), limit (k,) and toll (rows,).

    ``memory``: as ``forward`` left it; ``work``: (3, most) scratch.
    """
    k, one = np.uint64(board.threads), np.uint64(1)
    slope, limits, tolls = slopes
    after, before, had = work[0], work[1], work[2]
    last = memory[strip.begin[-2] : strip.begin[-1]]
    after[: len(last)] = 0
    after[last.argmin()] = 1
    for s in range(len(strip.steps) - 1, -1, -1):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now = memory[strip.begin[s] :]
        if what == TIE:
            untie(now, after, high, low, k, smooth, curve)
            continue
        if what == TIE_COUNTED:
            half = high // np.uint64(2) * k * k * low
            tolls[board.row[item]] += untie_counted(
                now, after, before, toll[board.row[item]], half,
                high // np.uint64(2), low, k, smooth, curve,
            )  # fmt: skip
        elif what == LEAVE:
            unleave(now, after, before, had, prices[item], slope[item], sign, high, low, k, smooth, curve)
        elif what == ENTER:
            before[: high * low] = 0
            for t in range(k):
                share = 0.0
                for j in range(min(high, low)):
                    if low >= high:
                        add(after, before, (j * k + t) * low, j * low, low, one, one)
                        share += total(after, (j * k + t) * low, low, one)
                    else:
                        add(after, before, t * low + j, j, high, k * low, low)
                        share += total(after, t * low + j, high, k * low)
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
