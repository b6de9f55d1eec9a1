"""The form for reading aloud: complete, speakable, and a group that follows it ties the band."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.instructions.aloud import spoken_form
from pipeline.instructions.compose import instructions
from pipeline.instructions.practice import practice
from tests.instructions.bands import FLAG, course_change, regatta_blocks, two_thread_picture
from tests.patterns import patterns, random_pattern


@given(patterns(max_rows=6))
def test_every_line_is_a_sentence_that_can_be_spoken(pattern: Pattern) -> None:
    for line in spoken_form(instructions(pattern)).splitlines():
        assert not line or line.startswith("(") or not re.search(r"[(){}\[\]–#]", line), line
        assert not line or line.endswith((".", ".)", ",")) or "strand" in line


def row_knots(said: str) -> list[tuple[int, bool]]:
    """Knots of row work as a listener ties them: (column, leader ties), from the sentences alone."""
    knots: list[tuple[int, bool]] = []
    rising = True
    at = 0
    strands = int(re.search(r"Everybody has (\d+) strands", said)[1])  # type: ignore[index]
    for line in said.splitlines():
        if row := re.match(r"Row \d+, from (left|right)", line):
            rising = row[1] == "left"
            at = 0 if rising else strands - 2
        over = re.match(r"It ties over the next(?: (\d+))?\.", line)
        held = re.match(r"Hold it: the next(?: (\d+))? ties? over it\.", line)
        for _ in range(int((over or held)[1] or 1) if over or held else 0):  # type: ignore[index]
            knots.append((at, bool(over)))
            at += 1 if rising else -1
    return knots


def test_who_only_listens_ties_the_picture() -> None:
    pattern = two_thread_picture(FLAG[:4])  # nothing is repeated
    expected = [
        (step.tied.position, step.tied.knot.left_ties == row.rising)
        for row in replay(pattern)
        for step in row.steps
    ]
    assert row_knots(spoken_form(instructions(pattern))) == expected


def test_colours_and_orders_are_said_as_they_are_written() -> None:
    pattern = random_pattern(3, strands=6, rows=10, threads=3, sections=1, joins=0)
    told = instructions(pattern)
    said = spoken_form(told)
    passage = told.passages[0]
    written = [item for item in passage.items if isinstance(item, int)]
    assert said.count("Now you see ") == len(written)
    assert said.count("Stop and look.") >= 2


@pytest.mark.parametrize("band", [course_change, regatta_blocks, lambda: two_thread_picture(FLAG)])
def test_a_practice_swatch_has_the_knots_of_its_band(band: Callable[[], Pattern]) -> None:
    pattern = band()
    swatch = practice(pattern)
    first = {knot for row in pattern.sections[0].rows for _, knot in row.knots}
    tied = {knot for row in swatch.sections[0].rows for _, knot in row.knots}
    assert {knot.swaps for knot in first} == {knot.swaps for knot in tied}
    assert set(swatch.strands) <= set(pattern.strands)
    assert list(replay(swatch)), "it can be tied"
