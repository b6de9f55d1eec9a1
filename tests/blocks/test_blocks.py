"""Colour blocks: groups pass each other knot by knot, in the rows and with the orders that are expected."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.knots import Tied, tie
from pipeline.band.reading import problems
from pipeline.band.replay import replay
from pipeline.blocks.switches import Switched, told
from pipeline.blocks.weave import (
    Group,
    Move,
    Switch,
    Woven,
    blocks_pattern,
    default_moves,
    group_use,
    moves_for,
    weave,
)
from pipeline.blocks.words import parse_groups, parse_moves
from pipeline.errors import ImpossibleError, InputError
from pipeline.instructions.compare import compare
from pipeline.instructions.text import write_instructions
from tests.instructions.bands import CHALK, CORAL, GAUGE, NAVY, STRAIGHT

sizes_of = st.lists(st.integers(1, 5), min_size=2, max_size=5)


def tied_strands(sizes: list[int], woven: Woven) -> tuple[list[Tied], list[int]]:
    """Tie the rows strand by strand; strands are numbered by starting position."""
    order = list(range(sum(sizes)))
    return [tie(order, p, knot) for row in woven.rows for p, knot in row], order


def group_of(sizes: list[int]) -> list[int]:
    return [group for group, size in enumerate(sizes) for _ in range(size)]


@pytest.mark.parametrize(("a", "b"), [(1, 1), (4, 3), (1, 6), (5, 5), (2, 7)])
@pytest.mark.parametrize("left", [True, False])
def test_a_group_passes_a_group(a: int, b: int, left: bool) -> None:
    """a·b knots in a+b−1 diagonal rows, all showing the group that ties (common practice, no source)."""
    woven = weave([a, b], [(Switch(0, left),)], filled=False)
    knots, order = tied_strands([a, b], woven)
    assert len(knots) == a * b and len(woven.rows) == a + b - 1
    assert {knot.tying < a for knot in knots} == {left}
    assert order == [*range(a, a + b), *range(a)]
    assert woven.tied == ((a * b, 0) if left else (0, a * b))


@given(sizes_of, st.integers(1, 9), st.booleans())
def test_switches_and_nothing_else_move_groups(sizes: list[int], count: int, filled: bool) -> None:
    moves = tuple(default_moves(len(sizes))[i % len(default_moves(len(sizes)))] for i in range(count))
    woven = weave(sizes, moves, filled=filled)
    groups = group_of(sizes)
    knots, order = tied_strands(sizes, woven)
    places = list(range(len(sizes)))
    expected: dict[frozenset[int], int] = {}
    for move in moves:
        for switch in move:
            pair = places[switch.place : switch.place + 2]
            expected[frozenset(pair)] = expected.get(frozenset(pair), 0) + sizes[pair[0]] * sizes[pair[1]]
            places[switch.place : switch.place + 2] = pair[::-1]
    assert tuple(groups[strand] for strand in order) == woven.order
    assert woven.order == tuple(group for group in places for _ in range(sizes[group]))
    passed: dict[frozenset[int], int] = {}
    for knot in knots:
        pair = frozenset((groups[knot.left], groups[knot.right]))
        if len(pair) == 2 and knot.knot.swaps:
            passed[pair] = passed.get(pair, 0) + 1
    assert passed == expected
    assert sum(woven.tied) == len(knots)


@given(sizes_of)
def test_groups_reverse_and_come_back(sizes: list[int]) -> None:
    """As many moves as groups reverse their order, twice as many restore it: odd–even transposition
    (Habermann 1972; Knuth, TAOCP 3, §5.3.4).
    """
    moves, count = default_moves(len(sizes)), len(sizes)
    half = weave(sizes, [moves[i % len(moves)] for i in range(count if count > 2 else 1)])
    whole = weave(sizes, [moves[i % len(moves)] for i in range(2 * count if count > 2 else 2)])
    assert half.order == tuple(group for group in reversed(range(count)) for _ in range(sizes[group]))
    assert whole.order == tuple(group_of(sizes))


@given(sizes_of, st.integers(1, 8))
def test_filled_blocks_leave_no_strand_to_float(sizes: list[int], count: int) -> None:
    moves = default_moves(len(sizes))
    woven = weave(sizes, [moves[i % len(moves)] for i in range(count)])
    strands = sum(sizes)
    first = woven.rows[0][0][0] if woven.rows[0] else 1
    for r, row in enumerate(woven.rows):
        assert [p for p, _ in row] == list(range((first + r) % 2, strands - 1, 2))


def test_of_two_equal_groups_each_shows_in_turn() -> None:
    """As in a basket; equal groups of an even band tie equally (counted by hand for 2 × 2 strands)."""
    woven = weave([2, 2], default_moves(2) * 4, filled=False)
    assert woven.tied == (8, 8)


def test_what_is_left_open_goes_to_the_group_that_tied_less() -> None:
    woven = weave([3, 3, 3], [(Switch(0, True),), (Switch(1, True),), (Switch(0),)], filled=False)
    # Group 0 passed 1 and 2; then 1 and 2 meet, have tied nothing, and the left one of them shows.
    assert woven.tied == (18, 9, 0)


@given(sizes_of, st.integers(1, 150))
def test_length_comes_as_near_as_moves_can(sizes: list[int], rows: int) -> None:
    moves = default_moves(len(sizes))
    chosen = moves_for(sizes, moves, rows)
    off = abs(len(weave(sizes, chosen).rows) - rows)
    for count in (len(chosen) - 1, len(chosen) + 1):
        other = tuple(moves[i % len(moves)] for i in range(count))
        assert not other or abs(len(weave(sizes, other).rows) - rows) >= off


def test_bounds_of_the_length() -> None:
    with pytest.raises(InputError, match="0 rows of blocks"):
        moves_for([2, 2], default_moves(2), 0)
    with pytest.raises(InputError, match="6000 rows of blocks"):
        moves_for([2, 2], default_moves(2), 6000)
    with pytest.raises(ImpossibleError, match="more than 5000 rows"):
        weave([2, 2], default_moves(2) * 3000)
    with pytest.raises(ImpossibleError, match="one group"):
        default_moves(1)


@given(sizes_of, st.integers(1, 6), st.booleans())
def test_bands_of_blocks_are_legal_and_said_right(sizes: list[int], count: int, filled: bool) -> None:
    groups = [Group(i % 3, size) for i, size in enumerate(sizes)]
    moves = default_moves(len(sizes))
    moves = tuple(moves[i % len(moves)] for i in range(count))
    woven = weave(sizes, moves, filled=filled)
    band = blocks_pattern(groups, woven, (NAVY, CHALK, CORAL), GAUGE, STRAIGHT, "buoys")
    assert list(problems(band)) == []
    assert compare(write_instructions(band), band) == []
    shown = [step.shown for row in replay(band) for step in row.steps]
    use = group_use(groups, woven)
    for thread in range(3):
        tied = sum(u.tied_per_strand * u.strands for u in use if u.thread == thread)
        assert shown.count(thread) == pytest.approx(tied)


def test_overlapping_or_missing_places_are_refused() -> None:
    with pytest.raises(ValueError, match="different groups"):
        weave([1, 1, 1], [(Switch(0), Switch(1))])
    with pytest.raises(ValueError, match="no groups in places"):
        weave([1, 1], [(Switch(1),)])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("navy", "'navy' is not a thread and a number of strands"),
        ("navy 4", "needs two groups or more"),
        ("navy 0, chalk 3", "'navy 0' is not a thread"),
        ("navy 4, chalk -3", "'chalk -3' is not a thread"),
        ("navy 300, chalk 300", "at most 400 strands"),
        ("", "needs two groups or more"),
        ("navy 4,\x00chalk 3", "needs two groups or more"),
    ],
)
def test_groups_that_are_not_understood(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_groups(text)


def test_group_names_may_hold_spaces_and_commas() -> None:
    assert parse_groups('harbour blue 4, "rope, light 2"') == (("harbour blue", 4), ("rope, light", 2))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1-3", "places 1 and 3 are no neighbours"),
        ("3-4", "places 3 and 4 are no neighbours among 3 groups"),
        ("0-1", "no neighbours"),
        ("1-2 up", "'1-2 up' is not understood"),
        ("1-2 and 2-3", "a group switches twice at once"),
        ("", "'' is not understood"),
        ("1-2," * 3000, "more than 2000 moves"),
    ],
)
def test_switches_that_are_not_understood(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_moves(text, 3)


def test_switches_are_read_as_written() -> None:
    expected: tuple[Move, ...] = ((Switch(0, True), Switch(2)), (Switch(1, False),))
    assert parse_moves(" 3-4 and 1 - 2 left,2-3 right", 4) == expected


def test_switches_that_come_again_are_told_once() -> None:
    """Three there and back, 6 rows apart; one more does not fit in."""
    there = Switched(0, 1, (2, 2), 0, 2, 0, rightwards=True)
    back = Switched(1, 0, (2, 2), 3, 5, 0, rightwards=True)
    pairs = [
        replace(one, first_row=one.first_row + 6 * i, last_row=one.last_row + 6 * i)
        for i in range(3)
        for one in (there, back)
    ]
    names = ["navy", "chalk"]
    assert list(told(pairs, names))[2:] == [
        "Switches 3–6: the same as 1–2, 6 rows later each time, 2 times over."
    ]
    assert list(told(pairs[:5], names))[2:] == [
        "Switches 3–5: the same as 1–2, 6 rows later each time, 2 times over. "
        "The last time breaks off where the band ends."
    ]
    other = replace(there, first_row=20, last_row=22)
    assert list(told([*pairs, other], names))[3:] == [f"Switch 7: {other.sentence(names)}"]
    assert len(list(told([there, other], names))) == 2
