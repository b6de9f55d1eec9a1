"""What is said before the first knot: the order of the strands and what to cut."""

from __future__ import annotations

import re

import pytest
from hypothesis import given

from pipeline.band.pattern import Pattern
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import cut_list
from tests.instructions.bands import FLAG, course_change, two_thread_picture
from tests.patterns import patterns


def cut_lines(text: str) -> dict[int, tuple[str, int]]:
    """Thread and centimetres of every strand by its number, as a maker reads them from the text."""
    found: dict[int, tuple[str, int]] = {}
    for first, last, name, length in re.findall(
        r"^- strands? (\d+)(?:–(\d+))?, ([^:]+): (\d+) cm(?: each)?$", text, re.MULTILINE
    ):
        for strand in range(int(first), int(last or first) + 1):
            assert strand not in found
            found[strand] = (name, int(length))
    return found


@given(patterns())
def test_every_strand_is_cut_once_and_as_long_as_listed(pattern: Pattern) -> None:
    cuts = cut_list(pattern)
    count = len(pattern.strands)
    names = [pattern.threads[thread].name for thread in pattern.strands]
    right = cut_lines(write_instructions(pattern, cuts))
    left = cut_lines(write_instructions(pattern, cuts, left_handed=True))
    assert sorted(right) == list(range(1, count + 1))
    for cut in cuts:
        expected = (names[cut.position], round(cut.pieces_mm[0] / 10))
        assert right[cut.position + 1] == expected
        assert left[count - cut.position] == expected


def test_later_pieces_are_listed_for_their_joins() -> None:
    pattern = course_change()
    cuts = cut_list(pattern)
    text = write_instructions(pattern, cuts)
    assert f"- for joins to strand 1: {cuts[0].pieces_mm[1] / 10:.0f} cm navy" in text
    folded = (cuts[2].pieces_mm[0] + cuts[3].pieces_mm[0]) / 10
    assert f"- strands 3 and 4, chalk: {folded:.0f} cm, folded" in text
    assert f"- strands 3 and 4, chalk: {folded:.0f} cm, folded" in write_instructions(
        pattern, cuts, left_handed=True
    )


def test_only_the_words_that_are_needed_are_explained() -> None:
    row_work = write_instructions(two_thread_picture(FLAG))
    assert "Row work:" in row_work
    assert "Diagonal work:" not in row_work and "Joins:" not in row_work and "then leads" not in row_work
    both = write_instructions(course_change())
    assert all(word in both for word in ("Row work:", "Diagonal work:", "Joins:", '"then leads"'))


@pytest.mark.parametrize("left_handed", [False, True])
def test_cautions_defer_to_local_rules(left_handed: bool) -> None:
    text = write_instructions(two_thread_picture(FLAG), left_handed=left_handed)
    assert text.index("Local rules") > text.index("Cautions")
    assert "under 3" in text and "finger must slide" in text
