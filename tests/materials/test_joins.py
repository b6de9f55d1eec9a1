"""Joins: every piece is handy, and hidden."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.pattern import Ends
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.materials.ends import make_end
from pipeline.materials.joins import APART, leaders, on_cards, place_joins
from pipeline.materials.lengths import cut_list, pieces
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
