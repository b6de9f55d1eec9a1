"""Cutting plans: what a skein holds, and the published cutting-stock instance."""

import itertools
import math
import subprocess
import sys
from collections import Counter
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.example import two_rows
from pipeline.colour import parse_hex
from pipeline.drawer.stash import Stash, thread_of
from pipeline.materials import cutting
from pipeline.materials.cutting import Cutting, _columns, cut_skeins
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import cut_list, pieces
from pipeline.materials.skeins import ALIKE, owned_skeins, plan_skeins
from tests.materials.bands import lettering
from tests.patterns import THREADS, patterns

lengths = st.lists(st.integers(1, 40), max_size=9)


@settings(max_examples=40)
@given(lengths, st.lists(st.integers(5, 60), max_size=4), st.integers(20, 60))
def test_no_skein_gives_more_than_it_holds_and_every_piece_is_cut(wanted, owned, more):
    owned = [min(length, more) for length in owned]
    plan = cut_skeins(wanted, owned, more_cm=more)
    assert all(skein.left_cm >= 0 for skein in plan.skeins)
    cut = [piece for skein in plan.skeins for piece in skein.pieces_cm]
    assert Counter(cut) + Counter(plan.too_long_cm) == Counter(wanted)
    used = Counter(skein.length_cm for skein in plan.skeins)
    assert (used - Counter(owned)).total() == plan.new
    assert set(used - Counter(owned)) <= {more}


@settings(max_examples=30)
@given(st.lists(st.integers(1, 20), min_size=1, max_size=7), st.integers(20, 30))
def test_fewest_skeins_against_every_way_of_dealing_the_pieces(wanted, more):
    """Against a search over all assignments of pieces to skeins."""
    fewest = next(
        k
        for k in itertools.count(1)
        if any(
            all(sum(p for p, s in zip(wanted, deal, strict=True) if s == i) <= more for i in range(k))
            for deal in itertools.product(range(k), repeat=len(wanted))
        )
    )
    plan = cut_skeins(wanted, [], more_cm=more)
    assert plan.proved
    assert len(plan.skeins) == fewest


@settings(max_examples=30)
@given(patterns(), st.lists(st.integers(0, 300), min_size=5, max_size=5))
def test_any_band_is_cut_from_what_its_skeins_hold(pattern, decimetres):
    stash = Stash(
        tuple(
            thread_of(thread.name, thread.colour, owned / 10)
            for thread, owned in zip(THREADS, decimetres, strict=True)
        ),
        "the test",
    )
    cuts = cut_list(pattern)
    plan = plan_skeins(pattern, cuts, stash)
    for thread in plan.threads:
        owned = stash.find(thread.name).metres
        cut = [piece for skein in thread.cutting.skeins for piece in skein.pieces_cm]
        wanted = [p.length_mm / 10 for p in pieces(pattern, cuts) if p.thread == thread.thread]
        assert sorted(cut) == sorted(wanted)
        used = Counter(skein.length_cm for skein in thread.cutting.skeins)
        assert sum(cm * n for cm, n in used.items()) <= 100 * owned + 800 * thread.buy + 1e-6


def test_textbook_cutting_stock():
    """From outside: rolls of 100; 97 of 45, 610 of 36, 395 of 31, 211 of 14; optimum 452.25 and 453.

    The instance goes back to Gilmore and Gomory (1961) and is widely printed, so in Chvátal, Linear
    Programming (1983), chapter 13.
    """
    wanted = [45] * 97 + [36] * 610 + [31] * 395 + [14] * 211
    bound, _ = _columns(wanted, 100)
    assert math.isclose(bound, 452.25)
    plan = cut_skeins(wanted, [], more_cm=100)
    assert len(plan.skeins) == 453
    assert plan.proved
    assert Counter(p for skein in plan.skeins for p in skein.pieces_cm) == Counter(wanted)


