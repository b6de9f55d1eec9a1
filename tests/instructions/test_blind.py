"""From the words alone: the band is the chart, and a wrong knot does not go far unnoticed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import cut_list
from tests.instructions.bands import FLAG, course_change, regatta_blocks, two_thread_picture
from tests.instructions.blind import Maker, Wrong
from tests.patterns import patterns, random_pattern


def columns(knots: list[tuple[int, bool, bool, str]]) -> dict[int, list[tuple[bool, bool, str]]]:
    """Knots of each position in the order tied: what two tyings of one band have in common."""
    found: dict[int, list[tuple[bool, bool, str]]] = {}
    for position, *rest in knots:
        found.setdefault(position, []).append(tuple(rest))
    return found


def charted(pattern: Pattern) -> dict[int, list[tuple[bool, bool, str]]]:
    return columns(
        [
            (s.tied.position + 1, s.tied.knot.left_ties, s.tied.knot.swaps, pattern.threads[s.shown].name)
            for row in replay(pattern)
            for s in row.steps
        ]
    )


@given(patterns(max_strands=12, max_rows=12))
def test_nothing_but_the_words_ties_the_chart(pattern: Pattern) -> None:
    text = write_instructions(pattern, cut_list(pattern))
    assert columns(Maker().follow(text).knots) == charted(pattern)


@pytest.mark.parametrize("band", [course_change, regatta_blocks, lambda: two_thread_picture(FLAG * 6)])
def test_bands_with_repeats_joins_and_groups_are_tied(band: Callable[[], Pattern]) -> None:
    pattern = band()
    assert columns(Maker().follow(write_instructions(pattern, cut_list(pattern))).knots) == charted(pattern)


def slipped(pattern: Pattern, wrong: int, *, ties: bool, swaps: bool) -> tuple[int | None, bool]:
    """Knots tied from the wrong one to the look that betrays it, and whether two threads met in it."""
    text = write_instructions(pattern)
    sound = Maker().follow(text)

    def slip(number: int, left: bool, swap: bool) -> tuple[bool, bool]:
        return (left != ties, swap != swaps) if number == wrong else (left, swap)

    maker = Maker(slip, colours=True)
    try:
        maker.follow(text)
    except Wrong as betrayed:
        return betrayed.knots - wrong, True
    same = [k[3] for k in maker.knots] == [k[3] for k in sound.knots]
    return None, not same


@given(st.integers(0, 9999), st.sampled_from(("rows", "diagonal")), st.data())
@settings(max_examples=40)
def test_a_knot_that_the_wrong_strand_ties_is_noticed_in_its_line(
    seed: int, worked: str, data: st.DataObject
) -> None:
    pattern = random_pattern(seed, strands=7, rows=12, threads=3, worked=worked, sections=1, joins=0)
    total = sum(len(row.knots) for _, _, _, row in pattern.rows())
    wrong = data.draw(st.integers(0, total - 1))
    after, differs = slipped(pattern, wrong, ties=True, swaps=False)
    if differs:
        assert after is not None and after <= 7 * 6, "a line, or the way of each strand in one"


@given(st.integers(0, 9999), st.sampled_from(("rows", "diagonal")), st.data())
@settings(max_examples=40)
def test_strands_in_the_wrong_places_are_noticed_within_five_rows(
    seed: int, worked: str, data: st.DataObject
) -> None:
    pattern = random_pattern(seed, strands=7, rows=12, threads=3, worked=worked, sections=1, joins=0)
    total = sum(len(row.knots) for _, _, _, row in pattern.rows())
    wrong = data.draw(st.integers(0, total - 1))
    after, differs = slipped(pattern, wrong, ties=False, swaps=True)
    if differs:
        assert after is not None and after <= 5 * 6 + 6 * 6, "five rows, and the line that they end in"
