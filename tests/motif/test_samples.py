"""The sample pictures are what their script draws, and all of them can be read."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pipeline.drawer.stash import read_stash
from pipeline.motif.picture import load_grid, load_picture

SAMPLES = Path(__file__).parents[2] / "sample_images"
FLAT = {  # colours that the script uses
    "pennant": 4,
    "oar_crest": 4,
    "buoy": 7,
    "wave_border": 4,
    "boat_number": 4,
    "monogram": 3,
    "signal_hoist": 5,
    "life_ring": 3,
}


@pytest.fixture(scope="module")
def script() -> dict[str, Any]:
    return runpy.run_path(str(SAMPLES / "draw.py"))


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.png")), ids=lambda path: path.stem)
def test_the_script_draws_what_is_saved(script: dict[str, Any], path: Path) -> None:
    drawn = np.asarray(script["PICTURES"][path.stem]().convert("RGBA")).astype(int)
    saved = np.asarray(Image.open(path).convert("RGBA")).astype(int)
    assert drawn.shape == saved.shape
    assert np.abs(drawn - saved).max() <= 2  # releases of Pillow may round differently


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.[ps][nv]g")), ids=lambda path: path.stem)
def test_every_sample_is_read(path: Path) -> None:
    read = load_picture(path)
    assert min(read.rgb.shape[:2]) >= 16
    if path.stem in FLAT:
        codes, counts = np.unique(read.rgb.reshape(-1, 3), axis=0, return_counts=True)
        common = codes[counts > 0.002 * counts.sum()]
        assert len(common) >= FLAT[path.stem]
        assert counts[np.argsort(counts)[-FLAT[path.stem] :]].sum() > 0.95 * counts.sum()


def test_the_grid_is_for_seventeen_strands() -> None:
    assert load_grid(SAMPLES / "cells.png").shape == (48, 16, 3)


def test_the_stash_of_the_club_is_a_stash() -> None:
    stash = read_stash(SAMPLES / "club_stash.csv")
    assert len(stash.threads) == 20
    assert all(thread.metres and 5 <= thread.metres <= 100 for thread in stash.threads)


def test_the_list_of_samples_is_complete() -> None:
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    for path in SAMPLES.iterdir():
        if path.suffix in (".png", ".svg", ".csv"):
            assert f"`{path.name}`" in text
