"""The loops of the beam and of the tables by which it looks ahead (see ``beam`` and ``lookahead``)."""

from __future__ import annotations

import numpy as np

from pipeline.routing.loops.compiled import compiled

WORST = 1e300


@compiled
def tabulate(board, cost, prices, owner, toll, priced, knots, low, wide, table):
    """Fill ``table`` (steps + 1, layers, (k + 1) ** wide) from the last knot back.

    ``priced`` (E,): wires that a knot lets out; those that leave a strip, or the band, have a price.
    """
    k, layers, size = board.threads, table.shape[1], board.threads**wide
    then = np.zeros((layers, size))
    now = np.empty((layers, size))
    table[len(knots)] = 0.0
    for s in range(len(knots) - 1, -1, -1):
        v = knots[s]
        a, b, c, d = board.wire[v]
        p = board.position[v] - low
        entry_a = priced[a] and owner[board.ends[a, 0]] != owner[v]
        entry_b = priced[b] and owner[board.ends[b, 0]] != owner[v]
        leave_c = priced[c] and (board.ends[c, 1] < 0 or owner[board.ends[c, 1]] != owner[v])
        leave_d = priced[d] and (board.ends[d, 1] < 0 or owner[board.ends[d, 1]] != owner[v])
        counted = layers == 2 and board.counted[v]
        again = s + 1 < len(knots) and board.row[knots[s + 1]] == board.row[v]
        one = k**p
        two = one * k
        for m in range(layers):
            on = m if again else 0  # the toll is of a row
            used = 1 if counted and again else on
            for y in range(k):
                for x in range(k):
                    shown = min(cost[v, x], cost[v, y])
                    if entry_a:
                        shown -= prices[a, x]
                    if entry_b:
                        shown -= prices[b, y]
                    swap, stay = shown, shown
                    if leave_c:
                        swap += prices[c, y]
                        stay += prices[c, x]
                    if leave_d:
                        swap += prices[d, x]
                        stay += prices[d, y]
                    if counted and x != y:
                        stay += toll[board.row[v]] if m == 0 else 1e30
                    for high in range(0, size, two * k):
                        straight, parked = high + y * one + x * two, high + x * one + y * two
                        for i in range(one):
                            now[m, parked + i] = min(
                                then[on, straight + i] + swap, then[used, parked + i] + stay
                            )
            if entry_a:
                _forget(now[m], one, k)
            if entry_b:
                _forget(now[m], two, k)
            _widen(now[m], k, wide, table[s, m])
        now, then = then, now


@compiled
def _forget(values, one, k):
    """Set every value to the least over the digit of weight ``one``: what comes in there is not known yet."""
    for high in range(0, len(values), one * k):
        for i in range(high, high + one):
            least = values[i]
            for t in range(1, k):
                least = min(least, values[i + t * one])
            for t in range(k):
                values[i + t * one] = least


@compiled
def _widen(values, k, wide, table):
    """Copy values (k ** wide,) into ``table`` ((k + 1) ** wide,); digit k stands for the best thread."""
    base = k + 1
    digits = np.zeros(wide, np.int64)
    to = 0
    for i in range(len(values)):
        table[to] = values[i]
        weight = 1
        for q in range(wide):
            digits[q] += 1
            to += weight
            if digits[q] < k:
                break
            digits[q] = 0
            to -= k * weight
            weight *= base
    one = 1
    for _ in range(wide):
        for high in range(0, len(table), one * base):
            for i in range(high, high + one):
                least = table[i]
                for t in range(1, k):
                    least = min(least, table[i + t * one])
                table[i + k * one] = least
        one *= base


@compiled
def digit(ahead, thread):
    """Return the digit of a thread, or of a strand without one (-1), in a state."""
    return np.int64(thread) if thread >= 0 else np.int64(ahead.base - 1)


@compiled
def state(ahead, strip, threads):
    """Return where the threads at all positions (n,) stand in a table of ``strip``."""
    at, weight = np.int64(0), np.int64(1)
    for q in range(ahead.low[strip], ahead.low[strip] + ahead.wide[strip]):
        at += digit(ahead, threads[q]) * weight
        weight *= ahead.base
    return at


