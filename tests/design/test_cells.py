"""Pictures reduced to cells: shapes, light, thin strokes, sizes."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data as data
from scipy import ndimage

from pipeline.band.knots import Worked
from pipeline.design.cells import MOST_ROWS, Cells, natural_rows, reduce_picture
from pipeline.errors import InputError
from pipeline.motif.picture import Picture
from tests.drawings import CHALK, NAVY, RED, Sheet, pennant

BOTH: tuple[tuple[Worked, float, float], ...] = (
    ("rows", 1.42, 1.42),
    ("rows", 1.5, 2.0),
    ("diagonal", 1.3, 1.0),
)
"""Working order, strand pitch and row pitch, mm."""


def reduced(
    rgb: np.ndarray, cells: int, worked: Worked = "rows", aspect: float = 1.0, **how: object
) -> Cells:
    picture = Picture(rgb, CHALK, "drawing")
    rows = natural_rows(picture, cells, cell_aspect=aspect)
    return reduce_picture(picture, rows, cells, worked=worked, cell_aspect=aspect, **how)  # type: ignore[arg-type]


def knots(rows: int, cells: int, worked: Worked) -> np.ndarray:
    if worked == "rows":
        return np.ones((rows, cells), dtype=bool)
    return np.add.outer(np.arange(rows), np.arange(cells)) % 2 == 0


def inked(cells: Cells, ink: tuple[int, int, int]) -> np.ndarray:
    """Cells of that colour; smoothing may have moved the colour of thin strokes by a few levels."""
    return (np.abs(cells.colours.astype(int) - ink) <= 8).all(axis=2)


# ---------------------------------------------------------------- shapes


@pytest.mark.parametrize(("worked", "strand_pitch", "row_pitch"), BOTH)
@pytest.mark.parametrize("mode", ["flat", "photo"])
def test_a_circle_stays_round(worked: Worked, strand_pitch: float, row_pitch: float, mode: str) -> None:
    """A disc's knots spread as far across as along, in millimetres, and its area is right."""
    cells, aspect = 40, strand_pitch / row_pitch
    found = reduced(Sheet(400, 400).disc(200, 200, 150, NAVY).rgb(), cells, worked, aspect, mode=mode)
    dark = found.colours.astype(int).sum(axis=2) < 450
    tied = dark & knots(*dark.shape, worked)
    row, cell = np.nonzero(tied)
    across, along = np.std(cell * strand_pitch), np.std(row * row_pitch)
    assert across / along == pytest.approx(1.0, abs=0.05)
    area = tied.sum() * strand_pitch * row_pitch * (2 if worked == "diagonal" else 1)
    radius = 150 / 400 * cells * strand_pitch
    assert area == pytest.approx(np.pi * radius**2, rel=0.06)


def test_natural_rows_follow_the_shape() -> None:
    picture = Picture(np.zeros((300, 200, 3), np.uint8), None, "post")
    assert natural_rows(picture, 20, cell_aspect=1.0) == 30
    assert natural_rows(picture, 20, cell_aspect=1.3) == 39
    assert natural_rows(Picture(np.zeros((1, 400, 3), np.uint8), None, "rope"), 20, cell_aspect=1.0) == 1
    with pytest.raises(InputError, match="rows"):
        natural_rows(Picture(np.zeros((MOST_ROWS, 1, 3), np.uint8), None, "mast"), 20, cell_aspect=1.0)


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
@pytest.mark.parametrize("mode", ["flat", "photo"])
def test_contain_cover_and_stretch(worked: Worked, mode: str) -> None:
    """A navy square: all of it on ground, cut to fill, or pulled to fill."""
    picture = Picture(np.full((60, 60, 3), NAVY, np.uint8), CHALK, "square")

    def dark(fit: str) -> np.ndarray:
        found = reduce_picture(picture, 30, 10, worked=worked, cell_aspect=1.0, mode=mode, fit=fit)  # type: ignore[arg-type]
        return found.colours.astype(int).sum(axis=2) < 300

    assert dark("cover").all()
    assert dark("stretch").all()
    contained = dark("contain")
    assert contained[11:19].all()
    assert not contained[:9].any()
    assert not contained[21:].any()


def test_padding_takes_the_ground() -> None:
    picture = Picture(Sheet(60, 60, NAVY).box([0, 0, 30, 60], RED).rgb(), CHALK, "flag")
    found = reduce_picture(picture, 40, 10, worked="rows", cell_aspect=1.0)
    assert found.ground is not None
    assert inked(found, NAVY)[15:25].any()
    assert (found.colours[:10] == np.array(found.ground, dtype=np.uint8)).all()


# ---------------------------------------------------------------- light


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_photos_average_in_linear_light(worked: Worked) -> None:
    """Half black, half white is 188 in sRGB (IEC 61966-2-1), not 128."""
    board = (np.add.outer(np.arange(240), np.arange(240)) % 2 * 255).astype(np.uint8)
    picture = Picture(np.stack([board] * 3, axis=-1), None, "board")
    found = reduce_picture(picture, 10, 10, worked=worked, cell_aspect=1.0, mode="photo")
    assert np.abs(found.colours.astype(int) - 188).max() <= 1


