"""The band as a list of steps, in the order that takes the fewest breaths."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.band.pattern import Pattern, Section
from pipeline.instructions.bench import Bench, Line, diagonal_lines, row_lines
from pipeline.instructions.fold import breaths
from pipeline.instructions.model import Step
from pipeline.instructions.order import orders
from pipeline.order.means import refuse_beyond_words


def refuse_unsayable(pattern: Pattern) -> None:
    """Raise ImpossibleError where the pattern is too large to be put into words."""
    refuse_beyond_words(pattern.row_count, pattern.knot_count, len(pattern.strands))


def steps(pattern: Pattern) -> tuple[Step, ...]:
    """Return the whole band as steps, none folded.

    Of the orders in which a diagonal-worked section can be tied, the one is taken that needs the fewest
    breaths once repeats are folded. Raises ImpossibleError for a band that is too large to be put
    into words.

    >>> from pipeline.band.example import two_rows
    >>> [(step.rightwards, len(step.knots)) for step in steps(two_rows())]
    [(True, 3), (False, 3)]
    """
    refuse_unsayable(pattern)
    bench = Bench(pattern)
    said: list[Step] = []
    for s, section in enumerate(pattern.sections):
        tried = []
        for lines in _ways(section, bench.strands):
            trial = bench.copy()
            told = list(trial.tie(s, lines))
            tried.append((breaths(told), told, trial))
        _, told, bench = min(tried, key=lambda way: way[0])
        said += told
    return tuple(said)


def _ways(section: Section, strands: int) -> list[Sequence[Line]]:
    if section.working.led:
        return [list(row_lines(section))]
    rows = [row.knots for row in section.rows]
    return [list(diagonal_lines(section, runs)) for runs in orders(rows, strands)]
