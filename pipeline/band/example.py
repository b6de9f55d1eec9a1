"""A band small enough to see through: what the examples of other modules begin with."""

from __future__ import annotations

from pipeline.band.knots import Knot
from pipeline.band.pattern import End, Ends, Gauge, Pattern, PatternThread, Row, Section


def two_rows() -> Pattern:
    """Two rows over four strands, one navy and three white: the navy one leads across and back.

    The picture wants navy all along the first row and at the right edge of the second, so all is made but for
    one cell.

    >>> band = two_rows()
    >>> len(band.strands), [len(row.knots) for row in band.sections[0].rows]
    (4, [3, 3])
    """
    tail = End(style="straight", tail_mm=100)
    across = Row(knots=tuple((p, Knot.FORWARD) for p in (0, 1, 2)), wanted=(0, 0, 0))
    back = Row(knots=tuple((p, Knot.FORWARD) for p in (2, 1, 0)), wanted=(1, 1, 0))
    return Pattern(
        title="two rows",
        threads=(PatternThread(name="navy", colour="#1b2a59"), PatternThread(name="white", colour="#ffffff")),
        strands=(0, 1, 1, 1),
        gauge=Gauge(strand_pitch_mm=1.42, row_pitch_mm=1.42, tie_mm=9.0, core_mm=1.6),
        sections=(Section(kind="picture", worked="rows", rows=(across, back)),),
        ends=Ends(start=tail, finish=tail),
    )
