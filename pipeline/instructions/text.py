"""The band in words: everything a maker needs to tie it without a chart.

The text is written to be spoken and to be read back by a program (``reader.py``): each line of the
part "Work" is a row, a step, a repeat, a checkpoint or a heading, in fixed words.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby

from pipeline.band.pattern import Pattern
from pipeline.instructions import words
from pipeline.instructions.compose import instructions
from pipeline.instructions.fold import spoken_steps
from pipeline.instructions.model import Entry, Instructions, Part, Passage, Repeat
from pipeline.instructions.phrases import Phrases
from pipeline.instructions.start import how_to_read, threads
from pipeline.instructions.steps import steps
from pipeline.materials.lengths import Cut

WIDTH = 88
CAUTIONS = (
    "Local rules and the thread maker's advice come first; this is general advice only.",
    "Not for children under 3 or anyone who puts things in the mouth: loose ends and beads can choke. "
    "Never tie a band round a child's neck.",
    "Take the band off for sleep, sport, playgrounds and near machines: it does not break and can trap.",
    "One finger must slide under it; check again on growing children. Take it off at once if the skin "
    "swells, goes numb or changes colour.",
    "Test strong dyes by washing; wet cotton shrinks and may stain. Rest your hands every half hour.",
)


def write_instructions(pattern: Pattern, cuts: Iterable[Cut] = (), *, left_handed: bool = False) -> str:
    """Write the whole band as plain text, lines of at most about 88 characters.

    The arguments are those of :func:`pipeline.instructions.compose.instructions`.

    >>> from pipeline.band.example import two_rows
    >>> print(write_instructions(two_rows()).split("rows 1–2")[1].split("Order")[0].strip())
    Row 1, left to right, navy (strand 1) leads: leader ties 3 (1–3).
    Row 2, right to left, navy (strand 1) leads: bases tie 3 (3–1).
    """
    told = instructions(pattern, cuts, left_handed=left_handed)
    lines = [told.title, "=" * min(WIDTH, len(told.title))]
    for part in written(told):
        lines += ["", part.heading]
        for entry in part.entries:
            if entry.role == "section":
                lines.append("")
            lines.append(f"- {entry.text}" if entry.role == "item" else entry.text)
    return "\n".join(_wrapped(line) for line in lines) + "\n"


def written(told: Instructions) -> tuple[Part, ...]:
    """The parts of the instructions in writing, each entry with its role."""
    return (
        Part("Threads", tuple(_plain(threads(told.pattern, told.labels)))),
        Part("How to read this", tuple(_plain(how_to_read(told.pattern, left_handed=told.left_handed)))),
        Part("Start", tuple(_plain((*told.cutting, *told.before)))),
        Part("Work", tuple(_work(told))),
        Part("Finish", tuple(_plain(told.finish))),
        Part("Cautions", tuple(_plain(CAUTIONS))),
    )


def _plain(lines: Iterable[str]) -> Iterator[Entry]:
    for line in lines:
        yield Entry("item" if line.startswith("- ") else "plain", line.removeprefix("- "))


def _work(told: Instructions) -> Iterator[Entry]:
    if told.unmade:
        cells = "1 cell shows" if told.unmade == 1 else f"{told.unmade} cells show"
        yield Entry("plain", f"Note: {cells} another thread than the picture wanted; tie them as written.")
    phrases = Phrases(told.labels)
    for passage in told.passages:
        section, first = told.pattern.sections[passage.section], passage.rows_before + 1
        count = len(section.rows)
        rows = f"rows {words.span(first, first + count - 1)}" if count > 1 else f"row {first}"
        worked, rows = words.WORKED_WORDS[section.worked], rows if count else words.NO_ROWS
        number = f"Section {passage.section + 1} of {len(told.passages)}"
        yield Entry("section", f"{number}: {section.kind}, {worked}, {rows}")
        yield from _lines(passage, phrases)


def _lines(passage: Passage, phrases: Phrases) -> Iterator[Entry]:
    for item in passage.items:
        if isinstance(item, Repeat):
            yield Entry("work", phrases.repeat(passage, item))
            done = range(item.first, item.last + 1)
        else:
            yield Entry("work", phrases.line(passage, item))
            done = range(item, item + 1)
        if not passage.checks.isdisjoint(done):
            yield Entry("check", phrases.order(passage, done[-1]))


def step_counts(pattern: Pattern) -> tuple[int, int]:
    """Spoken steps of the plain row-by-row list, and of the text as written.

    Finding a row or a strand is a spoken step, and so is each run of equal knots, "the same with …" and a
    repeat. The plain list says every row, in runs of equal knots that neighbour each other.
    """
    plain = 0
    for _, _, section, row in pattern.rows():
        knots = row.knots if section.worked == "rows" else tuple(sorted(row.knots))
        reach = 1 if section.worked == "rows" else 2
        plain += bool(knots)
        for i, (position, knot) in enumerate(knots):
            follows = i > 0 and abs(position - knots[i - 1][0]) == reach and knot == knots[i - 1][1]
            plain += not follows
    sections = groupby(steps(pattern), key=lambda step: step.section)
    return plain, sum(spoken_steps(list(said)) for _, said in sections)


def _wrapped(line: str) -> str:
    return "\n".join(
        textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False)
    )
