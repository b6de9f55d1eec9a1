"""Moments of the work as the maker counts them: what is tied by then, and where a knot stands in the text."""

from __future__ import annotations

from pipeline.band.pattern import Place
from pipeline.errors import InputError
from pipeline.instructions.model import Instructions


def tied_before_step(told: Instructions, step: int, section: int | None = None) -> frozenset[Place]:
    """The knots tied before a step, numbered as in the text: from 1 in its section.

    ``section`` counts from 1 too; it may be left out where only one goes by steps. Raises InputError where
    that is not so, or there is no such step.
    """
    by_steps = [passage for passage in told.passages if not passage.by_row]
    if not by_steps:
        raise InputError("this band is told row by row.", "Give the row instead: --from-row.")
    if section is None and len(by_steps) > 1:
        which = ", ".join(f"{passage.section + 1}:{step}" for passage in by_steps)
        raise InputError(f"--from-step: {len(by_steps)} sections go by steps.", f"Name one: {which}.")
    chosen = next((p for p in by_steps if section is None or p.section == section - 1), None)
    if chosen is None or not 1 <= step <= len(chosen.said) or (step == 1 and chosen.section == 0):
        first = 2 if chosen is by_steps[0] and chosen.section == 0 else 1
        known = f" It has {first} to {len(chosen.said)}." if chosen else ""
        raise InputError(
            f"--from-step: there is no step {step} to go on from.", f"Count as in the text.{known}"
        )
    done: set[Place] = set()
    for passage in told.passages:
        if passage.section > chosen.section:
            break
        lines = passage.said if passage.section < chosen.section else passage.said[: step - 1]
        for line in lines:
            done |= {(passage.section, *cell) for step_ in line.steps for cell in step_.cells}
    return frozenset(done)


def place_in_words(told: Instructions, place: Place) -> str:
    """Where a knot stands in the text: its row and column, or its step.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.instructions.compose import instructions
    >>> place_in_words(instructions(two_rows()), (0, 1, 0))
    'row 2, column 3'
    """
    section, row, knot = place
    position, _ = told.pattern.sections[section].rows[row].knots[knot]
    passage = next(passage for passage in told.passages if passage.section == section)
    i = next(
        i for i, said in enumerate(passage.said) if any((row, knot) in step.cells for step in said.steps)
    )
    if passage.by_row:
        return f"row {passage.rows_before + row + 1}, column {position + 1}"
    twice = any(not other.by_row and other is not passage for other in told.passages)
    of = f" of section {section + 1}" if twice else ""
    return f"step {passage.number(i)}{of}, positions {position + 1} and {position + 2}"
