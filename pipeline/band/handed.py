"""The pattern for the other hand: rows begin at the right edge, and the finished band shows the same picture.

A band seen in a mirror is a legal band (:func:`mirrored`), but its letters are mirrored too. So a band is
*planned* for the left hand as the mirror image of the plan of the mirrored picture; the two cancel in the
picture.

A *finished* pattern becomes left-handed by :func:`turned`: the same band, tied from its other end. It is
turned half round and every row undone in turn, so the same strands meet in the same knots, and a row that
ended at the left edge now begins at the right. While one works, its picture stands on its head; picked up by
the other end, the band is the one that was planned.
"""

from __future__ import annotations

from collections import Counter

from pipeline.band.knots import Knot, knot_of, row_positions
from pipeline.band.pattern import End, Ends, Join, Pattern, Row, Section
from pipeline.band.replay import RowReplay, Step, replay
from pipeline.errors import ImpossibleError
from pipeline.literals import FOLDED_STYLES

_PLAN_IT = "Plan the band again with --left-handed."


def mirrored(pattern: Pattern) -> Pattern:
    """Exchange left and right in every knot, in the starting order and at the ends; the rest stays.

    Twice gives back the same pattern.

    >>> from pipeline.band.example import two_rows
    >>> mirrored(two_rows()).strands
    (1, 1, 1, 0)
    """
    last = len(pattern.strands) - 2

    def row(row: Row) -> Row:
        knots = tuple((last - p, knot.mirrored) for p, knot in row.knots)
        return row.model_copy(update={"knots": knots})

    ends = Ends(start=_end(pattern.ends.start, last + 1), finish=_end(pattern.ends.finish, last + 1))
    made = pattern.with_rows(row(r) for *_, r in pattern.rows())
    return made.model_copy(update={"strands": pattern.strands[::-1], "ends": ends})


def begins_right(pattern: Pattern) -> bool | None:
    """Whether the first row that has a beginning begins at the right edge; None in diagonal work.

    >>> from pipeline.band.example import two_rows
    >>> begins_right(two_rows()), begins_right(mirrored(two_rows()))
    (False, True)
    """
    rows = (row for _, _, section, row in pattern.rows() if section.working.turning and len(row.knots) > 1)
    first = next(rows, None)
    return None if first is None else first.knots[0][0] != 0


def for_left_hand(pattern: Pattern) -> Pattern:
    """The band with its rows begun at the right edge, its finished picture unchanged.

    A band that begins there already, and diagonal work, whose rows have no beginning, stay as they are. Where
    the last row ends at the right, a plain row of ground is added, with which the turned band begins. Raises
    ImpossibleError for a band that cannot be tied from its other end.

    >>> from pipeline.band.example import two_rows
    >>> left = for_left_hand(two_rows())
    >>> left.strands, begins_right(left)
    ((1, 1, 1, 0), True)
    """
    if begins_right(pattern) in (True, None):
        return pattern
    made = turned(pattern)
    if begins_right(made):
        return made
    if not pattern.sections[-1].working.turning:
        raise ImpossibleError("the rows of this band begin at the left from both of its ends.", _PLAN_IT)
    return turned(_with_plain_row(pattern))


def turned(pattern: Pattern) -> Pattern:
    """The same band tied from its other end, seen from there. Twice gives back the same pattern.

    The last row is undone first: strands that swapped swap back, the same strand shows. Raises
    ImpossibleError where the start is folded, since a finish cannot be, or where a join has no place.
    """
    if pattern.ends.start.style in FOLDED_STYLES:
        raise ImpossibleError(
            f"a band with a {pattern.ends.start.style} start cannot be tied from its other end.", _PLAN_IT
        )
    rows = list(replay(pattern))
    last = len(pattern.strands) - 2
    final = rows[-1].threads if rows else pattern.strands

    def row(row: Row) -> Row:
        knots = ((last - p, knot if knot.swaps else knot.mirrored) for p, knot in reversed(row.knots))
        return Row(knots=tuple(knots), wanted=row.wanted[::-1])

    sections = tuple(
        Section(kind=s.kind, worked=s.worked, rows=tuple(row(r) for r in reversed(s.rows)))
        for s in reversed(pattern.sections)
    )
    ends = Ends(start=_end(pattern.ends.finish, last + 1), finish=_end(pattern.ends.start, last + 1))
    joins = _turned_joins(pattern, rows) if pattern.joins else ()
    changed = {"strands": final[::-1], "sections": sections, "ends": ends, "joins": joins}
    return pattern.model_copy(update=changed)


def _turned_joins(pattern: Pattern, rows: list[RowReplay]) -> tuple[Join, ...]:
    """Joins as they are met from the other end: what went on as a new piece now ends in the old one.

    A core is hidden in the knot of its join, so the join stays there; a strand that tied in it has shown
    its old thread, so from the other end it changes a knot earlier: in the next one of the band's order.
    """
    steps = [step for row in rows for step in row.steps]
    joins: dict[tuple[int, int, int], Join] = {}
    for i, step in enumerate(steps):
        if step.joined is None:
            continue
        strand = step.tied.tying if step.tying_joined else step.tied.core
        at: Step | None = step
        if step.tying_joined:
            at = next((s for s in steps[i + 1 :] if strand in (s.tied.left, s.tied.right)), None)
        if at is None or (at.section, at.row, at.knot) in joins:
            raise ImpossibleError("a join of this band has no place from its other end.", _PLAN_IT)
        before = step.shown if step.tying_joined else step.hidden
        rows_there = pattern.sections[at.section].rows
        joins[at.section, at.row, at.knot] = Join(
            section=len(pattern.sections) - 1 - at.section,
            row=len(rows_there) - 1 - at.row,
            knot=len(rows_there[at.row].knots) - 1 - at.knot,
            thread=before,
            tying=at.tied.tying == strand,
        )
    return tuple(sorted(joins.values(), key=lambda join: join.place))


def _with_plain_row(pattern: Pattern) -> Pattern:
    """The pattern with a row more: its leader goes back across, and the ground shows where it can."""
    rows = list(replay(pattern))
    shown = Counter(step.shown for row in rows for step in row.steps)
    ground = shown.most_common(1)[0][0] if pattern.ground is None else pattern.ground
    threads = list(rows[-1].threads)
    rising = not rows[-1].rising
    knots: list[tuple[int, Knot]] = []
    for p in row_positions(len(threads), 0 if rising else 1, "rows"):
        left_ties = rising if (threads[p] == ground) == (threads[p + 1] == ground) else threads[p] == ground
        knots.append((p, knot_of(left_ties=left_ties, swaps=True)))
        threads[p], threads[p + 1] = threads[p + 1], threads[p]
    row = Row(knots=tuple(knots), wanted=(None,) * len(knots))
    plain = Section(kind="plain", worked="rows", rows=(row,))
    return pattern.model_copy(update={"sections": (*pattern.sections, plain)})


def _end(end: End, last: int) -> End:
    folded = tuple(sorted((last - other, last - one) for one, other in end.folded))
    taper = None if end.taper is None else end.taper[::-1]
    return end.model_copy(update={"folded": folded, "taper": taper})
