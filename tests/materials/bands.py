"""Bands made by hand for the tests of the thread plan."""

from collections.abc import Collection, Iterator

from pipeline.band.example import two_rows
from pipeline.band.knots import Knot, knot_of, row_positions
from pipeline.band.pattern import End, Ends, Pattern, Row, Section
from pipeline.materials.ends import end_use
from pipeline.materials.gauge import preset_gauge
from pipeline.materials.lengths import OVERLAP_MM, Cut, charges
from tests.patterns import THREADS

TAIL = End(style="straight", tail_mm=100)
PLAIN_ENDS = Ends(start=TAIL, finish=TAIL)


def left_after_rows(pattern: Pattern, cuts: tuple[Cut, ...]) -> Iterator[list[float]]:
    """What is left of each strand's present piece after every row, in mm, by starting position."""
    left = [cut.pieces_mm[0] - mm for cut, mm in zip(cuts, end_use(pattern).start_mm, strict=True)]
    later = [list(cut.pieces_mm[1:]) for cut in cuts]
    for row in charges(pattern):
        for charge in row.charges:
            left[charge.strand] -= charge.mm
            if charge.thread is not None:
                left[charge.strand] = later[charge.strand].pop(0) - OVERLAP_MM
        yield list(left)


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
        ends=PLAIN_ENDS,
        ground=0,
    )


GAUGE = preset_gauge(0.71, "rows")


def band_of(*rows: list[tuple[int, Knot]], strands: tuple[int, ...], worked: str = "rows", **more) -> Pattern:
    """A band of these knots, each with its left position, on plain ends."""
    made = tuple(Row(knots=tuple(row), wanted=(None,) * len(row)) for row in rows)
    section = Section(kind="plain", worked=worked, rows=made)
    return two_rows().model_copy(
        update={"strands": strands, "sections": (section,), "gauge": GAUGE, "ends": PLAIN_ENDS, **more}
    )
