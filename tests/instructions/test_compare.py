"""Written instructions tie the band they were written for, and damage is found.

The reader under test shares only the words with the writer; the bands are random and legal.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.knots import tie
from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.instructions.compare import Reading, compare, read_instructions, read_text
from pipeline.instructions.text import write_instructions
from tests.patterns import patterns, random_pattern


def shown_cells(reading: Reading) -> dict[tuple[int, int], tuple[int, str]]:
    """Tie the text's knots alone: (thread that shows, kind) of the k-th knot at each position."""
    order = list(range(len(reading.strands)))
    threads = list(reading.strands)
    cells: dict[tuple[int, int], tuple[int, str]] = {}
    count = [0] * len(order)
    for said in reading.knots:
        tied = tie(order, said.position, said.knot)
        cells[said.position, count[said.position]] = (threads[tied.tying], said.knot.value)
        count[said.position] += 1
        if said.joined is not None:
            threads[said.joined[0]] = said.joined[1]
    cells[-1, -1] = (-1, str([(strand, threads[strand]) for strand in order]))
    return cells


def chart_cells(pattern: Pattern) -> dict[tuple[int, int], tuple[int, str]]:
    cells: dict[tuple[int, int], tuple[int, str]] = {}
    count = [0] * len(pattern.strands)
    last = list(zip(range(len(count)), pattern.strands, strict=True))
    for row in replay(pattern):
        for step in row.steps:
            position = step.tied.position
            cells[position, count[position]] = (step.shown, step.tied.knot.value)
            count[position] += 1
        last = list(zip(row.order, row.threads, strict=True))
    cells[-1, -1] = (-1, str(last))
    return cells


@given(patterns())
def test_text_ties_the_chart(pattern: Pattern) -> None:
    text = write_instructions(pattern)
    assert compare(text, pattern) == []
    assert shown_cells(read_instructions(text)) == chart_cells(pattern)


@given(patterns(max_strands=14, max_rows=30, max_sections=2, joins=0))
@settings(max_examples=10)
def test_longer_bands_with_repeats_tie_the_chart(pattern: Pattern) -> None:
    sections = tuple(
        section.model_copy(update={"rows": section.rows[: len(section.rows) // 2 * 2] * 3})
        for section in pattern.sections
    )
    pattern = pattern.model_copy(update={"sections": sections})
    assert compare(write_instructions(pattern), pattern) == []


def test_a_text_that_was_typed_again_is_read() -> None:
    """Hyphens for dashes, other line ends, spaces at the ends of lines."""
    pattern = random_pattern(5, strands=7, rows=12, joins=1)
    text = write_instructions(pattern).replace("–", "-").replace("\n", "  \r\n")
    assert compare(text, pattern) == []


def test_another_band_is_told_apart() -> None:
    pattern = random_pattern(7, strands=6, rows=6, threads=3, sections=1, joins=0)
    knots = list(pattern.sections[0].rows[3].knots)
    knots[1] = (knots[1][0], knots[1][1].mirrored)
    row = pattern.sections[0].rows[3].model_copy(update={"knots": tuple(knots)})
    rows = (*pattern.sections[0].rows[:3], row, *pattern.sections[0].rows[4:])
    other = pattern.model_copy(update={"sections": (pattern.sections[0].model_copy(update={"rows": rows}),)})
    differences = compare(write_instructions(pattern), other)
    assert len(differences) == 1
    assert re.match(r"line \d+: row 4, position \d is .* in the pattern, .* in the text", differences[0])


SWAPS = (
    ("ties over the next", "is held while the next"),
    ("ties and turns back", "ties"),
    (" to the edge", ", then leave it"),
    (", then leave it", " to the edge"),
    ("left to right", "right to left"),
    ("to the right", "to the left"),
    (" forward", " backward"),
    (" backward", " forward"),
    ("-forward", ""),
    (" chalk", " rope"),
)


@given(st.integers(0, 10_000), st.data())
@settings(max_examples=150)
def test_a_changed_word_is_found(seed: int, data: st.DataObject) -> None:
    """In the part "Work", any number that changes by one and any word swapped for its opposite is noticed."""
    pattern = random_pattern(seed, strands=6, rows=6, threads=4)
    text = write_instructions(pattern)
    start, end = text.index("\nSection 1") + 1, text.index("\nFinish")
    work = text[start:end]
    spots = [(m.start(), m.end(), str(int(m[0]) + 1)) for m in re.finditer(r"\d+", work)]
    spots += [(m.start(), m.end(), new) for old, new in SWAPS for m in re.finditer(re.escape(old), work)]
    # The number of sections and the kind of a section are headings for people; they tie nothing.
    spots = [spot for spot in spots if not work[: spot[0]].rsplit("\n", 1)[-1].startswith("Section")]
    first, last, new = data.draw(st.sampled_from(spots))
    damaged = text[:start] + work[:first] + new + work[last:] + text[end:]
    try:
        assert compare(damaged, pattern) != []
    except InputError as error:
        assert re.match(r"line \d+ of the instructions: |the instructions", error.message)


@given(st.integers(0, 10_000), st.data())
@settings(max_examples=60)
def test_a_lost_or_doubled_line_is_found(seed: int, data: st.DataObject) -> None:
    """Lines that tie count; a checkpoint or a blank line may go missing."""
    pattern = random_pattern(seed, strands=5, rows=5)
    lines = write_instructions(pattern).split("\n")
    ties = [
        i for i, line in enumerate(lines) if re.match(r"(Row|Step)s? \d", line) and "no knots" not in line
    ]
    i = data.draw(st.sampled_from(ties))
    damaged = data.draw(st.sampled_from((lines[:i] + lines[i + 1 :], lines[: i + 1] + lines[i:])))
    try:
        assert compare("\n".join(damaged), pattern) != []
    except InputError as error:
        assert error.message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "lack the part 'Cautions'"),
        ("hello\n=====\nworld", "line 3 of the instructions: the part 'Cautions' should begin here"),
        ("t\n=\nCautions\nnavy", "lack the part"),
    ],
)
def test_what_is_no_instructions_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)):
        read_instructions(text)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_instructions(text)