def test_averages_weigh_pixels_by_area() -> None:
    """Three pixels across two cells: the middle one belongs half to each."""
    row = np.array([[[0, 0, 0], [255, 255, 255], [0, 0, 0]]], dtype=np.uint8)
    picture = Picture(np.repeat(row, 3, axis=0), None, "row")
    found = reduce_picture(picture, 1, 2, worked="rows", cell_aspect=1.0, mode="photo", fit="stretch")
    # a third of the light of each cell is white: 255 · (1.055 · (1/3)^(1/2.4) − 0.055) = 156
    assert found.colours.tolist() == [[[156] * 3, [156] * 3]]


def test_diamonds_weigh_their_neighbours() -> None:
    """A knot's diamond is half in its own field, an eighth in each of the four beside it: 1/2 + 4/8."""
    light = np.zeros((5, 5, 3), np.uint8)
    light[2, 2] = 255
    picture = Picture(light, None, "spot")
    found = reduce_picture(picture, 5, 5, worked="diagonal", cell_aspect=1.0, mode="photo", fit="stretch")
    # linear 1/2 is 188; a diamond one field aside holds 1/8 of linear light, which is 99 in sRGB
    assert found.colours[2, 2].tolist() == [188] * 3
    assert {tuple(found.colours[y, x]) for y, x in ((1, 2), (3, 2), (2, 1), (2, 3))} == {(99, 99, 99)}
    assert found.colours[1, 1].tolist() == [0] * 3


def test_a_picture_in_one_colour_stays_that_colour() -> None:
    rgb = np.full((70, 50, 3), (12, 200, 99), np.uint8)
    for worked in ("rows", "diagonal"):
        for mode in ("flat", "photo"):
            found = reduce_picture(
                Picture(rgb, None, "one"), 9, 7, worked=worked, cell_aspect=1.3, mode=mode, fit="cover"
            )
            assert (found.colours == rgb[0, 0]).all()


# ---------------------------------------------------------------- thin strokes


@pytest.mark.parametrize(("worked", "strand_pitch", "row_pitch"), BOTH[1:])
@pytest.mark.parametrize("wide", [2.0, 7.0])
@pytest.mark.parametrize("angle", [0, 12, 45, 78, 90])
def test_thin_strokes_stay_in_one_piece(
    worked: Worked, strand_pitch: float, row_pitch: float, wide: float, angle: int
) -> None:
    """Strokes of a sixth of a cell and more, at any angle, stay connected and about as long as drawn."""
    down, across = np.sin(np.radians(angle)), np.cos(np.radians(angle))
    ends = [153 - 110 * across, 147 - 110 * down, 153 + 110 * across, 147 + 110 * down]
    cells, aspect = 24, strand_pitch / row_pitch
    found = reduced(Sheet(300, 300).line(ends, wide, NAVY).rgb(), cells, worked, aspect)
    assert found.mode == "flat"
    dark = found.colours.astype(int).sum(axis=2) < 450
    tied = dark & knots(*dark.shape, worked)
    reach = (
        np.ones((3, 3))
        if worked == "rows"
        else ndimage.iterate_structure(np.eye(3, dtype=bool) | np.eye(3, dtype=bool)[::-1], 2)
    )
    pieces, number = ndimage.label(tied, structure=np.ones((3, 3))) if worked == "rows" else _pieces(tied)
    assert number == 1, tied.astype(int)
    row, cell = np.nonzero(tied)
    long = np.hypot(np.ptp(cell) * strand_pitch, np.ptp(row) * row_pitch)
    assert long == pytest.approx(220 / 300 * cells * strand_pitch, rel=0.15)
    del reach, pieces


def _pieces(tied: np.ndarray) -> tuple[np.ndarray, int]:
    """Diamonds that share a side or a corner hang together: label them at twice the size."""
    rows, cells = tied.shape
    drawn = np.zeros((2 * rows + 3, 2 * cells + 3), dtype=bool)
    for r, c in zip(*np.nonzero(tied), strict=True):
        drawn[2 * r : 2 * r + 5, 2 * c + 2] = True
        drawn[2 * r + 2, 2 * c : 2 * c + 5] = True
        drawn[2 * r + 1 : 2 * r + 4, 2 * c + 1 : 2 * c + 4] = True
    return ndimage.label(drawn)


def test_a_ring_thinner_than_a_cell_stays_closed() -> None:
    found = reduced(Sheet(300, 300).ring(150, 150, 120, 3, NAVY).rgb(), 24)
    dark = found.colours.astype(int).sum(axis=2) < 450
    assert ndimage.label(dark, structure=np.ones((3, 3)))[1] == 1
    assert ndimage.label(~dark)[1] == 2, "inside and outside do not touch"
    assert dark.sum() < 110, "and it is not thick"


