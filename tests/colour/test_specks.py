"""Specks in photos: what changes, what does not."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data as data

from pipeline.cells import reduce_picture
from pipeline.colour import delta_e_table
from pipeline.knots import Worked
from pipeline.picture import Picture
from pipeline.specks import smooth_specks
from pipeline.stash import Stash, Thread, builtin_stash
from pipeline.threads import Match, match_threads

GREYS = Stash((Thread("light", "#a0a0a0"), Thread("dark", "#808080"), Thread("red", "#c8202c")), "drawer")


def spotted(spot: int) -> tuple[Match, np.ndarray]:
    """A field that is just on the light side of two greys, with one cell of another grey or red."""
    colours = np.full((7, 7, 3), 0x93, dtype=np.uint8)
    colours[3, 3] = (0xC8, 0x20, 0x2C) if spot < 0 else spot
    return match_threads(colours, GREYS, count=3, distinct=False), colours


def test_a_faint_speck_joins_its_neighbours() -> None:
    match, colours = spotted(0x8D)
    assert match.threads[match.wanted[3, 3]].name == "dark"
    calm = smooth_specks(match, colours, worked="rows")
    assert (calm.wanted == match.wanted[0, 0]).all()
    assert sum(row.cells for row in calm.became) == 49


def test_a_strong_speck_stays() -> None:
    match, colours = spotted(-1)
    calm = smooth_specks(match, colours, worked="rows")
    assert calm.threads[calm.wanted[3, 3]].name == "red"


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_photos_get_calmer_and_lose_little(worked: Worked) -> None:
    picture = Picture(np.ascontiguousarray(data.astronaut()[:300, 100:340]), None, "portrait")
    mask = (
        np.ones((25, 20), bool) if worked == "rows" else np.add.outer(np.arange(25), np.arange(20)) % 2 == 0
    )
    colours = reduce_picture(picture, 25, 20, worked=worked, cell_aspect=1.0).colours
    match = match_threads(colours, builtin_stash(), count=4, mask=mask)
    rgb = np.array([thread.rgb for thread in match.threads], dtype=np.uint8)
    off = delta_e_table(colours, rgb).reshape(25, 20, 4)

    def error(wanted: np.ndarray) -> float:
        return float(np.take_along_axis(off, wanted[..., None], axis=2)[..., 0][mask].sum())

    calm = smooth_specks(match, colours, worked=worked, mask=mask)
    assert (calm.wanted != match.wanted)[mask].any()
    assert error(match.wanted) <= error(calm.wanted) <= 1.03 * error(match.wanted)
    assert np.array_equal(calm.wanted[~mask], match.wanted[~mask])
    same = smooth_specks(match, colours, worked=worked, mask=mask, weight=0.0)
    assert np.array_equal(same.wanted, match.wanted)
