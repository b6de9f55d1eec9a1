"""The cut list for people: nothing forgotten, folds and joins named."""

from __future__ import annotations

import pytest
from hypothesis import given

from pipeline.band.pattern import End, Ends, Pattern
from pipeline.materials.lengths import cut_list, pieces
from pipeline.writers.cutting import cut_lines
from tests.patterns import patterns
from tests.writers.bands import chequers, pennant, tiny


@given(patterns())
def test_lines_hold_every_piece_and_every_knot(pattern: Pattern) -> None:
    cuts = cut_list(pattern)
    lines = list(cut_lines(pattern, cuts))
    total = sum(piece.length_mm for piece in pieces(pattern, cuts)) / 1000
    assert sum(line.metres for line in lines) == pytest.approx(total)
    assert sum(line.tied for line in lines) == sum(len(row.knots) for _, _, _, row in pattern.rows())


def test_joins_and_equal_neighbours_are_said_so() -> None:
    lines = list(cut_lines(tiny(), cut_list(tiny())))
    assert [line.strands for line in lines if "join" in line.strands] == ["2, at a join", "4, at a join"]
    assert all(line.tied == 0 for line in lines if "join" in line.strands)
    assert next(cut_lines(pennant(), cut_list(pennant()))).strands == "1"


def test_folded_strands_are_one_length() -> None:
    start = End(style="holding-cord", tail_mm=80, folded=((0, 3), (1, 4)), loop_mm=150)
    ends = Ends(start=start, finish=End(style="straight", tail_mm=80))
    band = chequers("rows", strands=6).model_copy(update={"ends": ends})
    lines = list(cut_lines(band, cut_list(band)))
    assert [line.strands for line in lines if "folded" in line.length] == ["1+4", "2+5"]
    assert lines[-1].strands == "holding cord" and lines[-1].length == "15 cm"
