"""Small cases worked out by hand, as a maker could check them with ruler and pencil."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from pipeline.band.example import two_rows
from pipeline.band.knots import Knot
from pipeline.band.pattern import Ends, Join, KnotLength
from pipeline.band.replay import replay
from pipeline.errors import ImpossibleError, InputError
from pipeline.limits import USUAL_ROOM_MM
from pipeline.materials.ends import end_use, finish_steps, make_end, start_steps
from pipeline.materials.fit import GAP_MM, Fit, fit_rows, row_height_mm
from pipeline.materials.gauge import (
    Strand,
    Swatch,
    fit_gauge,
    gauges_path,
    half_mm,
    idle_mm,
    preset_gauge,
    turn_mm,
)
from pipeline.materials.lengths import (
    OVERLAP_MM,
    WORKABLE_MM,
    cut_list,
    cut_list_csv,
    in_lots,
    pieces,
    thread_use,
)
from tests.materials.bands import GAUGE, PLAIN_ENDS, band_of

# ---------------------------------------------------------------- thread use


def test_a_knot_that_stays_costs_two_halves() -> None:
    """Forward-backward: the left strand ties both half hitches and comes back to its place."""
    band = band_of([(0, Knot.FORWARD_BACKWARD), (1, Knot.FORWARD)], strands=(0, 1, 1))
    first, second, third = cut_list(band, margin=0.0, lots=0.0)
    assert first.used_mm == pytest.approx(200 + 2 * GAUGE.half_mm)
    assert second.used_mm == pytest.approx(200 + GAUGE.core_mm + GAUGE.tie_mm)
    assert third.used_mm == pytest.approx(200 + GAUGE.core_mm)


def test_a_strand_without_a_knot_passes_the_row() -> None:
    """Diagonal work on three strands: the third waits out the first row, the first the second."""
    band = band_of([(0, Knot.FORWARD)], [(1, Knot.FORWARD)], strands=(0, 1, 1), worked="diagonal")
    first, second, third = cut_list(band, margin=0.0, lots=0.0)
    assert first.used_mm == pytest.approx(200 + 2 * GAUGE.tie_mm)
    assert second.used_mm == third.used_mm == pytest.approx(200 + GAUGE.core_mm + GAUGE.idle_mm)


def test_two_strands_turn_about_after_every_row() -> None:
    """Row work on two strands: whoever was carried to the right turns there and comes back."""
    band = band_of([(0, Knot.FORWARD)], [(0, Knot.FORWARD)], [(0, Knot.FORWARD)], strands=(0, 1))
    first, second = cut_list(band, margin=0.0, lots=0.0)
    knots = 3 * (GAUGE.tie_mm + GAUGE.core_mm)
    assert first.used_mm + second.used_mm == pytest.approx(400 + knots + 2 * GAUGE.turn_mm)
    assert (first.tied, second.tied) == (2, 1)
    # the first strand ties to the right, turns and is core back to the left, turns and ties again
    assert first.used_mm == pytest.approx(200 + 2 * GAUGE.tie_mm + GAUGE.core_mm + 2 * GAUGE.turn_mm)


def test_a_leader_turns_at_both_edges() -> None:
    """Three rows over three bases: there, back and there again; the leader ties all and turns twice."""
    there = [(p, Knot.FORWARD) for p in range(3)]
    back = [(p, Knot.BACKWARD) for p in (2, 1, 0)]
    leader, *bases = cut_list(band_of(there, back, there, strands=(0, 1, 1, 1)), margin=0.0, lots=0.0)
    assert leader.used_mm == pytest.approx(200 + 9 * GAUGE.tie_mm + 2 * GAUGE.turn_mm)
    assert [base.used_mm for base in bases] == pytest.approx([200 + 3 * GAUGE.core_mm] * 3)


@pytest.mark.parametrize(
    ("between", "turns", "idle"),
    [(None, 1, 0), ("no knot", 1, 0), ("outer knots", 0, 0), ("a knot in the middle", 0, 2)],
)
def test_a_leader_turns_only_into_the_row_that_follows_its_own(
    between: str | None, turns: int, idle: int
) -> None:
    """Across and back over four strands: diagonal work in between lets the leader go, and nobody turns."""
    across, back = [(p, Knot.FORWARD) for p in range(3)], [(p, Knot.BACKWARD) for p in (2, 1, 0)]
    made = {"no knot": [], "outer knots": [0, 2], "a knot in the middle": [1]}
    parts = [("rows", across), ("rows", back)]
    if between is not None:
        parts.insert(1, ("diagonal", [(p, Knot.FORWARD) for p in made[between]]))
    sections = tuple(band_of(row, strands=(0,) * 4, worked=worked).sections[0] for worked, row in parts)
    band = band_of(across, strands=(0,) * 4).model_copy(update={"sections": sections})
    knots = sum(len(row) for _, row in parts)
    used = sum(cut.used_mm for cut in cut_list(band, margin=0.0, lots=0.0))
    by_hand = 4 * 200 + knots * (GAUGE.tie_mm + GAUGE.core_mm) + turns * GAUGE.turn_mm + idle * GAUGE.idle_mm
    assert used == pytest.approx(by_hand)


def test_a_row_that_begins_at_the_other_edge_has_another_leader() -> None:
    """Two rows that both rise: whoever led the first hangs at the right edge and does not turn."""
    across = [(p, Knot.FORWARD) for p in range(3)]
    cuts = cut_list(band_of(across, across, strands=(0,) * 4), margin=0.0, lots=0.0)
    assert sum(cut.used_mm for cut in cuts) == pytest.approx(4 * 200 + 6 * (GAUGE.tie_mm + GAUGE.core_mm))


def test_what_is_cut_of_each_thread_by_hand() -> None:
    """Two rows: one strand of 25 cm and three of 22, listed by positions from 1."""
    band = two_rows()
    cuts = cut_list(band)
    use = [(use.thread, use.metres, use.longest_mm, use.tied) for use in thread_use(band, cuts)]
    assert use == [(0, 0.25, 250.0, 3), (1, pytest.approx(0.66), 220.0, 3)]
    _, *lines = cut_list_csv(band, cuts).splitlines()
    assert [line.split(",")[0] for line in lines] == ["1", "2", "3", "4"]


@pytest.mark.parametrize(("ground", "thread"), [(None, 1), (0, 0)])
def test_a_holding_cord_is_of_the_ground_or_else_of_the_first_strand(ground: int | None, thread: int) -> None:
    strands = (1, 1, 0, 0)
    start = make_end("holding-cord", strands, GAUGE, at_start=True)
    ends = Ends(start=start, finish=PLAIN_ENDS.finish)
    band = band_of([(0, Knot.FORWARD)], strands=strands, worked="diagonal", ground=ground, ends=ends)
    *folded, cord = pieces(band, cut_list(band))
    assert [piece.positions for piece in folded] == [(0, 1), (2, 3)]
    assert (cord.thread, cord.positions) == (thread, ())


def test_pieces_that_are_still_worked_with_share_a_lot() -> None:
    """Only what goes on a card is cut one by one: a piece just short enough is not."""
    longest = float(WORKABLE_MM)
    assert in_lots([longest, longest - 10]) == {longest: longest, longest - 10: longest}
    assert in_lots([longest + 20, longest + 10, longest]) == {
        mm: mm for mm in (longest + 20, longest + 10, longest)
    }


def test_the_margin_is_on_what_is_worked_and_not_on_tails() -> None:
    band = two_rows()
    for margin in (0.0, 0.1, 0.5):
        for cut in cut_list(band, margin=margin, lots=0.0):
            assert cut.length_mm == 10 * math.ceil((200 + (cut.used_mm - 200) * (1 + margin)) / 10 - 1e-9)
    with pytest.raises(ValueError, match="below zero"):
        cut_list(band, margin=-0.1)


def test_both_pieces_of_a_join_overlap() -> None:
    """The leader's core ends after its first knot as core; what was one piece is two, 4 cm longer each."""
    band = two_rows()
    joined = band.model_copy(update={"joins": (Join(section=0, row=1, knot=0, thread=0),)})
    whole, parts = cut_list(band, margin=0.0, lots=0.0)[0], cut_list(joined, margin=0.0, lots=0.0)[0]
    assert len(parts.pieces_mm) == 2
    assert parts.used_mm - whole.used_mm == pytest.approx(2 * OVERLAP_MM)
    assert (parts.tied, parts.carried) == (whole.tied, whole.carried)


