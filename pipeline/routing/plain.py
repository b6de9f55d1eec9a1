"""Plain row work: in mid-row nothing is handed over, the leader changes only at the edges.

A knot is in mid-row if it is neither the first nor the last of a row-worked row; there, two different
threads must swap. A band of row-worked rows alone is one run (``plain_run``), solved to proof where the
effort allows. Where diagonal rows or a row worked twice in one direction come between, the runs share
their strands: the band is laid out run by run with diagonal rows that change nothing, then re-solved strip
by strip without hand-overs in mid-row; the bound adds what each run costs at least by itself.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network
from pipeline.errors import ImpossibleError
from pipeline.routing.board import Labels, board, middle, solution, tie
from pipeline.routing.meter import Meter
from pipeline.routing.plain_run import Effort, PlainRun, Run, solve_run
from pipeline.routing.question import Budget, Ease, Question, Routed
from pipeline.routing.search import Search
from pipeline.routing.stretches import Stretch, costs_of, stretches
from pipeline.routing.turns import Ints

SETTLING = 0.1
"""Share of a search's effort that goes into re-solving the strips of a band of several runs."""
HASTY = 0.05
"""Share of a plain search's effort that finds a plain band to start from; it is not proved."""
WORK = 1.5e8
"""Visited cells that effort 1.0 stands for; about 5 s on the machine of ``benchmarks/RESULTS.md``."""


def is_plain(problem: Question) -> bool:
    """Whether there is row work, and none of its rows may have a hand-over in mid-row."""
    inside = middle(problem.network)
    allowance = np.array(problem.allowance)[problem.network.row]
    return bool(inside.any()) and not allowance[inside].any()


def solve_plain(problem: Question, budget: Budget = Budget()) -> Routed:
    """Route with no hand-over of different threads in mid-row. Pins, at_most and folded starts are kept.

    The bound holds where every allowance is 0. A closed band must be one run. Raises ImpossibleError where
    no starting order meets the bounds set, ValueError for a row-worked row that does not cross the band.
    """
    effort = Effort(WORK * budget.effort, budget)
    labels, proof = _laid(problem, effort)
    if proof is not None:
        return solution(problem, labels, proof, effort.stopped)
    share = replace(budget, effort=SETTLING * budget.effort, reporter=None)
    search = Search(board(problem.eased(Ease.PLAIN)), Meter(share, problem.network.knots))
    search.take(labels)
    search.descend(2, 4)
    return solution(problem, search.labels, _bound(problem, effort), effort.stopped)


def plain_labels(problem: Question, budget: Budget) -> Labels:
    """The plain band as a start, with a small share of the effort and no compiled loop."""
    hasty = replace(budget, effort=HASTY * budget.effort, reporter=None)
    return _laid(problem, Effort(WORK * hasty.effort, hasty))[0]


def _laid(problem: Question, effort: Effort) -> tuple[Labels, float | None]:
    """Labels of a plain band run by run, and its bound where one run is all there is."""
    network = problem.network
    if network.strands == 2:
        return _two_strands(problem)
    runs = list(stretches(network))
    order: Ints | None = None
    strands: Ints | None = None
    leaders: dict[int, int] = {}
    proof = 0.0
    for number, stretch in enumerate(runs):
        run = _run(problem, stretch, order)
        effort_here = effort if number == len(runs) - 1 else replace(effort, left=effort.left / 2)
        found = solve_run(run, effort_here)
        if found is None:
            raise _impossible()
        effort.stopped = effort_here.stopped
        proof = found.lower_bound
        leaders |= dict(zip(stretch.rows, found.leaders.tolist(), strict=True))
        here = stretch.seen(found.strands)
        strands = here if strands is None else strands
        order = here.copy()
        _tie(network, order, leaders, stretch.rows)
    if strands is None:
        raise ValueError("a plain band needs a row-worked row")
    order = strands.copy()
    swaps = _tie(network, order, leaders, range(len(network.rows)))
    if problem.closed and (order != strands).any():
        swaps[-1] = False
    one_run = len(runs) == 1 and len(runs[0].rows) == len(network.rows)
    return tie(network, strands, swaps), proof if one_run else None


def _run(problem: Question, stretch: Stretch, order: Ints | None, *, free: bool = False) -> Run:
    """The stretch as a run: its costs by position, and the start that is left to it.

    ``order`` holds the threads that hang before it (None: the band starts here); ``free`` forgets them.
    """
    network = problem.network
    costs = costs_of(problem, stretch)
    start: tuple[int | None, ...] = problem.start if order is None else tuple(order.tolist())
    folded = problem.folded if order is None else ()
    if free:
        start, folded = (None,) * network.strands, ()
    if stretch.falling:
        last = network.strands - 1
        start = start[::-1]
        folded = tuple((last - a, last - b) for a, b in folded)
    at_most = problem.at_most if order is None or free else (None,) * problem.threads
    return Run(costs, start, at_most, folded, problem.closed)


def _tie(
    network: Network, order: Ints, leaders: dict[int, int], rows: range | tuple[int, ...]
) -> NDArray[np.bool_]:
    """Tie ``rows`` led by those threads, changing ``order`` in place; return which knots swap.

    A row's first knot brings its leader on the way; every other knot swaps; diagonal rows stay.
    """
    swaps = np.zeros(network.knots, dtype=bool)
    for row in rows:
        if row not in leaders:
            continue
        knots = network.knots_of_row(row)
        positions = network.position[knots]
        at_edge = 0 if positions[0] == 0 else network.strands - 1
        swaps[knots] = True
        swaps[knots.start] = order[at_edge] == leaders[row]
        for position, swap in zip(positions, swaps[knots], strict=True):
            if swap:
                order[[position, position + 1]] = order[[position + 1, position]]
    return swaps


def _bound(problem: Question, effort: Effort) -> float:
    """What the runs between other rows cost at least, each by itself, and the other rows' cheapest knots."""
    network = problem.network
    runs = list(stretches(network, through=False))
    covered = np.zeros(network.knots, dtype=bool)
    bound = 0.0
    for stretch in runs:
        first = stretch.rows[0] == 0
        share = replace(effort, left=max(effort.left, 0.0) / len(runs))
        found: PlainRun | None = solve_run(_run(problem, stretch, None, free=not first), share)
        bound += found.lower_bound if found is not None else 0.0
        for row in stretch.rows:
            covered[network.knots_of_row(row)] = True
    return bound + float(problem.costs[~covered].min(axis=1).sum())


def _two_strands(problem: Question) -> tuple[Labels, float]:
    """Two strands meet in every knot: try each pair of threads."""
    allowed = [range(problem.threads) if pin is None else (pin,) for pin in problem.start]
    found: tuple[float, tuple[int, int]] | None = None
    for left, right in product(*allowed):
        if problem.folded and left != right:
            continue
        if any(most is not None and (left, right).count(t) > most for t, most in enumerate(problem.at_most)):
            continue
        cost = float(problem.costs[:, [left, right]].min(axis=1).sum())
        if found is None or cost < found[0]:
            found = cost, (left, right)
    if found is None:
        raise _impossible()
    return tie(problem.network, np.array(found[1]), np.ones(problem.network.knots, dtype=bool)), found[0]


def _impossible() -> ImpossibleError:
    return ImpossibleError(
        "no starting order has so few strands of each thread and the threads that were pinned",
        "Allow more strands of a thread, or leave more of the starting order free.",
    )
