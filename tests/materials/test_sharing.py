"""Shared tying: nothing visible changes, and the longest strand gets as short as can be."""

import itertools

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from pipeline.band.pattern import Pattern
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.materials.gain import compare
from pipeline.materials.lengths import cut_list
from pipeline.materials.paths import Paths
from pipeline.materials.sharing import _RowSharer, _runs, _Sharer, share
from pipeline.verdict.feasibility import check
from tests.materials.bands import lettering
from tests.patterns import patterns, random_pattern


def shown(pattern: Pattern) -> list[int]:
    return [step.shown for row in replay(pattern) for step in row.steps]


@settings(max_examples=60)
@given(patterns(), st.sampled_from(["none", "rows", "full"]))
def test_sharing_changes_no_visible_cell(pattern, level):
    after = share(pattern, level)
    assert list(problems(after)) == []
    assert shown(after) == shown(pattern)
    assert check(after).hand_overs == check(pattern).hand_overs
    assert [row.threads for row in replay(after)] == [row.threads for row in replay(pattern)]
    assert after.joins == pattern.joins
    assert max(Paths(after, 0.25).lengths()) <= max(Paths(pattern, 0.25).lengths()) + 10


@settings(max_examples=40)
@given(patterns(joins=0))
def test_the_network_spends_what_the_cut_list_spends(pattern):
    network = Paths(pattern, 0.0).lengths()
    assert network == pytest.approx([cut.used_mm for cut in cut_list(pattern, margin=0.0, lots=0.0)])


@settings(max_examples=40)
@given(patterns(max_strands=5, max_rows=3, max_sections=1, joins=0))
def test_ties_are_spread_exactly(pattern):
    """Against every way of tying the free knots of one cost, with the paths as they are."""
    band = Paths(pattern, 0.25)
    free = [v for v, is_free in enumerate(band.free) if is_free]
    units = {_Sharer(band)._unit_mm(v) for v in free}
    assume(len(units) == 1 and len(free) <= 9)
    best = min(
        max(_with_ties(pattern, free, choice).lengths())
        for choice in itertools.product((False, True), repeat=len(free))
    )
    _Sharer(band).spread_ties()
    assert max(band.lengths()) == pytest.approx(best, abs=0.05)


def _with_ties(pattern, free, choice):
    band = Paths(pattern, 0.25)
    for v, mirror in zip(free, choice, strict=True):
        kind = band.kinds[v]
        if mirror:
            band.kinds[v] = kind.mirrored
    band.walk()
    return band


@pytest.mark.parametrize("ground_bases", [(0, 1, 21, 22), (3, 9, 15, 21), (0, 1, 2, 20, 21, 22)])
def test_ground_led_letters_share_their_leader(ground_bases):
    """Two threads, a leader of ground and four base strands of ground or more."""
    before = lettering(ground_bases=ground_bases)
    after = share(before, "full")
    verdict = compare(before, after)
    assert verdict.longest_after_mm < verdict.longest_before_mm / 2
    assert verdict.bound_mm <= verdict.longest_after_mm <= verdict.bound_mm * 1.05
    assert shown(after) == shown(before)


@settings(max_examples=40)
@given(patterns(joins=0))
def test_rows_stay_readable(pattern):
    """At level rows a run that was changed is tied by one side, and hands over once in its row at most."""
    after = share(pattern, "rows")
    was, now = Paths(pattern, 0.25), Paths(after, 0.25)
    for row, rising in zip(was.rows, was.rising, strict=True):
        for run in _runs(row, was.free):
            if any(now.kinds[v] is not was.kinds[v] for v in run):
                assert len({now.kinds[v].left_ties for v in run}) == 1
                if rising is None:
                    assert all(now.kinds[v].swaps == was.kinds[v].swaps for v in run)
        if rising is not None and all(was.kinds[v].swaps for v in row if was.free[v]):
            assert sum(not now.kinds[v].swaps for v in row if now.free[v]) <= 1


@settings(max_examples=40)
@given(patterns(joins=0))
def test_changes_have_the_outcome_that_was_foreseen(pattern):
    """Whatever a run may become, no strand that changes gets longer than foreseen, and one gets as long."""
    paths = Paths(pattern, 0.25)
    now = paths.lengths()
    for sharer in (_RowSharer(paths), _Sharer(paths)):
        for unit in sharer.units[:6]:
            for strand in {paths.owner[edge] for v in unit for edge in paths.into[v]}:
                for foreseen, knots, kinds in list(sharer.changes(unit, strand, 1e9)):
                    former = [paths.kinds[v] for v in knots]
                    paths.set(knots, kinds)
                    after = paths.lengths()
                    changed = [a for a, b in zip(after, now, strict=True) if abs(a - b) > 1e-6]
                    assert foreseen >= max(changed, default=0.0) - 1e-6
                    assert any(foreseen == pytest.approx(length) for length in after)
                    paths.set(knots, former)


@pytest.mark.parametrize("level", ["rows", "full"])
@pytest.mark.parametrize("asked", [0, 1, 3, 10])
def test_sharing_that_runs_late_ends_soon_with_a_band_that_shows_the_same(level, asked):
    """After so many times asked it is late; then it is asked a few times more at most, and does no work."""
    before = lettering(ground_bases=(0, 1, 20, 21, 22))
    times = itertools.count(1)
    late = share(before, level, late=lambda: next(times) > asked)
    assert next(times) <= asked + 7
    assert list(problems(late)) == []
    assert shown(late) == shown(before)
    longest = [compare(before, band).longest_after_mm for band in (before, late, share(before, level))]
    assert longest == sorted(longest, reverse=True)
    assert asked or late == before


@pytest.mark.parametrize("kind", [_Sharer, _RowSharer])
@settings(max_examples=60)
@given(pattern=patterns(max_strands=8, joins=0))
@example(random_pattern(205647305, strands=6, rows=4, threads=3, worked="rows", sections=2, joins=0))
def test_the_search_only_gains_and_goes_on_until_nothing_does(kind, pattern):
    """Of the strands, longest first, the first that changes is shorter; a second search finds no more, also
    where another thread gave up the hand-over of a row.
    """
    paths = Paths(pattern, 0.25)
    first = sorted(paths.lengths(), reverse=True)
    kind(paths).descend((0.0, 1.0))
    found, kinds = sorted(paths.lengths(), reverse=True), list(paths.kinds)
    gains = [was - now for was, now in zip(first, found, strict=True) if abs(was - now) > 1e-6]
    assert not gains or gains[0] > 0
    kind(paths).descend((0.0, 1.0))
    assert paths.kinds == kinds