def test_a_stroke_in_a_narrow_gap_stays_whole() -> None:
    """A red stroke of half a cell between two broad bars, with gaps of half a cell: something has to give."""
    sheet = Sheet(240, 240).box([20, 80, 220, 112], NAVY).box([20, 128, 220, 160], NAVY)
    red = inked(reduced(sheet.box([10, 117, 230, 122], RED).rgb(), 24), RED)
    assert ndimage.label(red, structure=np.ones((3, 3)))[1] == 1
    assert red.any(axis=0)[1:23].all()


def test_gaps_between_strokes_are_not_filled() -> None:
    """Bars and gaps of a cell each, as wide as they are drawn."""
    sheet = Sheet(240, 120)
    for bar in range(1, 24, 2):
        sheet.box([bar * 10, 0, bar * 10 + 10, 120], NAVY)
    found = reduced(sheet.rgb(), 24)
    assert np.array_equal(inked(found, NAVY), np.tile(np.arange(24) % 2 == 1, (12, 1)))


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_a_dot_is_never_lost(worked: Worked) -> None:
    """Dots of three fifths of a cell, wherever they lie on the grid, are one to four knots."""
    wide = 6.0 if worked == "rows" else 8.5
    for shift in range(0, 20, 3):
        at = 100 + shift / 2, 104 + shift / 3
        sheet = Sheet(240, 240).box([20, 20, 60, 60], NAVY).disc(*at, wide / 2, NAVY)
        found = reduced(sheet.rgb(), 24, worked)
        dark = (found.colours.astype(int).sum(axis=2) < 450) & knots(24, 24, worked)
        dark[:7] = False
        assert 1 <= dark.sum() <= 4


def test_specks_do_not_become_cells() -> None:
    sheet = Sheet(240, 240).disc(120, 120, 60, NAVY).box([30, 30, 32, 32], RED)
    assert not inked(reduced(sheet.rgb(), 24), RED).any()


def test_one_pixel_a_cell_is_kept_as_it_is() -> None:
    inks = np.array([CHALK, NAVY, RED], dtype=np.uint8)
    cells = np.random.default_rng(4).integers(0, 3, (30, 20))
    found = reduced(inks[cells], 20, mode="flat")
    assert (found.colours == inks[cells]).mean() > 0.99


# ---------------------------------------------------------------- whole pictures


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
@pytest.mark.parametrize("name", ["chelsea", "rocket"])
def test_open_photos_go_through(name: str, worked: Worked) -> None:
    """Pictures that ship with scikit-image; the mean light is that of the picture."""
    rgb = np.ascontiguousarray(getattr(data, name)()[..., :3])
    found = reduced(rgb, 20, worked, 1.2)
    assert found.mode == "photo"
    from pipeline.colour import linear

    assert np.abs(linear(found.colours).mean(axis=(0, 1)) - linear(rgb).mean(axis=(0, 1))).max() < 0.02


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_a_mirrored_picture_gives_mirrored_cells(worked: Worked) -> None:
    """With an odd number of cells mirrored knots are knots, too."""
    rgb = pennant()
    there = reduced(rgb, 25, worked).colours
    back = reduced(np.ascontiguousarray(rgb[:, ::-1]), 25, worked).colours[:, ::-1]
    assert np.array_equal(there, back)


def test_no_sliver_of_ground_is_left_at_the_edge() -> None:
    """A picture of 15.4 rows fills 15, and one of 15.6 fills 16."""
    for height in (154, 156):
        picture = Picture(np.full((height, 100, 3), NAVY, np.uint8), CHALK, "sea")
        rows = natural_rows(picture, 10, cell_aspect=1.0)
        found = reduce_picture(picture, rows, 10, worked="rows", cell_aspect=1.0)
        assert inked(found, NAVY).all()


def test_modes_can_be_forced() -> None:
    assert reduced(pennant(), 20).mode == "flat"
    assert reduced(pennant(), 20, mode="photo").mode == "photo"
    forced = reduced(np.ascontiguousarray(data.coffee()), 20, mode="flat")
    assert forced.mode == "flat"
    assert len(np.unique(forced.colours.reshape(-1, 3), axis=0)) <= 24


def test_same_picture_same_cells() -> None:
    first, second = reduced(pennant(), 23, "diagonal", 1.3), reduced(pennant(), 23, "diagonal", 1.3)
    assert first.colours.tobytes() == second.colours.tobytes()
    assert not first.colours.flags.writeable


def test_extreme_shapes() -> None:
    for shape in ((1, 1), (1, 500), (500, 1), (3, 2)):
        picture = Picture(
            np.random.default_rng(0).integers(0, 256, (*shape, 3)).astype(np.uint8), None, "odd"
        )
        for worked in ("rows", "diagonal"):
            for fit in ("contain", "cover", "stretch"):
                found = reduce_picture(picture, 7, 5, worked=worked, cell_aspect=0.7, fit=fit)
                assert found.colours.shape == (7, 5, 3)
    with pytest.raises(InputError):
        reduce_picture(picture, 0, 5, worked="rows", cell_aspect=1.0)
