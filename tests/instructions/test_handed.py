"""Working from right to left, the letters still read right."""

from __future__ import annotations

import pytest
from hypothesis import given

from pipeline.band.handed import begins_right, for_left_hand, mirrored, turned
from pipeline.band.pattern import End, Ends, Pattern
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.errors import ImpossibleError
from pipeline.instructions.compare import compare
from pipeline.instructions.text import write_instructions
from tests.instructions.bands import FLAG, two_thread_picture
from tests.patterns import patterns, random_pattern


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


# ---------------------------------------------------------------- a finished pattern, tied from its other end


@given(patterns(joins=0))
def test_turned_twice_is_the_same_band(pattern: Pattern) -> None:
    other = turned(pattern)
    assert list(problems(other)) == []
    assert turned(other) == pattern


@given(patterns(joins=1))
def test_the_turned_band_shows_the_same_picture_from_the_other_end(pattern: Pattern) -> None:
    """Cell by cell: what shows, what is hidden and what was wanted, turned half round."""
    try:
        other = turned(pattern)
    except ImpossibleError as error:
        assert "a join of this band has no place" in error.message
        return
    last = len(pattern.strands) - 2
    for one, two in zip(list(replay(pattern))[::-1], replay(other), strict=True):
        assert [(s.shown, s.wanted, s.tied.position, s.tied.knot.swaps) for s in one.steps[::-1]] == [
            (s.shown, s.wanted, last - s.tied.position, s.tied.knot.swaps) for s in two.steps
        ]
        assert [s.hidden for s in one.steps[::-1] if s.joined is None] == [
            s.hidden for s, t in zip(two.steps, one.steps[::-1], strict=True) if t.joined is None
        ]
    assert compare(write_instructions(other), other) == []


@pytest.mark.parametrize("rows", [FLAG, FLAG[:-1]])
def test_any_finished_band_can_begin_at_the_right(rows: tuple[str, ...]) -> None:
    """Where the last row ends at the right, a row of ground comes first; the picture is the same."""
    pattern = two_thread_picture(rows)
    left = for_left_hand(pattern)
    assert not begins_right(pattern) and begins_right(left)
    assert for_left_hand(left) is left
    picked_up = [line[::-1] for line in seen(left)[::-1]]
    assert picked_up[: len(rows)] == list(rows)
    assert len(picked_up) == len(rows) + len(rows) % 2
    assert "Row 1, right to left" in write_instructions(left)
    assert compare(write_instructions(left), left) == []


def test_a_folded_start_is_planned_again() -> None:
    folded = End(style="loop", tail_mm=100, folded=((1, 2),), loop_mm=40)
    pattern = two_thread_picture(FLAG)
    pattern = pattern.model_copy(update={"ends": Ends(start=folded, finish=pattern.ends.finish)})
    with pytest.raises(ImpossibleError, match="Plan the band again with --left-handed"):
        for_left_hand(pattern)


def test_diagonal_work_has_no_beginning_edge() -> None:
    pattern = random_pattern(4, strands=6, worked="diagonal", sections=1)
    assert begins_right(pattern) is None and for_left_hand(pattern) is pattern


def test_both_ends_change_places() -> None:
    start = End(style="braid", tail_mm=150, taper=(2, 4), taper_mm=8)
    pattern = two_thread_picture(FLAG)
    pattern = pattern.model_copy(update={"ends": Ends(start=start, finish=pattern.ends.finish)})
    ends = turned(pattern).ends
    assert (ends.finish.style, ends.finish.taper, ends.start) == ("braid", (4, 2), pattern.ends.finish)
