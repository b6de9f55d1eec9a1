"""Thin strokes, rings, masts and eyes stay; specks and corners stay as they are."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from pipeline.design.cells import fine_picture
from pipeline.design.costs import cell_costs
from pipeline.design.design import CELL_WIDTH
from pipeline.design.features import strengthened
from pipeline.design.model import knot_mask
from pipeline.literals import Worked
from pipeline.motif.picture import Picture
from tests.drawings import CHALK, NAVY, RED, YELLOW, Sheet

THREADS = np.array([CHALK, NAVY, RED, YELLOW], dtype=np.uint8)


def wanted(sheet: Sheet, cells: int, worked: Worked = "rows", aspect: float = 1.0) -> np.ndarray:
    """(rows, cells) the thread that each cell wants: chalk 0, navy 1, red 2, yellow 3; −1 without a knot."""
    rgb = sheet.rgb()
    rows = round(rgb.shape[0] / rgb.shape[1] * cells * aspect)
    fine = fine_picture(Picture(rgb, CHALK, "drawing"), rows, cells, cell_aspect=aspect, finer=True)
    found = cell_costs(strengthened(fine, CELL_WIDTH[worked])[0], THREADS).costs.argmin(axis=-1)
    return np.where(knot_mask(rows, cells, worked), found, -1)


@pytest.mark.parametrize("wide", [3.0, 7.0])
@pytest.mark.parametrize("angle", [0, 12, 45, 78, 90])
def test_thin_strokes_stay_in_one_piece(wide: float, angle: int) -> None:
    """Strokes of a quarter of a cell and more, at any angle, stay connected and about as long as drawn."""
    down, across = np.sin(np.radians(angle)), np.cos(np.radians(angle))
    ends = [153 - 110 * across, 147 - 110 * down, 153 + 110 * across, 147 + 110 * down]
    tied = wanted(Sheet(300, 300).line(ends, wide, NAVY), 24) == 1
    assert ndimage.label(tied, structure=np.ones((3, 3)))[1] == 1, tied.astype(int)
    row, cell = np.nonzero(tied)
    assert np.hypot(np.ptp(cell), np.ptp(row)) == pytest.approx(220 / 300 * 24, rel=0.15)


def test_a_ring_thinner_than_a_cell_stays_closed() -> None:
    ring = wanted(Sheet(300, 300).ring(150, 150, 120, 5, NAVY), 24) == 1
    assert ndimage.label(ring, structure=np.ones((3, 3)))[1] == 1
    assert ndimage.label(~ring)[1] == 2, "inside and outside do not touch"
    assert ring.sum() < 110, "and it is not thick"


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_an_eye_is_never_lost(worked: Worked) -> None:
    """Dots of three fifths of a cell, wherever they lie on the grid, are one to four knots."""
    wide = 6.0 if worked == "rows" else 8.5
    for shift in range(0, 20, 3):
        at = 100 + shift / 2, 104 + shift / 3
        found = wanted(Sheet(240, 240).disc(*at, wide / 2, NAVY), 24, worked)
        assert 1 <= (found == 1).sum() <= 4


def test_specks_and_corners_add_nothing() -> None:
    speck = wanted(Sheet(240, 240).box([30, 30, 32, 32], RED).box([100, 100, 180, 180], NAVY), 24)
    assert not (speck == 2).any()
    assert (speck == 1).sum() == 64


def test_broad_bars_and_gaps_stay_as_wide_as_they_are() -> None:
    sheet = Sheet(240, 120)
    for bar in range(1, 12, 2):
        sheet.box([bar * 20, 0, bar * 20 + 20, 120], NAVY)
    assert np.array_equal(wanted(sheet, 24) == 1, np.tile(np.repeat(np.arange(12) % 2 == 1, 2), (12, 1)))


def test_a_mirrored_drawing_keeps_mirrored_features() -> None:
    sheet = Sheet(240, 240).line([40, 200, 200, 60], 4, NAVY).disc(60, 60, 4, RED)
    fine = fine_picture(Picture(sheet.rgb(), CHALK, "one"), 24, 24, cell_aspect=1.0)
    other = fine_picture(
        Picture(np.ascontiguousarray(sheet.rgb()[:, ::-1]), CHALK, "other"), 24, 24, cell_aspect=1.0
    )
    costs = [cell_costs(strengthened(f, 1.0)[0], THREADS).costs for f in (fine, other)]
    same = costs[0].argmin(axis=-1) == costs[1][:, ::-1].argmin(axis=-1)
    assert same.mean() > 0.99


@pytest.mark.parametrize("ink", [NAVY, RED, YELLOW])
@pytest.mark.parametrize("wide", [2, 5, 8, 10, 13])
def test_a_mast_stands_wherever_it_falls_on_the_grid(wide: float, ink: tuple[int, int, int]) -> None:
    """Strokes of a fifth of a cell to more than a whole one, on cells and on borders, dark and light."""
    ground = NAVY if ink == YELLOW else CHALK
    for shift in np.arange(0, 10, 1.25):
        sheet = Sheet(240, 240, ground).line([100 + shift, 30, 100 + shift, 210], wide, ink)
        mast = wanted(sheet, 24)[4:20] == 1 + [NAVY, RED, YELLOW].index(ink)
        assert mast.any(axis=1).all() and mast.sum(axis=1).max() <= 3


def test_a_shaft_of_something_broad_is_a_stroke_and_the_broad_part_is_not() -> None:
    sheet = Sheet(240, 240).line([120, 20, 120, 160], 5, NAVY).box([100, 160, 140, 220], NAVY)
    fine = fine_picture(Picture(sheet.rgb(), CHALK, "oar"), 24, 24, cell_aspect=1.0, finer=True)
    _, found = strengthened(fine, 1.0)
    assert len(found.found) == 1
    top, bottom = found.found[0].places[:, 0].min(), found.found[0].places[:, 0].max()
    assert top < 3 and 13 < bottom < 17
