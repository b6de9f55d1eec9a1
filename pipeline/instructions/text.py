"""The band in words: everything a maker needs to tie it without a chart.

The text is written for a maker, and to be read back by a program (``reader.py``): each line of the
part "Work" is a row, a step, a repeat, a checkpoint or a heading, in fixed words.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from pipeline.band.pattern import Pattern
from pipeline.instructions import words
from pipeline.instructions.compose import instructions
from pipeline.instructions.model import Entry, Instructions, Part, Passage, Repeat
from pipeline.instructions.phrases import Phrases
from pipeline.instructions.start import AGAIN, TOOLS, how_to_read
from pipeline.materials.lengths import Cut

WIDTH = 88
MOST_BOXES = 60
"""A passage tied more often again is not ticked off."""
MEASURING = (
    "Note: where a length is given after a row or a step, measure that strand there. If it is shorter than "
    "the second length it will run out: plan the rest anew (hitchgrid replan), lay in a new piece, or end "
    "earlier."
)
CAUTIONS = (
    "Local rules and the thread maker's advice come first; this is general advice only.",
    "Not for children under 3 or anyone who puts things in the mouth: loose ends and beads can choke. "
    "Never tie a band round a child's neck.",
    "Take the band off for sleep, sport, playgrounds and near machines: it does not break and can trap.",
    "One finger must slide under it; check again on growing children. Take it off at once if the skin "
    "swells, goes numb or changes colour.",
    "Test strong dyes by washing; wet cotton shrinks and may stain. Rest your hands every half hour.",
)


def write_instructions(pattern: Pattern, cuts: Iterable[Cut] = (), *, fit: Sequence[str] = ()) -> str:
    """Write the whole band as plain text, lines of at most about 88 characters.

    The arguments are those of :func:`pipeline.instructions.compose.instructions`.

    >>> from pipeline.band.example import two_rows
    >>> print(write_instructions(two_rows()).split("rows 1–2")[1].split("Order")[0].strip())
    Row 1, left to right: navy (strand 1) ties over the next 3 (columns 1–3). Shows: 3 navy.
    Row 2, right to left: navy (strand 1) is held while the next 3 tie over it (columns
        3–1). Shows: 3 white.
    """
    told = instructions(pattern, cuts, fit=fit)
    phrases = Phrases(told.labels)
    lines = [told.title, "=" * min(WIDTH, len(told.title))]
    for part in written(told):
        lines += ["", part.heading]
        for entry in part.entries:
            if entry.role == "section":
                lines.append("")
            text = f"- {entry.text}" if entry.role == "item" else entry.text
            if entry.role == "work" and entry.shows:
                text += f" {phrases.shows(entry.shows)}"
            lines.append(text + (f" {phrases.boxes(entry.boxes)}" if entry.boxes else ""))
    return "\n".join(_wrapped(line) for line in lines) + "\n"


def written(told: Instructions) -> tuple[Part, ...]:
    """The parts of the instructions in writing, each entry with its role."""
    reading = [*how_to_read(told)]
    if any(isinstance(item, Repeat) for passage in told.passages for item in passage.items):
        reading.append(AGAIN)
    return (
        Part(words.CAUTIONS, tuple(_plain(CAUTIONS))),
        Part(words.BAND, tuple(_plain(told.band))),
        Part(words.MATERIALS, tuple(_plain((*told.materials, TOOLS)))),
        Part(words.WORDS, tuple(_plain(reading))),
        Part(words.SETTING_UP, tuple(_plain((*told.cutting, *told.before)))),
        Part(words.WORK, tuple(work(told))),
        Part(words.FINISH, tuple(_plain(told.finish))),
    )


def _plain(lines: Iterable[str]) -> Iterator[Entry]:
    for line in lines:
        yield Entry("item" if line.startswith("- ") else "plain", line.removeprefix("- "))


def work(told: Instructions) -> Iterator[Entry]:
    """The lines of the part "Work"."""
    if any(passage.measures for passage in told.passages):
        yield Entry("plain", MEASURING)
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
            done = range(item.first, item.last + 1)
            boxes = item.count if 2 <= item.count <= MOST_BOXES else 0
            source = passage.said[item.source]
            shows = source.shows if item.last == item.first else ()
            yield Entry("again", phrases.repeat(passage, item), shows, boxes, source.shifted)
            if item.count > 1:
                yield Entry("check", phrases.each_time(passage, item))
        else:
            done = range(item, item + 1)
            said = passage.said[item]
            yield Entry("work", phrases.line(passage, item), said.shows, shifted=said.shifted)
        for i in sorted(passage.measures.keys() & set(done)):
            yield Entry("measure", phrases.measure(passage, i))
        if not passage.checks.isdisjoint(done):
            yield Entry("check", phrases.order(passage, done[-1]))


def _wrapped(line: str) -> str:
    return "\n".join(
        textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False)
    )