OVER = "ties over the next 2 (columns 1–2)"
BAND = """t
=
Cautions
The band
Materials
1. navy (#1b2a59): 3 strands
Words and knots
Setting up
Order at the start, left to right: 3 navy (3 strands).
Work
Section 1 of 1: plain, row-worked, rows 1–{rows}
{work}
"""


@pytest.mark.parametrize(
    ("work", "message"),
    [
        (f"Row 1, left to right: navy (strand 2) {OVER}.", "navy (strand 1) hangs here"),
        ("Row 1, left to right: navy (strand 1) ties over the next 3 (columns 1–3).", "goes beyond the edge"),
        (
            "Row 1, left to right: navy (strand 1) ties over the next (column 1).",
            "does not reach the other edge",
        ),
        (
            "Row 1, left to right: navy (strand 1) is held while the next 2 tie over it (columns 1–3).",
            "begins at column 1 and ends at 2",
        ),
        (
            "Row 1, left to right: navy (strand 1) is held while the next 2 ties over it (columns 1–2).",
            "does not agree with its number",
        ),
        (f"Row 2, left to right: navy (strand 1) {OVER}.", "row 2 comes where row 1 should"),
        (f"Row 1, left to right: coral (strand 1) {OVER}.", "there is no thread 'coral'"),
        (f"Row 1, left to right: navy (strand 1) {OVER}.", "its knots show other threads than it says"),
        (f"Row 1, left to right: navy (strand 1) {OVER}. Shows: 1 navy.", "show other threads"),
        (
            "Row 1, left to right: navy (strand 1) leads; change at column 2, navy (strand 1) ties and turns "
            "back.",
            "the leader cannot change at column 2",
        ),
        ("Row 1: do as you like.", "row work tells the direction"),
        ("Rows 1–2: as rows 3–4.", "is not written out before"),
        ("Take a break.", "this is no row, step, repeat, order or section"),
    ],
)
def test_errors_name_the_line(work: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read_instructions(BAND.format(rows=2, work=work))
    assert message in caught.value.message
    assert caught.value.message.startswith("line 12 of the instructions")


def test_endless_repeats_are_bounded() -> None:
    first = f"Row 1, left to right: navy (strand 1) {OVER}. Shows: 2 navy."
    second = "Row 2, right to left: navy (strand 1) ties over the next 2 (columns 2–1). Shows: 2 navy."
    again = "Rows 3–900002: as rows 1–2, 450000 times."
    with pytest.raises(InputError, match="it repeats more than 200000 rows or steps"):
        read_instructions(BAND.format(rows=900002, work="\n".join((first, second, again))))


def test_files_that_are_no_text_are_refused(tmp_path) -> None:
    path = tmp_path / "band.txt"
    with pytest.raises(InputError, match="there is no file"):
        read_text(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_text(path)
