"""Small routing problems for the checks against reference solvers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.band.knots import WORKED, row_positions
from pipeline.band.network import RowPlan, network, picture_rows
from pipeline.routing.question import Ease, Question


def tiny(
    rng: np.random.Generator, *, ease: Ease = Ease.FULL, threads: int = 3, mixed: bool = False
) -> Question:
    """A random band small enough to follow every routing, with costs that tie often or never.

    A third each of pins, bounds and folded pairs; rows of one order (of both if ``mixed``), any turn first.
    """
    strands = int(rng.integers(2, 6))
    rows = int(rng.integers(1, 6))
    worked = WORKED[int(rng.integers(2))] if ease is Ease.FULL else "rows"
    turn = int(rng.integers(2))
    plans = [RowPlan(worked, row_positions(strands, r + turn, worked), r) for r in range(rows)]
    if mixed:
        for _ in range(int(rng.integers(1, 4))):
            extra = WORKED[int(rng.integers(2))]
            positions = row_positions(strands, int(rng.integers(2)), extra)
            plans.insert(int(rng.integers(len(plans) + 1)), RowPlan(extra, positions))
    net = network(strands, plans)
    k = int(rng.integers(1, threads + 1))
    shape = (net.knots, k)
    costs = rng.integers(0, 4, shape).astype(float) if rng.random() < 0.5 else 30 * rng.random(shape)
    costs[np.arange(net.knots), rng.integers(0, k, net.knots)] = 0
    costs[rng.random(net.knots) < 0.1] = 0
    start: list[int | None] = [None] * strands
    at_most: list[int | None] = [None] * k
    folded: tuple[tuple[int, int], ...] = ()
    bound = rng.random()
    if bound < 0.33:
        start = [int(rng.integers(k)) if rng.random() < 0.4 else None for _ in range(strands)]
    elif bound < 0.67:
        at_most = [int(rng.integers(1, strands)) if rng.random() < 0.6 else None for _ in range(k)]
    if rng.random() < 0.33:
        order = rng.permutation(strands)
        pairs = int(rng.integers(0, strands // 2 + 1))
        folded = tuple((int(order[2 * i]), int(order[2 * i + 1])) for i in range(pairs))
        folded = tuple(pair for pair in folded if None in (start[pair[0]], start[pair[1]]))
    return Question(net, costs, tuple(start), tuple(at_most), folded, ease.allowance(net))


def picture(
    wanted: np.ndarray, worked: str, ease: Ease = Ease.FULL, *, threads: int = 2, difference: float = 1.0
) -> Question:
    """A picture of (rows, cells) thread indices, free of bounds; any other thread costs ``difference``."""
    rows, cells = wanted.shape
    assert worked in WORKED
    net = network(cells + 1, picture_rows(cells + 1, rows, "rows" if worked == "rows" else "diagonal"))
    costs = difference * (wanted[net.row, net.position, None] != np.arange(threads))
    return Question(net, costs, (None,) * (cells + 1), (None,) * threads, (), ease.allowance(net))


def mirrored(problem: Question) -> Question:
    """The same problem seen in a mirror: rising rows fall, pairs are counted from the other edge."""
    net = problem.network
    plans = [
        RowPlan(row.worked, tuple(net.strands - 2 - p for p in row.positions), row.picture)
        for row in net.rows
    ]
    other = net.strands - 1
    folded = tuple((other - a, other - b) for a, b in problem.folded)
    return replace(problem, network=network(net.strands, plans), start=problem.start[::-1], folded=folded)