# ---------------------------------------------------------------- gauge and fit


def test_diameters_from_sewing_thread_to_rope() -> None:
    for sound in (0.05, 20.0):
        assert preset_gauge(sound, "rows").strand_pitch_mm == pytest.approx(2 * sound)
    for wrong in (0.04, 20.5, math.nan):
        with pytest.raises(InputError, match="cannot be knotted"):
            preset_gauge(wrong, "rows")


@pytest.mark.parametrize(
    ("strands", "rows", "width", "length"),
    [(1, 10, 18, 60), (10, 0, 18, 60), (10, 10, 0, 60), (10, 10, 18, 0), (10, 10, math.nan, 60)],
)
def test_a_swatch_that_measures_nothing(strands: int, rows: int, width: float, length: float) -> None:
    with pytest.raises(InputError, match="a swatch has"):
        Swatch(strands, rows, width, length)


def test_a_gauge_of_a_diameter_is_written_to_a_tenth_of_a_micrometre() -> None:
    gauge = preset_gauge(1 / 3, "rows")
    assert gauge.strand_pitch_mm == 0.6667
    figures = [value for value in gauge.model_dump().values() if isinstance(value, float)]
    assert len(figures) >= 7 and figures == [round(value, 4) for value in figures]


def test_what_a_swatch_does_not_tell_follows_from_what_it_tells() -> None:
    """A turn is half a circle across a row, a strand that idles passes one, as in a gauge from a diameter."""
    bare = GAUGE.model_copy(update={"half_mm": None, "turn_mm": None, "idle_mm": None})
    assert turn_mm(bare) == pytest.approx(math.pi / 2 * GAUGE.row_pitch_mm)
    for derived in (half_mm, turn_mm, idle_mm):
        assert derived(bare) == pytest.approx(derived(GAUGE), abs=1e-4)
    with pytest.raises(ValueError, match="rows of 0 mm"):
        Fit(165, 13, 20, 0, 0)


