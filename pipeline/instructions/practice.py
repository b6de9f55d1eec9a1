"""A swatch to practise on: every kind of knot that a band needs, in a few rows of its own threads."""

from __future__ import annotations

from pipeline.band.knots import Knot, knot_of, row_positions
from pipeline.band.pattern import End, Ends, Pattern, Row, Section
from pipeline.literals import working

STRANDS = 6
ROWS = 8


def practice(pattern: Pattern) -> Pattern:
    """Six strands of the band's first two threads, worked as its first section is.

    In row work the leader ties over all, is held by all, does both in a row, and changes if the band has
    changes. In diagonal work every row is of one kind of knot, in turn.

    >>> from pipeline.band.example import two_rows
    >>> swatch = practice(two_rows())
    >>> len(swatch.strands), [len(row.knots) for row in swatch.sections[0].rows][:2]
    (6, [5, 5])
    """
    worked = pattern.sections[0].worked if pattern.sections else "rows"
    led = working(worked).led
    kinds = pattern.kinds
    used = sorted(set(pattern.strands))[:2] * 2
    rows = []
    for r in range(ROWS):
        positions = row_positions(STRANDS, r, worked)
        if led:
            knots = tuple((p, _across(r, i, kinds)) for i, p in enumerate(positions))
        else:
            turn = [knot for knot in Knot if knot in kinds] or [Knot.FORWARD]
            knots = tuple((p, turn[r % len(turn)]) for p in positions)
        rows.append(Row(knots=knots, wanted=(None,) * len(knots)))
    one, other = used[0], used[1]
    tail = End(style="straight", tail_mm=100)
    return pattern.model_copy(
        update={
            "title": "practice swatch",
            "strands": (one, *[other] * (STRANDS - 1)) if led else (one, other) * (STRANDS // 2),
            "sections": (Section(kind="plain", worked=worked, rows=tuple(rows)),),
            "ends": Ends(start=tail, finish=tail),
            "joins": (),
            "ground": None,
        }
    )


def _across(row: int, index: int, kinds: frozenset[Knot]) -> Knot:
    """What the leader meets as knot ``index`` of a row: rows in turn tie over, are held, do both, change."""
    rising = row % 2 == 0
    turn = row // 2 % 4
    leader_ties = (True, False, index < 2, index % 2 == 0)[turn]
    stays = turn == 3 and rising and index == STRANDS // 2 - 1 and any(not knot.swaps for knot in kinds)
    return knot_of(left_ties=leader_ties == rising, swaps=not stays)
