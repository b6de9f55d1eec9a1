"""The built-in palette: enough colours, evenly spread, and chosen by the script that is kept."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from pipeline.colour import delta_e_table, lab
from pipeline.drawer.stash import builtin_stash

SCRIPT = Path(__file__).parents[2] / "docs" / "palette.py"


@pytest.fixture(scope="module")
def colours() -> np.ndarray:
    return np.array([thread.rgb for thread in builtin_stash().threads], dtype=np.uint8)


def test_there_are_56_threads_with_names_of_their_own() -> None:
    names = builtin_stash().names
    assert len(names) == 56
    assert len({name.casefold() for name in names}) == 56
    assert not any("," in name for name in names), "names go into --threads NAME,NAME"


def test_no_two_are_near(colours: np.ndarray) -> None:
    """Measured: the nearest two (two greys) are 8.95 apart in CIEDE2000, 10.9 in plain CIELAB."""
    off_diagonal = ~np.eye(len(colours), dtype=bool)
    assert delta_e_table(colours, colours)[off_diagonal].min() > 8.9
    places = lab(colours)
    assert np.linalg.norm(places[:, None] - places[None], axis=2)[off_diagonal].min() > 10.0


def test_no_colour_that_cotton_reaches_is_far(colours: np.ndarray) -> None:
    """Largest gap, measured on other samples than the script's: 13.6 (CIEDE2000), mean 7.1;
    over all of sRGB, neon included, 17.7.
    """
    plausible = runpy.run_path(str(SCRIPT))["plausible"]
    samples = np.random.default_rng(1).integers(0, 256, (6000, 3)).astype(np.uint8)
    reached = samples[plausible(lab(samples))]
    assert len(reached) > 2000
    gaps = delta_e_table(reached, colours).min(axis=1)
    assert gaps.max() < 14.0
    assert gaps.mean() < 7.5
    assert delta_e_table(samples, colours).min(axis=1).max() < 18.5


def test_neutrals_run_from_near_black_to_chalk(colours: np.ndarray) -> None:
    places = lab(colours)
    neutral = np.sort(places[np.hypot(places[:, 1], places[:, 2]) < 6, 0])
    assert len(neutral) >= 6
    assert neutral[0] < 15
    assert neutral[-1] > 93
    assert np.diff(neutral).max() < 21


def test_the_script_gives_these_colours(colours: np.ndarray) -> None:
    spread, _ = runpy.run_path(str(SCRIPT))["spread"]()
    assert {tuple(c) for c in spread.tolist()} == {tuple(c) for c in colours.tolist()}