def test_a_row_is_as_high_as_those_who_tie_it_make_it() -> None:
    """Two knots of the leader, 3 mm high, and one of a base, 2 mm: 8/3 mm."""
    gauge = GAUGE.model_copy(
        update={
            "leader_tied": KnotLength(across_mm=2.0, along_mm=3.0),
            "base_tied": KnotLength(across_mm=2.0, along_mm=2.0),
        }
    )
    (row,) = replay(band_of([(0, Knot.FORWARD), (1, Knot.FORWARD), (2, Knot.BACKWARD)], strands=(0, 1, 1, 1)))
    assert row_height_mm(gauge, "rows", row) == pytest.approx(8 / 3)
    assert row_height_mm(gauge, "diagonal", row) == gauge.row_pitch_mm


def test_a_knot_that_stays_is_a_tie_and_two_diameters_more() -> None:
    """Derived: between its halves the tying strand crosses the core once, and once more after them."""
    for d in (0.5, 0.71, 2.0):
        gauge = preset_gauge(d, "rows")
        assert 2 * gauge.half_mm == pytest.approx(gauge.tie_mm + 2 * d, abs=1e-3)


def test_pitches_of_several_swatches_have_the_error_of_a_line_through_the_origin() -> None:
    """Three widths on 10, 20 and 30 strands: slope and standard error by numpy, one parameter."""
    strands, width = np.array([10.0, 20.0, 30.0]), np.array([18.5, 35.5, 54.0])
    used = (Strand(40, 0, 370), Strand(0, 40, 70))
    swatches = [Swatch(int(n), 40, mm, 60.0, used) for n, mm in zip(strands, width, strict=True)]
    measured = fit_gauge(swatches, "rows", "mine")
    slope, residual, *_ = np.linalg.lstsq(strands[:, None], width, rcond=None)
    assert measured.gauge.strand_pitch_mm == pytest.approx(slope[0], abs=1e-4)
    error = math.sqrt(residual[0] / 2 / (strands**2).sum())
    assert measured.strand_pitch_error_mm == pytest.approx(error)
    assert measured.row_pitch_error_mm == pytest.approx(0.0, abs=1e-9)


def test_gauges_are_kept_in_the_folder_of_the_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert gauges_path().name == "gauges.json"
    assert gauges_path().parent.name == "hitchgrid"


def test_the_smallest_swatch_and_strand() -> None:
    assert Swatch(2, 1, 0.5, 0.5).rows == 1
    assert Strand(1, 0, 0.5).tied == Strand(0, 1, 0.5).carried == 1
    for tied, carried, used in ((0, 0, 5.0), (-1, 3, 5.0), (3, -1, 5.0), (3, 3, 0.0)):
        with pytest.raises(InputError, match="measures nothing"):
            Strand(tied, carried, used)


