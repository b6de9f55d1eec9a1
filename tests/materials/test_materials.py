"""Thread use: properties over random patterns, and checks from outside."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.knots import Knot
from pipeline.band.pattern import Row, Section
from pipeline.band.replay import replay
from pipeline.materials.ends import end_use
from pipeline.materials.gauge import preset_gauge, wrap_mm
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import OVERLAP_MM, charges, cut_list, cut_list_csv
from pipeline.materials.price import grade, hours
from pipeline.materials.sharing import share
from tests.materials.bands import left_after_rows
from tests.patterns import patterns, random_pattern


@settings(max_examples=60)
@given(patterns(), st.floats(0, 1))
def test_nothing_is_cut_shorter_than_it_is_used(pattern, margin):
    for cut in cut_list(pattern, margin=margin):
        assert cut.length_mm >= cut.used_mm - 1e-6
        assert all(piece % 10 == 0 for piece in cut.pieces_mm)


@settings(max_examples=60)
@given(patterns())
def test_pieces_sum_to_strands_and_knots_to_the_band(pattern):
    cuts = cut_list(pattern)
    knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
    assert sum(cut.tied for cut in cuts) == sum(cut.carried for cut in cuts) == knots
    assert all(math.isclose(cut.length_mm, sum(cut.pieces_mm)) for cut in cuts)
    assert sum(len(cut.pieces_mm) for cut in cuts) == len(pattern.strands) + len(pattern.joins)
    spent = sum(charge.mm for row in charges(pattern) for charge in row.charges)
    ends = end_use(pattern)
    fixed = sum(ends.start_mm) + sum(ends.finish_mm) + 2 * OVERLAP_MM * len(pattern.joins)
    assert math.isclose(sum(cut.used_mm for cut in cuts), spent + fixed)


@settings(max_examples=40)
@given(patterns())
def test_every_piece_shows_the_thread_it_is_cut_from(pattern):
    """Piece by piece, the threads of the cut list are those that the replay hangs after the last knot."""
    last = list(replay(pattern))[-1]
    cuts = cut_list(pattern)
    assert [cuts[s].piece_threads[-1] for s in last.order] == list(last.threads)
    assert [cut.piece_threads[0] for cut in cuts] == list(pattern.strands)


@settings(max_examples=40)
@given(patterns())
def test_after_the_last_row_the_finish_and_the_rounding_are_left(pattern):
    *_, last = left_after_rows(pattern, cut_list(pattern, margin=0.0, lots=0.0))
    for left, finish in zip(last, end_use(pattern).finish_mm, strict=True):
        assert finish - 1e-6 <= left < finish + 10 + 1e-6


@given(patterns(), st.floats(0, 0.3))
def test_lots_are_few_lengths_and_never_short(pattern, lots):
    """Lengths only grow, by no more than the share, and there are never more of them."""
    plain, even = cut_list(pattern, lots=0.0), cut_list(pattern, lots=lots)
    for one, other in zip(plain, even, strict=True):
        for mm, more in zip(one.pieces_mm, other.pieces_mm, strict=True):
            assert mm <= more <= mm / (1 - lots) + 1e-6

    def lengths(cuts):
        return {(t, mm) for cut in cuts for t, mm in zip(cut.piece_threads, cut.pieces_mm, strict=True)}

    assert len(lengths(even)) <= len(lengths(plain))
    assert max(mm for _, mm in lengths(even)) == max(mm for _, mm in lengths(plain))


def test_worked_by_hand():
    """Four strands, a rising and a falling row led by strand 1: it ties six knots and turns once."""
    pattern = random_pattern(1, strands=4, rows=2, threads=1, worked="rows", sections=1, joins=0)
    rows = [
        row.model_copy(
            update={"knots": tuple((p, kind) for (p, _), kind in zip(row.knots, kinds, strict=True))}
        )
        for row, kinds in zip(
            pattern.sections[0].rows, ([Knot.FORWARD] * 3, [Knot.BACKWARD] * 3), strict=True
        )
    ]
    section = pattern.sections[0].model_copy(update={"rows": tuple(rows)})
    pattern = pattern.model_copy(update={"sections": (section,)})
    gauge = pattern.gauge_of("rows")
    leader, *base = cut_list(pattern, margin=0.0, lots=0.0)
    turn = math.pi / 2 * gauge.row_pitch_mm
    assert leader.used_mm == pytest.approx(200 + 6 * gauge.tie_mm + turn)
    assert [cut.used_mm for cut in base] == pytest.approx([200 + 2 * gauge.core_mm] * 3)
    assert cut_list_csv(pattern, cut_list(pattern)).splitlines()[1].endswith(",1,6,0")


def test_wrap_is_the_arc_length_of_a_helix():
    """From outside: the length of the curve itself, summed over many chords."""
    core, cord, pitch, turns = 1.3, 0.7, 0.9, 2
    t = np.linspace(0, turns, 200_001)
    radius = (core + cord) / 2
    curve = np.stack([radius * np.cos(2 * np.pi * t), radius * np.sin(2 * np.pi * t), pitch * t])
    chords = np.linalg.norm(np.diff(curve, axis=1), axis=0).sum()
    assert wrap_mm(turns, core, cord, pitch) == pytest.approx(chords, rel=1e-8)


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_no_tie_is_tighter_than_rope_can_be(worked):
    """From outside: a component of a tight Hopf link takes 2π d (Cantarella, Kusner, Sullivan 2002), and a
    double half hitch turns twice.
    """
    gauge = preset_gauge(0.71, worked)
    assert gauge.tie_mm >= 2 * math.pi * 0.71
    assert gauge.tie_mm == pytest.approx(12.7 * 0.71, rel=0.005)
    assert 2 * gauge.half_mm > gauge.tie_mm


@pytest.mark.parametrize("sections", [(), "empty rows"])
def test_a_band_without_a_knot_is_all_tails(sections):
    band = random_pattern(1, strands=4, threads=2, worked="diagonal", sections=1, joins=0)
    if sections:
        empty = Row(knots=(), wanted=())
        sections = (Section(kind="switching", worked="diagonal", rows=(empty, empty)),)
    band = band.model_copy(update={"sections": sections})
    assert [cut.length_mm for cut in cut_list(band)] == [200.0] * 4
    assert share(band, "full") == share(band, "rows") == place_joins(band) == band
    assert hours(band).knots == 0
    assert grade(band, cut_list(band)).name == "first band"
