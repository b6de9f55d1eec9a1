"""Which bands are offered, what remains of them, and that the number of processes changes nothing."""

from __future__ import annotations

import pickle
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.choices.offers import Asked, Choice, Figures, offered
from pipeline.choices.planning import plan_choice, plan_choices, unbeaten
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import HitchgridError
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request, Tying
from pipeline.routing import Budget, Ease

SAMPLES = Path(__file__).parents[2] / "sample_images"
DRAWER = Drawer(builtin_stash())


def small() -> tuple[Asked, ...]:
    """Two bands that are planned in no time."""
    tiny = Band(strands=8, rows=12)
    return tuple(
        Asked(f"letter-{worked}", Request(LetterSource("I"), replace(tiny, worked=worked), DRAWER, Tying()))
        for worked in ("rows", "diagonal")
    )


@pytest.fixture(scope="module")
def one() -> Choice:
    return plan_choice(small()[0], Budget(0.01))


def like(choice: Choice, key: str, **figures: float) -> Choice:
    return replace(
        choice, asked=replace(choice.asked, key=key), figures=replace(choice.figures, **figures)  # type: ignore[arg-type]
    )  # fmt: skip


def test_pictures_are_offered_with_other_threads_ways_sizes_and_hand_overs() -> None:
    asked = offered(Request(PictureSource(SAMPLES / "pennant.png"), Band(wrist_mm=165), DRAWER))
    keys = [one.key for one in asked]
    assert keys[0] == "4-threads-rows-24" and len(set(keys)) == len(keys) >= 10
    assert {one.request.band.worked for one in asked} == {"rows", "diagonal"}
    assert {one.request.drawer.colours for one in asked} == {2, 3, 4, 5, 6}
    assert {one.request.tying.ease for one in asked} == set(Ease)
    assert len({one.request.band.strands for one in asked}) >= 3
    assert {one.request.artwork.turn for one in asked} == {0, 1}


def test_a_narrow_wrist_takes_no_wide_band() -> None:
    """105 mm are a wrist at three years; a quarter of it is 18 strands of embroidery cotton, 1.42 mm each."""
    asked = offered(Request(PictureSource(SAMPLES / "pennant.png"), Band(wrist_mm=105), DRAWER))
    assert max(one.request.band.strands or 0 for one in asked if one.request.band.worked == "rows") == 18


def test_what_the_maker_has_decided_stays() -> None:
    asked = offered(
        Request(
            PictureSource(SAMPLES / "pennant.png"),
            Band(strands=20, worked="diagonal"),
            replace(DRAWER, colours=3),
        ),
        settled=("worked", "ease", "turn"),
    )
    assert [one.key for one in asked] == ["3-threads-diagonal-20"]


def test_a_grid_keeps_its_strands_and_its_way_up() -> None:
    asked = offered(Request(PictureSource(SAMPLES / "cells.png", grid=True), Band(), DRAWER))
    assert {one.request.band.strands for one in asked} == {None}
    assert {one.request.artwork.turn for one in asked} == {0}


def test_letters_are_offered_in_several_sizes_both_directions_and_with_borders() -> None:
    asked = offered(Request(LetterSource("RC"), Band(wrist_mm=165), DRAWER))
    assert len({one.key for one in asked}) == len(asked)
    assert {one.request.artwork.direction for one in asked} == {"along", "across"}  # type: ignore[union-attr]
    assert {one.request.band.border for one in asked} == {"lines", None}
    assert len({one.request.artwork.height for one in asked}) >= 3  # type: ignore[union-attr]


def test_the_answer_is_the_same_for_any_number_of_processes() -> None:
    alone, beside = (
        {choice.key: choice for choice in plan_choices(small(), jobs=jobs, effort=0.01)} for jobs in (1, 2)
    )
    assert alone.keys() == beside.keys()
    for key, choice in alone.items():
        other = beside[key]
        assert (choice.pattern, choice.report, choice.picture, choice.figures) == (
            other.pattern, other.report, other.picture, other.figures,
        )  # fmt: skip


def test_a_choice_travels_between_processes(one: Choice) -> None:
    again = pickle.loads(pickle.dumps(one))
    assert again.key == one.key and again.pattern == one.pattern and again.figures == one.figures


def test_what_cannot_be_planned_is_left_out_unless_nothing_can() -> None:
    good = small()[0]
    one_row = replace(good.request.band, rows=1)  # the letter is taller than that
    bad = Asked("bad", good.request._replace(band=one_row))
    assert [choice.key for choice in plan_choices((bad, good), jobs=1, effort=0.01)] == [good.key]
    with pytest.raises(HitchgridError):
        list(plan_choices((bad,), jobs=1))


def test_halted_before_the_first_nothing_is_planned() -> None:
    assert list(plan_choices(small(), jobs=1, halted=lambda: True)) == []


def test_what_another_beats_in_every_respect_is_dropped(one: Choice) -> None:
    worse = like(one, "worse", off=one.figures.off + 5, hours=one.figures.hours + 1)
    closer = like(one, "closer", off=one.figures.off + 1, hours=one.figures.hours - 0.5)
    assert {choice.key for choice in unbeaten((worse, one, closer))} == {one.key, "closer"}


def test_of_two_that_nobody_would_tell_apart_the_closer_one_remains(one: Choice) -> None:
    twin = like(one, "twin", off=one.figures.off + 0.001)
    assert [choice.key for choice in unbeaten((twin, one))] == [one.key]


def test_letters_that_run_another_way_are_no_rivals(one: Choice) -> None:
    turned = one.asked.request._replace(artwork=LetterSource("I", direction="across"))
    across = replace(like(one, "across", hours=99), asked=Asked("across", turned))
    assert len(unbeaten((one, across))) == 2


def test_nonsense_is_no_figures(one: Choice) -> None:
    with pytest.raises(ValueError):
        replace(one.figures, made=one.figures.cells + 1)
    assert isinstance(one.figures, Figures)
