"""Why a cell could not be made: the true reason for each, with what is certified and what was only found.

Three reasons are told apart, in this order. *Absent*: no strand of the thread is in the band. *Far*: with
everything before the row as it is, no strand of the thread can be where the cell is tied; so many diagonal
rows more, here, would bring the nearest one. *Conflict*: the thread could be there, but making the cell
costs elsewhere.

What is certified: if the colour error C has the certified lower bound B, any band of the same network that
makes a cell now off by e has an error of at least B, so the other cells lose at least e − (C − B). What is
found, by solving again with the cell forced, is an upper bound on that loss and is called found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np

from pipeline.band.pattern import Pattern, Row, Section
from pipeline.band.replay import replay
from pipeline.literals import plural
from pipeline.routing.question import Ease
from pipeline.verdict.feasibility import Feasibility, Unmade


class Why(StrEnum):
    """The kind of reason."""

    ABSENT = "absent"
    FAR = "far"
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why one cell is not made."""

    kind: Why
    distance: int
    """Positions from the nearest strand of the thread to where it would be needed when the row begins."""
    rows: int
    """Fewest diagonal rows, inserted before this row, after which the cell can be made."""
    at_least: float
    """Certified least loss of the other cells if this one is made, in the unit of the colour error."""
    found: float | None
    """Their loss in the best band found with the cell made, or None where none was sought or found."""
    sentence: str
    """The reason in words."""


def reach(section: Section, row: Row, knot: int, strands: int, ease: Ease) -> frozenset[int]:
    """Positions, when a row begins, from which a strand can take part in the row's given knot.

    Diagonal-worked: the two positions of the knot. Row-worked: the base strand of the knot, and every strand
    that can be the travelling one by then. That is every strand on the side the row comes from (it takes
    over where the row meets it); under ``Ease.PLAIN`` only the two at the edge where the row begins.
    """
    position = row.knots[knot][0]
    if not section.working.led:
        return frozenset((position, position + 1))
    rising = row.knots[0][0] == 0
    if ease is Ease.PLAIN:
        edge = (0, 1) if rising else (strands - 1, strands - 2)
        base = position + 1 if rising else position
        return frozenset((*edge, base) if knot else edge)
    return frozenset(range(position + 2) if rising else range(position, strands))


def reasons(
    pattern: Pattern,
    feasibility: Feasibility,
    *,
    lower_bound: float,
    ease: Ease = Ease.FULL,
    found: Mapping[int, float] | None = None,
) -> tuple[Reason, ...]:
    """Return the reason for each unmade cell, in the order of ``feasibility.unmade``.

    ``lower_bound``: certified for the colour error of this band's own network and bounds. ``found``: for some
    knots, numbered as in :func:`knot_numbers`, the least colour error found with that cell made.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.verdict.feasibility import check
    >>> [str(reason.kind) for reason in reasons(two_rows(), check(two_rows()), lower_bound=0.0)]
    ['conflict']
    """
    found = found or {}
    slack = max(0.0, feasibility.colour_error - lower_bound)
    answers: list[Reason] = []
    hanging = {(row.section, row.row): row.before for row in replay(pattern)}
    for cell, v in zip(feasibility.unmade, knot_numbers(pattern, feasibility), strict=True):
        section = pattern.sections[cell.section]
        here = reach(section, section.rows[cell.row], cell.knot, len(pattern.strands), ease)
        at_least = max(0.0, cell.cost - slack)
        best = max(at_least, found[v] - (feasibility.colour_error - cell.cost)) if v in found else None
        apart = _nearest(hanging[cell.section, cell.row], cell.wanted)
        distance = min(map(apart.__getitem__, here)) if apart else None
        answers.append(_reason(pattern, cell, distance, at_least, best))
    return tuple(answers)


def knot_numbers(pattern: Pattern, feasibility: Feasibility) -> tuple[int, ...]:
    """Numbers of the unmade cells' knots, in order: counted over picture and switching sections from 0.

    These are the knots of the network that was routed; borders and plain sections have none there.
    """
    first: dict[tuple[int, int], int] = {}
    count = 0
    for s, r, section, row in pattern.rows():
        first[s, r] = count
        count += len(row.knots) if section.kind in ("picture", "switching") else 0
    return tuple(first[cell.section, cell.row] + cell.knot for cell in feasibility.unmade)


@lru_cache(maxsize=64)
def _nearest(before: tuple[int, ...], thread: int) -> list[int]:
    """From each position, how many it is to the nearest strand of ``thread``; empty without one."""
    hangs = np.flatnonzero(np.asarray(before) == thread)
    if not hangs.size:
        return []
    apart: list[int] = np.abs(np.arange(len(before))[:, None] - hangs).min(axis=1).tolist()
    return apart


def _reason(
    pattern: Pattern, cell: Unmade, distance: int | None, at_least: float, found: float | None
) -> Reason:
    name = pattern.threads[cell.wanted].name
    if distance is None:
        where = "is in the band" if cell.wanted not in pattern.strands else "is in the band at this row"
        words = f"No strand of {name} {where}."
        if at_least > 0 or found is not None:
            words += f" Making this cell with one costs other cells: {_loss(at_least, found)}."
        return Reason(Why.ABSENT, 0, 0, at_least, found, words)
    if distance == 0:
        words = f"A strand of {name} can be here, but making this cell costs other cells: "
        return Reason(Why.CONFLICT, 0, 0, at_least, found, words + _loss(at_least, found) + ".")
    away, more = plural(distance, "position"), plural(distance, "more diagonal row")
    words = f"When this row begins, the nearest strand of {name} is {away} away; {more} here would bring it."
    if at_least > 0 or found is not None:
        words += f" Bringing it without more rows costs other cells: {_loss(at_least, found)}."
    return Reason(Why.FAR, distance, distance, at_least, found, words)


def _loss(at_least: float, found: float | None) -> str:
    parts = []
    if at_least > 0.05:
        parts.append(f"at least {at_least:.1f} of colour error, that is proved")
    if found is not None:
        parts.append(f"{found:.1f} in the best way found")
    return "; ".join(parts) or "how much is not known"