def test_owned_skeins_come_first_and_the_remnant_stays_long():
    plan = cut_skeins([60, 60, 30], [100, 70], more_cm=100)
    assert plan.new == 0
    assert [(s.length_cm, s.left_cm) for s in plan.skeins] == [(100, 10), (70, 10)]
    plan = cut_skeins([40, 40, 40], [], more_cm=100)
    assert [s.left_cm for s in plan.skeins] == [20, 60]


def test_owned_metres_are_whole_skeins_and_a_remnant():
    assert owned_skeins(thread_of("rope", "#c8a26a", 20)) == (800, 800, 400)
    assert owned_skeins(thread_of("rope", "#c8a26a")) == ()


def test_what_to_buy_and_which_strands_could_swap():
    band = place_joins(lettering(rows=40))
    cuts = cut_list(band)
    need = {t: sum(p.length_mm for p in pieces(band, cuts) if p.thread == t) / 1000 for t in (0, 1)}
    stash = Stash(
        (
            thread_of("harbour blue", "#1b2a59", 0.0),
            thread_of("chalk", "#f4f1e8", need[1] - 0.2),
            thread_of("pearl grey", "#e4e4e0", 8.0),
        ),
        "the test",
    )
    plan = plan_skeins(band, cuts, stash)
    assert not plan.enough
    blue, chalk = plan.threads
    assert (blue.buy, chalk.buy) == (math.ceil(need[0] / 8), 1)
    assert {swap.instead for swap in plan.swaps} == {"pearl grey"}
    assert any("buy" in sentence for sentence in plan.sentences())


