"""How many switching rows a band gets: at most as many as are allowed, or as many as earn their keep.

A row of knots is work, and shows nothing that was not there. So unless the maker says how many rows there
may be, each must take off as much colour error as one cell that plainly shows another thread: ``EARNED``,
which is about the difference between two threads that nobody takes for one another.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat, network
from pipeline.routing.board import board, colour_error, labels_of, solution, tie
from pipeline.routing.lengthening import Point, count_made
from pipeline.routing.question import Budget, Question, Routed
from pipeline.routing.repeated import part, reach
from pipeline.routing.route import route
from pipeline.routing.switching import insert_switching

EARNED = 20.0
"""Colour error that each row must take off, in HyAB or ΔE."""
MOST = 12
"""Rows that are tried where the maker sets no number."""
EFFORT = 0.4
"""Effort for trying them then, as a share of what a number of rows gets."""

Ints = NDArray[np.int64]


def add_rows(
    question: Question, kinds: Ints, start: Routed, most: int | None, room: int | None, budget: Budget
) -> tuple[Point, ...]:
    """Put in switching rows; return the trade-off from none on.

    ``most``: how many there may be, None for as many as earn their keep; ``room``: how many the wrist has
    room for, None where it is not known. Where a motif repeats, every repeat gets the same rows, and only
    where a number is given: without them the instructions say a repeat once and count the others. Else as
    ``insert_switching``.
    """
    limit = MOST if most is None else most
    limit = limit if room is None else min(limit, max(0, room))
    times = 1 if question.repeat is None else question.repeat.times
    if most is None:
        hopeless = start.cost - start.lower_bound < EARNED or question.folded or times > 1
        limit = 0 if hopeless else limit
        budget = replace(budget, effort=EFFORT * budget.effort)
    if question.repeat is None or limit < times:
        points = insert_switching(question, kinds, start, limit if times == 1 else 0, budget)
    else:
        points = _in_every_repeat(question, question.repeat, kinds, start, limit // times, budget)
    return _earning(points) if most is None else points


def _earning(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """The points at which every further row has earned its keep."""
    kept = [points[0]]
    for point in points[1:]:
        more = point.switching_rows - kept[-1].switching_rows
        if kept[-1].colour_error - point.colour_error >= EARNED * more:
            kept.append(point)
    return tuple(kept)


def _in_every_repeat(
    question: Question, repeat: Repeat, kinds: Ints, start: Routed, most: int, budget: Budget
) -> tuple[Point, ...]:
    """Put rows into the period, closed, and lay it out again."""
    net, labels = question.network, labels_of(question.network, start)
    knots = slice(*np.searchsorted(net.row, [repeat.first, repeat.first + repeat.rows]).tolist())
    period = replace(part(question, repeat.first, repeat.first + repeat.rows), closed=True)
    strands = labels[network(net.strands, net.rows[: repeat.first]).last].astype(np.int64)
    swaps = start.swaps[knots]
    cost = float(colour_error(board(period), tie(period.network, strands, swaps)))
    found = insert_switching(period, kinds[knots], Routed(strands, swaps, cost, 0.0), most, budget)
    points = [Point(0, count_made(question, start, kinds), start.cost, question, kinds, start)]
    for point in found[1:]:
        laid = _laid_out(question, repeat, kinds, point, budget)
        if laid.colour_error < points[-1].colour_error - 1e-6:
            points.append(laid)
    return tuple(points)


def _laid_out(question: Question, repeat: Repeat, kinds: Ints, point: Point, budget: Budget) -> Point:
    """The whole band with the period of ``point``; its bound is 0, since other bands need not repeat."""
    net, once = question.network, point.problem
    begin, end = np.searchsorted(net.row, [repeat.first, repeat.stop]).tolist()
    strands, ahead, rest = reach(question, repeat, point.solution.strands, budget, route)
    rows = list(net.rows[: repeat.first])
    for i in range(repeat.times):
        for row in once.network.rows:
            picture = None if row.picture is None else row.picture + i * repeat.rows
            rows.append(replace(row, picture=picture))
    rows += net.rows[repeat.stop :]
    longer = replace(
        question,
        network=network(net.strands, rows),
        costs=np.concatenate([question.costs[:begin], *[once.costs] * repeat.times, question.costs[end:]]),
        allowance=(
            *question.allowance[: repeat.first],
            *once.allowance * repeat.times,
            *question.allowance[repeat.stop :],
        ),
        repeat=Repeat(repeat.first, len(once.network.rows), repeat.times),
    )
    said = np.concatenate([kinds[:begin], *[point.wanted] * repeat.times, kinds[end:]])
    swaps = np.concatenate([ahead, *[point.solution.swaps] * repeat.times, rest])
    routes = solution(longer, tie(longer.network, strands, swaps), 0.0, point.solution.stopped)
    made = count_made(longer, routes, said)
    return Point(point.switching_rows * repeat.times, made, routes.cost, longer, said, routes)


def shortened(point: Point, top: int, bottom: int) -> Point:
    """The band without its first ``top`` and its last ``bottom`` rows, which are all ground."""
    if not top + bottom:
        return point
    question, net = point.problem, point.problem.network
    stop = len(net.rows) - bottom
    knots = slice(*np.searchsorted(net.row, [top, stop]).tolist())
    labels = labels_of(net, point.solution)
    strands = labels[network(net.strands, net.rows[:top]).last].astype(np.int64)
    repeat = question.repeat
    if repeat is not None:
        inside = repeat.first >= top and repeat.stop <= stop
        repeat = replace(repeat, first=repeat.first - top) if inside else None
    shorter = replace(part(question, top, stop), repeat=repeat)
    swaps = point.solution.swaps[knots]
    routes = solution(shorter, tie(shorter.network, strands, swaps), 0.0, point.solution.stopped)
    kinds = point.wanted[knots]
    return Point(
        point.switching_rows, count_made(shorter, routes, kinds), routes.cost, shorter, kinds, routes
    )
