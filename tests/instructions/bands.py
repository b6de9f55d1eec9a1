"""Small bands for the tests of the written instructions."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.band.knots import knot_of, row_positions
from pipeline.band.pattern import End, Ends, Gauge, GaugeByOrder, Join, Pattern, PatternThread, Row, Section
from pipeline.blocks.weave import Group, blocks_pattern, default_moves, weave

NAVY, CHALK, CORAL = (
    PatternThread(name="navy", colour="#1b2a59"),
    PatternThread(name="chalk", colour="#f4f1e8"),
    PatternThread(name="coral", colour="#e0654f"),
)
GAUGE = Gauge(
    strand_pitch_mm=1.5, row_pitch_mm=1.5, tie_mm=9, core_mm=1.5, half_mm=4.5, turn_mm=2, idle_mm=1.5
)
STRAIGHT = Ends(start=End(style="straight", tail_mm=100), finish=End(style="straight", tail_mm=100))

FLAG = ("X....", "XX...", "XXX..", "XXXX.", "XXX..", "XX...", "X....", ".....")
"""A pennant that flies to the right: it differs from its mirror image."""


def two_thread_picture(grid: Sequence[str], title: str = "harbour pennant") -> Pattern:
    """One navy leader over chalk bases ties any picture of the two (Cavandoli work)."""
    strands = len(grid[0]) + 1
    rows = []
    for r, line in enumerate(grid):
        positions = row_positions(strands, r, "rows")
        rising = r % 2 == 0
        knots = tuple((p, knot_of(left_ties=(line[p] == "X") == rising, swaps=True)) for p in positions)
        rows.append(Row(knots=knots, wanted=tuple(0 if line[p] == "X" else 1 for p in positions)))
    return Pattern(
        title=title,
        threads=(NAVY, CHALK),
        strands=(0, *[1] * (strands - 1)),
        gauge=GAUGE,
        sections=(Section(kind="picture", worked="rows", rows=tuple(rows)),),
        ends=STRAIGHT,
        ground=1,
    )


def regatta_blocks() -> Pattern:
    """Three uneven groups that switch all the way through and back."""
    groups = (Group(0, 3), Group(1, 2), Group(2, 3))
    woven = weave([group.strands for group in groups], default_moves(3) * 3)
    return blocks_pattern(groups, woven, (NAVY, CHALK, CORAL), GAUGE, STRAIGHT, "regatta blocks")


def course_change() -> Pattern:
    """Row work with hand-overs, a switching section, a thread change at a join, and a folded start."""
    k = {
        "f": knot_of(left_ties=True, swaps=True),
        "b": knot_of(left_ties=False, swaps=True),
        "F": knot_of(left_ties=True, swaps=False),
        "B": knot_of(left_ties=False, swaps=False),
    }

    def row(positions: Sequence[int], kinds: str) -> Row:
        return Row(
            knots=tuple((p, k[c]) for p, c in zip(positions, kinds, strict=True)), wanted=(None,) * len(kinds)
        )

    up, down = range(5), range(4, -1, -1)
    first = Section(
        kind="plain",
        worked="rows",
        rows=(row(up, "ffFbb"), row(down, "ffbbb"), row(up, "ffFbb"), row(down, "Bbbff")),
    )
    switching = Section(
        kind="switching",
        worked="diagonal",
        rows=(row((0, 2, 4), "ffb"), row((1, 3), "fB"), row((0, 4), "fb")),
    )
    return Pattern(
        title="course change",
        threads=(NAVY, CHALK, CORAL),
        strands=(0, 0, 1, 1, 2, 2),
        gauge=GaugeByOrder(rows=GAUGE, diagonal=GAUGE),
        sections=(first, switching),
        ends=Ends(
            start=End(style="loop", tail_mm=100, folded=((0, 1), (2, 3), (4, 5)), loop_mm=40),
            finish=End(style="braid", tail_mm=150),
        ),
        joins=(Join(section=0, row=1, knot=2, thread=0),),
    )
