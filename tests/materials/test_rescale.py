"""At the table: what is left is measured, and the rest follows the maker's hand."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.example import two_rows
from pipeline.band.knots import Knot, row_positions
from pipeline.band.pattern import GaugeByOrder, Row, Section
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.instructions.compose import instructions
from pipeline.instructions.moments import tied_before_step
from pipeline.materials import sharing
from pipeline.materials.hand import Witness, fit_hand
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import charges, cut_list
from pipeline.materials.rescale import _rescaled, order_after, replan, rows_done
from tests.materials.bands import GAUGE, band_of, left_after_rows, lettering
from tests.patterns import patterns, random_pattern

BAND = lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11))
DONE = rows_done(BAND, 20)


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
    made = replan(BAND, cuts, DONE, left_by_hand(BAND, cuts, 20, tie_rate, core_rate))
    assert made.hand.tie_rate == pytest.approx(tie_rate, rel=0.02)
    assert made.hand.core_rate == pytest.approx(core_rate, rel=0.12)
    if tie_rate <= 1.1 and core_rate <= 1.0:
        assert made.short == ()
        assert made.pattern.joins == BAND.joins
    assert made.pattern.gauge.swatch == "this band"


def test_a_greedy_hand_gets_a_join_in_time():
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.6, 1.6)
    made = replan(BAND, cuts, DONE, left, longest_mm=20_000)
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
    made = replan(BAND, cuts, DONE, {5: left[5]})
    assert made.hand.tie_rate == pytest.approx(1.1, rel=0.01)
    assert made.hand.core_rate == pytest.approx(1.1, rel=0.01)
    assert [strand.measured for strand in made.strands].count(True) == 1


def test_what_cannot_be_is_refused():
    cuts = cut_list(BAND)
    with pytest.raises(InputError, match="has 60 rows"):
        rows_done(BAND, 60)
    with pytest.raises(InputError, match="no position 99"):
        replan(BAND, cuts, DONE, {98: 100.0})
    with pytest.raises(InputError, match="more than that strand had"):
        replan(BAND, cuts, DONE, {0: 99_000.0})
    with pytest.raises(InputError, match="nothing was measured"):
        replan(BAND, cuts, DONE, {})


# ---------------------------------------------------------------- one strand alone


def test_one_short_strand_concerns_itself_alone():
    """Three strands as planned and one 40 cm short: the hand is as planned, and only that strand runs out."""
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.0, 1.0)
    leader = max(left, key=left.get)
    measured = {p: left[p] for p in (1, 5, 9)} | {leader: left[leader] * 0.2}
    made = replan(BAND, cuts, DONE, measured, roles=False)
    assert (made.hand.tie_rate, made.hand.core_rate) == pytest.approx((1.0, 1.0), abs=1e-6)
    assert [strand.position for strand in made.strands if strand.apart] == [leader]
    assert [strand.position for strand in made.run_out] == [leader]
    assert {laid.strand for laid in made.laid} == {made.run_out[0].strand}
    assert all(laid.row >= 20 and laid.row <= made.run_out[0].runs_out for laid in made.laid[:1])


@pytest.mark.parametrize("position", range(13))
def test_a_strand_measured_alone_that_is_far_off_says_nothing_of_the_others(position):
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.0, 1.0)
    begun = left_by_hand(BAND, cuts, 1, 1.0, 1.0)
    made = replan(BAND, cuts, DONE, {position: left[position] / 4})
    if not made.strands[position].apart:  # it had used so little that a quarter is no great share of it
        assert begun
        return
    assert made.hand.tie_rate == made.hand.core_rate == 1.0
    assert {strand.position for strand in made.run_out} <= {position}


def test_where_it_could_end_is_before_the_first_strand_runs_out():
    cuts = cut_list(BAND)
    left = left_by_hand(BAND, cuts, 20, 1.6, 1.6)
    made = replan(BAND, cuts, DONE, left)
    first = min(strand.runs_out for strand in made.run_out)
    assert made.whole_rows == first
    ended = BAND.model_copy(
        update={"sections": (BAND.sections[0].model_copy(update={"rows": BAND.sections[0].rows[:first]}),)}
    )
    again = replan(ended, cuts, DONE, left)
    assert again.run_out == ()


# ---------------------------------------------------------------- strands that stand in for one another


def chalk_ground(rows=40):
    """Ten strands of one thread, worked in rows: the leader of each row ties all of it."""
    rows = tuple(
        Row(knots=tuple((p, knot) for p in row_positions(10, r, "rows")), wanted=(None,) * 9)
        for r in range(rows)
        for knot in (Knot.FORWARD if r % 2 == 0 else Knot.BACKWARD,)
    )
    section = Section(kind="plain", worked="rows", rows=rows)
    return two_rows().model_copy(update={"strands": (1,) * 10, "sections": (section,)})


@pytest.mark.parametrize(("rows", "has"), [(40, 0.9), (900, 0.99)])
def test_a_strand_of_its_thread_ties_in_its_stead(rows, has):
    """One strand leads all the way; after ten rows it has not what it needs, and nine others are alike."""
    band = chalk_ground(rows)
    cuts, done = cut_list(band, lots=0.0), rows_done(band, 10)
    as_planned = left_by_hand(band, cuts, 10, 1.0, 1.0)
    leader = max(as_planned, key=as_planned.get)
    need = replan(band, cuts, done, {leader: as_planned[leader]}).strands[leader].need_mm
    measured = {p: mm for p, mm in as_planned.items() if p != leader} | {leader: has * need}
    made = replan(band, cuts, done, measured)
    assert [strand.position for strand in made.run_out] == [leader]
    assert made.roles and made.short == made.laid == ()
    assert made.pattern.joins == ()
    assert {place[1] for place in made.roles} <= set(range(10, rows))  # what is tied stays
    shown = [[step.shown for step in row.steps] for row in replay(made.pattern)]
    assert shown == [[step.shown for step in row.steps] for row in replay(band)]
    without = replan(band, cuts, done, measured, roles=False)
    assert without.roles == () and without.laid


def test_knots_weighed_for_a_band_of_any_size_are_so_many_at_most(monkeypatch):
    """The most wanting strand is helped first, so what was found by then holds."""
    band = chalk_ground(200)
    cuts, done = cut_list(band, lots=0.0), rows_done(band, 10)
    left = {p: 0.5 * mm for p, mm in left_by_hand(band, cuts, 10, 1.0, 1.0).items()}
    looked = []
    weigh = sharing._RowSharer.changes
    monkeypatch.setattr(
        sharing._RowSharer,
        "changes",
        lambda self, unit, *rest: looked.append(len(unit)) or weigh(self, unit, *rest),
    )
    counts = []
    for most in (1000, 5000):
        monkeypatch.setattr(sharing, "MOST_LOOKED_AT", most)
        looked.clear()
        replan(band, cuts, done, left)
        counts.append(sum(looked))
    assert 1000 < counts[0] <= 1000 + 9 * 200 < counts[1] <= 5000 + 9 * 200


# ---------------------------------------------------------------- the clock of steps


@settings(max_examples=25, deadline=None)
@given(patterns(max_strands=8, joins=0), st.data())
def test_steps_and_rows_tell_the_same_at_the_end_of_a_section(pattern, data):
    """Where a step begins, what is tied and how the strands hang is what the text says."""
    told = instructions(pattern)
    by_steps = [passage for passage in told.passages if not passage.by_row and len(passage.said) > 1]
    if not by_steps:
        return
    passage = data.draw(st.sampled_from(by_steps))
    step = data.draw(st.integers(2, len(passage.said)))
    done = tied_before_step(told, step, passage.section + 1)
    assert order_after(pattern, done) == passage.said[step - 2].last.order
    here = passage.section
    before = {(s, r, k) for s, r, _, row in pattern.rows() for k in range(len(row.knots)) if s < here}
    assert before <= done
    steps = [one for line in passage.said[: step - 1] for one in line.steps]
    tied_now = {(here, *cell) for one in steps for cell in one.cells}
    assert done == before | tied_now


def test_a_step_that_is_not_there_is_refused():
    told = instructions(random_pattern(5, strands=6, rows=8, worked="diagonal", sections=1, joins=0))
    with pytest.raises(InputError, match="no step 999"):
        tied_before_step(told, 999)
    with pytest.raises(InputError, match="no step 1 to go on from"):
        tied_before_step(told, 1)
    with pytest.raises(InputError, match="row by row"):
        tied_before_step(instructions(two_rows()), 2)


# ---------------------------------------------------------------- the hand


def test_a_leader_and_its_bases_by_hand():
    """Knots take a tenth more and cores a tenth less: a leader of 900 and 100 mm used 1080, bases of 100 and
    900 used 920; no witness is alone, so both rates are told.
    """
    leader, base = Witness(900, 100, 990 + 90), Witness(100, 900, 110 + 810)
    hand = fit_hand([leader, leader, base, base])
    assert (hand.tie_rate, hand.core_rate) == pytest.approx((1.1, 0.9), abs=0.01)
    assert hand.apart == ()


def test_two_that_disagree_leave_the_one_nearer_to_the_plan():
    hand = fit_hand([Witness(500, 500, 1050), Witness(500, 500, 1500)])
    assert hand.apart == (1,) and hand.tie_rate == pytest.approx(1.05)


def test_a_hand_that_takes_more_is_told_by_all_and_one_more_stands_apart():
    """Five strands take a third more, one twice as much."""
    hand = fit_hand([Witness(500, 500, 1330)] * 5 + [Witness(500, 500, 2000)])
    assert hand.apart == (5,) and hand.tie_rate == pytest.approx(1.33)


@given(st.floats(0.6, 1.8), st.integers(3, 9), st.floats(0.2, 4), st.randoms(use_true_random=False))
def test_one_outlier_never_moves_the_hand(rate, others, off, random):
    """Whatever one strand says, three or more that agree tell the hand."""
    alike = [Witness(t := random.uniform(100, 900), 1000 - t, 1000 * rate) for _ in range(others)]
    odd = Witness(500, 500, 1000 * rate * off)
    hand = fit_hand([*alike, odd])
    if abs(off - 1) > 0.35:
        assert hand.apart == (others,)
        assert (hand.tie_rate, hand.core_rate) == pytest.approx((rate, rate), rel=1e-6)


# ---------------------------------------------------------------- by hand


def test_what_the_rest_needs_by_hand() -> None:
    """After row 1 of two: the leader is core in three knots and turns once, each base ties once; 5 % over."""
    band = two_rows()
    made = replan(band, cut_list(band), rows_done(band, 1), {3: 123.0})
    turn = math.pi / 2 * 1.42
    by_strand = {strand.strand: strand for strand in made.strands}
    assert by_strand[0].need_mm == pytest.approx(1.05 * (3 * 1.6 + turn), rel=1e-3)
    assert [by_strand[s].need_mm for s in (1, 2, 3)] == pytest.approx([1.05 * 9.0] * 3, rel=1e-3)
    assert [by_strand[s].left_mm for s in (1, 2, 3)] == pytest.approx([120 - 1.6] * 3, rel=1e-3)
    assert [strand.position for strand in made.strands] == [0, 1, 2, 3]
    assert by_strand[0].measured and not by_strand[1].measured


def test_rows_and_lengths_at_their_limits() -> None:
    band, cuts = two_rows(), cut_list(two_rows())
    for done in (0, 2, 3):
        with pytest.raises(InputError, match="the band has 2 rows"):
            rows_done(band, done)
    for mm in (-1.0, math.nan, 2e6):
        with pytest.raises(InputError, match="cannot be left"):
            replan(band, cuts, rows_done(band, 1), {3: mm})
    with pytest.raises(InputError, match="more than that strand had"):
        replan(
            band, cuts, rows_done(band, 1), {3: 150.0}
        )  # it began with 150 mm below the tail and has tied three knots
    assert replan(band, cuts, rows_done(band, 1), {3: 0.0}).strands[3].left_mm == 0.0


def test_a_strand_that_has_not_worked_yet_may_be_as_long_as_it_was() -> None:
    """The third strand of three meets its first knot in the second row."""
    band = band_of([(0, Knot.FORWARD)], [], [(1, Knot.FORWARD)], strands=(0, 1, 1), worked="diagonal")
    cuts = cut_list(band)
    full = cuts[2].length_mm - 100
    made = replan(
        band, cuts, rows_done(band, 1), {2: full - GAUGE.idle_mm, 1: cuts[0].length_mm - 100 - GAUGE.tie_mm}
    )
    assert made.hand.tie_rate == pytest.approx(1.0, abs=0.05)
    assert made.short == ()


def test_the_first_to_run_out_is_named_first() -> None:
    """Bases in the ground colour only hang; the others tie, and those with the least left end first."""
    band = lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11))
    cuts = cut_list(band)
    made = replan(band, cuts, rows_done(band, 20), {0: 3000.0, 6: 130.0, 5: 100.0, 7: 160.0})
    rows = [strand.runs_out for strand in made.short]
    assert len(set(rows)) > 1
    assert rows == sorted(rows)
    assert all(strand.short_mm > 0 for strand in made.short)


def test_a_hand_as_planned_is_recognised_below_a_join() -> None:
    """What should be left after row 40 is measured, also of the leader's second piece."""
    band = place_joins(lettering(strands=13, rows=60, ground_bases=(0, 1, 10, 11)), 2500, card_mm=4000)
    cuts = cut_list(band)
    after = list(left_after_rows(band, cuts))[39]
    left = [after[strand] for strand in order_after(band, rows_done(band, 40))]
    for measured in ({0: left[0]}, dict(enumerate(left))):
        made = replan(band, cuts, rows_done(band, 40), measured)
        assert (made.hand.tie_rate, made.hand.core_rate) == pytest.approx((1.0, 1.0), rel=0.01)
        assert [strand.left_mm for strand in made.strands] == pytest.approx(left, abs=1.0)
        assert made.short == () and made.pattern.joins == band.joins


