"""Working from right to left, the letters still read right."""

from __future__ import annotations

from hypothesis import given

from pipeline.band.handed import mirrored
from pipeline.band.pattern import Pattern, problems
from pipeline.band.replay import replay
from pipeline.instructions.spoken import compare, read_instructions
from pipeline.instructions.steps import steps
from pipeline.instructions.text import write_instructions
from tests.instructions.bands import FLAG, two_thread_picture
from tests.patterns import patterns


def seen(pattern: Pattern) -> tuple[str, ...]:
    """The picture as the band shows it, row by row from the left."""
    return tuple(
        "".join(".X"[step.shown == 0] for step in sorted(row.steps, key=lambda step: step.tied.position))
        for row in replay(pattern)
    )


def turns(pattern: Pattern) -> list[int]:
    return [row.knots[0][0] for row in pattern.sections[0].rows]


@given(patterns())
def test_mirroring_exchanges_left_and_right_and_nothing_else(pattern: Pattern) -> None:
    other = mirrored(pattern)
    assert list(problems(other)) == []
    assert mirrored(other) == pattern
    last = len(pattern.strands) - 2
    for a, b in zip(replay(pattern), replay(other), strict=True):
        assert a.threads == b.threads[::-1]
        assert [(s.shown, s.hidden, last - s.tied.position) for s in a.steps] == [
            (s.shown, s.hidden, s.tied.position) for s in b.steps
        ]


def test_a_plan_of_the_mirrored_picture_tied_mirrored_reads_right() -> None:
    """The plan for the left hand: the band shows the picture itself, its first row starts at the right."""
    mirror_image = tuple(line[::-1] for line in FLAG)
    for_the_left_hand = mirrored(two_thread_picture(mirror_image))
    assert seen(for_the_left_hand) == FLAG
    assert turns(for_the_left_hand)[:2] == [len(FLAG[0]) - 1, 0]
    text = write_instructions(for_the_left_hand)
    assert "Row 1, right to left" in text
    assert compare(text, for_the_left_hand) == []


def test_from_the_far_side_the_same_band_is_tied_from_right_to_left() -> None:
    """The text mirrors every hand movement; turned half round, what it ties is the very band."""
    pattern = two_thread_picture(FLAG)
    text = write_instructions(pattern, left_handed=True)
    assert "Row 1, right to left" in text and "Row 1, left to right" in write_instructions(pattern)
    assert compare(text, pattern) == []
    tied = read_instructions(text)
    assert tied.strands == pattern.strands
    assert [(said.position, said.knot) for said in tied.knots] == [
        knot for row in pattern.sections[0].rows for knot in row.knots
    ]


@given(patterns(joins=1))
def test_left_handed_steps_name_the_same_knots_of_the_chart(pattern: Pattern) -> None:
    right = {cell for step in steps(pattern) for cell in ((step.section, *c) for c in step.cells)}
    left = {
        cell for step in steps(pattern, left_handed=True) for cell in ((step.section, *c) for c in step.cells)
    }
    assert left == right
    last = len(pattern.strands) - 2
    for step in steps(pattern, left_handed=True):
        for (row, index), (position, knot) in zip(step.cells, step.knots, strict=True):
            there = pattern.sections[step.section].rows[row].knots[index]
            assert there == (last - position, knot.mirrored)