def test_ctrl_c_is_still_heard_after_cutting() -> None:
    """CP-SAT hears Ctrl-C by a handler of its own and leaves the default behind: it must not."""
    code = (
        "import os, signal\n"
        "from pipeline.materials.cutting import cut_skeins\n"
        "heard = []\n"
        "signal.signal(signal.SIGINT, lambda *rest: heard.append(1))\n"
        "cut_skeins([411, 389, 352, 347, 298, 255, 241, 233, 187, 154, 133, 101], (800, 310), more_cm=800)\n"
        "os.kill(os.getpid(), signal.SIGINT)\n"
        "assert heard\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


# ---------------------------------------------------------------- by hand


def test_pieces_that_best_fit_cannot_place_are_packed_by_search() -> None:
    """5+3+2 and 4+4+2 fill two skeins of 10; the longest first, where least is left over, fill three."""
    plan = cut_skeins([5, 4, 4, 3, 2, 2], [], more_cm=10)
    assert sorted(skein.pieces_cm for skein in plan.skeins) == [(4, 4, 2), (5, 3, 2)]
    assert plan.proved and plan.new == 2


def test_owned_metres_in_skeins_of_another_length() -> None:
    """60 m on skeins of 25 m are two whole ones and 10 m; without a length a skein has 8 m."""
    assert owned_skeins(thread_of("rope", "#c8a26a", 60, skein_m=25)) == (2500, 2500, 1000)
    assert owned_skeins(thread_of("rope", "#c8a26a", 12)) == (800, 400)
    assert owned_skeins(thread_of("rope", "#c8a26a", 0)) == ()


def test_what_to_buy_is_said_with_its_figures() -> None:
    """White needs 0.66 m in three strands of 22 cm; 0.3 m are owned, and a skein of it is 8 m."""
    band, cuts = two_rows(), cut_list(two_rows())
    drawer = (thread_of("navy", "#1b2a59", 8.0), thread_of("white", "#ffffff", 0.3))
    plan = plan_skeins(band, cuts, Stash(drawer, "the test"))
    assert plan.sentences() == ["white: 0.66 m are needed and 0.30 m owned; buy 1 skein of 8 m."]
    assert not plan.enough


def test_a_piece_that_no_skein_holds_is_told_in_metres() -> None:
    band = lettering(strands=13, rows=64, ground_bases=())
    (longest,) = cut_list(band)[0].pieces_mm
    assert longest > 8000
    plan = plan_skeins(band, cut_list(band), Stash((thread_of("tar", "#111111"),), "the test"))
    said = [sentence for sentence in plan.sentences() if "cut it in two" in sentence]
    assert said == [
        f"harbour blue: a piece of {longest / 1000:.2f} m is longer than a skein of 8 m; "
        "cut it in two with a join."
    ]


@pytest.mark.parametrize(
    ("white_m", "grey_m", "positions"),
    [
        (0.3, 0.21, []), (0.3, 0.22, [1]), (0.3, 0.45, [1, 2]), (0.3, 3.0, [1, 2]),
        (0.0, 3.0, [1, 2, 3]), (0.22, 3.0, [1, 2]), (0.0, 0.66, [1, 2, 3]), (0.44, 0.44, [1]),
    ],
)  # fmt: skip
def test_strands_swap_as_long_as_the_other_thread_lasts(
    white_m: float, grey_m: float, positions: list[int]
) -> None:
    """White is three strands of 22 cm: what is owned makes none, one or two of them, and grey has enough for
    none, just enough, or more.
    """
    drawer = (
        thread_of("navy", "#1b2a59", 8.0),
        thread_of("white", "#ffffff", white_m),
        thread_of("pale grey", "#f4f4f4", grey_m),
    )
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert [swap.position for swap in plan.swaps] == positions
    left = [round(grey_m - 0.22 * (i + 1), 2) for i in range(len(positions))]
    assert [swap.left_m for swap in plan.swaps] == left
    said = [sentence for sentence in plan.sentences() if "Instead of white" in sentence]
    which = {0: "", 1: "strand 2 could", 2: "strands 2, 3 could", 3: "strands 2, 3, 4 could"}[len(positions)]
    assert (len(said) == bool(positions)) and all(which in sentence for sentence in said)


def test_the_nearest_thread_that_has_enough_left_stands_in() -> None:
    """Not one whose metres nobody knows, nor one that the band needs itself, nor one of quite another colour.

    CIEDE2000 from white by a reference library, colour-science.
    """
    colours = {"snow": "#f7f7f7", "pearl": "#e0e0e0", "stone": "#a0a0a0"}
    white = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.ones(3)))
    apart = {
        name: colour.delta_E(
            white, colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(parse_hex(text)) / 255)), method="CIE 2000"
        )
        for name, text in colours.items()
    }
    assert apart["snow"] < apart["pearl"] < ALIKE < apart["stone"]

    def swaps(**metres: float | None) -> list[tuple[int, str]]:
        others = [thread_of(name, text, metres.get(name)) for name, text in colours.items()]
        drawer = (thread_of("navy", "#1b2a59", 8.0), thread_of("white", "#ffffff", 0.0), *others)
        plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
        assert all(swap.delta_e == pytest.approx(apart[swap.instead], abs=0.05) for swap in plan.swaps)
        return [(swap.position, swap.instead) for swap in plan.swaps]

    assert swaps(stone=9.0) == []
    assert swaps(pearl=9.0, stone=9.0) == [(1, "pearl"), (2, "pearl"), (3, "pearl")]
    assert swaps(snow=0.25, pearl=9.0) == [(1, "snow"), (2, "pearl"), (3, "pearl")]
    assert swaps(snow=0.1, pearl=0.3) == [(1, "pearl")]


def test_thread_of_the_band_itself_stands_in_with_what_is_left_of_it() -> None:
    """Navy needs 0.25 m and is the like of what is short: of 0.68 m one strand of 22 cm is left, not two."""
    drawer = (thread_of("navy", "#1b2a59", 0.68), thread_of("white", "#1b2a5a", 0.0))
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert [(swap.position, swap.instead, swap.left_m) for swap in plan.swaps] == [(1, "navy", 0.21)]


