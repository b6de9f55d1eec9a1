"""A pattern put into instructions: what is said, in which order, and where the maker looks back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from pipeline.band.handed import mirrored
from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.instructions import words
from pipeline.instructions.fold import fold, gather
from pipeline.instructions.model import Instructions, Passage, Said
from pipeline.instructions.start import on_the_way, starting_order
from pipeline.instructions.steps import steps
from pipeline.materials.ends import finish_steps, start_steps
from pipeline.materials.lengths import Cut

CHECK_EVERY = 10
"""Rows between two looks at the order of the strands."""


def instructions(pattern: Pattern, cuts: Iterable[Cut] = (), *, left_handed: bool = False) -> Instructions:
    """Put a whole band into steps.

    ``cuts`` gives the length of each strand; without it the lengths are left out. ``left_handed`` is for
    a maker who works from right to left, seated at the far side of the board: the same band, the same
    picture. Raises InputError for a band that is too large to be put into words.

    >>> from pipeline.band.example import two_rows
    >>> [len(said.lines) for said in instructions(two_rows()).passages[0].said]
    [1, 1]
    """
    cuts = tuple(cuts)
    seen = mirrored(pattern) if left_handed else pattern
    labels = words.thread_labels([thread.name for thread in pattern.threads])
    by_section = {
        s: tuple(gather(list(group)))
        for s, group in groupby(steps(pattern, left_handed=left_handed), key=lambda step: step.section)
    }
    passages, before = [], 0
    for s, section in enumerate(seen.sections):
        passages.append(_passage(s, before, by_section.get(s, ()), len(seen.strands)))
        before += len(section.rows)
    return Instructions(
        pattern=seen,
        left_handed=left_handed,
        labels=labels,
        cutting=tuple(starting_order(seen, labels, cuts, left_handed=left_handed)),
        before=(*start_steps(seen), *on_the_way(pattern, cuts, left_handed=left_handed)),
        passages=tuple(passages),
        finish=tuple(finish_steps(seen)),
        unmade=sum(k.wanted not in (None, k.shown) for row in replay(pattern) for k in row.steps),
    )


def _passage(section: int, rows_before: int, said: Sequence[Said], strands: int) -> Passage:
    by_row = bool(said) and said[0].lines[0][0].by_row
    checks, unchecked = set(), 0
    for i, line in enumerate(said):
        unchecked += line.knots
        full = CHECK_EVERY * (strands - 1) // (1 if line.last.way is None else 2)
        due = i % CHECK_EVERY == CHECK_EVERY - 1 if by_row else unchecked >= full
        if due or i == len(said) - 1:
            checks.add(i)
            unchecked = 0
    return Passage(section, rows_before, by_row, tuple(said), tuple(fold(said)), frozenset(checks))
