"""Before planning: what a band takes, and what the drawer can give to it."""

from __future__ import annotations

import pytest

from pipeline.band.example import two_rows
from pipeline.drawer.stash import Stash, thread_of
from pipeline.materials.gauge import preset_gauge
from pipeline.materials.lengths import cut_list
from pipeline.materials.skeins import plan_skeins
from pipeline.materials.supply import Demand, demand, most_share, most_strands
from tests.materials.bands import lettering


@pytest.mark.parametrize(("worked", "least", "most"), [("diagonal", 2, 6), ("rows", 6, 8)])
def test_the_average_strand_lies_in_the_bracket_of_the_rules_of_thumb(worked, least, most) -> None:
    """Macramé guides: 2 to 6 times the finished length in diagonal work; row work about 7, derived."""
    gauge = preset_gauge(0.71, worked)
    rows = round(150 / gauge.row_pitch_mm)
    asked = demand(20, rows, worked, gauge, tails_mm=0, margin=0)
    assert least <= asked.strand_m * 1000 / (rows * gauge.row_pitch_mm) <= most


def test_demand_by_hand() -> None:
    """Floss on 4 strands: 10 rows of 3 knots at 9.03 + 1.60 mm are 318.9 mm; a quarter more, and 4 · 200."""
    asked = demand(4, 10, "rows", preset_gauge(0.71, "rows"))
    assert asked.metres == pytest.approx((10 * 3 * (9.031 + 1.5975) * 1.25 + 800) / 1000, abs=1e-3)


def test_what_a_planned_band_takes_is_near_what_was_expected() -> None:
    """Rounding up to lots and joins come on top of what is worked, so a little more is cut."""
    band = lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11))
    cut_m = sum(cut.length_mm for cut in cut_list(band)) / 1000
    asked = demand(13, 60, "rows", band.gauge_of("rows"))
    assert 0.95 < cut_m / asked.metres < 1.15


def test_skeins_give_whole_strands() -> None:
    """8 m give four strands of 1.9 m and keep 0.4 m; the metre of a second skein gives none."""
    of = Demand(16, 1.9)
    assert most_strands(thread_of("navy", "#1b2a59", 9.0), of) == 4
    assert most_strands(thread_of("navy", "#1b2a59", 9.9), of) == 5
    assert most_strands(thread_of("navy", "#1b2a59"), of) is None
    assert most_share(thread_of("navy", "#1b2a59", 8.0), of) == 0.25
    assert (
        most_share(thread_of("navy", "#1b2a59", 800.0), of) == most_share(thread_of("n", "#1b2a59"), of) == 1
    )
    # strands of 4 m are joined from two pieces of 2 m: a skein gives two of them
    assert most_strands(thread_of("navy", "#1b2a59", 8.0), Demand(4, 4.0)) == 2


def test_metres_that_do_and_skeins_that_do_not() -> None:
    """Three strands of 22 cm from skeins of 30 cm: 0.66 m of 0.7 m owned, but each skein gives one."""
    drawer = (thread_of("navy", "#1b2a59", 8.0), thread_of("white", "#ffffff", 0.7, skein_m=0.3))
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert plan.sentences()[0] == (
        "white: 0.66 m are needed and 0.70 m owned, but no piece may be made up of remnants: what 2 skeins "
        "of 0.3 m and one of 0.1 m would leave is 10 cm at most, and 22 cm are wanted yet in one piece; "
        "buy 1 skein of 0.3 m."
    )


def test_one_sentence_says_what_to_buy() -> None:
    drawer = (thread_of("navy", "#1b2a59", 0.0), thread_of("white", "#ffffff", 0.1))
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert plan.sentences()[0] == "Buy 1 skein of navy and 1 skein of white."
