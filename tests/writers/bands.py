"""Bands for the writers' tests: a pennant in two threads, a tiny band with everything, hostile titles."""

from __future__ import annotations

from pipeline.band.knots import Knot, Worked, row_positions
from pipeline.band.pattern import End, Ends, Gauge, GaugeByOrder, Join, Pattern, PatternThread, Row, Section

GAUGE = Gauge(strand_pitch_mm=1.42, row_pitch_mm=1.42, tie_mm=9.0, core_mm=1.6)
DIAGONAL = Gauge(strand_pitch_mm=1.3, row_pitch_mm=1.0, tie_mm=9.0, core_mm=1.6)
STRAIGHT = Ends(start=End(style="straight", tail_mm=100), finish=End(style="straight", tail_mm=100))
DEEP = PatternThread(name="deep water", colour="#1b2a59")
SAIL = PatternThread(name="sailcloth", colour="#f4f1e8")
LAMP = PatternThread(name="port lamp", colour="#c8412f")

PENNANT = (
    ".......",
    "...#...",
    "..##...",
    ".###...",
    "...#...",
    ".#####.",
    "..###..",
    ".......",
)

HOSTILE = (
    '</script><img src=x onerror="alert(1)">',
    "]]>&amp;<!--'\"{{ 7*7 }}{% raw %}",
    "<b>§</b>\u2028\u202e ♥ Žluťoučký kůň",
    "",
    "x" * 200,
)


def pennant(repeats: int = 1, title: str = "Regatta pennant") -> Pattern:
    """A row-worked picture in two threads: a deep-water leader over sailcloth base strands."""
    rows = []
    art = PENNANT * repeats
    strands = len(art[0]) + 1
    for r, line in enumerate(art):
        knots, wanted = [], []
        for p in row_positions(strands, r, "rows"):
            leader_ties = line[p] == "#"
            knots.append((p, Knot.FORWARD if leader_ties == (r % 2 == 0) else Knot.BACKWARD))
            wanted.append(0 if leader_ties else 1)
        rows.append(Row(knots=tuple(knots), wanted=tuple(wanted)))
    return Pattern(
        title=title,
        threads=(DEEP, SAIL),
        strands=(0,) + (1,) * (strands - 1),
        gauge=GAUGE,
        sections=(Section(kind="picture", worked="rows", rows=tuple(rows)),),
        ends=STRAIGHT,
    )


def chequers(worked: Worked = "diagonal", rows: int = 6, strands: int = 7) -> Pattern:
    """Three threads, every kind of knot in turn, nothing wanted."""
    kinds = tuple(Knot)
    made = []
    for r in range(rows):
        knots = tuple((p, kinds[(p + r) % 4]) for p in row_positions(strands, r, worked))
        made.append(Row(knots=knots, wanted=(None,) * len(knots)))
    return Pattern(
        title="chequers",
        threads=(DEEP, SAIL, LAMP),
        strands=tuple(p % 3 for p in range(strands)),
        gauge=GAUGE if worked == "rows" else DIAGONAL,
        sections=(Section(kind="plain", worked=worked, rows=tuple(made)),),
        ends=STRAIGHT,
    )


def tiny(title: str = "Tiny band") -> Pattern:
    """Four strands with all that a chart can show: each knot, an unmade cell, both joins, switching rows."""
    forward, backward = Knot.FORWARD, Knot.BACKWARD
    picture = Section(
        kind="picture",
        worked="rows",
        rows=(
            Row(knots=((0, forward), (1, Knot.FORWARD_BACKWARD), (2, backward)), wanted=(0, 2, None)),
            Row(knots=((2, Knot.BACKWARD_FORWARD), (1, forward), (0, backward)), wanted=(None, 1, None)),
        ),
    )
    switching = Section(
        kind="switching",
        worked="diagonal",
        rows=(
            Row(knots=((0, forward), (2, backward)), wanted=(None, None)),
            Row(knots=((1, forward),), wanted=(None,)),
        ),
    )
    return Pattern(
        title=title,
        threads=(DEEP, SAIL, LAMP),
        strands=(0, 1, 1, 2),
        gauge=GaugeByOrder(rows=GAUGE, diagonal=DIAGONAL),
        sections=(picture, switching),
        ends=STRAIGHT,
        joins=(
            Join(section=0, row=0, knot=0, thread=1),
            Join(section=0, row=1, knot=2, thread=2, tying=True),
        ),
    )
