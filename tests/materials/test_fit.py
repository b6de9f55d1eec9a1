"""How a wrist and a band's size add up, worked out by hand."""

from __future__ import annotations

import pytest

from pipeline.band.knots import Knot
from pipeline.band.pattern import GaugeByOrder
from pipeline.materials.fit import Fit, size_mm
from tests.materials.bands import GAUGE, band_of


@pytest.mark.parametrize(
    ("row_mm", "came_mm", "said"),
    [
        (1.42, 131.0, ""),
        (1.42, 132.0, ", 4 mm longer than that"), (1.42, 124.0, ", 4 mm shorter than that"),
        (2.0, 132.0, ""), (2.0, 133.0, ", 5 mm longer than that"), (2.0, 123.0, ", 5 mm shorter than that"),
    ],
)  # fmt: skip
def test_a_band_is_off_where_it_is_off_by_more_than_two_rows_and_three_millimetres(
    row_mm: float, came_mm: float, said: str
) -> None:
    fit = Fit(wrist_mm=165, room_mm=13, gap_mm=20, tapers_mm=30, row_mm=row_mm)
    assert fit.sentences(came_mm)[-1] == f"The band comes to {came_mm:.0f} mm knotted{said}."


def test_the_size_of_a_band_of_both_orders() -> None:
    """Six strands: five row-worked cells of 1.5 mm across, six diagonal-worked of 1.4 mm; four rows."""
    rows = GAUGE.model_copy(update={"strand_pitch_mm": 1.5, "row_pitch_mm": 1.25})
    diagonal = GAUGE.model_copy(update={"strand_pitch_mm": 1.4, "row_pitch_mm": 2.0})
    across, back = [(p, Knot.FORWARD) for p in range(5)], [(p, Knot.BACKWARD) for p in (4, 3, 2, 1, 0)]
    pairs = [(p, Knot.FORWARD) for p in (0, 2, 4)]
    row_worked, diagonally = (
        band_of(*made, strands=(0,) * 6, worked=worked)
        for worked, made in (("rows", (across, back, across)), ("diagonal", (pairs,)))
    )
    both = row_worked.model_copy(
        update={
            "sections": (*row_worked.sections, *diagonally.sections),
            "gauge": GaugeByOrder(rows=rows, diagonal=diagonal),
        }
    )
    assert size_mm(both) == pytest.approx((6 * 1.4, 3 * 1.25 + 2.0))
    alone = row_worked.model_copy(update={"gauge": GaugeByOrder(rows=rows, diagonal=diagonal)})
    assert size_mm(alone) == pytest.approx((5 * 1.5, 3 * 1.25))
    assert size_mm(row_worked.model_copy(update={"sections": ()})) == (0.0, 0)
