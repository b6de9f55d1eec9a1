"""The machine form of the instructions: every knot once, and the state after each step as replayed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given

from benchmarks.breaths import counted
from pipeline.band.handed import for_left_hand
from pipeline.band.knots import knot_of, tie
from pipeline.band.pattern import Pattern, PatternThread, Row
from pipeline.band.replay import replay
from pipeline.instructions.compare import compare
from pipeline.instructions.compose import instructions
from pipeline.instructions.phrases import Phrases
from pipeline.instructions.steps import steps
from pipeline.instructions.text import words, write_instructions
from pipeline.materials.lengths import cut_list
from tests.instructions.bands import FLAG, course_change, regatta_blocks, two_thread_picture
from tests.patterns import patterns, random_pattern


@given(patterns())
def test_steps_tie_every_knot_once_and_tell_the_state(pattern: Pattern) -> None:
    shown = {(s.section, s.row, s.knot): (s.shown, s.hidden) for row in replay(pattern) for s in row.steps}
    last = list(replay(pattern))[-1]
    order = list(range(len(pattern.strands)))
    threads = list(pattern.strands)
    found = {}
    said = steps(pattern)
    for step in said:
        for cell, knot, shows, hides in zip(step.cells, step.knots, step.shown, step.hidden, strict=True):
            tied = tie(order, *knot)
            assert (threads[tied.tying], threads[tied.core]) == (shows, hides)
            found[step.section, *cell] = (shows, hides)
            for join in step.joins:
                threads[tied.tying if join.tying else tied.core] = join.thread
        assert step.order == tuple(order)
        assert step.threads == tuple(threads[strand] for strand in order)
        assert not step.joins or len(step.knots) == 1
    assert found == shown
    assert (said[-1].order, said[-1].threads) == (last.order, last.threads)


@given(patterns())
def test_leaders_are_where_the_steps_begin(pattern: Pattern) -> None:
    order = tuple(range(len(pattern.strands)))
    promised = None
    for step in steps(pattern):
        if step.leader is not None and step.knots:
            position = step.knots[0][0]
            assert step.leader in order[position : position + 2]
            if promised is not None:
                assert step.leader == promised[1] or step.section != promised[0]
            promised = None if step.next_leader is None else (step.section, step.next_leader)
        order = step.order


def test_a_row_is_said_by_the_leader_and_the_bases() -> None:
    first, second = [s for s in steps(two_thread_picture(FLAG)) if s.row == 1]
    phrases = Phrases(("navy", "chalk"))
    assert phrases.opening(first) == "right to left"
    assert phrases.told(first) == "navy (strand 1) is held while the next 3 tie over it (columns 5–3)"
    assert phrases.told(second) == "navy (strand 1) ties over the next 2 (columns 2–1)"


def test_the_order_is_looked_at_every_five_rows() -> None:
    pattern = random_pattern(3, strands=5, rows=25, worked="rows", sections=1, joins=0)
    assert sorted(instructions(pattern).passages[0].checks) == [4, 9, 14, 19, 24]


@given(patterns(max_strands=12, max_rows=20, joins=0))
def test_never_more_steps_than_the_plain_list(pattern: Pattern) -> None:
    """Without hand-overs in row work: each of those is a step of its own, whereas the plain list may say
    several in a row in one breath.
    """
    sections = tuple(
        section.model_copy(update={"rows": tuple(map(_swapping, section.rows))})
        if section.worked == "rows"
        else section
        for section in pattern.sections
    )
    plain, written = counted(pattern.model_copy(update={"sections": sections}))
    assert written <= plain


def _swapping(row: Row) -> Row:
    return row.model_copy(
        update={"knots": tuple((p, knot_of(left_ties=knot.left_ties, swaps=True)) for p, knot in row.knots)}
    )


def test_repeats_are_folded_only_where_the_threads_are_the_same() -> None:
    """A leader that crosses four chalk bases: two rows restore the order, so all else is one repeat. Among
    bases of different threads each crossing leaves them as they were, too; a swap of threads does not.
    """
    plain = two_thread_picture((".....",) * 12)
    text = write_instructions(plain)
    assert "Rows 3–12: as rows 1–2, 5 times. Done: [ ] [ ] [ ] [ ] [ ]" in text
    assert "Order after each time, left to right: 1 navy, 5 chalk." in text
    same = plain.model_copy(update={"strands": (0, 1, 0, 1, 0, 1)})
    assert "Rows 3–12: as rows 1–2, 5 times." in write_instructions(same)
    going_one_way = regatta_blocks()
    assert "as steps" not in write_instructions(going_one_way).split("Order after")[0]


BANDS: tuple[tuple[str, Callable[[], Pattern]], ...] = (
    ("harbour-pennant.txt", lambda: two_thread_picture(FLAG)),
    ("regatta-blocks.txt", regatta_blocks),
    ("course-change.txt", course_change),
)


@pytest.mark.parametrize(("name", "band"), BANDS, ids=[name for name, _ in BANDS])
def test_golden_texts(name: str, band: Callable[[], Pattern], golden: Callable[[str, str], None]) -> None:
    pattern = band()
    text = write_instructions(pattern, cut_list(pattern))
    assert compare(text, pattern) == []
    assert text == write_instructions(pattern, cut_list(pattern))
    golden(name, text)


def test_left_handed_golden(golden: Callable[[str, str], None]) -> None:
    pattern = for_left_hand(two_thread_picture(FLAG))
    golden("harbour-pennant-left.txt", write_instructions(pattern, cut_list(pattern)))


HOSTILE = (
    "navy, 3 chalk",
    "ties over the next 3",
    "thread 1",
    "Work",
    "=\u202eyvan",
    "a\nRow 1: x",
    " chalk",
    '"',
    "9 red",
)


@pytest.mark.parametrize(
    "title", ["Work", "Materials", "", "\nSetting up\n", "=SUM(1)", "x" * 200, "\u202e\x00"]
)
def test_hostile_titles_and_names_change_nothing_that_is_tied(title: str) -> None:
    pattern = random_pattern(11, strands=8, rows=6, threads=5)
    threads = tuple(
        PatternThread(name=name, colour=thread.colour)
        for name, thread in zip(HOSTILE, pattern.threads, strict=False)
    )
    pattern = pattern.model_copy(update={"threads": threads, "title": title})
    text = write_instructions(pattern)
    assert compare(text, pattern) == []
    assert all(c.isprintable() or c == "\n" for c in text)


def test_threads_that_read_as_words_are_called_by_number() -> None:
    labels = words.thread_labels(HOSTILE)
    assert labels == (
        "thread 1",
        "ties over the next 3",
        "thread 3",
        "Work",
        *(f"thread {i}" for i in range(5, 10)),
    )
