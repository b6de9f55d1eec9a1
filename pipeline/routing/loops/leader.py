"""The loop of a program over the leader and a few columns (see ``leader``)."""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled

FAR = 1e18


@compiled
def program(costs, open_, first, last, column, base, free, start, stop, held, closed):
    """Solve rows ``start`` … ``stop``−1 for the leader and the ``free`` columns, in place.

    ``open_`` (rows,): whether a row may have a hand-over.
    ``held``: the state before ``start`` stays. The state before ``stop`` stays unless that is the end; that
    too stays if ``closed``.
    Returns whether a way was found (one always is unless the trail at hand is not legal).
    """
    rows, columns, k = costs.shape
    q = len(free)
    states = k ** (q + 1)
    power = np.empty(q + 2, np.int64)
    power[0] = 1
    for i in range(1, q + 2):
        power[i] = power[i - 1] * k
    digit = np.empty((states, q + 1), np.int64)
    for s in range(states):
        rest = s
        for i in range(q + 1):
            digit[s, i] = rest % k
            rest //= k
    slot = np.empty(columns, np.int64)
    slot[:] = -1
    for f in range(q):
        slot[free[f]] = f
    begin = first[start]
    for f in range(q):
        begin += base[start, free[f]] * power[f + 1]
    value = np.zeros(states)
    if held:
        value[:] = FAR
        value[begin] = 0.0
    count = stop - start
    inside = np.zeros((count, states), np.int32)  # state before the row, by the state at its end
    across = np.zeros((count, states), np.int32)  # state at the row's end, by the state before the next
    where = np.empty((count, states), np.int16)
    where[:] = -1
    sums = np.zeros((columns + 1, k))
    meets = np.zeros((q, k, k))
    along = np.zeros(q, np.int64)
    for i in range(count):
        r = start + i
        rising = r % 2 == 0
        for t in range(k):
            total = 0.0
            sums[0, t] = 0.0
            for j in range(columns):
                c = j if rising else columns - 1 - j
                if slot[c] < 0:
                    total += min(costs[r, c, t], costs[r, c, base[r, c]])
                sums[j + 1, t] = total
        for f in range(q):
            along[f] = free[f] if rising else columns - 1 - free[f]
            for x in range(k):
                for y in range(k):
                    meets[f, x, y] = min(costs[r, free[f], x], costs[r, free[f], y])
        fixed = column[r]
        if fixed >= 0 and slot[fixed] >= 0:
            fixed = -1
        ended = np.empty(states)
        ended[:] = FAR
        for s in range(states):
            if value[s] >= FAR:
                continue
            lead = digit[s, 0]
            if fixed >= 0:
                parks, goes = base[r + 1, fixed], base[r, fixed]
                if lead != parks:
                    continue
                place = fixed if rising else columns - 1 - fixed
                cost = value[s] + sums[place + 1, parks] + sums[columns, goes] - sums[place + 1, goes]
                for f in range(q):
                    cost += meets[f, parks if along[f] < place else goes, digit[s, f + 1]]
                after = s - parks + goes
                if cost < ended[after]:
                    ended[after] = cost
                    inside[i, after] = s
                    where[i, after] = fixed
                continue
            cost = value[s] + sums[columns, lead]
            for f in range(q):
                cost += meets[f, lead, digit[s, f + 1]]
            if cost < ended[s]:
                ended[s] = cost
                inside[i, s] = s
                where[i, s] = -1
            for g in range(q):
                goes = digit[s, g + 1]
                if not open_[r] or goes == lead or along[g] == 0 or along[g] == columns - 1:
                    continue
                cost = value[s] + sums[along[g] + 1, lead] + sums[columns, goes] - sums[along[g] + 1, goes]
                for f in range(q):
                    cost += meets[f, lead if along[f] <= along[g] else goes, digit[s, f + 1]]
                after = s - lead + goes + (lead - goes) * power[g + 1]
                if cost < ended[after]:
                    ended[after] = cost
                    inside[i, after] = s
                    where[i, after] = free[g]
        edge = columns - 1 if rising else 0
        for s in range(states):
            value[s] = ended[s]
            across[i, s] = s
        if r == rows - 1:
            continue
        if slot[edge] >= 0:
            lifted = power[slot[edge] + 1]
            for s in range(states):
                lead, parked = digit[s, 0], digit[s, slot[edge] + 1]
                after = s - lead + parked + (lead - parked) * lifted
                if lead != parked and ended[s] < value[after]:
                    value[after] = ended[s]
                    across[i, after] = s
        elif base[r, edge] != base[r + 1, edge]:
            goes, parks = base[r, edge], base[r + 1, edge]
            value[:] = FAR
            for s in range(states):
                if digit[s, 0] == parks:
                    value[s - parks + goes] = ended[s]
                    across[i, s - parks + goes] = s
    if stop < rows:
        s = first[stop]
        for f in range(q):
            s += base[stop, free[f]] * power[f + 1]
    elif closed:
        s = last[rows - 1]
        for f in range(q):
            s += base[rows, free[f]] * power[f + 1]
    else:
        s = 0
        for i in range(states):
            if value[i] < value[s]:
                s = i
    if value[s] >= FAR:
        return False
    if stop == rows and not closed:
        for f in range(q):
            base[rows, free[f]] = digit[s, f + 1]
    for i in range(count - 1, -1, -1):
        r = start + i
        end = across[i, s]
        last[r] = digit[end, 0]
        column[r] = where[i, end]
        s = inside[i, end]
        first[r] = digit[s, 0]
        for f in range(q):
            base[r, free[f]] = digit[s, f + 1]
    return True
