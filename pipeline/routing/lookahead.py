"""What the rest of a band costs at least: tables over strips, by which a beam looks ahead.

Where wires between strips of neighbouring positions have prices (see ``bound``), each strip is a program of
its own, and its cost to go is known for all threads that may hang in it. The sum over strips, with the
prices of the wires that are open between them, is a lower bound on the cost to go of a whole frontier: an
admissible heuristic of the kind that Felner, Korf and Hanan (2004) add up from pattern databases, here
made additive by the prices. It sees whole rows ahead, which prices of single knots do not.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Board
from pipeline.routing.compiled import compiled


class Ahead(NamedTuple):
    """Tables over strips. V knots, S strips; empty arrays for a beam that looks ahead by prices alone."""

    owner: NDArray[np.int64]
    """(V,) strip of each knot."""
    step: NDArray[np.int64]
    """(V,) knots of its strip before it."""
    low: NDArray[np.int64]
    """(S,) first position of each strip."""
    wide: NDArray[np.int64]
    """(S,) positions of each strip, one more than the places of its knots."""
    first: NDArray[np.int64]
    """(S,) where its tables begin."""
    layers: int
    """2 where a row has an allowance of hand-overs: unused and used up. Else 1."""
    base: int
    """Digits of a position: its threads, and one more for a strand without a thread."""
    cost: NDArray[np.float32]
    """Cost to go, a table (layers, base ** wide) for each step; position ``low`` is the lowest digit."""
    toll: NDArray[np.float64]
    """(rows,) price of a row's one hand-over, given back at the end of the row."""


def blind() -> Ahead:
    """Return tables that know nothing."""
    none = np.empty(0, np.int64)
    return Ahead(none, none, none, none, none, 1, 1, np.empty(0, np.float32), np.empty(0))


def look_ahead(
    board: Board,
    cost: NDArray[np.float64],
    prices: NDArray[np.float64],
    owner: NDArray[np.int64],
    toll: NDArray[np.float64],
) -> Ahead:
    """Tabulate the cost to go from each knot on.

    ``cost`` (V, k), ``prices`` (E, k) of wires between strips, ``toll`` (rows,) of hand-overs, ``owner``
    (V,) the strip of each knot, a range of positions (see ``bound.Priced``).
    """
    layers, base = 2 if board.limited else 1, board.threads + 1
    step, low, wide, first = np.zeros_like(owner), [], [], []
    tables: list[NDArray[np.float32]] = []
    at = 0
    priced = (board.ends >= 0).all(axis=1) & (board.weight == 0)
    for strip in range(int(owner.max(initial=-1)) + 1):
        knots = np.flatnonzero(owner == strip)
        step[knots] = np.arange(len(knots))
        low.append(int(board.position[knots].min()))
        wide.append(int(board.position[knots].max()) + 2 - low[-1])
        first.append(at)
        table = np.empty((len(knots) + 1, layers, base ** wide[-1]), np.float32)
        _tabulate(board, cost, prices, owner, toll, priced, knots, low[-1], wide[-1], table)
        tables.append(table.ravel())
        at += table.size
    return Ahead(
        owner,
        step,
        np.array(low, np.int64),
        np.array(wide, np.int64),
        np.array(first, np.int64),
        layers,
        base,
        np.concatenate(tables) if tables else np.empty(0, np.float32),
        toll,
    )


@compiled
def _tabulate(board, cost, prices, owner, toll, priced, knots, low, wide, table):  # type: ignore[no-untyped-def]
    """Fill ``table`` (steps + 1, layers, (k + 1) ** wide) from the last knot back.

    ``priced`` (E,): wires between two knots; those that join two strips have a price.
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
        leave_c = priced[c] and owner[board.ends[c, 1]] != owner[v]
        leave_d = priced[d] and owner[board.ends[d, 1]] != owner[v]
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
def _forget(values, one, k):  # type: ignore[no-untyped-def]
    """Set every value to the least over the digit of weight ``one``: what comes in there is not known yet."""
    for high in range(0, len(values), one * k):
        for i in range(high, high + one):
            least = values[i]
            for t in range(1, k):
                least = min(least, values[i + t * one])
            for t in range(k):
                values[i + t * one] = least


@compiled
def _widen(values, k, wide, table):  # type: ignore[no-untyped-def]
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
def digit(ahead, thread):  # type: ignore[no-untyped-def]
    """Return the digit of a thread, or of a strand without one (-1), in a state."""
    return np.int64(thread) if thread >= 0 else np.int64(ahead.base - 1)


@compiled
def state(ahead, strip, threads):  # type: ignore[no-untyped-def]
    """Return where the threads at all positions (n,) stand in a table of ``strip``."""
    at, weight = np.int64(0), np.int64(1)
    for q in range(ahead.low[strip], ahead.low[strip] + ahead.wide[strip]):
        at += digit(ahead, threads[q]) * weight
        weight *= ahead.base
    return at
