"""A seam: one place where strands change threads at joins and change places in switching rows.

Strands of each thread are conserved, so switching rows can only re-order them; a join can turn one thread
into another. A band is cut where the picture is calm, and what lies above and below is routed by itself,
free to begin as it likes. Then the seam is the least it takes to lead from one order to the other: an
assignment of strands that first changes few threads, then moves few positions, and odd-even transposition.
With the wires cut at which threads change, the whole is a board like any other: the pieces are wires of their
own that begin at the seam, and search and bound treat it as one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import row_positions
from pipeline.band.network import Network, RowPlan, network
from pipeline.routing.beam import follow
from pipeline.routing.board import Board, Labels, board, colour_error, labels_of, tie
from pipeline.routing.bound import strip_bound
from pipeline.routing.joins import JoinedPoint, tie_with_changes
from pipeline.routing.lengthening import LongerBand, Point, beside, calm_places
from pipeline.routing.meter import Meter
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.repeated import part
from pipeline.routing.route import route
from pipeline.routing.search import Search

PLACES = 3
"""Calm places that are tried for a seam."""
SCOUTING, PARTS, WHOLE, BOUND = 0.3, 0.5, 0.2, 0.1
"""Shares of the effort for a look at every place, for the parts at the best two, for the whole band, and of
the latter for its bound.
"""

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Seam:
    """Rows to put in before row ``gap``, their swaps, and the positions before them where strands join on."""

    gap: int
    rows: tuple[RowPlan, ...]
    swaps: NDArray[np.bool_]
    joined: tuple[int, ...]
    reached: Ints
    """(strands,) threads that hang after it."""


def seamed(
    question: Question, kinds: Ints, start: Routed, rows: int, joins: int, budget: Budget
) -> tuple[Point, JoinedPoint] | None:
    """The best band with one seam of at most so many switching rows and joins, or None if none gains.

    ``kinds`` (knots,) as for ``insert_switching``; ``start``: the band without a seam. The bound of the band
    is certified for joins at the places chosen.
    """
    if question.folded or joins < 1 or start.cost <= 0:
        return None
    scouted: list[tuple[float, int]] = []
    places = calm_places(question, PLACES)
    for gap in places:
        share = replace(budget, effort=SCOUTING * budget.effort / len(places), reporter=None)
        parts = None if budget.late else _parts(question, gap, rows, joins, share)
        if parts is not None:
            scouted.append((parts[0], gap))
    if not scouted or budget.late:
        return None
    share = replace(budget, effort=PARTS * budget.effort / 2, reporter=None)
    tried = [_parts(question, gap, rows, joins, share) for _, gap in sorted(scouted)[:2]]
    parts = min((parts for parts in tried if parts is not None), key=lambda parts: parts[0], default=None)
    if parts is None:
        return None
    whole = _whole(question, kinds, *parts[1:], joins, budget)
    return whole if whole[1].colour_error < start.cost - 1e-6 else None


def _parts(
    question: Question, gap: int, rows: int, joins: int, budget: Budget
) -> tuple[float, Seam, Routed, Routed] | None:
    """Route both parts by themselves and lead from one to the other; None if that takes too many joins."""
    half = replace(budget, effort=budget.effort / 2)
    upper = replace(part(question, 0, gap), start=question.start)
    lower = part(question, gap, len(question.network.rows))
    over, under = route(upper, half), route(lower, half)
    hanging = labels_of(upper.network, over)[upper.network.last].astype(np.int64)
    have = np.bincount(hanging, minlength=question.threads)
    more = np.maximum(np.bincount(under.strands, minlength=question.threads) - have, 0)
    if more.sum() > joins:
        while more.sum() > joins:
            more[more.argmax()] -= 1
        limits = [int(h + m) for h, m in zip(have, more, strict=True)]
        under = route(replace(lower, at_most=tuple(limits)), half)
    seam = lead_over(hanging, under.strands, gap, rows)
    if (seam.reached != under.strands).any():
        under = route(replace(lower, start=tuple(seam.reached.tolist())), half)
    return (over.cost + under.cost, seam, over, under) if len(seam.joined) <= joins else None


def lead_over(have: Ints, want: Ints, gap: int, most: int) -> Seam:
    """Lead from one order of threads to another in at most ``most`` diagonal rows before row ``gap``.

    As few strands as possible change their thread (half the difference of the numbers), and the moves
    together, squared, are least; odd-even transposition takes at most as many rows as there are strands
    (Habermann 1972; Knuth, The Art of Computer Programming 3, section 5.3.4). If the rows do not suffice,
    the order reached is as near as they lead.
    """
    from scipy.optimize import linear_sum_assignment

    n = len(have)
    place = np.arange(n)
    moves = (place[:, None] - place) ** 2.0
    aim = linear_sum_assignment(moves + float(n) ** 3 * (have[:, None] != want))[1].astype(np.int64)
    joined = tuple(np.flatnonzero(have != want[aim]).tolist())
    ways = [_transposed(aim, parity, most) for parity in (0, 1)]
    rows, swaps, now = min(ways, key=lambda way: (int((np.diff(way[2]) < 0).sum()), len(way[0])))
    return Seam(gap, tuple(rows), np.array(swaps, dtype=bool), joined, want[now])


def _transposed(aim: Ints, parity: int, most: int) -> tuple[list[RowPlan], list[bool], Ints]:
    """Alternating rows that sort ``aim``, at most ``most``; their swaps; what is reached."""
    now = aim.copy()
    rows: list[RowPlan] = []
    swaps: list[bool] = []
    while len(rows) < most and (np.diff(now) < 0).any():
        positions = row_positions(len(aim), parity + len(rows), "diagonal")
        rows.append(RowPlan("diagonal", positions))
        for p in positions:
            swaps.append(bool(now[p] > now[p + 1]))
            if swaps[-1]:
                now[p], now[p + 1] = now[p + 1], now[p]
    return rows, swaps, now


def cut(laid: Board, wires: Ints) -> Board:
    """The board with wires cut: what comes after each is a wire of its own, with a thread of its own."""
    wire, ends = laid.wire.copy(), np.concatenate([laid.ends, np.full((len(wires), 2), -1, np.int32)])
    for i, w in enumerate(wires.tolist()):
        made = np.flatnonzero((wire[:, 2:] == w).any(axis=1))
        taken = np.flatnonzero((wire[:, :2] == w).any(axis=1))
        if not len(taken):
            raise ValueError(f"wire {w} leads to no knot")
        wire[taken[0], :2][wire[taken[0], :2] == w] = len(laid.ends) + i
        ends[w] = (made[0] if len(made) else -1, -1)
        ends[len(laid.ends) + i] = (taken[0], -1)
    more = np.zeros(len(wires), np.int32)
    return laid._replace(
        wire=wire,
        ends=ends,
        weight=np.concatenate([laid.weight, more]),
        pin=np.concatenate([laid.pin, np.full(len(wires), -1, np.int8)]),
    )


def _longer(question: Question, kinds: Ints, seam: Seam) -> tuple[Question, Ints]:
    """The question, and the kinds of its cells, with the rows of the seam."""
    net, allowance, gap = question.network, question.allowance, seam.gap
    costs, said = beside(question, kinds, gap, seam.rows)
    at = net.knots_of_row(gap).start
    longer = replace(
        question,
        network=network(net.strands, (*net.rows[:gap], *seam.rows, *net.rows[gap:])),
        costs=np.concatenate([question.costs[:at], costs, question.costs[at:]]),
        allowance=(*allowance[:gap], *(allowance[gap],) * len(seam.rows), *allowance[gap:]),
        repeat=None,
    )
    return longer, np.concatenate([kinds[:at], said, kinds[at:]])


def parted(band: LongerBand, gap: int, most: int, budget: Budget) -> LongerBand | None:
    """Part the band before row ``gap``, route both parts by themselves, and sort between them in up to
    ``most`` diagonal rows; None if that gains nothing.
    """
    parts = _parts(band.problem, gap, most, 0, replace(budget, effort=2 * budget.effort))
    if parts is None:
        return None
    _, seam, over, under = parts
    longer, kinds = _longer(band.problem, band.wanted, seam)
    swaps = np.concatenate([over.swaps, seam.swaps, under.swaps])
    error = colour_error(board(longer), tie(longer.network, over.strands, swaps))
    return LongerBand(longer, kinds, over.strands, swaps, error) if error < band.error - 1e-6 else None


def _whole(
    question: Question, kinds: Ints, seam: Seam, over: Routed, under: Routed, joins: int, budget: Budget
) -> tuple[Point, JoinedPoint]:
    """The band with its seam, improved as one."""
    net = question.network
    longer, wanted = _longer(question, kinds, seam)
    swaps = np.concatenate([over.swaps, seam.swaps, under.swaps])
    hanging = network(net.strands, net.rows[: seam.gap]).last
    wires = hanging[_with_spare(seam.joined, net.strands, joins)]
    plain = board(longer)
    laid = cut(plain, wires)
    # the piece below each cut carries the thread that its strand has after the seam
    threads = np.full(len(laid.ends), -1, np.int8)
    threads[: net.strands] = over.strands
    after = _after(longer.network, swaps, wires, seam, len(over.swaps))
    threads[len(plain.ends) :] = after
    labels = follow(laid, ~swaps, threads)
    meter = Meter(replace(budget, effort=WHOLE * budget.effort), laid.knots)
    priced = strip_bound(laid, BOUND * meter.allowed, lambda: meter.late, enough=colour_error(laid, labels))
    meter.spend(priced.work)
    bound = priced.bound
    best = Search(laid, meter, budget.seed).improve(labels, bound)
    return _points(longer, wanted, laid, best, wires, len(plain.ends), len(seam.rows), bound)


def _with_spare(joined: tuple[int, ...], strands: int, joins: int) -> Ints:
    """The positions of joins, and further ones spread over the band, as many as are allowed."""
    others = [p for p in range(strands) if p not in joined]
    spare = min(len(others), joins - len(joined))
    picked = [others[int((i + 0.5) * len(others) / spare)] for i in range(spare)]
    return np.array(sorted([*joined, *picked]), dtype=np.int64)


def _after(net: Network, swaps: NDArray[np.bool_], wires: Ints, seam: Seam, first: int) -> Ints:
    """The thread that each strand cut at the seam has after it, (wires,)."""
    strands = {int(w): i for i, w in enumerate(network(net.strands, net.rows[: seam.gap]).last)}
    order = list(range(net.strands))
    for v in range(first, first + len(seam.swaps)):
        p = int(net.position[v])
        if swaps[v]:
            order[p], order[p + 1] = order[p + 1], order[p]
    where = {strand: position for position, strand in enumerate(order)}
    return np.array([seam.reached[where[strands[int(w)]]] for w in wires], dtype=np.int64)


def _points(
    longer: Question,
    kinds: Ints,
    laid: Board,
    labels: Labels,
    wires: Ints,
    first: int,
    rows: int,
    bound: float,
) -> tuple[Point, JoinedPoint]:
    """Turn labels on a cut board into strands, swaps and thread changes, and recount by tying."""
    net = longer.network
    incoming, outgoing = labels[laid.wire[:, :2]], labels[laid.wire[:, 2:]]
    swaps = (incoming[:, 0] != outgoing[:, 0]) | (incoming[:, 0] == incoming[:, 1])
    threads = incoming.astype(np.int64)
    paths = _paths(net, swaps)
    changes: dict[int, tuple[int, int]] = {}
    for i, w in enumerate(wires.tolist()):
        old, new = int(labels[w]), int(labels[first + i])
        if old != new:
            maker, leaves = divmod(w - net.strands, 2)
            path, at = next(
                (path, q)
                for path in paths
                for q, (v, _, side) in enumerate(path)
                if (v, side) == (maker, leaves)
            )
            _join(longer.costs, threads, path, at, (old, new), changes)
    strands = labels[: net.strands].astype(np.int64)
    routes = Routed(strands, swaps, 0.0, 0.0)
    shown, error, hand_overs = tie_with_changes(net, longer.costs, routes, changes)
    routes = replace(routes, cost=error, lower_bound=min(bound, error), hand_overs=hand_overs)
    made = int(longer.makes(kinds, shown).sum())
    return (
        Point(rows, made, error, longer, kinds, routes),
        JoinedPoint(len(changes), made, error, routes, changes),
    )


def _paths(net: Network, swaps: NDArray[np.bool_]) -> list[list[tuple[int, int, int]]]:
    """For each strand the knots that it goes through, with the sides on which it enters and leaves."""
    hanging = list(range(net.strands))
    paths: list[list[tuple[int, int, int]]] = [[] for _ in hanging]
    for v, p in enumerate(net.position.tolist()):
        for side in (0, 1):
            paths[hanging[p + side]].append((v, side, 1 - side if swaps[v] else side))
        if swaps[v]:
            hanging[p], hanging[p + 1] = hanging[p + 1], hanging[p]
    return paths


def _join(
    costs: NDArray[np.float64],
    threads: Ints,
    path: list[tuple[int, int, int]],
    at: int,
    turn: tuple[int, int],
    changes: dict[int, tuple[int, int]],
) -> None:
    """Put a join where it hides best on its strand's way: there the strand is core and the other one shows.

    ``threads`` (knots, 2): what meets in each knot, brought up to date; knot ``at`` of the ``path`` is the
    last before the cut, where the strand goes on in the second thread of ``turn``.
    """
    (old, new), knots = turn, np.array([v for v, _, _ in path])
    sides = np.array([side for _, side, _ in path])
    other = costs[knots, threads[knots, 1 - sides]]
    taken = np.array([v in changes for v in knots.tolist()])
    alone = np.where(taken, np.inf, other)
    before, after = (np.where(taken, c, np.minimum(c, other)) for c in (costs[knots, old], costs[knots, new]))
    total = np.cumsum(before) - before + alone + after.sum() - np.cumsum(after)
    best = int(total.argmin())
    threads[knots[: best + 1], sides[: best + 1]] = old
    threads[knots[best + 1 :], sides[best + 1 :]] = new
    changes[int(knots[best])] = int(sides[best]), new
