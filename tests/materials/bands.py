"""Bands made by hand for the tests of the thread plan."""

from collections.abc import Collection

from pipeline.band.knots import knot_of, row_positions
from pipeline.band.pattern import Pattern, Row, Section
from pipeline.materials.ends import plain_ends
from pipeline.materials.gauge import preset_gauge
from tests.patterns import THREADS


def lettering(
    *,
    strands: int = 24,
    rows: int = 100,
    ground_bases: Collection[int] = (0, 1, 21, 22),
    letters: bool = True,
) -> Pattern:
    """Row work in two threads, led by the ground: frames of letter thread, ``ground_bases`` in the ground.

    Base strand i of the letter thread ties where its column shows the letter; everywhere else the leader
    ties on it.
    """
    columns = range(strands - 1)
    bases = [0 if i in ground_bases else 1 for i in columns]
    made = []
    for r in range(rows):
        knots, wanted = [], []
        for p in row_positions(strands, r, "rows"):
            inside = letters and 10 <= r < rows - 10 and bases[p] == 1 and 4 <= p < strands - 5
            ink = inside and (r // 12) % 2 == 0 and (r % 12 in (0, 1, 10, 11) or p in (4, 5, strands - 6))
            leader_on_left = r % 2 == 0
            knots.append((p, knot_of(left_ties=leader_on_left != ink, swaps=True)))
            wanted.append(int(ink))
        made.append(Row(knots=tuple(knots), wanted=tuple(wanted)))
    return Pattern(
        title="regatta letters",
        threads=THREADS[:2],
        strands=(0, *bases),
        gauge=preset_gauge(0.71, "rows"),
        sections=(Section(kind="picture", worked="rows", rows=tuple(made)),),
        ends=plain_ends(),
        ground=0,
    )
