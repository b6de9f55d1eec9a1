"""Cutting plans: what a skein holds, and the published cutting-stock instance."""

import itertools
import math
import subprocess
import sys
from collections import Counter
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.drawer.stash import Stash, thread_of
from pipeline.materials.cutting import _columns, cut_skeins
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import cut_list, pieces
from pipeline.materials.skeins import owned_skeins, plan_skeins
from tests.materials.bands import lettering
from tests.patterns import THREADS, patterns

lengths = st.lists(st.integers(1, 40), max_size=9)


@settings(max_examples=40)
@given(lengths, st.lists(st.integers(5, 60), max_size=4), st.integers(20, 60))
def test_no_skein_gives_more_than_it_holds_and_every_piece_is_cut(wanted, owned, more):
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
