"""The drawn knots: which cord lies on top at each crossing, and where the strands go on."""

from __future__ import annotations

import pytest

from pipeline.band.knots import Knot
from pipeline.writers.drawing import raster
from pipeline.writers.knotpicture import CORE, MIDDLE, PANEL_MM, TYING, knot_drawing, knot_sheet

SCALE = 8


def on_top(knot: Knot, panel: int, x: float, y: float) -> str:
    """Colour at a place of a panel, in mm."""
    image = raster(knot_drawing(knot), SCALE)
    r, g, b = image.getpixel((round((panel * PANEL_MM[0] + x) * SCALE), round(y * SCALE)))
    return f"#{r:02x}{g:02x}{b:02x}"


@pytest.mark.parametrize("knot", list(Knot))
@pytest.mark.parametrize("half", [0, 1])
def test_each_half_goes_over_the_core_back_behind_it_and_over_itself(knot: Knot, half: int) -> None:
    """A half hitch: over, under, and the end held by its own standing part (handbooks of knots)."""
    from_left = knot.left_ties == (half == 0 or knot.swaps)
    side = 10.5 if from_left else PANEL_MM[0] - 10.5
    assert on_top(knot, half, MIDDLE, 21.0) == TYING, "it crosses over the core"
    assert on_top(knot, half, MIDDLE, 12.0) == CORE, "and goes back behind it, above"
    assert on_top(knot, half, side, 21.0) == TYING, "its end lies over its own way"
    assert on_top(knot, half, side, 28.0) == TYING, "and hangs down"


@pytest.mark.parametrize("knot", list(Knot))
def test_the_strands_leave_a_knot_where_the_knot_puts_them(knot: Knot) -> None:
    ends = {x: on_top(knot, 2, x, 29.5) for x in (6.3, 5.6, 5.9, 24.4, 24.1, 23.7)}
    left, right = (ends[5.9], ends[5.6]), (ends[24.1], ends[24.4])
    tying_ends_left = knot.left_ties != knot.swaps
    assert TYING in (left if tying_ends_left else right)
    assert TYING not in (right if tying_ends_left else left)


def test_a_sheet_has_the_knots_that_are_asked_for() -> None:
    two = knot_sheet([Knot.BACKWARD, Knot.FORWARD], 190.0)
    texts = [shape.text for shape in two.shapes if hasattr(shape, "text")]
    assert texts.index("Forward") < texts.index("Backward") and "Forward-backward" not in texts
    assert knot_sheet(Knot, 95.0).height_mm == 2 * knot_sheet(Knot, 190.0).height_mm
