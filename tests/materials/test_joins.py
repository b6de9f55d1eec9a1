"""Joins: every piece is handy, and hidden."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.example import two_rows
from pipeline.band.pattern import Ends
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.materials.ends import make_end
from pipeline.materials.joins import APART, leaders, on_cards, place_joins
from pipeline.materials.lengths import cut_list, pieces
from pipeline.materials.rescale import replan, rows_done
from pipeline.materials.sharing import share
from tests.materials.bands import lettering
from tests.patterns import patterns, random_pattern


@settings(max_examples=40)
@given(patterns(max_rows=40, max_sections=2), st.sampled_from([500, 600, 900]))
def test_joins_keep_pieces_short_where_they_hide(pattern, longest):
    after = place_joins(pattern, longest, card_mm=longest)
    assert list(problems(after)) == []
    assert [[s.shown for s in row.steps] for row in replay(after)] == [
        [s.shown for s in row.steps] for row in replay(pattern)
    ]
    assert set(pattern.joins) <= set(after.joins)
    new = set(after.joins) - set(pattern.joins)
    places = []
    for band_row, row in enumerate(replay(after)):
        for step in row.steps:
            join = next(
                (j for j in new if (j.section, j.row, j.knot) == (row.section, row.row, step.knot)), None
            )
            if join is not None:
                assert join.thread == (step.shown if join.tying else step.hidden)
                strand = step.tied.tying if join.tying else step.tied.core
                places.append((band_row, step.tied.position + (strand == step.tied.right)))
    for (r, p), (s, q) in itertools.combinations(places, 2):
        assert abs(r - s) >= APART or abs(p - q) >= APART


@pytest.mark.parametrize("longest", [600, 1000, 2500])
def test_a_band_of_one_thread_is_cut_in_handy_pieces(longest):
    band = random_pattern(3, strands=12, rows=80, threads=1, worked="diagonal", sections=1, joins=0)
    after = place_joins(band, longest)
    cuts = cut_list(after)
    assert max(max(cut.pieces_mm) for cut in cuts) <= longest
    assert on_cards(cuts, longest) == ()
    core = [step for row in replay(after) for step in row.steps if step.joined is not None]
    assert all(not step.tying_joined for step in core)


def test_a_leader_goes_on_a_card_up_to_a_skein():
    band = lettering()
    assert leaders(band) == {0}
    after = place_joins(band)
    leader = cut_list(after)[0]
    assert len(leader.pieces_mm) == 4
    assert 2500 < max(leader.pieces_mm) <= 8000
    assert on_cards(cut_list(after)) == (0,)
    assert not any(join.tying for join in after.joins)


def test_a_leader_that_always_ties_tucks_its_tail():
    after = place_joins(lettering(letters=False, ground_bases=()))
    assert after.joins
    assert all(join.tying for join in after.joins)
    assert max(cut_list(after)[0].pieces_mm) <= 8000


def test_both_halves_of_a_folded_leader_come_from_one_skein():
    band = lettering(strands=12, ground_bases=(0,))
    start = make_end("larks-head", band.strands, band.gauge_of("rows"), at_start=True)
    band = band.model_copy(update={"ends": Ends(start=start, finish=band.ends.finish)})
    assert start.folded[0] == (0, 1)
    after = place_joins(share(band, "full"))
    assert max(piece.length_mm for piece in pieces(after, cut_list(after))) <= 8000


def test_no_piece_is_asked_shorter_than_can_be_handled():
    with pytest.raises(InputError, match="too short to work with"):
        place_joins(lettering(rows=4), 100)


# ---------------------------------------------------------------- by hand


def test_a_piece_as_long_as_allowed_needs_no_card() -> None:
    cuts = cut_list(two_rows())
    longest = max(max(cut.pieces_mm) for cut in cuts)
    assert on_cards(cuts, longest) == ()
    assert on_cards(cuts, longest - 1) == (0,)


def test_joins_keep_clear_of_both_edges() -> None:
    """Where there is a choice no join lies in the two outer columns of either side (common practice)."""
    band = random_pattern(3, strands=12, rows=80, threads=1, worked="diagonal", sections=1, joins=0)
    for longest in (500, 550, 600):
        after = place_joins(band, longest)
        assert after.joins
        for join in after.joins:
            position, knot = after.sections[join.section].rows[join.row].knots[join.knot]
            core = position + (1 if knot.left_ties else 0)
            assert 2 <= core <= 9


def test_joins_favour_neither_edge() -> None:
    """Six strands: what counts as far enough in is the same seen from either side."""
    side = [0, 0]
    for seed in range(6):
        band = random_pattern(seed, strands=6, rows=120, threads=1, worked="diagonal", sections=1, joins=0)
        for join in place_joins(band, 600).joins:
            position, knot = band.sections[0].rows[join.row].knots[join.knot]
            side[position + (1 if knot.left_ties else 0) >= 3] += 1
    assert sum(side) > 20
    assert 0.5 <= side[0] / side[1] <= 2


def test_joins_lie_two_to_five_columns_in_rather_than_in_the_middle() -> None:
    found = [0] * 12
    for seed in range(4):
        band = random_pattern(seed, strands=24, rows=120, threads=1, worked="diagonal", sections=1, joins=0)
        for join in place_joins(band, 600).joins:
            position, knot = band.sections[0].rows[join.row].knots[join.knot]
            core = position + (1 if knot.left_ties else 0)
            found[min(core, 23 - core)] += 1
    assert sum(found[:2]) == 0
    assert sum(found[2:6]) / 4 > 1.3 * sum(found[6:]) / 6


def test_half_a_metre_is_the_shortest_piece() -> None:
    with pytest.raises(InputError, match=r"50 cm or more"):
        place_joins(two_rows(), 499)
    assert place_joins(two_rows(), 500).joins == ()


def test_a_strand_that_has_been_joined_is_joined_again_below() -> None:
    """The leader's second piece runs out too early: a new one comes below, and the joins there are stay."""
    band = place_joins(lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11)), 2500, card_mm=4000)
    assert [join.row for join in band.joins] == [24, 48]
    cuts, done = cut_list(band), 40
    made = replan(band, cuts, rows_done(band, done), {0: 600.0})
    assert made.strands[0].strand == 0 and made.strands[0].runs_out is not None
    new = [join for join in made.pattern.joins if join not in band.joins]
    assert new and all(join.row >= done for join in new)
    assert len(cut_list(made.pattern)[0].pieces_mm) > len(cuts[0].pieces_mm)
    assert set(band.joins) <= set(made.pattern.joins)
