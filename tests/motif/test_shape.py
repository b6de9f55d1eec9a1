"""Trimming, cropping, turning, mirroring, the ground colour, and large pictures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.colour import linear
from pipeline.errors import InputError
from pipeline.motif.picture import Crop, Picture, border_colour, load_picture

NAVY, RED = (27, 42, 89), (200, 32, 44)


def motif(height: int = 40, width: int = 30, noise: int = 0) -> np.ndarray:
    """A red corner mark on navy: no symmetry, margins 5, 7, 11 and 3 (left, top, right, bottom)."""
    rgb = np.full((height, width, 3), NAVY, np.uint8)
    rgb[7 : height - 3, 5:9] = RED
    rgb[height - 7 : height - 3, 5 : width - 11] = RED
    if noise:
        rng = np.random.default_rng(1)
        rgb = (rgb.astype(int) + rng.integers(-noise, noise + 1, rgb.shape)).clip(0, 255).astype(np.uint8)
    return rgb


def saved(folder: Path, rgb: np.ndarray) -> Path:
    Image.fromarray(rgb).save(folder / "motif.png")
    return folder / "motif.png"


@pytest.mark.parametrize("noise", [0, 7])
def test_the_margin_is_trimmed(tmp_path: Path, noise: int) -> None:
    rgb = motif(noise=noise)
    read = load_picture(saved(tmp_path, rgb))
    assert (read.rgb == rgb[7:37, 5:19]).all()
    assert read.ground is not None
    assert np.abs(np.array(read.ground) - NAVY).max() <= 1
    assert (load_picture(tmp_path / "motif.png", trim=False).rgb == rgb).all()


def test_a_picture_of_one_colour_stays_whole(tmp_path: Path) -> None:
    read = load_picture(saved(tmp_path, np.full((4, 5, 3), NAVY, np.uint8)))
    assert read.rgb.shape == (4, 5, 3)
    assert read.ground == NAVY


def test_no_ground_where_no_colour_dominates_the_border(tmp_path: Path) -> None:
    rgb = motif()
    rgb[:20] = RED
    read = load_picture(saved(tmp_path, rgb))
    assert read.ground is None
    assert read.rgb.shape == rgb.shape


@given(st.floats(0.62, 1.0), st.integers(0, 99))
def test_a_clear_majority_of_the_border_is_the_ground(share: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rgb = rng.integers(0, 256, (30, 30, 3), dtype=np.uint8)
    ring = [(r, c) for r in range(30) for c in range(30) if r in (0, 29) or c in (0, 29)]
    for row, column in rng.permutation(ring)[: int(np.ceil(share * len(ring)))]:
        rgb[row, column] = NAVY
    assert border_colour(rgb) == NAVY


def test_turning_and_then_mirroring(tmp_path: Path) -> None:
    rgb = motif()
    path = saved(tmp_path, rgb)
    clockwise = rgb.transpose(1, 0, 2)[:, ::-1]
    assert (load_picture(path, trim=False, turn=1).rgb == clockwise).all()
    assert (load_picture(path, trim=False, turn=-3).rgb == clockwise).all()
    assert (load_picture(path, trim=False, turn=2).rgb == rgb[::-1, ::-1]).all()
    assert (load_picture(path, trim=False, turn=3).rgb == clockwise[::-1, ::-1]).all()
    assert (load_picture(path, trim=False, mirror=True).rgb == rgb[:, ::-1]).all()
    assert (load_picture(path, trim=False, turn=1, mirror=True).rgb == clockwise[:, ::-1]).all()


def test_a_crop_is_in_shares_of_the_picture_and_is_not_trimmed(tmp_path: Path) -> None:
    rgb = motif(height=40, width=30)
    read = load_picture(saved(tmp_path, rgb), crop=(0.1, 0.25, 0.5, 1.0))
    assert (read.rgb == rgb[10:40, 3:15]).all()


@pytest.mark.parametrize(
    "crop",
    [
        (0.5, 0, 0.5, 1),
        (0, 0.9, 1, 0.1),
        (-0.1, 0, 1, 1),
        (0, 0, 1, 1.1),
        (float("nan"), 0, 1, 1),
        (0, 0, 0.01, 1),
    ],
)
def test_a_crop_of_nothing_is_refused(tmp_path: Path, crop: Crop) -> None:
    with pytest.raises(InputError, match="crop"):
        load_picture(saved(tmp_path, motif()), crop=crop)


def test_a_large_picture_is_averaged_in_linear_light(tmp_path: Path) -> None:
    """Black and white in equal parts average to level 188 (IEC 61966-2-1), not 128."""
    rgb = np.zeros((3000, 2400, 3), np.uint8)
    rgb[:, ::2] = 255
    read = load_picture(saved(tmp_path, rgb), trim=False).rgb
    assert read.shape == (1500, 1200, 3)
    assert (read == 188).all()
    assert float(linear(188)) == pytest.approx(0.5, abs=0.005)


def test_very_long_and_narrow_pictures(tmp_path: Path) -> None:
    for shape in ((1, 1, 3), (1, 9_000, 3), (9_000, 1, 3)):
        rgb = np.full(shape, 90, np.uint8)
        rgb[0, 0] = 10
        assert load_picture(saved(tmp_path, rgb), trim=False).rgb.shape == shape


def test_a_picture_is_read_only_and_refuses_nonsense() -> None:
    picture = Picture(np.zeros((2, 2, 3), np.uint8), None, "x")
    with pytest.raises(ValueError, match="read-only"):
        picture.rgb[0, 0, 0] = 1
    for rgb in (np.zeros((2, 2), np.uint8), np.zeros((2, 2, 3)), np.zeros((0, 2, 3), np.uint8)):
        with pytest.raises(ValueError, match="uint8"):
            Picture(rgb, None, "x")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="ground"):
        Picture(np.zeros((2, 2, 3), np.uint8), (0, 0, 256), "x")


def test_the_name_is_clean(tmp_path: Path) -> None:
    path = tmp_path / "har\u202ebour\n \x07pennant.png"
    Image.fromarray(motif()).save(path, "PNG")
    assert load_picture(path).name == "har�bour �pennant"