@compiled
def _key(position, thread):
    """Return a hash of a thread at a position (the finaliser of SplitMix64)."""
    z = np.uint64(position * 64 + thread + 2) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@compiled
def _guess(prices, lowest, wire, thread):
    return prices[wire, thread] if thread >= 0 else lowest[wire]


@compiled
def _room_left(board, counts, strand, threads, t, w):
    """Whether the strands without a thread can still be given one after wire ``w`` gets thread ``t``.

    Pairs need two of a thread; when the pairs fit and the total fits, the single strands fit too.
    """
    singles, pairs, places, doubles = 0, 0, 0, 0
    for q in range(board.strands):
        if threads[q] < 0 and strand[q] != w:
            if board.weight[strand[q]] > 1:
                pairs += 1  # each pair is met twice
            else:
                singles += 1
    for u in range(board.threads):
        free = board.at_most[u] - counts[u] - (board.weight[w] if u == t else 0)
        if free < 0:
            return False
        places += free
        doubles += free // 2
    return doubles >= pairs // 2 and places >= singles + pairs


@compiled
def advance(board, cost, prices, lowest, ahead, fronts, begin, end, side, alive, choices):
    """Take the frontiers over knots ``begin`` … ``end`` - 1; return (side, number alive)."""
    n, k = board.strands, board.threads
    width = fronts.score.shape[1]
    room = width * 4 * (1 + choices)
    origin, move = np.empty(room, np.int32), np.empty(room, np.int32)
    score, mark = np.empty(room, np.float64), np.empty(room, np.uint64)
    size = 1
    while size < 2 * room:
        size *= 2
    table = np.empty(size, np.int32)
    best = np.empty(choices, np.int64)
    row_mark = _key(n, 0)
    sees, layers, base = len(ahead.owner) > 0, ahead.layers, ahead.base
    strip, one, size_of, tables = np.int64(0), np.int64(1), np.int64(1), np.int64(0)
    begun = again = False
    limited = False
    for t in range(k):
        limited |= board.at_most[t] < n
    for v in range(begin, end):
        p = board.position[v]
        a, b, c, d = board.wire[v]
        for i in range(choices):
            best[i] = -1
            for t in range(k):
                fresh = True
                for j in range(i):
                    fresh &= best[j] != t
                if fresh and (best[i] < 0 or cost[v, t] < cost[v, best[i]]):
                    best[i] = t
        counted = board.counted[v]
        closed = counted and board.allowance[board.row[v]] == 0
        threads, strand, counts = fronts.threads[side], fronts.strand[side], fronts.counts[side]
        if v == 0 or board.row[v] != board.row[v - 1]:
            for s in range(alive):
                if fronts.mid[side, s]:
                    fronts.score[side, s] -= ahead.toll[board.row[v - 1]] if sees else 0.0
                    fronts.mid[side, s] = False
                    fronts.mark[side, s] ^= row_mark
        if sees:
            strip = ahead.owner[v]
            one, size_of = base ** (p - ahead.low[strip]), base ** ahead.wide[strip]
            tables = ahead.first[strip] + ahead.step[v] * layers * size_of
            begun = v > 0 and board.row[v - 1] == board.row[v] and ahead.owner[v - 1] == strip
            again = (
                v + 1 < len(board.row) and board.row[v + 1] == board.row[v] and ahead.owner[v + 1] == strip
            )
        children = 0
        for s in range(alive):
            x0, y0 = threads[s, p], threads[s, p + 1]
            paired = strand[s, p] == strand[s, p + 1]
            rest = fronts.score[side, s] - _guess(prices, lowest, a, x0) - _guess(prices, lowest, b, y0)
            bare = fronts.mark[side, s] ^ _key(p, x0) ^ _key(p + 1, y0)
            others = np.int64(0)  # where the threads at all other positions lead to in the next table
            if sees:
                here = state(ahead, strip, threads[s])
                had = layers == 2 and begun and fronts.mid[side, s]
                rest -= ahead.cost[tables + had * size_of + here]
                others = tables + layers * size_of + here
                others -= (digit(ahead, x0) + digit(ahead, y0) * base) * one
            for i in range(1 + (choices if x0 < 0 else 0)):
                for j in range(1 + (choices if y0 < 0 else 0)):
                    x = x0 if i == 0 else best[i - 1]
                    y = y0 if j == 0 else best[j - 1]
                    if (i > 0 and j > 0) != (paired and x0 < 0) or (x < 0 and y < 0):
                        continue
                    if paired and x != y:
                        continue
                    if i > 0 or j > 0:
                        t, w = (x, strand[s, p]) if i > 0 else (y, strand[s, p + 1])
                        other = y0 if i > 0 else x0
                        if other >= 0 and cost[v, other] <= cost[v, t]:
                            continue
                        if limited and not _room_left(board, counts[s], strand[s], threads[s], t, w):
                            continue
                    shown = min(cost[v, x] if x >= 0 else WORST, cost[v, y] if y >= 0 else WORST)
                    for turn in range(2):
                        if turn == 1 and (x == y or closed or (counted and fronts.mid[side, s])):
                            continue
                        left, right = (x, y) if turn == 1 else (y, x)
                        origin[children] = s
                        move[children] = (x + 1) | (y + 1) << 8 | turn << 16
                        guess = _guess(prices, lowest, c, left) + _guess(prices, lowest, d, right)
                        if sees:
                            hands = counted and turn == 1
                            has = layers == 2 and again and (fronts.mid[side, s] or hands)
                            after = others + (digit(ahead, left) + digit(ahead, right) * base) * one
                            guess += ahead.cost[after + has * size_of]
                            guess += ahead.toll[board.row[v]] if hands else 0.0
                        score[children] = rest + shown + guess
                        mark[children] = bare ^ _key(p, left) ^ _key(p + 1, right)
                        if counted and turn == 1:
                            mark[children] ^= row_mark
                        children += 1
        # of equal frontiers only the cheapest goes on
        table[:] = -1
        for i in range(children):
            at = np.int64(mark[i] & np.uint64(size - 1))
            while table[at] >= 0 and mark[table[at]] != mark[i]:
                at = (at + 1) & (size - 1)
            j = table[at]
            if j >= 0 and score[j] <= score[i]:
                score[i] = WORST
            else:
                if j >= 0:
                    score[j] = WORST
                table[at] = i
        limit = WORST
        if children > width:
            limit = np.partition(score[:children], width - 1)[width - 1]
        alive, to = np.int64(0), 1 - side
        for i in range(children):
            if score[i] > limit or score[i] >= WORST or alive == width:
                continue
            s = origin[i]
            x, y, turn = (move[i] & 255) - 1, (move[i] >> 8 & 255) - 1, move[i] >> 16
            after, hung, tally = fronts.threads[to, alive], fronts.strand[to, alive], fronts.counts[to, alive]
            after[:], hung[:], tally[:] = threads[s], strand[s], counts[s]
            mixed = np.uint64(0)
            for q in range(2):
                t = x if q == 0 else y
                if t >= 0 and after[p + q] < 0:
                    w = hung[p + q]
                    tally[t] += board.weight[w]
                    if board.weight[w] > 1:
                        for e in range(n):
                            if hung[e] == w:
                                if e != p and e != p + 1:
                                    mixed ^= _key(e, -1) ^ _key(e, t)
                                after[e] = t
                    after[p + q] = t
            if turn == 0:
                after[p], after[p + 1] = after[p + 1], after[p]
                hung[p], hung[p + 1] = hung[p + 1], hung[p]
            fronts.mid[to, alive] = fronts.mid[side, s] or (counted and turn == 1)
            fronts.score[to, alive], fronts.mark[to, alive] = score[i], mark[i] ^ mixed
            fronts.parent[v, alive], fronts.move[v, alive] = s, move[i]
            alive += 1
        side = to
    return side, alive
