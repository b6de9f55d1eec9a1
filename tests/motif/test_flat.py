"""Flat drawings and photos told apart; the colours of a drawing found through smoothing and JPEG."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import skimage.data as data

from pipeline.colour import delta_e
from pipeline.motif.flat import distinct_colours, is_flat
from tests.drawings import CHALK, NAVY, RED, YELLOW, Sheet, as_jpeg, ball, pennant

INKS = np.array([CHALK, NAVY, YELLOW, RED], dtype=np.uint8)


def noisy(rgb: np.ndarray) -> np.ndarray:
    noise = np.random.default_rng(0).normal(0, 3, rgb.shape)
    return np.clip(rgb + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    ("change", "limit"),
    [
        (lambda rgb: rgb, 3.0),
        (lambda rgb: as_jpeg(rgb, 90), 12.0),  # JPEG stores colour at half the resolution: it bleeds out of
        (lambda rgb: as_jpeg(rgb, 70), 15.0),  # a stroke 3 pixels wide
        (noisy, 3.0),
        (lambda rgb: np.repeat(np.repeat(rgb, 3, axis=0), 3, axis=1), 3.0),
        (lambda rgb: rgb[::-1, :, :], 3.0),
    ],
    ids=["smooth", "jpeg90", "jpeg70", "noisy", "magnified", "upside-down"],
)
def test_the_four_inks_of_a_drawing(change: Callable[[np.ndarray], np.ndarray], limit: float) -> None:
    artwork = distinct_colours(change(pennant()))
    assert is_flat(artwork)
    assert len(artwork.colours) == 4
    off = delta_e(artwork.colours[:, None], INKS[None]).min(axis=0)
    assert off.max() < limit


def test_exact_colours_come_through_exactly() -> None:
    artwork = distinct_colours(Sheet(120, 90).box([20, 10, 60, 80], NAVY).box([70, 10, 110, 80], RED).rgb())
    assert {tuple(c) for c in artwork.colours.tolist()} == {CHALK, NAVY, RED}


def test_smooth_edges_fall_to_the_side_they_resemble() -> None:
    """A box whose edges lie half a pixel off keeps its area; no third colour appears between."""
    rgb = Sheet(100, 100).box([20.5, 20.5, 60.5, 70.5], NAVY).rgb()
    assert len(np.unique(rgb.reshape(-1, 3), axis=0)) > 2
    artwork = distinct_colours(rgb)
    assert len(artwork.colours) == 2
    assert np.count_nonzero(artwork.labels == 1) == pytest.approx(40 * 50, rel=0.05)


def test_a_real_colour_between_two_others_stays() -> None:
    grey = (136, 142, 161)  # halfway between navy and chalk
    rgb = Sheet(120, 60).box([0, 0, 40, 60], NAVY).box([40, 0, 80, 60], grey).rgb()
    assert {tuple(c) for c in distinct_colours(rgb).colours.tolist()} == {CHALK, NAVY, grey}


def test_near_colours_of_a_small_exact_picture_stay_apart() -> None:
    tones = np.array([(133, 86, 53), (150, 108, 75), (169, 128, 101)], dtype=np.uint8)
    cells = np.random.default_rng(3).integers(0, 3, (40, 20))
    assert len(distinct_colours(tones[cells]).colours) == 3


@pytest.mark.parametrize("name", ["astronaut", "camera", "chelsea", "coffee", "rocket", "coins"])
def test_photos_are_photos(name: str) -> None:
    """Open pictures that ship with scikit-image."""
    rgb = getattr(data, name)()
    rgb = rgb if rgb.ndim == 3 else np.stack([rgb] * 3, axis=-1)
    assert not is_flat(distinct_colours(np.ascontiguousarray(rgb[..., :3])))


def test_shading_is_no_drawing() -> None:
    assert not is_flat(distinct_colours(ball()))


def test_silhouettes_are_drawings() -> None:
    horse = np.where(data.horse(), 255, 0).astype(np.uint8)
    artwork = distinct_colours(np.stack([horse] * 3, axis=-1))
    assert is_flat(artwork)
    assert len(artwork.colours) == 2


def test_one_colour_and_one_pixel() -> None:
    for shape in ((1, 1), (1, 7), (50, 50)):
        artwork = distinct_colours(np.full((*shape, 3), 90, dtype=np.uint8))
        assert is_flat(artwork)
        assert artwork.colours.tolist() == [[90, 90, 90]]
        assert artwork.labels.shape == shape


def test_noise_has_at_most_24_colours_and_is_no_drawing() -> None:
    rgb = np.random.default_rng(2).integers(0, 256, (120, 120, 3)).astype(np.uint8)
    artwork = distinct_colours(rgb)
    assert len(artwork.colours) <= 24
    assert not is_flat(artwork)
