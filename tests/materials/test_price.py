"""Hours, difficulty, price, and booking off the stash."""

import math
import re

import pytest

from pipeline.band.example import two_rows
from pipeline.band.knots import Knot
from pipeline.band.pattern import Join, Pattern, Row, Section
from pipeline.drawer.stash import Stash, parse_stash, thread_of
from pipeline.errors import ImpossibleError, InputError
from pipeline.materials.booking import booked, bookings, merged
from pipeline.materials.lengths import cut_list, pieces
from pipeline.materials.price import GRADES, GradeReason, _reasons, _turns, grade, hours, price
from pipeline.materials.skeins import plan_skeins
from tests.materials.bands import band_of, lettering
from tests.patterns import random_pattern

BAND = lettering(strands=13, rows=40, ground_bases=())
CUTS = cut_list(BAND)
NEED = {
    name: sum(p.length_mm for p in pieces(BAND, CUTS) if BAND.threads[p.thread].name == name) / 1000
    for name in ("harbour blue", "chalk")
}
STASH = "name;colour;metres;notes\nharbour blue;#1b2a59;40,5;a gift\nchalk;#f4f1e8;;\nrope;#c8a26a;3;\n"


def test_hours_are_knots_at_a_pace():
    told = hours(BAND)
    assert told.knots == 40 * 12
    assert (told.quick, told.calm) == pytest.approx((480 * 8 / 3600, 480 * 10 / 3600))
    assert hours(BAND, 12.0).quick == hours(BAND, 12.0).calm == pytest.approx(1.6)
    with pytest.raises(InputError, match="out of range"):
        hours(BAND, 0.0)


def test_harder_bands_have_higher_grades_and_say_why():
    easy = random_pattern(1, strands=6, rows=20, threads=2, worked="diagonal", sections=1, joins=0)
    hard = random_pattern(1, strands=40, rows=150, threads=5, worked="rows", sections=1, joins=0)
    one, two = grade(easy, cut_list(easy)), grade(hard, cut_list(hard))
    assert one.name == GRADES[0]
    assert two.name == GRADES[-1]
    assert sum(reason.points for reason in two.reasons) == two.points
    assert [reason.points for reason in two.reasons] == sorted((r.points for r in two.reasons), reverse=True)