def test_what_stands_in_for_one_thread_does_not_stand_in_for_another() -> None:
    """Navy lacks a strand of 25 cm and white three of 22: of slate 0.5 m are there."""
    drawer = (
        thread_of("navy", "#1b2a59", 0.0),
        thread_of("white", "#1b2a5d", 0.0),
        thread_of("slate", "#1d2c5b", 0.5),
    )
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert [(s.position, s.instead, s.left_m) for s in plan.swaps] == [(0, "slate", 0.25), (1, "slate", 0.03)]


def test_what_is_short_of_several_threads_is_bought_together() -> None:
    """Nothing is owned: one skein of 8 m, of 30 cm three; what is not listed is not bought."""
    band, cuts = two_rows(), cut_list(two_rows())
    drawer = (thread_of("navy", "#1b2a59", 0.0), thread_of("white", "#ffffff", 0.0, skein_m=0.3))
    plan = plan_skeins(band, cuts, Stash(drawer, "the test"))
    assert plan.sentences() == [
        "Buy 1 skein of navy and 3 skeins of white.",
        "navy: 0.25 m are needed and 0.00 m owned; buy 1 skein of 8 m.",
        "white: 0.66 m are needed and 0.00 m owned; buy 3 skeins of 0.3 m.",
    ]
    assert [(thread.needed_m, thread.skeins, thread.buy) for thread in plan.threads] == [
        (0.25, 1, 1), (0.66, 3, 3)
    ]  # fmt: skip
    unknown = plan_skeins(band, cuts, Stash((thread_of("navy", "#1b2a59"),), "the test"))
    assert unknown.enough and [thread.buy for thread in unknown.threads] == [0, 0]
    assert [(thread.owned_m, thread.stock_cm, thread.skeins) for thread in unknown.threads] == [
        (None, (), 1), (None, (), 1)
    ]  # fmt: skip


def test_metres_that_would_do_in_pieces_too_short() -> None:
    """White needs three strands of 22 cm, and 0.7 m in two remnants hold two: 13 cm are left of each."""
    drawer = (thread_of("navy", "#1b2a59", 8.0), thread_of("white", "#ffffff", 0.7, skein_m=0.35))
    plan = plan_skeins(two_rows(), cut_list(two_rows()), Stash(drawer, "the test"))
    assert [thread.enough for thread in plan.threads] == [True, False]
    assert plan.sentences() == [
        "white: 0.66 m are needed and 0.70 m owned, but no piece may be made up of remnants: what 2 skeins "
        "of 0.35 m would leave is 13 cm at most, and 22 cm are wanted yet in one piece; "
        "buy 1 skein of 0.35 m."
    ]


def test_nothing_to_cut_and_no_time_to_search(monkeypatch: pytest.MonkeyPatch) -> None:
    assert cut_skeins([], [50], more_cm=100) == Cutting((), 0, (), True)
    monkeypatch.setattr("pipeline.materials.cutting.MOST_SETS", 0)
    plan = cut_skeins([5, 4, 4, 3, 2, 2], [], more_cm=10)
    assert not plan.proved
    assert sorted(piece for skein in plan.skeins for piece in skein.pieces_cm) == [2, 2, 3, 4, 4, 5]


def test_many_hard_pieces_take_bounded_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wide band has a hundred lengths of a thread: not all packings are searched, and nothing is proved."""
    searched: list[int] = []

    def counted(rest, skeins, effort, **which):
        searched.append(len(skeins) * len(set(rest)))
        return None, False

    monkeypatch.setattr(cutting, "_packed", counted)
    for count in (20, 100, 300):
        searched.clear()
        wanted = [150 + 37 * i % 271 for i in range(count)]
        plan = cut_skeins(wanted, [], more_cm=800)
        assert sum(searched) <= 4_000 and max(searched, default=0) <= 1_000
        assert Counter(p for skein in plan.skeins for p in skein.pieces_cm) == Counter(wanted)
        assert plan.new <= 1.3 * sum(wanted) / 800 + 1
