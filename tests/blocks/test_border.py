"""Blocks around a picture hand the strands on in the order that the picture needs."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pipeline.band.pattern import End, Ends, Gauge, GaugeByOrder, Pattern, problems
from pipeline.band.replay import replay
from pipeline.blocks.border import border, fill_with_border
from pipeline.errors import ImpossibleError
from pipeline.instructions.spoken import compare
from pipeline.instructions.text import write_instructions
from tests.instructions.bands import FLAG, GAUGE, two_thread_picture
from tests.patterns import patterns

DIAGONAL = Gauge(strand_pitch_mm=1.3, row_pitch_mm=1.0, tie_mm=9, core_mm=1.5)


def shown(pattern: Pattern, first: int, last: int) -> list[list[int]]:
    """Threads that show, row by row, in the sections from ``first`` up to ``last``."""
    return [[step.shown for step in row.steps] for row in replay(pattern) if first <= row.section < last]


@given(patterns(max_strands=8), st.sampled_from((0, 1, 7, 20)), st.sampled_from((0, 1, 9)))
def test_the_picture_inside_is_untouched(pattern: Pattern, before: int, after: int) -> None:
    ends = [row.threads for row in replay(pattern)]
    assume(len(set(pattern.strands)) > 1 and len(set(ends[-1])) > 1)
    made = border(pattern, DIAGONAL, rows_before=before, rows_after=after)
    band = made.pattern
    assert list(problems(band)) == []
    assert sorted(band.strands) == sorted(pattern.strands)
    shift = int(before > 0)
    inside = (shift, shift + len(pattern.sections))
    assert band.sections[slice(*inside)] == pattern.sections
    assert shown(band, *inside) == shown(pattern, 0, len(pattern.sections))
    assert [section.kind for section in band.sections[: inside[0]]] == ["blocks"] * shift
    assert [section.kind for section in band.sections[inside[1] :]] == ["blocks"] * (after > 0)
    if shift:
        handed_on = [row.threads for row in replay(band) if row.section == 0][-1]
        assert handed_on == pattern.strands
    assert compare(write_instructions(band), band) == []


def test_the_border_is_as_long_as_asked() -> None:
    """A navy leader over five chalk bases: a move takes five rows, so lengths miss by half of it at most."""
    made = border(two_thread_picture(FLAG), DIAGONAL, rows_before=21, rows_after=34)
    assert made.before is not None and made.after is not None
    assert abs(len(made.before.rows) - 21) <= 3
    assert abs(len(made.after.rows) - 34) <= 3
    assert made.pattern.sections[0].worked == "diagonal"
    assert made.pattern.gauge == GaugeByOrder(rows=GAUGE, diagonal=DIAGONAL)


def test_the_border_before_mirrors_the_border_after_in_time() -> None:
    """Where a picture begins and ends with the same order, the two borders show the same blocks."""
    pattern = two_thread_picture(FLAG)
    band = border(pattern, DIAGONAL, rows_before=20, rows_after=20).pattern
    above, below = shown(band, 0, 1), shown(band, 2, 3)
    assert above == below[::-1]


@pytest.mark.parametrize("knotted", [60.0, 111.0, 160.0])
def test_a_border_fills_the_wrist(knotted: float) -> None:
    """Eight picture rows of 1.5 mm and moves of five 1 mm rows: the whole misses by half a move at most."""
    band = fill_with_border(two_thread_picture(FLAG), DIAGONAL, knotted).pattern
    length = sum(len(s.rows) * band.gauge_of(s.worked).row_pitch_mm for s in band.sections)
    assert abs(length - knotted) <= 3
    assert [section.kind for section in band.sections] == ["blocks", "picture", "blocks"]


def test_a_picture_that_fills_the_band_has_no_room_for_a_border() -> None:
    with pytest.raises(ImpossibleError, match="leaves 1 mm for a border"):
        fill_with_border(two_thread_picture(FLAG), DIAGONAL, 13.0)


def test_the_thread_with_fewer_strands_draws_the_lines() -> None:
    band = border(two_thread_picture(FLAG), DIAGONAL, rows_before=0, rows_after=10).pattern
    passed = [s for row in replay(band) if row.section == 1 for s in row.steps if s.shown != s.hidden]
    assert passed and all(step.shown == 0 for step in passed if step.tied.knot.swaps)


def test_joins_and_folds_stay_right() -> None:
    pattern = two_thread_picture(FLAG)
    folded = End(style="loop", tail_mm=100, folded=((1, 2), (3, 4)), loop_mm=40)
    pattern = pattern.model_copy(update={"ends": Ends(start=folded, finish=pattern.ends.finish)})
    band = border(pattern, DIAGONAL, rows_before=12, rows_after=0).pattern
    assert list(problems(band)) == []
    assert len(band.ends.start.folded) == 2
    for one, other in band.ends.start.folded:
        assert band.strands[one] == band.strands[other]


def test_strands_of_one_thread_have_no_border() -> None:
    pattern = two_thread_picture(FLAG).model_copy(update={"strands": (1,) * 6})
    with pytest.raises(ImpossibleError, match="all strands have one thread"):
        border(pattern, DIAGONAL, rows_before=5, rows_after=0)