def test_a_wrist_less_its_gap_is_knotted() -> None:
    plain = fit_rows(165, GAUGE)
    assert (plain.knotted_mm, plain.gap_mm, plain.tapers_mm) == (165 + USUAL_ROOM_MM - GAP_MM, GAP_MM, 0.0)
    cord = make_end("holding-cord", (0, 0, 0, 0), GAUGE, at_start=True)
    assert fit_rows(165, GAUGE, ends=Ends(start=cord, finish=PLAIN_ENDS.finish)) == plain
    shaped = GAUGE.model_copy(update={"leader_tied": KnotLength(across_mm=2.1, along_mm=3.0)})
    assert fit_rows(165, shaped) == plain  # as long as nothing is known of cells that bases tie
    loop = make_end("loop", (0, 0, 0, 0), GAUGE, at_start=True)
    closed = fit_rows(165, GAUGE, ends=Ends(start=loop, finish=PLAIN_ENDS.finish))
    assert closed.gap_mm == loop.loop_mm / 2 == 20
    both = fit_rows(165, GAUGE, ends=Ends(start=_tapered(True), finish=_tapered(False)))
    assert both.tapers_mm == pytest.approx(2 * _tapered(False).taper_mm)
    for wrist, ease in ((39.9, 13), (600.1, 13), (165, -0.1), (165, 200.1)):
        with pytest.raises(InputError):
            fit_rows(wrist, GAUGE, room_mm=ease)
    assert fit_rows(40, GAUGE, room_mm=200).rows > 0 and fit_rows(600, GAUGE, room_mm=0).rows > 0


def test_how_a_wrist_adds_up_is_said() -> None:
    """165 + 13 − 20 − 2 · 15 = 128; at 1.42 mm a row that is 90.1 rows, and 90 rows are 127.8 mm."""
    fit = Fit(wrist_mm=165, room_mm=13, gap_mm=20, tapers_mm=30, row_mm=1.42, usual=True)
    assert (fit.knotted_mm, fit.rows) == (128, 90)
    assert fit.sentences(127.8) == [
        "No wrist was given: 165 mm is taken, a middle-sized adult's; --wrist changes it.",
        "Wrist 165 mm + room at the wrist 13 mm − gap of the closure 20 mm − tapers 30 mm = 128 mm to knot.",
        "The band comes to 128 mm knotted.",
    ]
    given = Fit(165, 13, 10, 0, 1.42)
    assert given.sentences(180.0)[-1] == "The band comes to 180 mm knotted, 12 mm longer than that."
    assert "tapers" not in given.sentences()[0]
    inches = given.sentences(say=lambda mm: f"{mm / 25.4:.1f} in")
    assert inches == ["Wrist 6.5 in + room at the wrist 0.5 in − gap of the closure 0.4 in = 6.6 in to knot."]
    with pytest.raises(ImpossibleError, match="leave nothing to knot"):
        Fit(60, 0, 10, 50, 1.42)
    assert Fit(60, 0, 10, 48, 1.42).rows == 1


def _tapered(at_start: bool):
    return make_end("braid", (0,) * 8, GAUGE, at_start=at_start, taper=True)


# ---------------------------------------------------------------- ends


def test_a_gathering_knot_takes_what_a_trefoil_takes() -> None:
    """From outside: 16.4 bundle diameters (ropelength of the trefoil); a bundle of 9 is 3 threads thick."""
    band = band_of([(0, Knot.FORWARD)], strands=(0,) * 9, worked="diagonal")
    d = GAUGE.tie_mm / (2 * math.hypot(2 * math.pi, 1))  # the thread that ties so
    for style, gathered in (("tie", True), ("straight", False)):
        end = make_end(style, band.strands, GAUGE, at_start=False)
        use = end_use(band.model_copy(update={"ends": Ends(start=band.ends.start, finish=end)}))
        assert use.finish_mm == pytest.approx([100 + gathered * 16.4 * 3 * d] * 9)
        assert use.start_mm == pytest.approx([100] * 9)


def test_a_larks_head_goes_once_round_and_across_its_bar() -> None:
    """Over a ring two threads thick: once round it, two diameters across; a lone strand has its tail."""
    band = band_of([(0, Knot.FORWARD)], strands=(0, 0, 1), worked="diagonal")
    start = make_end("larks-head", band.strands, GAUGE, at_start=True)
    use = end_use(band.model_copy(update={"ends": Ends(start=start, finish=band.ends.finish)}))
    d = 0.71
    half = math.hypot(math.pi * 3 * d, d) + 2 * d
    assert use.start_mm == pytest.approx((half, half, 100.0), abs=0.01)


def test_half_of_a_loop_is_half_the_way_around_it() -> None:
    """A loop of 60 mm takes 10 mm more of each strand than the usual one of 40 mm."""
    made = make_end("loop", (0, 0), GAUGE, at_start=True)
    usual, wide, unknown = (
        end_use(
            band_of(
                [(0, Knot.FORWARD)], strands=(0, 0), worked="diagonal",
                ends=Ends(start=made.model_copy(update={"loop_mm": mm}), finish=PLAIN_ENDS.finish),
            )
        ).start_mm
        for mm in (40.0, 60.0, None)
    )  # fmt: skip
    assert wide == pytest.approx([mm + 10 for mm in usual])
    assert unknown == usual


