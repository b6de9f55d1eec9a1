"""What a cell costs: the band found with it made is real, and no better than the best there is."""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest

from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, route
from pipeline.routing.forced import costs_if_made
from pipeline.verdict.feasibility import thread_distances
from tests.routing.samples import crossed_blocks
from tests.verdict.bands import THREADS

EFFORT = Budget(effort=0.1)


def shown_costs(
    problem: Question, strands: tuple[int, ...], swaps: tuple[bool, ...]
) -> tuple[float, list[set[int]]]:
    hanging, cost, met = list(strands), 0.0, []
    for v, p in enumerate(problem.network.position.tolist()):
        pair = hanging[p : p + 2]
        met.append(set(pair))
        cost += min(problem.costs[v, pair[0]], problem.costs[v, pair[1]])
        if swaps[v]:
            hanging[p : p + 2] = pair[::-1]
    return cost, met


def unmade(problem: Question, wanted: np.ndarray, strands, swaps) -> list[int]:
    _, met = shown_costs(problem, strands, swaps)
    return [v for v in range(len(wanted)) if int(wanted[v]) not in met[v]]


def test_no_band_that_makes_the_cell_is_better_than_possible() -> None:
    """Against all starts and swaps of a tiny band of three threads."""
    net = network(4, picture_rows(4, 5, "diagonal"))
    asked = 0
    for seed in range(30):
        wanted = np.random.default_rng(seed).integers(0, 3, size=net.knots)
        costs = np.ascontiguousarray(thread_distances(THREADS[:3])[wanted])
        problem = Question(net, costs, (None,) * 4, (None,) * 3)
        start = route(problem, EFFORT)
        missing = unmade(problem, wanted, tuple(start.strands.tolist()), tuple(start.swaps.tolist()))
        found = costs_if_made(problem, start, missing, EFFORT)
        for v in missing:
            least = min(
                cost
                for strands in product(range(3), repeat=4)
                for swaps in product((False, True), repeat=net.knots)
                for cost, met in [shown_costs(problem, strands, swaps)]
                if int(wanted[v]) in met[v]
            )
            if v in found:
                asked += 1
                assert found[v] >= max(least, start.lower_bound) - 1e-9
    assert asked >= 3


@pytest.mark.parametrize("ease", [Ease.FULL, Ease.PLAIN])
def test_most_cells_get_an_answer(ease: Ease) -> None:
    problem, wanted = crossed_blocks(9, 16, "rows", ease)
    start = route(problem, EFFORT)
    missing = unmade(problem, wanted, start.strands.tolist(), start.swaps.tolist())[:12]
    found = costs_if_made(problem, start, missing, Budget())
    assert missing and set(found) <= set(missing)
    assert len(found) >= (len(missing) / 2 if ease is Ease.FULL else 1)
    assert all(cost >= start.lower_bound - 1e-6 for cost in found.values())


def test_the_work_is_bounded() -> None:
    problem, wanted = crossed_blocks(9, 16, "diagonal")
    start = route(problem, EFFORT)
    knots = list(range(len(wanted)))
    assert len(costs_if_made(problem, start, knots, Budget(effort=0.01))) <= 20
    late = Budget(deadline=time.monotonic() - 1.0)
    assert costs_if_made(problem, start, knots, late) == {}
