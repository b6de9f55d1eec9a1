"""A pattern put into instructions: what is said, in which order, and where the maker looks back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby

from pipeline.band.pattern import Pattern, Place
from pipeline.band.replay import replay
from pipeline.instructions import words
from pipeline.instructions.fold import fold, gather
from pipeline.instructions.model import Instructions, Measure, Passage, Said
from pipeline.instructions.start import after, band, before, roles, starting_order, switches, threads
from pipeline.instructions.steps import steps
from pipeline.materials.ledger import Account, Ledger
from pipeline.materials.lengths import Cut

CHECK_EVERY = 5
"""Rows between two looks at the order of the strands."""
MEASURE_AT = (0.1, 0.25, 0.5, 0.75)
"""Shares of the knots after which strands are measured: once early, while much can be done, then thrice."""
MEASURED = 3
"""Strands that are measured at such a moment."""
TELLING_MM = 150.0
"""A strand that should have used less tells too little about the hand; our own choosing."""


def instructions(pattern: Pattern, cuts: Iterable[Cut] = (), *, fit: Sequence[str] = ()) -> Instructions:
    """Put a whole band into steps.

    ``cuts`` gives the length of each strand; without it the lengths are left out. ``fit``: sentences on how
    the length follows from the wrist. Raises ImpossibleError for a band too large to be put into words.

    >>> from pipeline.band.example import two_rows
    >>> [len(said.lines) for said in instructions(two_rows()).passages[0].said]
    [1, 1]
    """
    told = _composed(pattern, tuple(cuts))
    return replace(told, band=(*band(pattern, told.unmade, fit), *told.band))


@lru_cache(maxsize=1)
def _composed(pattern: Pattern, cuts: tuple[Cut, ...]) -> Instructions:
    """The same without what is said first of the band; kept, because sheet, text and worksheet all ask."""
    labels = words.thread_labels([thread.name for thread in pattern.threads])
    made = steps(pattern)
    by_section = {s: tuple(gather(list(group))) for s, group in groupby(made, key=lambda step: step.section)}
    measures = _measures(pattern, cuts, by_section)
    passages, rows = [], 0
    for s, section in enumerate(pattern.sections):
        passages.append(_passage(s, rows, by_section.get(s, ()), measures))
        rows += len(section.rows)
    unmade = sum(not k.made for row in replay(pattern) for k in row.steps)
    why = roles(pattern, labels, made)
    return Instructions(
        pattern=pattern,
        labels=labels,
        band=(*(() if why is None else (why,)), *switches(pattern, labels)),
        materials=tuple(threads(pattern, labels, cuts)),
        cutting=tuple(starting_order(pattern, labels, cuts)),
        before=before(pattern),
        passages=tuple(passages),
        finish=after(pattern),
        unmade=unmade,
    )


def _passage(
    section: int,
    rows_before: int,
    said: Sequence[Said],
    measures: Mapping[tuple[int, int], tuple[Measure, ...]],
) -> Passage:
    by_row = bool(said) and said[0].lines[0][0].by_row
    checks, unchecked = set(), 0
    for i, line in enumerate(said):
        unchecked += line.knots
        strands = len(line.last.order)
        full = CHECK_EVERY * (strands - 1) // (1 if line.last.way is None else 2)
        due = i % CHECK_EVERY == CHECK_EVERY - 1 if by_row else unchecked >= full
        if due or i == len(said) - 1:
            checks.add(i)
            unchecked = 0
    here = {i: measured for (s, i), measured in measures.items() if s == section}
    return Passage(section, rows_before, by_row, tuple(said), tuple(fold(said)), frozenset(checks), here)


def _measures(
    pattern: Pattern, cuts: Sequence[Cut], said: Mapping[int, Sequence[Said]]
) -> dict[tuple[int, int], tuple[Measure, ...]]:
    """Which strands are measured after which line, by (section, index of the line)."""
    if not cuts:
        return {}
    book = Ledger(pattern, cuts)
    total = sum(line.knots for lines in said.values() for line in lines)
    found: dict[tuple[int, int], tuple[Measure, ...]] = {}
    done: set[Place] = set()
    moments = [share * total for share in MEASURE_AT]
    for s, lines in said.items():
        for i, line in enumerate(lines):
            done.update((s, *cell) for step in line.steps for cell in step.cells)
            if not moments or len(done) < moments[0]:
                continue
            moments = [moment for moment in moments if moment > len(done)]
            told = []
            for account in _tightest(book.at(done)):
                position = line.last.order.index(account.strand)
                thread = line.last.threads[position]
                told.append(Measure(account.strand, thread, position, account.left_mm, account.least_mm))
            if told:
                found[s, i] = tuple(sorted(told, key=lambda measure: measure.position))
    return found


def _tightest(accounts: Sequence[Account]) -> list[Account]:
    """The strands that run out first if the hand takes more than the gauge says, and tell that by now."""
    telling = [a for a in accounts if a.rest_mm > 0 and a.spent_mm >= TELLING_MM]
    return sorted(telling, key=lambda account: account.rate)[:MEASURED]
