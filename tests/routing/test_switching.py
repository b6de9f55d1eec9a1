"""Switching rows: each point of the trade-off is a real band, the error falls, and rows pay."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pipeline.band.knots import Worked, row_positions
from pipeline.band.network import RowPlan, picture_rows
from pipeline.band.reading import problems
from pipeline.routing import Budget, Ease, LongerBand, route
from pipeline.routing.lengthening import beside
from pipeline.routing.switching import insert_switching
from pipeline.verdict.feasibility import check
from tests.routing.problems import picture
from tests.routing.samples import crossed_blocks
from tests.verdict.bands import assembled

EFFORT = Budget(effort=0.15)
BRIEF = Budget(effort=0.03)


def curve(strands: int, rows: int, worked: Worked, limit: int, ease: Ease) -> tuple[LongerBand, ...]:
    problem, wanted = crossed_blocks(strands, rows, worked, ease)
    return insert_switching(LongerBand(problem, wanted, route(problem, EFFORT)), limit, BRIEF)


@pytest.mark.parametrize(
    ("worked", "ease"),
    [("rows", Ease.FULL), ("rows", Ease.LIGHT), ("rows", Ease.PLAIN), ("diagonal", Ease.LIGHT)],
)
def test_points_are_real_bands_and_the_error_falls(worked: Worked, ease: Ease) -> None:
    points = curve(9, 16, worked, 7, ease)
    assert points[0].switching_rows == 0
    for fewer, more in pairwise(points):
        assert fewer.switching_rows < more.switching_rows <= 7
        assert more.colour_error < fewer.colour_error
    for point in points:
        wanted = [None if t < 0 else int(t) for t in point.kinds]
        pattern = assembled(point.question.network, point.solution, wanted)
        assert list(problems(pattern)) == []
        found = check(pattern)
        assert found.switching_rows == point.switching_rows
        cells = int((point.kinds >= 0).sum())  # those of switching rows count too
        assert cells >= (16 * 8 if worked == "rows" else 64)
        assert (found.cells, found.made) == (cells, point.made)
        assert found.colour_error == pytest.approx(point.colour_error)
        assert point.solution.lower_bound <= point.colour_error
        picture = [row for row in point.question.network.rows if row.picture is not None]
        assert tuple(picture) == picture_rows(9, 16, worked)
        if ease is not Ease.FULL:
            assert most_in_mid_row(pattern) <= (1 if ease is Ease.LIGHT else 0)


@pytest.mark.parametrize("seed", range(6))
def test_folded_starts_stay_folded(seed: int) -> None:
    """Both halves of a cut have one thread, however the search has moved the one that stands for the two."""
    rng = np.random.default_rng(seed)
    grid = rng.integers(0, 4, (15, 11))
    free = picture(grid, "rows", threads=4)
    costs = free.costs * rng.integers(5, 60, free.costs.shape)
    problem = replace(free, costs=costs, folded=tuple((p, p + 1) for p in range(0, 11, 2)))
    wanted = grid[problem.network.row, problem.network.position]
    hasty = Budget(effort=0.02)
    for point in insert_switching(LongerBand(problem, wanted, route(problem, hasty)), 8, hasty):
        pairs = point.solution.strands.reshape(-1, 2)
        assert (pairs[:, 0] == pairs[:, 1]).all()


def most_in_mid_row(pattern) -> int:
    """The most hand-overs of different threads that any straight row has away from its edges."""
    now, most = list(pattern.strands), 0
    for _, _, section, row in pattern.rows():
        inside = 0
        for i, (p, knot) in enumerate(row.knots):
            if knot.swaps:
                now[p], now[p + 1] = now[p + 1], now[p]
            elif section.worked == "rows" and 0 < i < len(row.knots) - 1:
                inside += now[p] != now[p + 1]
        most = max(most, inside)
    return most


def test_the_longest_band_has_a_bound_of_its_own() -> None:
    problem, wanted = crossed_blocks(9, 30, "rows", Ease.FULL)
    points = insert_switching(LongerBand(problem, wanted, route(problem, EFFORT)), 8, Budget(effort=0.6))
    assert points[-1].switching_rows > 0
    assert 0 < points[-1].solution.lower_bound <= points[-1].colour_error


def test_no_rows_allowed_gives_the_band_itself() -> None:
    (point,) = curve(5, 6, "diagonal", 0, Ease.FULL)
    assert point.switching_rows == 0 and point.question.network.rows == picture_rows(5, 6, "diagonal")


def test_same_seed_same_curve() -> None:
    first, again = (curve(7, 12, "diagonal", 4, Ease.LIGHT) for _ in range(2))
    assert [(p.switching_rows, p.colour_error) for p in first] == [
        (p.switching_rows, p.colour_error) for p in again
    ]
    assert np.array_equal(first[-1].solution.swaps, again[-1].solution.swaps)


def test_switching_rows_want_what_the_rows_beside_them_want() -> None:
    picture_of = np.array([[0, 1, 1], [1, 0, 0], [1, 1, 0]])
    question = picture(picture_of, "rows", threads=2)
    rows = [RowPlan("diagonal", row_positions(4, i, "diagonal")) for i in range(4)]
    costs, said = beside(question, question.costs.argmin(axis=1), 1, rows)
    expected = [picture_of[int(2 * i >= len(rows)), p] for i, row in enumerate(rows) for p in row.positions]
    assert said.tolist() == expected
    assert costs.argmin(axis=1).tolist() == expected
