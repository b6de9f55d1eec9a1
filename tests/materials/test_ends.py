"""Ends: what they take, what they say, and folded starts."""

import math
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.pattern import Ends, render
from pipeline.band.reading import parse_pattern, problems
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.literals import END_STYLES, FOLDED_STYLES, TAIL_STYLES
from pipeline.materials.ends import (
    end_use,
    final_order,
    finish_steps,
    fold,
    make_end,
    neighbour_pairs,
    start_steps,
)
from pipeline.materials.gauge import preset_gauge
from pipeline.materials.lengths import cut_list, pieces, thread_use
from tests.materials.bands import lettering
from tests.patterns import patterns, random_pattern

GAUGE = preset_gauge(0.71, "rows")


def with_ends(pattern, start="straight", finish="straight", *, taper=False, left=None):
    gauge = pattern.gauge_of("rows")
    return pattern.model_copy(
        update={
            "ends": Ends(
                start=make_end(start, pattern.strands, gauge, at_start=True),
                finish=make_end(finish, pattern.strands, gauge, at_start=False, taper=taper, left=left),
            )
        }
    )


@given(patterns(), st.sampled_from(END_STYLES), st.sampled_from(TAIL_STYLES), st.booleans())
def test_any_ends_are_legal_paid_for_and_explained(pattern, start, finish, taper):
    band = with_ends(pattern, start, finish, taper=taper)
    assert list(problems(band)) == []
    assert parse_pattern(render(band)) == band
    cuts = cut_list(band)
    assert all(cut.length_mm >= cut.used_mm - 1e-6 for cut in cuts)
    use = end_use(band)
    assert min(use.start_mm) > 0
    assert min(use.finish_mm) >= band.ends.finish.tail_mm
    for steps in (start_steps(band), finish_steps(band)):
        assert steps
        assert all(step.endswith(".") for step in steps)


@given(patterns(), st.sampled_from(FOLDED_STYLES))
def test_pieces_of_folded_starts_sum_to_the_strands(pattern, start):
    band = with_ends(pattern, start)
    cuts = cut_list(band)
    cut = pieces(band, cuts)
    cord = band.ends.start.loop_mm if start == "holding-cord" else 0
    total = sum(piece.length_mm for piece in cut)
    assert math.isclose(total, sum(c.length_mm for c in cuts) + 10 * math.ceil(cord / 10))
    hanging = Counter(p for piece in cut for p in piece.positions)
    assert hanging == {c.position: len(c.pieces_mm) for c in cuts}
    for piece in cut:
        if len(piece.positions) == 2:
            assert sum(piece.halves_mm) == piece.length_mm
            assert {band.strands[p] for p in piece.positions} == {piece.thread}


@given(patterns(), st.sampled_from(END_STYLES))
def test_what_is_cut_of_each_thread(pattern, start):
    """All that is cut, and every knot once, under the thread that it shows."""
    band = with_ends(pattern, start)
    cuts = cut_list(band)
    used = thread_use(band, cuts)
    cut = pieces(band, cuts)
    assert math.isclose(1000 * sum(use.metres for use in used), sum(piece.length_mm for piece in cut))
    assert max(use.longest_mm for use in used) == max(piece.length_mm for piece in cut)
    showing = Counter(step.shown for row in replay(band) for step in row.steps)
    assert {use.thread: use.tied for use in used if use.tied} == showing


def test_lark_heads_fill_neighbours_and_loops_any_positions():
    assert fold((0, 0, 1, 1, 1), "larks-head") == ((0, 1), (2, 3))
    assert fold((0, 1, 0, 1, 2), "loop") == ((0, 2), (1, 3))
    assert fold((0, 1, 0, 1), "holding-cord") == ()
    assert neighbour_pairs(5) == ((0, 1), (2, 3))


def test_inner_strands_pay_for_the_bundle():
    """In a taper of six strands a side each wraps one thread more than its outer neighbour."""
    band = lettering(strands=12, rows=4, ground_bases=range(12))
    plain = end_use(with_ends(band)).finish_mm
    tapered = end_use(with_ends(band, taper=True)).finish_mm
    order = final_order(band)
    extra = [tapered[s] - plain[s] for s in order]
    assert extra[0] == pytest.approx(6 * GAUGE.strand_pitch_mm * math.sqrt(2))
    assert extra[0] == pytest.approx(extra[-1])
    assert extra[1] > extra[0]
    assert max(extra) == extra[5]
    assert extra[:5] == pytest.approx(extra[:6:-1])


def test_uneven_halves_are_said():
    band = with_ends(random_pattern(2, strands=7, threads=1, joins=0), finish="braid", taper=True, left=2)
    assert any("2 strands on the left, 5 on the right" in step for step in finish_steps(band))
    assert band.ends.finish.taper_mm == pytest.approx(5 * band.gauge_of("rows").strand_pitch_mm, abs=0.1)


def test_refusals():
    with pytest.raises(InputError, match="is a start"):
        make_end("loop", (0, 0), GAUGE, at_start=False)
    with pytest.raises(InputError, match="cannot taper"):
        make_end("loop", (0, 0), GAUGE, at_start=True, taper=True)
    with pytest.raises(InputError, match="has no halves"):
        make_end("tie", (0, 0), GAUGE, at_start=False, taper=True, left=2)


def test_a_fold_of_two_threads_is_refused():
    band = random_pattern(4, strands=4, threads=2, joins=0).model_copy(update={"strands": (0, 1, 0, 1)})
    start = make_end("loop", band.strands, GAUGE, at_start=True)
    wrong = start.model_copy(update={"folded": ((0, 1),)})
    ends = Ends(start=wrong, finish=band.ends.finish)
    found = list(problems(band.model_copy(update={"ends": ends})))
    assert found == [("ends.start.folded[0]", "the two positions of one cut have one thread")]


@pytest.mark.parametrize("style", FOLDED_STYLES)
def test_a_start_that_cannot_be_folded_says_why(style):
    band = random_pattern(4, strands=3, rows=4, threads=3, worked="rows", sections=1, joins=0)
    alone, pair = (band.model_copy(update={"strands": strands}) for strands in ((0, 1, 2), (0, 0, 2)))
    first, second, *_ = start_steps(with_ends(alone, style))
    assert first.startswith("No two ") and "the start is straight" in first
    assert second.startswith("Lay the 3 strands side by side")
    assert not any("No two" in step for step in start_steps(with_ends(pair, style)))
