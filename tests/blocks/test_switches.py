"""Which groups switch when, read back from the pattern."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.pattern import Pattern, PatternThread
from pipeline.blocks.switches import switches_of
from pipeline.blocks.weave import Group, Switch, blocks_pattern, default_moves, weave
from pipeline.materials.gauge import preset_gauge
from tests.materials.bands import PLAIN_ENDS
from tests.patterns import THREADS, random_pattern


def blocks(groups: list[tuple[int, int]], moves: list[tuple[Switch, ...]]) -> Pattern:
    made = [Group(thread, strands) for thread, strands in groups]
    threads: tuple[PatternThread, ...] = THREADS
    woven = weave([group.strands for group in made], moves)
    return blocks_pattern(made, woven, threads, preset_gauge(0.71, "diagonal"), PLAIN_ENDS, "switched")


def test_two_groups_by_hand() -> None:
    """Two blue and two chalk strands pass in 2 + 2 − 1 = 3 rows, over positions 1 to 4."""
    (one,) = switches_of(blocks([(0, 2), (1, 2)], [(Switch(0, True),)]))
    assert (one.shown, one.hidden, one.strands, one.rightwards) == (0, 1, (2, 2), True)
    assert (one.first_row, one.last_row, one.position) == (0, 2, 0)
    assert one.sentence(["harbour blue", "chalk"]) == (
        "Rows 1–3, positions 1–4: harbour blue (2) passes over chalk (2) to the right; harbour blue shows."
    )


def test_the_group_from_the_right_shows_and_comes_back() -> None:
    pattern = blocks([(0, 3), (1, 2)], [(Switch(0, False),), (Switch(0, False),)])
    one, two = switches_of(pattern)
    assert (one.shown, one.rightwards, one.strands) == (1, False, (2, 3))
    assert (two.shown, two.rightwards, two.strands) == (0, False, (3, 2))
    assert two.first_row > one.first_row


@given(st.lists(st.integers(1, 5), min_size=2, max_size=5), st.integers(1, 8))
def test_every_switch_of_a_weave_is_found(sizes: list[int], count: int) -> None:
    """As many as were woven, each as long as its strands take at least: a + b − 1 rows."""
    moves = [default_moves(len(sizes))[i % max(1, len(default_moves(len(sizes))))] for i in range(count)]
    pattern = blocks([(i, size) for i, size in enumerate(sizes)], moves)
    found = switches_of(pattern)
    assert len(found) == sum(len(move) for move in moves)
    for switch in found:
        a, b = switch.strands
        assert {a, b} <= set(sizes)
        assert switch.last_row - switch.first_row >= a + b - 2
    rows = len(weave(sizes, moves).rows)
    assert max(switch.last_row for switch in found) == rows - 1


def test_pictures_have_no_switches() -> None:
    assert switches_of(random_pattern(3, sections=1)) == ()
