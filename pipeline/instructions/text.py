"""The band in words: everything a maker needs to tie it without a chart.

The text is written to be spoken and to be read back by a program (``spoken.py``): each line of the
part "Work" is a row, a step, a repeat, a checkpoint or a heading, in fixed words.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from pipeline.band.handed import mirrored
from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.instructions import words
from pipeline.instructions.bench import Step
from pipeline.instructions.fold import Repeat, Said, fold, gather, spoken_steps
from pipeline.instructions.start import how_to_read, on_the_way, starting_order, threads
from pipeline.instructions.steps import steps
from pipeline.materials.ends import finish_steps, start_steps
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


def write_instructions(
    pattern: Pattern,
    cuts: Iterable[Cut] = (),
    *,
    left_handed: bool = False,
) -> str:
    """Write the whole band as plain text, lines of at most about 88 characters.

    ``cuts`` gives the length of each strand; without it the lengths are left out. ``left_handed`` writes for
    a maker who works from right to left, seated at the far side of the board: the same band, the same
    picture.

    >>> from pipeline.band.example import two_rows
    >>> print(write_instructions(two_rows()).split("rows 1–2")[1].split("Order")[0].strip())
    Row 1, left to right, navy (strand 1) leads: leader ties 3 (1–3).
    Row 2, right to left, navy (strand 1) leads: bases tie 3 (3–1).
    """
    cuts = tuple(cuts)
    seen = mirrored(pattern) if left_handed else pattern
    said = steps(pattern, left_handed=left_handed)
    labels = words.thread_labels([thread.name for thread in pattern.threads])
    text: list[str] = [
        _clean(pattern.title) or "Band",
        "=" * min(WIDTH, len(_clean(pattern.title) or "Band")),
    ]
    text += ["", "Threads", *threads(pattern, labels)]
    text += ["", "How to read this", *how_to_read(seen, left_handed=left_handed)]
    text += ["", "Start", *starting_order(seen, labels, cuts, left_handed=left_handed)]
    text += [*start_steps(seen), *on_the_way(pattern, cuts, left_handed=left_handed)]
    text += ["", "Work", *_work(seen, labels, said)]
    text += ["", "Finish", *finish_steps(seen)]
    text += ["", "Cautions", *CAUTIONS]
    return "\n".join(_wrapped(line) for line in text) + "\n"


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


def _work(pattern: Pattern, labels: Sequence[str], said: Sequence[Step]) -> Iterator[str]:
    unmade = sum(k.wanted not in (None, k.shown) for row in replay(pattern) for k in row.steps)
    if unmade:
        cells = "1 cell shows" if unmade == 1 else f"{unmade} cells show"
        yield f"Note: {cells} another thread than the picture wanted; tie them as written."
    done = 0
    by_section = {s: list(group) for s, group in groupby(said, key=lambda step: step.section)}
    for s, section in enumerate(pattern.sections):
        count = len(section.rows)
        rows = f"rows {words.span(done + 1, done + count)}" if count > 1 else f"row {done + 1}"
        worked, rows = words.WORKED_WORDS[section.worked], rows if count else words.NO_ROWS
        yield ""
        yield f"Section {s + 1} of {len(pattern.sections)}: {section.kind}, {worked}, {rows}"
        yield from _section(gather(by_section.get(s, [])), labels, done)
        done += count


def _section(said: Sequence[Said], labels: Sequence[str], rows_before: int) -> Iterator[str]:
    if not said:
        return
    by_row = said[0].lines[0][0].by_row
    unit, before = ("row", rows_before) if by_row else ("step", 0)
    for item in fold(said):
        if isinstance(item, Repeat):
            yield (
                f"{_numbered(unit, before + item.first + 1, before + item.last + 1).capitalize()}: "
                + _repeat(item, unit, before)
            )
            last, due = item.last, any(said[i].checkpoint for i in range(item.first, item.last + 1))
        else:
            yield f"{unit.capitalize()} {before + item + 1}{_line(said[item], labels)}"
            last, due = item, said[item].checkpoint
        if due:
            order = words.counted(labels[t] for t in said[last].last.threads)
            yield f"Order after {unit} {before + last + 1}, left to right: {order}."


def _numbered(unit: str, first: int, last: int) -> str:
    return f"{unit} {first}" if first == last else f"{unit}s {words.span(first, last)}"


def _repeat(repeat: Repeat, unit: str, before: int) -> str:
    source = _numbered(unit, before + repeat.source + 1, before + repeat.source + repeat.length)
    count = f", {words.times(repeat.count)}" if repeat.count > 1 else ""
    others = f", {words.OTHER_STRANDS}" if repeat.other_strands else ""
    return f"as {source}{count}{others}."


def _line(said: Said, labels: Sequence[str]) -> str:
    first = said.lines[0]
    runs = ", ".join(step.text for step in first)
    if not first[0].opening:
        return f": {runs}."
    joint = ", " if first[0].taken is None and first[0].leader is not None else ": "
    text = f"{joint}{first[0].opening}: {runs}"
    if len(said.lines) > 1:
        text += f"; {_same_with(said.lines, labels)}"
    return text + "."


def _same_with(lines: Sequence[tuple[Step, ...]], labels: Sequence[str]) -> str:
    positions = [line[0].taken for line in lines]
    threads = [_taken_thread(line) for line in lines]
    if len(set(positions)) == 1:
        names = "" if len(set(threads)) == 1 else f" ({words.counted(labels[t] for t in threads[1:])})"
        return f"{words.SAME_WITH_NEXT} {len(lines) - 1} there{names}"
    others = [
        f"{position + 1}" + ("" if thread == threads[0] else f" ({labels[thread]})")
        for position, thread in zip(positions[1:], threads[1:], strict=True)
        if position is not None
    ]
    return f"{words.SAME_WITH} {', '.join(others)}"


def _taken_thread(line: tuple[Step, ...]) -> int:
    step = line[0]
    left_taken = step.taken == step.knots[0][0]
    return step.shown[0] if step.knots[0][1].left_ties == left_taken else step.hidden[0]


def _clean(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text).strip()


def _wrapped(line: str) -> str:
    return "\n".join(
        textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False)
    )
