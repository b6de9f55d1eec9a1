"""One reader for flags, cells and fields: what each option becomes, and how a refusal names its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.literals import EASE_OF
from pipeline.order.asked import Band, LetterSource, PictureSource, Tying
from pipeline.order.given import canonical, column, field, flag
from pipeline.order.options import (
    BLOCKS,
    NAMED,
    NOT_AN_OPTION,
    OPTIONS,
    SAME_OPTION,
    SAME_WORD,
    Kind,
)
from pipeline.order.request import DrawerRequest, Search, parse
from pipeline.routing import Ease

LETTERS = {"letters": "RC"}


def test_nothing_said_is_the_defaults_of_the_library() -> None:
    order = parse(LETTERS)
    assert order.artwork == LetterSource("RC")
    assert order.band == Band(wrist_mm=165, usual_wrist=True)
    assert order.drawer == DrawerRequest()
    assert order.tying == Tying()
    assert order.search == Search()
    assert order.title == "RC"
    assert parse({"picture": "harbour_flag.png"}).artwork == PictureSource(Path("harbour_flag.png"))


def test_everything_said_arrives() -> None:
    """Every option but letters, given once in its own way, changes what is asked."""
    given = {
        "picture": "flag.png", "grid": "yes", "background": "#ffffff", "trim": "no", "crop": "0,0,0.5,1",
        "turn": "-1", "mirror": "yes", "fit": "cover", "reduce": "photo", "stash": "mine.csv",
        "threads": "navy; chalk", "colours": "2", "ground": "navy", "at-most": "navy=3, chalk=2",
        "start-order": "navy,*", "strands": "20", "worked": "diagonal", "rows": "60", "wrist": "16 cm",
        "room": "20mm", "gauge": "0.7mm", "selvedge": "1", "fill": "centre", "border": "yes",
        "border-kind": "blocks",
        "left-handed": "yes", "hand-overs": "any", "switching-rows": "auto", "joins": "2", "share": "full",
        "longest": "2m", "margin": "10", "pace": "7,5", "start": "loop", "finish": "braid", "taper": "yes",
        "tail": "12 cm", "title": "Regatta", "advice": "no", "time-limit": "30", "effort": "0.5", "seed": "4",
    }  # fmt: skip
    of_letters = {"height": "7", "font": "sans.ttf", "across": "yes", "letter-threads": "navy"}
    elsewhere = {"letters", "ease", "out", "replace", "quiet"}
    assert {*given, *of_letters, *elsewhere} == {option.name for option in OPTIONS}
    order = parse(given)
    assert order.artwork == PictureSource(
        Path("flag.png"), True, "#ffffff", False, (0, 0, 0.5, 1), 3, True, "cover", "photo"
    )
    assert order.band == Band(
        20, "diagonal", 60, 160.0, False, 20.0, 0.7, 1, "centre", "loop", "braid", True, 120.0, "blocks", True
    )
    assert order.drawer == DrawerRequest(Path("mine.csv"), ("navy", "chalk"), 2, "navy")
    assert order.tying == Tying(
        Ease.FULL, None, 2, {"navy": 3, "chalk": 2}, ("navy", None), "full", 2000.0, 0.1
    )
    assert (order.title, order.pace_s, order.search) == ("Regatta", 7.5, Search(0.5, 4, 30.0, False))
    assert parse({**LETTERS, **of_letters}).artwork == LetterSource(
        "RC", 7, Path("sans.ttf"), "across", ("navy",)
    )


@pytest.mark.parametrize(
    "name", [option.name for option in OPTIONS if option.kind not in (Kind.TEXT, Kind.FILE)]
)
def test_a_refusal_says_where_in_every_way_in(name: str) -> None:
    wrong = {**LETTERS, name: "=?,"}
    for where, place in ((flag, f"--{name}"), (column(7), f"line 7, column {name}"), (field, "field ")):
        with pytest.raises(InputError) as refused:
            parse(wrong, where)
        assert refused.value.message.startswith(place)
        assert refused.value.hint


@pytest.mark.parametrize(
    "option", [o for o in OPTIONS if o.bounds is not None], ids=lambda option: option.name
)
def test_the_bounds_hold_at_both_ends(option) -> None:
    unit = "mm" if option.kind is Kind.LENGTH else ""
    whole = option.kind is Kind.WHOLE
    for end, beyond in ((option.bounds.least, -1), (option.bounds.most, 1)):
        parse({**LETTERS, option.name: f"{end:.12g}{unit}"})
        if end + beyond < 0 and not whole:
            continue  # a length or a number has no sign
        with pytest.raises(InputError, match=f"--{option.name}"):
            parse({**LETTERS, option.name: f"{end + beyond * (1 if whole else end / 2):.12g}{unit}"})


@pytest.mark.parametrize(
    "option", [o for o in (*OPTIONS, *BLOCKS) if o.usual], ids=lambda option: option.name
)
def test_what_is_usual_can_be_said(option) -> None:
    if option in OPTIONS:
        assert parse({**LETTERS, option.name: option.usual}) == parse(LETTERS)


def test_hand_overs_and_ease_say_the_same() -> None:
    for allowed, ease in EASE_OF.items():
        assert parse({**LETTERS, "hand-overs": allowed}) == parse({**LETTERS, "ease": ease})
    with pytest.raises(InputError, match="differ"):
        parse({**LETTERS, "hand-overs": "none", "ease": "full"})


@pytest.mark.parametrize(
    ("wrist", "meant"),
    [("155", "155mm"), ("16", "16cm"), ("6.5", "6.5in"), ("6 1/4", "6 1/4in"), ("3", "3mm")],
)
def test_a_wrist_without_a_unit_is_asked_about(wrist: str, meant: str) -> None:
    with pytest.raises(InputError, match="meant") as refused:
        parse({**LETTERS, "wrist": wrist})
    assert f"write {meant};" in refused.value.hint


def test_rows_or_a_grid_tell_the_length_without_a_wrist() -> None:
    assert parse({**LETTERS, "rows": "60"}).band.wrist_mm is None
    assert parse({"picture": "flag.png", "grid": "yes"}).band.wrist_mm is None
    assert parse({**LETTERS, "rows": "60", "wrist": "men-medium"}).band.wrist_mm == 176


def test_paths_are_found_from_the_list(tmp_path: Path) -> None:
    order = parse({"picture": "flag.png"}, base=tmp_path)
    assert isinstance(order.artwork, PictureSource) and order.artwork.path == tmp_path / "flag.png"


def test_slips_lead_to_options_and_words_that_exist() -> None:
    assert set(SAME_OPTION.values()) <= set(NAMED)
    assert not set(SAME_OPTION) & set(NAMED)
    assert set(NOT_AN_OPTION) & set(NAMED) == {"picture"}  # which stands without a flag
    words = {word for option in OPTIONS for word in option.words}
    assert set(SAME_WORD.values()) <= words
    assert canonical("Left_Handed") == "left-handed" and canonical("colour") == "colours"
    assert parse({**LETTERS, "fill": "Center", "finish": "plait"}).band.finish == "braid"


@pytest.mark.parametrize("texts", [{}, {"picture": " "}, {"letters": "A", "picture": "a.png"}])
def test_one_artwork_is_needed(texts: dict[str, str]) -> None:
    with pytest.raises(InputError, match="letters"):
        parse(texts)


def test_what_is_no_option_or_said_twice_is_refused() -> None:
    with pytest.raises(InputError, match="--sails"):
        parse({**LETTERS, "sails": "2"})
    with pytest.raises(InputError, match="twice"):
        parse({**LETTERS, "colors": "2", "colours": "3"})
