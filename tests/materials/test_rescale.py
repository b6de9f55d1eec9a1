"""At the table: what is left is measured, and the rest follows the maker's hand."""

import pytest

from pipeline.band.pattern import problems
from pipeline.errors import InputError
from pipeline.materials.lengths import charges, cut_list
from pipeline.materials.rescale import replan
from tests.materials.bands import lettering

BAND = lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11))


def left_by_hand(band, cuts, done, tie_rate, core_rate, margin=0.25):
    """What a hand of these rates has left of each position after ``done`` rows; tails of 100 mm."""
    left = [cut.pieces_mm[0] - 100 for cut in cuts]
    rows = list(charges(band))[:done]
    for row in rows:
        for charge in row.charges:
            left[charge.strand] -= charge.mm * (tie_rate if charge.what == "tied" else core_rate)
    return {position: left[s] for position, s in enumerate(rows[-1].order)}


@pytest.mark.parametrize(("tie_rate", "core_rate"), [(1.0, 1.0), (1.1, 0.9), (0.8, 1.3)])
def test_rates_are_found_and_good_hands_reach(tie_rate, core_rate):
    cuts = cut_list(BAND)
    made = replan(BAND, cuts, 20, left_by_hand(BAND, cuts, 20, tie_rate, core_rate))
    assert made.tie_rate == pytest.approx(tie_rate, rel=0.02)
    assert made.core_rate == pytest.approx(core_rate, rel=0.12)
    if tie_rate <= 1.1 and core_rate <= 1.0:
        assert made.short == ()
        assert made.pattern.joins == BAND.joins
    assert made.pattern.gauge.swatch == "this band"


def test_a_greedy_hand_gets_a_join_in_time():
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.6, 1.6)
    made = replan(BAND, cuts, 20, left, longest_mm=20_000)
    assert made.short
    assert list(problems(made.pattern)) == []
    joins = [join for join in made.pattern.joins if join not in BAND.joins]
    assert len(joins) >= len(made.short)
    assert all(join.row >= 20 for join in joins)
    earliest = min(strand.runs_out for strand in made.short)
    assert min(join.row for join in joins) <= earliest


def test_one_strand_measured_gives_one_rate():
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.1, 1.1)
    made = replan(BAND, cuts, 20, {5: left[5]})
    assert made.tie_rate == pytest.approx(1.1, rel=0.01)
    assert made.core_rate == pytest.approx(1.1, rel=0.01)
    assert [strand.measured for strand in made.strands].count(True) == 1


def test_what_cannot_be_is_refused():
    cuts = cut_list(BAND)
    with pytest.raises(InputError, match="has 60 rows"):
        replan(BAND, cuts, 60, {0: 100.0})
    with pytest.raises(InputError, match="no position 99"):
        replan(BAND, cuts, 20, {98: 100.0})
    with pytest.raises(InputError, match="more than that strand had"):
        replan(BAND, cuts, 20, {0: 99_000.0})
    with pytest.raises(InputError, match="nothing was measured"):
        replan(BAND, cuts, 20, {})
