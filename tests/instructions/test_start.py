"""What is said before the first knot: the order of the strands and what to cut."""

from __future__ import annotations

import re

from hypothesis import given

from pipeline.band.pattern import Pattern, PatternThread
from pipeline.instructions.compare import compare
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import cut_list
from pipeline.materials.price import hours
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
    assert sorted(right) == list(range(1, count + 1))
    for cut in cuts:
        expected = (names[cut.position], round(cut.pieces_mm[0] / 10))
        assert right[cut.position + 1] == expected


def test_later_pieces_are_listed_for_their_joins() -> None:
    pattern = course_change()
    cuts = cut_list(pattern)
    text = write_instructions(pattern, cuts)
    assert f"- for joins to strand 1: {cuts[0].pieces_mm[1] / 10:.0f} cm navy" in text
    folded = (cuts[2].pieces_mm[0] + cuts[3].pieces_mm[0]) / 10
    assert f"- strands 3 and 4, chalk: {folded:.0f} cm, folded" in text


def test_only_the_words_that_are_needed_are_explained() -> None:
    row_work = write_instructions(two_thread_picture(FLAG))
    assert "Row: the leader" in row_work
    assert not any(word in row_work for word in ('"Take the', "Joining new", "Change at", "Pairs are"))
    both = write_instructions(course_change())
    assert all(
        word in both for word in ("Row: the leader", '"Take the', '"Joining', '"Change at', "Pairs are")
    )


def test_no_thread_is_listed_that_no_strand_has() -> None:
    pattern = two_thread_picture(FLAG)
    wanted = PatternThread(name="coral", colour="#e0654f")
    first = pattern.threads[0]
    pattern = pattern.model_copy(update={"threads": (wanted, first, pattern.threads[1])})
    sections = [
        section.model_copy(
            update={
                "rows": tuple(r.model_copy(update={"wanted": (0,) * len(r.wanted)}) for r in section.rows)
            }
        )
        for section in pattern.sections
    ]
    strands = tuple(thread + 1 for thread in pattern.strands)
    pattern = pattern.model_copy(update={"sections": tuple(sections), "strands": strands, "ground": 2})
    text = write_instructions(pattern, cut_list(pattern))
    assert "coral" not in text and "2. navy (#1b2a59): 1 strand" in text
    assert compare(text, pattern) == []


def test_cautions_defer_to_local_rules() -> None:
    text = write_instructions(two_thread_picture(FLAG))
    assert text.index("Local rules") < text.index("Materials")
    assert "under 3" in text and "finger must slide" in text


def test_hours_are_told_as_exactly_as_in_the_report_and_with_their_pace() -> None:
    pattern = two_thread_picture(["X-" * 10] * 50)
    assert hours(pattern).knots == 1000
    assert "About 2.2 to 2.8 hours of knots at 8 to 10 s each;" in write_instructions(pattern, ())
