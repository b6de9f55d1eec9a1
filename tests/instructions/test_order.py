"""Orders of diagonal work tie the same band, and the mix found is the cheapest of its family."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import pairwise, product

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.knots import Knot, row_positions
from pipeline.instructions.order import Rows, Run, Way, _cheapest, _Fan, _tied, orders

KNOTS = (*Knot, Knot.FORWARD, Knot.FORWARD, Knot.BACKWARD)


def breaths(runs: Sequence[Run]) -> int:
    """Runs, and finding the strand or the row of each line."""
    return len(runs) + sum(not run.goes_on for run in runs)


def random_rows(seed: int, strands: int, count: int, gaps: float) -> Rows:
    rng = random.Random(seed)
    first = rng.randint(0, 1)
    return [
        tuple(
            (p, rng.choice(KNOTS))
            for p in row_positions(strands, first + r, "diagonal")
            if rng.random() >= gaps
        )
        for r in range(count)
    ]


def stacks(cells: list[tuple[int, int]], strands: int) -> list[list[tuple[int, int]]]:
    """For each strand gap, the knots that touch it in turn. Two orders tie the same band exactly if these
    agree (two knots that share a strand keep their order: equality of traces, Cartier and Foata 1969).
    """
    return [[cell for cell in cells if cell[1] in (p, p + 1)] for p in range(-1, strands)]


@given(st.integers(0, 9999), st.integers(2, 9), st.integers(0, 12), st.sampled_from((0.0, 0.3)))
def test_every_order_ties_the_same_band(seed: int, strands: int, count: int, gaps: float) -> None:
    rows = random_rows(seed, strands, count, gaps)
    kinds = {(r, p): knot for r, row in enumerate(rows) for p, knot in row}
    plain = sorted(kinds)
    for runs in orders(rows, strands):
        cells = [cell for run in runs for cell in run.cells]
        assert sorted(cells) == plain
        assert stacks(cells, strands) == stacks(plain, strands)
        assert all(kinds[cell] is run.knot for run in runs for cell in run.cells)
        assert all(_steps_by(run.way, run.cells) for run in runs)
        assert not runs or not runs[0].goes_on
        for before, run in pairwise(runs):
            if run.goes_on and run.way is not Way.PAIRS:
                assert _steps_by(run.way, (before.cells[-1], run.cells[0]))
                assert before.way is run.way


def _steps_by(way: Way, cells: tuple[tuple[int, int], ...]) -> bool:
    return all((b[0] - a[0], b[1] - a[1]) == way.value for a, b in pairwise(cells))


@given(st.integers(0, 9999), st.integers(2, 5), st.integers(1, 4), st.sampled_from((0.0, 0.3)))
@settings(max_examples=25)
def test_the_mix_is_the_cheapest_of_its_family(seed: int, strands: int, count: int, gaps: float) -> None:
    """Against trying every way to cut the rows and every fan for each part."""
    rows = random_rows(seed, strands, count, gaps)
    fans = [_Fan(), *(_Fan(c) for c in range(strands)), *(_Fan(c, False) for c in range(1, strands - 1))]
    fewest = min(
        breaths(_tied(rows, list(bands)))
        for cuts in product((False, True), repeat=count - 1)
        for bands in _bands(cuts, fans)
    )
    assert breaths(_tied(rows, _cheapest(rows, strands))) == fewest


def _bands(cuts: tuple[bool, ...], fans: list[_Fan]) -> list[tuple[tuple[int, int, _Fan], ...]]:
    edges = [0, *(r + 1 for r, cut in enumerate(cuts) if cut), len(cuts) + 1]
    spans = list(pairwise(edges))
    return [
        tuple((first, end, fan) for (first, end), fan in zip(spans, chosen, strict=True))
        for chosen in product(fans, repeat=len(spans))
    ]


def test_a_group_that_passes_a_group_is_said_strand_by_strand() -> None:
    """Four strands over four: sixteen knots in seven rows, four strands taken, four forward knots each."""
    rows = [
        tuple((p, Knot.FORWARD) for p in range(7) if p % 2 == (3 + r) % 2 and abs(p - 3) <= min(r, 6 - r))
        for r in range(7)
    ]
    _, right, *_ = orders(rows, 8)
    assert [run.cells[0][1] for run in right] == [3, 2, 1, 0]
    assert all(len(run.cells) == 4 and run.way is Way.RIGHT for run in right)
    assert breaths(right) == 8 < breaths(next(iter(orders(rows, 8))))


def test_a_chevron_is_tied_towards_its_centre() -> None:
    """Forward knots from the left edge and backward knots from the right edge meet in the middle; every
    second row has other threads on top, so that only strands that travel inwards make long runs.
    """
    strands, rows = 10, []
    for r in range(20):
        row = []
        for p in row_positions(strands, r, "diagonal"):
            stripe = (r + p if p >= 5 else r - p + 8) // 4 % 2  # constant along the way inwards
            outer = (Knot.FORWARD, Knot.FORWARD_BACKWARD) if p < 5 else (Knot.BACKWARD, Knot.BACKWARD_FORWARD)
            row.append((p, outer[stripe]))
        rows.append(tuple(row))
    chosen: tuple[Run, ...] = min(orders(rows, strands), key=breaths)
    inner = [run for run in chosen if 4 < run.cells[0][0] < 12]
    assert {run.way for run in inner} == {Way.RIGHT, Way.LEFT}
    assert all((run.way is Way.RIGHT) == (run.cells[0][1] < 5) for run in inner)