def test_a_taper_strand_by_strand() -> None:
    """Three strands a side: each wraps those outside it twice and lies with them to the centre, at 45°."""
    band = band_of([(0, Knot.FORWARD)], strands=(0,) * 6, worked="diagonal")
    finish = make_end("straight", band.strands, GAUGE, at_start=False, taper=True)
    use = end_use(band.model_copy(update={"ends": Ends(start=band.ends.start, finish=finish)}))
    d, pitch = 0.71, GAUGE.strand_pitch_mm

    def wraps(threads: int) -> float:
        return 2 * math.hypot(math.pi * d * (math.sqrt(threads) + 1), d)

    lies = [strands * pitch * math.sqrt(2) for strands in (3, 2, 1)]
    half = [lies[0], wraps(1) + lies[1], wraps(2) + lies[2]]
    by_position = [*half[:2], half[2] + wraps(6), *reversed(half)]
    by_position[0], by_position[1] = by_position[1], by_position[0]  # the knot of the row swaps these two
    assert use.finish_mm == pytest.approx([100 + mm for mm in by_position], abs=0.02)


def test_usual_tails_are_ten_centimetres_and_fifteen_for_a_braid() -> None:
    """Common practice, no source; the braid's from memory."""
    for style, mm in (("straight", 100), ("tie", 100), ("braid", 150)):
        assert make_end(style, (0, 0), GAUGE, at_start=False).tail_mm == mm
    assert make_end("tie", (0, 0), GAUGE, at_start=False, tail_mm=70).tail_mm == 70


def test_only_a_holding_cord_is_a_piece_of_its_own() -> None:
    strands = (0, 0, 1, 1)
    for style, more in (("loop", 0), ("larks-head", 0), ("holding-cord", 1)):
        start = make_end(style, strands, GAUGE, at_start=True)
        band = band_of([(0, Knot.FORWARD)], strands=strands, worked="diagonal")
        band = band.model_copy(update={"ends": Ends(start=start, finish=band.ends.finish)})
        made = pieces(band, cut_list(band))
        assert len(made) == 2 + more
        cord = [piece for piece in made if not piece.positions]
        assert [piece.length_mm for piece in cord] == [210.0] * more  # 2 · 100 mm and the band's 5.7


def test_what_is_done_at_the_start_is_told_with_its_figures() -> None:
    def steps(style: str, strands: tuple[int, ...], **known) -> list[str]:
        band = band_of([(0, Knot.FORWARD)], strands=strands, worked="diagonal")
        start = make_end(style, strands, GAUGE, at_start=True).model_copy(update=known)
        return start_steps(band.model_copy(update={"ends": Ends(start=start, finish=band.ends.finish)}))

    assert "Fold 2 cuts in two (for positions 1 and 2, 3 and 4)" in steps("larks-head", (0, 0, 1, 1))[0]
    assert not any("singly" in step for step in steps("larks-head", (0, 0, 1, 1)))
    assert any("the other strand singly" in step for step in steps("larks-head", (0, 0, 1)))
    assert any("the other 2 strands singly" in step for step in steps("larks-head", (0, 0, 1, 2)))
    assert "a holding cord of 206 mm" in steps("holding-cord", (0, 0, 1, 1))[0]
    assert "a holding cord across" in steps("holding-cord", (0, 0, 1, 1), loop_mm=None)[0]
    assert "a loop of 40 mm" in steps("loop", (0, 0))[1]


@pytest.mark.parametrize(
    ("start", "taper", "turned"),
    [("straight", False, False), ("straight", True, True), ("tie", False, True), ("loop", False, False)],
)
def test_the_band_is_turned_round_where_its_start_is_worked_last(
    start: str, taper: bool, turned: bool
) -> None:
    strands = (0,) * 4
    band = band_of([(0, Knot.FORWARD)], strands=strands, worked="diagonal")
    made = make_end(start, strands, GAUGE, at_start=True, taper=taper)
    told = finish_steps(band.model_copy(update={"ends": Ends(start=made, finish=band.ends.finish)}))
    assert any("Turn the band round" in step for step in told) == turned


def test_tapers_that_leave_nothing() -> None:
    wide = make_end("tie", (0,) * 300, GAUGE, at_start=False, taper=True)
    with pytest.raises(ImpossibleError, match="nothing to knot"):
        fit_rows(165, GAUGE, ends=Ends(start=PLAIN_ENDS.start, finish=wide))