def test_every_length_of_the_gauge_goes_by_the_rate_it_belongs_to() -> None:
    """Ties, and the halves of knots that stay, by the rate of tying; cores, turns and idling by the other."""
    hand = fit_hand([Witness(900, 100, 990 + 90)] * 2 + [Witness(100, 900, 110 + 810)] * 2)
    for gauge in (GAUGE, GaugeByOrder(rows=GAUGE, diagonal=GAUGE)):
        tied = two_rows().model_copy(update={"gauge": gauge})
        before, after = tied.gauge_of("rows"), _rescaled(tied, hand).gauge_of("rows")
        for name in ("tie_mm", "half_mm"):
            assert getattr(after, name) == pytest.approx(getattr(before, name) * hand.tie_rate, abs=1e-4)
        for name in ("core_mm", "turn_mm", "idle_mm"):
            assert getattr(after, name) == pytest.approx(getattr(before, name) * hand.core_rate, abs=1e-4)
        assert after.strand_pitch_mm == before.strand_pitch_mm
        assert after.tie_mm == round(after.tie_mm, 4)


def test_strands_that_were_not_measured_are_reckoned_at_the_rate_of_those_that_were() -> None:
    """Three strands took a fifth more than planned: so did the one that tied and was not measured."""
    row = [(0, Knot.FORWARD), (2, Knot.FORWARD)]
    band = band_of(row, [(1, Knot.FORWARD)], strands=(0, 1, 1, 0), worked="diagonal")
    cuts = cut_list(band)
    tied, carried = 1.2 * GAUGE.tie_mm, 1.2 * GAUGE.core_mm
    begun = [cut.length_mm - 100 for cut in cuts]
    made = replan(
        band, cuts, rows_done(band, 1), {1: begun[0] - tied, 0: begun[1] - carried, 2: begun[3] - carried}
    )
    (reckoned,) = (strand for strand in made.strands if not strand.measured)
    assert reckoned.strand == 2
    assert reckoned.left_mm == pytest.approx(begun[2] - tied, abs=0.05)


