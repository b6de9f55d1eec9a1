"""The sweeps of a strip, forward and its slope back (see ``strips``)."""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops import tensors
from pipeline.routing.loops.codes import ENTER, FAR, LEAVE, TIE, TIE_COUNTED
from pipeline.routing.loops.compiled import compiled


@compiled
def _asked(board, prices, limit, item, sign, mine):
    """Fill ``mine`` (k,) with what each thread costs on a wire, a starting strand at its first end."""
    for t in range(board.threads):
        mine[t] = prices[item, t] if sign > 0 else -prices[item, t]
        if sign > 0:
            mine[t] += board.weight[item] * limit[t]
        if board.pin[item] >= 0 and board.pin[item] != t:
            mine[t] = FAR


@compiled
def forward(board, strip, cost, prices, limit, toll, smooth, curve, memory):
    """Fill ``memory`` with the tensors of a sweep; return the least cost of the strip.

    ``prices`` (E, k) of wires, ``limit`` (k,) of each starting strand, ``toll`` (rows,) of each counted
    hand-over; ``smooth``: δ, and ``curve`` = 1/4δ, or both 0.
    """
    k, two = np.uint64(board.threads), np.uint64(2)
    mine = np.empty(board.threads, memory.dtype)
    lowered = 0.0
    memory[0] = 0
    if board.limited:
        memory[1] = FAR
    for s in range(len(strip.steps)):
        what, item, sign = strip.steps[s, 0], strip.steps[s, 1], strip.steps[s, 2]
        high, low = np.uint64(strip.steps[s, 3]), np.uint64(strip.steps[s, 4])
        now, then = memory[strip.begin[s] :], memory[strip.begin[s + 1] :]
        if what == TIE:
            tensors.tie(now, then, cost[item], high, low, k, smooth, curve)
        elif what == TIE_COUNTED:
            half = high // two * k * k * low
            price = toll[board.row[item]]
            tensors.tie_counted(now, then, cost[item], price, half, high // two, low, k, smooth, curve)
        elif what == LEAVE:
            _asked(board, prices, limit, item, sign, mine)
            tensors.leave(now, then, mine, high, low, k, smooth, curve, False)
            least = then[: high * low].min()
            lowered += least
            for i in range(high * low):
                then[i] -= least
        elif what == ENTER:
            _asked(board, prices, limit, item, sign, mine)
            tensors.enter(now, then, mine, high, low, k)
        else:
            half = high // two * low
            for i in range(half):
                then[i] = tensors.lesser(now[i], now[half + i], smooth, curve)
            then[half : half + half] = FAR
    return lowered + memory[strip.begin[-2] : strip.begin[-1]].min()


@compiled
def backward(board, strip, prices, limit, toll, smooth, curve, memory, work, slopes):
    """Add the slopes of ``forward`` to ``slopes``: by prices (E, k), limit (k,) and toll (rows,).

    ``memory``: as ``forward`` left it; ``work``: (3, most) scratch.
    """
    k, two = np.uint64(board.threads), np.uint64(2)
    mine = np.empty(board.threads, memory.dtype)
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
            tensors.untie(now, after, high, low, k, smooth, curve)
            continue
        if what == TIE_COUNTED:
            half = high // two * k * k * low
            price = toll[board.row[item]]
            tolls[board.row[item]] += tensors.untie_counted(
                now, after, before, price, half, high // two, low, k, smooth, curve
            )
        elif what == LEAVE:
            _asked(board, prices, limit, item, sign, mine)
            shares = tensors.unleave(now, after, before, had, mine, high, low, k, smooth, curve)
            slope[item] += sign * shares
        elif what == ENTER:
            shares = tensors.unenter(after, before, high, low, k)
            slope[item] += sign * shares
            if sign > 0:
                limits += board.weight[item] * shares
        else:
            half = high // two * low
            for i in range(half):
                before[i] = tensors.share(now[i], now[half + i], smooth, curve) * after[i]
                before[half + i] = after[i] - before[i]
        after, before = before, after