def test_price_by_length_and_by_skein():
    stash = Stash(
        (thread_of("harbour blue", "#1b2a59", price=1.2), thread_of("chalk", "#f4f1e8")), "the test"
    )
    told = price(plan_skeins(BAND, CUTS, stash))
    assert told.used == pytest.approx(1.2 * NEED["harbour blue"] / 8)
    assert told.skeins == pytest.approx(1.2 * -(-NEED["harbour blue"] // 8))
    assert told.unknown == ("chalk",)


def test_booking_changes_the_metres_and_nothing_else():
    data = STASH.encode()
    stash = parse_stash(data, "mine.csv")
    made = bookings(BAND, CUTS, stash)
    after = booked(data, "mine.csv", made).decode()
    rest = f"{40.5 - NEED['harbour blue']:.3f}".rstrip("0").replace(".", ",")
    assert after == STASH.replace("40,5", rest)
    assert parse_stash(after.encode(), "mine.csv").find("chalk").metres is None


def test_no_more_is_booked_than_is_owned():
    poor = parse_stash(b"name,colour,metres\nharbour blue,#1b2a59,1\nchalk,#f4f1e8,50\n", "mine.csv")
    with pytest.raises(ImpossibleError, match=r"holds 1\.00 m"):
        bookings(BAND, CUTS, poor)
    with pytest.raises(InputError, match="no thread 'chalk'"):
        bookings(BAND, CUTS, parse_stash(b"name,colour,metres\nharbour blue,#1b2a59,50\n", "mine.csv"))
    with pytest.raises(InputError, match="knows no metres"):
        booked(b"GIMP Palette\nName: x\n1 2 3 tar\n", "mine.gpl", [])


def test_importing_keeps_what_is_there():
    mine = parse_stash(b"name,colour,metres\nrope,#c8a26a,3\n", "mine.csv")
    new, told = merged(mine, parse_stash(b"name,colour,metres\nrope,#000000,9\ntar,#111111,8\n", "new.csv"))
    assert [thread.name for thread in new] == ["tar"]
    assert told == {"rope": "kept as it was", "tar": "added"}


# ---------------------------------------------------------------- by hand


def test_one_point_is_still_a_first_band_and_two_are_steady() -> None:
    """A switching row is a point; with 9 strands and one change of thread the band is steady."""
    row = [(p, Knot.FORWARD) for p in range(3)]
    band = band_of(row, strands=(0, 1, 1, 1))
    extra = Section(kind="switching", worked="diagonal", rows=(Row(knots=(), wanted=()),))
    one = band.model_copy(update={"sections": (*band.sections, extra)})
    told = grade(one, cut_list(one))
    assert (told.name, told.points) == ("first band", 1)
    assert [reason.reason for reason in told.reasons] == ["1 switching row"]
    assert grade(band, cut_list(band)).reasons == ()

    wide = band_of([(p, Knot.FORWARD) for p in range(8)], strands=(0, *[1] * 8))
    wide = wide.model_copy(update={"sections": (*wide.sections, extra)})
    told = grade(wide, cut_list(wide))
    assert (told.name, told.points) == ("steady", 2)


def test_paces_from_half_a_second_to_ten_minutes() -> None:
    band = two_rows()
    assert hours(band, 0.5).quick == pytest.approx(6 * 0.5 / 3600)
    assert hours(band, (8, 600)).calm == pytest.approx(1.0)
    for pace in (0.49, 601, math.nan, (10, 8)):
        with pytest.raises(InputError, match="out of range"):
            hours(band, pace)


def test_harder_is_never_easier() -> None:
    """More strands, rows, threads, joins or switching rows never lower the points."""
    extra = Section(kind="switching", worked="diagonal", rows=(Row(knots=(), wanted=()),) * 12)
    for seed in range(6):
        plain = random_pattern(seed, strands=8, rows=30, threads=2, sections=1, joins=0)
        points = grade(plain, cut_list(plain)).points
        for harder in (
            random_pattern(
                seed, strands=30, rows=30, threads=2, worked=plain.sections[0].worked, sections=1, joins=0
            ),
            plain.model_copy(update={"sections": (*plain.sections, extra)}),
            random_pattern(seed, strands=8, rows=30, threads=2, sections=1, joins=8),
        ):
            assert grade(harder, cut_list(harder)).points >= points


@pytest.mark.parametrize(("mixed", "points"), [(1, 0), (2, 1), (6, 1), (7, 2)])
def test_rows_of_more_than_one_kind_of_knot_count_by_their_share(mixed: int, points: int) -> None:
    """Of ten rows: a point from a fifth of them on, two from seven tenths."""
    there, back = [(p, Knot.FORWARD) for p in range(3)], [(p, Knot.BACKWARD) for p in (2, 1, 0)]
    rows = [there, back] * 5
    for r in range(mixed):
        rows[r] = [*rows[r][:2], (rows[r][2][0], Knot.FORWARD_BACKWARD if r % 2 else Knot.BACKWARD_FORWARD)]
    band = band_of(*rows, strands=(0, 1, 1, 1))
    found = [reason for reason in grade(band, cut_list(band)).reasons if "kind of knot" in reason.reason]
    assert sum(reason.points for reason in found) == points


def of_knots(count: int) -> Pattern:
    """A band of exactly so many knots: rows of six, and one of what is left."""
    row = [(p, Knot.FORWARD) for p in range(6)]
    return band_of(*[row] * (count // 6), row[: count % 6], strands=(0, *[1] * 6), worked="diagonal")


def of_strands(*strands: int) -> Pattern:
    return band_of([(0, Knot.FORWARD)], strands=strands, worked="diagonal")


def of_joins(count: int) -> Pattern:
    joins = tuple(Join(section=0, row=r, knot=0, thread=0) for r in range(count))
    return of_knots(180).model_copy(update={"joins": joins})


def of_switching_rows(count: int) -> Pattern:
    rows = (Row(knots=(), wanted=()),) * count
    section = Section(kind="switching", worked="rows", rows=rows)
    return of_strands(0, 1).model_copy(update={"sections": (section,)})


@pytest.mark.parametrize(
    ("cause", "of", "steps"),
    [
        ("strands", lambda n: of_strands(*[0] * n), (9, 17, 25, 33)),
        ("knots", of_knots, (600, 1500, 3000, 5000)),
        ("threads", lambda n: of_strands(0, *range(n)), (4, 6, 8)),
        ("joins?", of_joins, (1, 6, 20)),
        ("switching rows?", of_switching_rows, (1, 10, 30)),
    ],
)
def test_points_are_given_from_these_numbers_on(cause, of, steps) -> None:
    """Our own choice: a point more at each number, and none at one less."""
    for points, step in enumerate(steps):
        for number, expected in ((step - 1, points), (step, points + 1)):
            reasons = (r for r in _reasons(of(number), ()) if re.fullmatch(rf"\d+ {cause}", r.reason))
            assert sum(reason.points for reason in reasons) == expected, number


def test_grades_begin_at_two_five_nine_and_fourteen_points(monkeypatch: pytest.MonkeyPatch) -> None:
    for points, name in zip(
        (1, 2, 4, 5, 8, 9, 13, 14), [g for g in GRADES for _ in (0, 1)][1:-1], strict=True
    ):
        monkeypatch.setattr(
            "pipeline.materials.price._reasons", lambda *_, p=points: [GradeReason(p, "of late")]
        )
        assert grade(two_rows(), ()).name == name


@pytest.mark.parametrize(
    ("between", "within", "rows", "said"),
    [
        (3, 0, 10, "3 hand-overs in 10 rows"),
        (0, 2, 1, "2 hand-overs within one thread in 1 row"),
        (1, 2, 10, "1 hand-over and 2 within one thread in 10 rows"),
    ],
)
def test_hand_overs_between_threads_and_within_one_are_told_apart(
    between: int, within: int, rows: int, said: str
) -> None:
    assert _turns(between, within, rows) == said
