"""The four knots as the bench knows them: who shows, who changes places, what a mirror does."""

from __future__ import annotations

import pytest

from pipeline.band.knots import WORKED, Knot, knot_of, row_positions, tie
from tests.patterns import tie_all

TABLE = {
    # knot: (the strand that shows, the order afterwards) of strands 0 and 1; the knots' common descriptions
    Knot.FORWARD: (0, [1, 0]),
    Knot.BACKWARD: (1, [1, 0]),
    Knot.FORWARD_BACKWARD: (0, [0, 1]),
    Knot.BACKWARD_FORWARD: (1, [0, 1]),
}


@pytest.mark.parametrize("knot", Knot)
def test_who_shows_and_who_changes_places(knot: Knot) -> None:
    shows, after = TABLE[knot]
    order = [5, 0, 1, 6]
    tied = tie(order, 1, knot)
    assert (tied.tying, tied.core) == (shows, 1 - shows)
    assert (tied.position, tied.left, tied.right) == (1, 0, 1)
    assert order == [5, *after, 6]
    assert knot_of(left_ties=knot.left_ties, swaps=knot.swaps) is knot


@pytest.mark.parametrize("knot", Knot)
def test_a_mirror_turns_left_and_right(knot: Knot) -> None:
    """Tied on the mirrored pair, the mirrored knot shows the same strand and gives the mirrored order."""
    (tied,), after = tie_all([0, 1], [(0, knot)])
    (seen,), there = tie_all([1, 0], [(0, knot.mirrored)])
    assert seen.tying == tied.tying
    assert there == after[::-1]
    assert knot.mirrored.mirrored is knot


@pytest.mark.parametrize("strands", range(2, 9))
def test_rows_go_from_edge_to_edge_and_back(strands: int) -> None:
    """A leader of forward knots reaches the far edge, and of backward knots comes home in the next row."""
    there = [(p, Knot.FORWARD) for p in row_positions(strands, 0, "rows")]
    back = [(p, Knot.BACKWARD) for p in row_positions(strands, 1, "rows")]
    tied, order = tie_all(range(strands), [*there, *back])
    assert [t.tying for t in tied] == [0] * (2 * strands - 2)
    assert order == list(range(strands))


def test_every_other_row_runs_the_other_way() -> None:
    rows = [row_positions(4, r, "rows") for r in range(5)]
    assert rows == [(0, 1, 2), (2, 1, 0), (0, 1, 2), (2, 1, 0), (0, 1, 2)]
    assert [row_positions(5, r, "diagonal")[0] for r in range(5)] == [0, 1, 0, 1, 0]


@pytest.mark.parametrize("strands", range(2, 9))
def test_two_diagonal_rows_tie_every_neighbouring_pair_once(strands: int) -> None:
    both = row_positions(strands, 0, "diagonal") + row_positions(strands, 1, "diagonal")
    assert sorted(both) == list(range(strands - 1))
    for row in (0, 1, 2):
        taken = [p + side for p in row_positions(strands, row, "diagonal") for side in (0, 1)]
        assert len(set(taken)) == len(taken)  # no strand is in two knots of a row


@pytest.mark.parametrize("worked", WORKED)
def test_one_strand_makes_no_row(worked) -> None:
    with pytest.raises(ValueError, match="at least 2 strands, not 1"):
        row_positions(1, 0, worked)
