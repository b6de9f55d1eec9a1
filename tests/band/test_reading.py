"""Patterns edited by hand in plausible wrong ways: each is refused, at the place of the edit."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from pipeline.band.example import two_rows
from pipeline.band.pattern import render
from pipeline.band.reading import parse_pattern
from pipeline.errors import InputError, PatternError

Document = dict[str, Any]


def document() -> Document:
    return json.loads(render(two_rows()))  # type: ignore[no-any-return]


def put(*place: int | str, value: object) -> Callable[[Document], None]:
    """An edit that puts ``value`` at a place of the document."""

    def edit(told: Any) -> None:
        for step in place[:-1]:
            told = told[step]
        told[place[-1]] = value

    return edit


ROW = ("sections", 0, "rows", 0)
FOLDED = {"style": "loop", "tail_mm": 100, "folded": [[1, 2]], "loop_mm": 40}
EDITS: list[tuple[Callable[[Document], None], str, str]] = [
    (put("strands", 0, value=7), "strands[0]", "not among the 2 threads"),
    (put("strands", 0, value=False), "strands[0]", "valid integer"),
    (put("strands", value=[0, 1, 1]), "sections[0].rows[0].knots[2]", "outside a band of 3 strands"),
    (put("ground", value=2), "ground", "not among"),
    (put("version", value=1.0), "version", "whole number"),
    (put("threads", 0, "colour", value="#fff"), "threads[0].colour", "match"),
    (put("threads", 1, "name", value=" "), "threads[1].name", "has no name"),
    (put(*ROW, "knots", 1, value=[1, "sideways"]), "sections[0].rows[0].knots[1][1]", "forward"),
    (put(*ROW, "wanted", value=[0]), "sections[0].rows[0].wanted", "1 entries for 3 knots"),
    (put(*ROW, "wanted", 0, value=9), "sections[0].rows[0].wanted[0]", "not among"),
    (put(*ROW, "costs", value=[[1, 2]] * 3), "sections[0].rows[0].costs[0]", "least of the costs is 0"),
    (put(*ROW, "costs", value=[[0], [0, 1], [0, 1]]), "sections[0].rows[0].costs[0]", "1 numbers for 2"),
    (put("sections", 0, "kind", value="plain"), "sections[0].rows[0].wanted[0]", "asks for nothing"),
    (put("sections", 0, "worked", value="diagonal"), "sections[0].rows[0].knots[1]", "one parity"),
    (
        put("joins", value=[{"section": 0, "row": 9, "knot": 0, "thread": 0}]),
        "joins[0]",
        "no knot 0 in row 9",
    ),
    (put("ends", "finish", value=FOLDED), "ends.finish", "only a start"),
    (put("ends", "finish", "taper", value=[1, 2]), "ends.finish.taper", "halves of 1 and 2 strands, not 4"),
    (put("ends", "finish", "taper", value=[0, 4]), "ends.finish.taper", "two halves"),
    (put("ends", "start", value={**FOLDED, "taper": [2, 2]}), "ends.start.taper", "folded start has none"),
    (put("ends", "start", value={**FOLDED, "folded": [[0, 1]]}), "ends.start.folded[0]", "have one thread"),
    (put("ends", "start", value={**FOLDED, "folded": [[1, 1]]}), "ends.start.folded[0]", "folds with one"),
]


@pytest.mark.parametrize(("edit", "place", "what"), EDITS, ids=[f"{p}: {w}" for _, p, w in EDITS])
def test_an_edit_is_refused_at_its_place(edit: Callable[[Document], None], place: str, what: str) -> None:
    told = document()
    parse_pattern(json.dumps(told))
    edit(told)
    with pytest.raises(PatternError) as refused:
        parse_pattern(json.dumps(told))
    assert refused.value.place == place
    assert what in str(refused.value).partition(" (also")[0]


def test_a_key_that_stands_twice_is_refused_wherever_it_stands() -> None:
    """The last of two would win without a word, and the maker would tie what is not meant."""
    text = json.dumps(document())
    for once, twice, key in (
        ('"strands"', '"strands": [0, 0, 0, 0], "strands"', "strands"),
        ('"knots"', '"knots": [], "knots"', "knots"),
        ('"colour"', '"colour": "#000000", "colour"', "colour"),
    ):
        with pytest.raises(InputError, match=f"line 1: '{key}' stands twice"):
            parse_pattern(text.replace(once, twice, 1))


def test_a_pattern_that_was_saved_with_a_mark_of_utf_8_is_read() -> None:
    text = json.dumps(document())
    assert parse_pattern(b"\xef\xbb\xbf" + text.encode()) == parse_pattern(text)


@pytest.mark.parametrize("blanks", ["sea  pink", "sea\u00a0pink", " sea pink"])
def test_names_that_look_alike_are_one_name(blanks: str) -> None:
    told = document()
    told["threads"][0]["name"], told["threads"][1]["name"] = "sea pink", blanks
    with pytest.raises(PatternError, match="'sea pink' stands twice"):
        parse_pattern(json.dumps(told))


def test_what_is_wanted_costs_least() -> None:
    told = document()
    row = told["sections"][0]["rows"][0]
    row["costs"] = [[0, 5] if want in (0, None) else [5, 0] for want in row["wanted"]]
    parse_pattern(json.dumps(told))
    row["costs"][0].reverse()
    with pytest.raises(PatternError, match="is wanted, and another costs less"):
        parse_pattern(json.dumps(told))