def test_a_strand_with_no_knot_to_come_does_not_run_out() -> None:
    """The outer two have tied all they do: with 5 mm left such a strand has a short tail, and no more."""
    row = [(0, Knot.FORWARD), (2, Knot.FORWARD)]
    band = band_of(row, [(1, Knot.FORWARD)], strands=(0, 1, 1, 0), worked="diagonal")
    for position in (0, 3):
        made = replan(band, cut_list(band), rows_done(band, 1), {position: 5.0})
        assert made.run_out == made.laid == () and made.whole_rows == 2
        assert made.strands[position].left_mm == 5.0


@pytest.mark.parametrize(("has", "laid"), [(0.5, {4}), (0.01, set())])
def test_standing_in_helps_one_strand_whatever_becomes_of_another(has: float, laid: set[int]) -> None:
    """The leader wants a hundredth and has its like to help it; the only strand of ink has none. With half of
    what it needs that one gets a new piece, with a hundredth there is no place; the leader needs none.
    """
    band = chalk_ground(300)
    band = band.model_copy(update={"strands": (1, 1, 1, 1, 0, 1, 1, 1, 1, 1)})
    cuts, done = cut_list(band, lots=0.0), rows_done(band, 10)
    left = left_by_hand(band, cuts, 10, 1.0, 1.0)
    needs = {s.strand: s for s in replan(band, cuts, done, left).strands}
    short = {needs[0].position: 0.99 * needs[0].need_mm, needs[4].position: has * needs[4].need_mm}
    made = replan(band, cuts, done, left | short)
    assert {strand.strand for strand in made.run_out} == {0, 4}
    assert made.roles and [strand.strand for strand in made.short] == [4]
    assert {new.strand for new in made.laid} == laid


def test_nobody_stands_in_where_that_saves_nobody() -> None:
    """Three strands of one thread that are all a few millimetres short: what one is spared another lacks."""
    row = [(0, Knot.FORWARD), (1, Knot.FORWARD)]
    band = band_of(row, *[row[::-1], row] * 20, strands=(0, 0, 0))
    cuts, done = cut_list(band, lots=0.0), rows_done(band, 1)
    left = left_by_hand(band, cuts, 1, 1.0, 1.0)
    needs = replan(band, cuts, done, left).strands
    short = {s.position: 0.95 * s.need_mm for s in needs}
    made = replan(band, cuts, done, short)
    assert len(made.run_out) == len(made.short) == 3
    assert made == replan(band, cuts, done, short, roles=False)
