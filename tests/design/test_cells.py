"""Pictures on the fine grid: shapes, light, sizes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skimage.data as data
from PIL import Image

from pipeline.colour import encoded, linear
from pipeline.design.cells import FinePicture, fine_picture, natural_rows
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import InputError
from pipeline.limits import MOST_ROWS
from pipeline.literals import Framing
from pipeline.motif.picture import Picture
from pipeline.order.asked import Band, Drawer, PictureSource, Request
from pipeline.plan import plan
from pipeline.routing import Budget
from tests.drawings import CHALK, NAVY, RED, Sheet, pennant


def laid(rgb: np.ndarray, cells: int, aspect: float = 1.0) -> FinePicture:
    picture = Picture(rgb, CHALK, "drawing")
    return fine_picture(picture, natural_rows(picture, cells, cell_aspect=aspect), cells, cell_aspect=aspect)


@pytest.mark.parametrize("aspect", [1.0, 0.75, 1.3])
def test_a_circle_stays_round(aspect: float) -> None:
    """A disc's cells spread as far across as along, in millimetres, and its area is right."""
    cells = 40
    found = encoded(laid(Sheet(400, 400).disc(200, 200, 150, NAVY).rgb(), cells, aspect).means())
    row, cell = np.nonzero(found.astype(int).sum(axis=2) < 450)
    assert np.std(cell * aspect) / np.std(row) == pytest.approx(1.0, abs=0.05)
    assert len(row) * aspect == pytest.approx(np.pi * (150 / 400 * cells * aspect) ** 2, rel=0.06)


def test_natural_rows_follow_the_shape() -> None:
    picture = Picture(np.zeros((300, 200, 3), np.uint8), None, "post")
    assert natural_rows(picture, 20, cell_aspect=1.0) == 30
    assert natural_rows(picture, 20, cell_aspect=1.3) == 39
    assert natural_rows(Picture(np.zeros((1, 400, 3), np.uint8), None, "rope"), 20, cell_aspect=1.0) == 1
    with pytest.raises(InputError, match="rows"):
        natural_rows(Picture(np.zeros((MOST_ROWS, 1, 3), np.uint8), None, "mast"), 20, cell_aspect=1.0)


def test_contain_cover_and_stretch() -> None:
    """A navy square: all of it on ground, cut to fill, or pulled to fill."""
    picture = Picture(np.full((60, 60, 3), NAVY, np.uint8), CHALK, "square")

    def dark(fit: Framing) -> np.ndarray:
        return fine_picture(picture, 30, 10, cell_aspect=1.0, fit=fit).means().sum(axis=2) < 0.5

    assert dark("cover").all()
    assert dark("stretch").all()
    contained = dark("contain")
    assert contained[11:19].all()
    assert not contained[:9].any()
    assert not contained[21:].any()


def test_padding_takes_the_ground() -> None:
    picture = Picture(Sheet(60, 60, NAVY).box([0, 0, 30, 60], RED).rgb(), CHALK, "flag")
    found = fine_picture(picture, 40, 10, cell_aspect=1.0).means()
    np.testing.assert_allclose(found[:10], np.broadcast_to(linear(CHALK), (10, 10, 3)), atol=1e-9)


def test_averages_are_taken_in_linear_light() -> None:
    """Half black, half white is 188 in sRGB (IEC 61966-2-1), not 128."""
    board = (np.add.outer(np.arange(240), np.arange(240)) % 2 * 255).astype(np.uint8)
    picture = Picture(np.stack([board] * 3, axis=-1), None, "board")
    means = encoded(fine_picture(picture, 10, 10, cell_aspect=1.0).means())
    assert np.abs(means.astype(int) - 188).max() <= 1


def test_averages_weigh_pixels_by_area() -> None:
    """Three pixels across two cells: the middle one belongs half to each."""
    row = np.array([[[0, 0, 0], [255, 255, 255], [0, 0, 0]]], dtype=np.uint8)
    picture = Picture(np.repeat(row, 3, axis=0), None, "row")
    found = fine_picture(picture, 1, 2, cell_aspect=1.0, fit="stretch")
    # a third of the light of each cell is white: 255 · (1.055 · (1/3)^(1/2.4) − 0.055) = 156
    assert encoded(found.means()).tolist() == [[[156] * 3, [156] * 3]]


@pytest.mark.parametrize("name", ["chelsea", "rocket"])
def test_open_photos_keep_their_mean_light(name: str) -> None:
    """Pictures that ship with scikit-image."""
    rgb = np.ascontiguousarray(getattr(data, name)()[..., :3])
    apart = laid(rgb, 20, 1.2).means().mean(axis=(0, 1)) - linear(rgb).mean(axis=(0, 1))
    assert np.abs(apart).max() < 0.005


def test_a_mirrored_picture_gives_mirrored_cells() -> None:
    rgb = pennant()
    there = laid(rgb, 25).light
    back = laid(np.ascontiguousarray(rgb[:, ::-1]), 25).light[:, ::-1]
    np.testing.assert_allclose(there, back, atol=1e-9)


def test_no_sliver_of_ground_is_left_at_the_edge() -> None:
    """A picture of 15.4 rows fills 15, and one of 15.6 fills 16."""
    for height in (154, 156):
        picture = Picture(np.full((height, 100, 3), NAVY, np.uint8), CHALK, "sea")
        rows = natural_rows(picture, 10, cell_aspect=1.0)
        found = encoded(fine_picture(picture, rows, 10, cell_aspect=1.0).means())
        assert (found == np.array(NAVY, np.uint8)).all()


def test_long_bands_take_bounded_memory_and_odd_shapes_go_through() -> None:
    for shape in ((1, 1), (1, 500), (500, 1), (3, 2)):
        rgb = np.random.default_rng(0).integers(0, 256, (*shape, 3)).astype(np.uint8)
        picture = Picture(rgb, None, "odd")
        for fit in ("contain", "cover", "stretch"):
            assert fine_picture(picture, 7, 5, cell_aspect=0.7, fit=fit).shape == (7, 5)  # type: ignore[arg-type]
    long = fine_picture(picture, MOST_ROWS, 60, cell_aspect=1.0, fit="stretch")
    assert (long.fine, long.shape) == (2, (MOST_ROWS, 60))
    assert not long.light.flags.writeable
    with pytest.raises(InputError):
        fine_picture(picture, 0, 5, cell_aspect=1.0)


@pytest.mark.parametrize(("drawn", "told"), [((0, 0, 0, 0), True), ("#ffffff", False), ("#1b2a59", False)])
def test_a_picture_of_one_colour_is_told_of(tmp_path: Path, drawn: Any, told: bool) -> None:
    """White drawn on nothing lies on another colour; nothing on nothing is told."""
    picture = Image.new("RGBA", (40, 40), (0, 0, 0, 0))
    picture.paste(drawn, (10, 10, 30, 30))
    picture.save(tmp_path / "sail.png")
    source = PictureSource(tmp_path / "sail.png", trim=False)
    asked = Request(source, Band(strands=8, rows=8, fill="none"), Drawer(builtin_stash()))
    made = plan(asked, budget=Budget(effort=0.01), further=False)
    assert any("of one colour" in note for note in made.design.notes) == told
