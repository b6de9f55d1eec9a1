"""What it costs that a cell shows a thread: edges, plain areas, the published difference, what serves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.knots import Worked
from pipeline.colour import hyab_lab, lab
from pipeline.design.cells import fine_picture, natural_rows
from pipeline.design.costs import CellCosts, cell_costs
from pipeline.design.design import design
from pipeline.drawer.stash import Stash, Thread, builtin_stash
from pipeline.literals import Mode
from pipeline.materials.gauge import preset_gauge
from pipeline.motif.picture import Picture
from pipeline.order.asked import Drawer, PictureSource, Space
from tests.drawings import CHALK, NAVY, RED, Sheet


def priced(
    rgb: np.ndarray, cells: int, threads: list[tuple[int, int, int]], mode: Mode = "auto"
) -> CellCosts:
    picture = Picture(rgb, None, "drawing")
    rows = natural_rows(picture, cells, cell_aspect=1.0)
    return cell_costs(
        fine_picture(picture, rows, cells, cell_aspect=1.0), np.array(threads, dtype=np.uint8), mode
    )


def test_hyab_is_the_published_formula() -> None:
    """|ΔL*| + √(Δa*² + Δb*²) (Abasi, Amani Tehran and Fairchild 2020, equation for large differences),
    worked by hand: L* 62 and 50, a* 9 and 6, b* -1 and 3: 12 + √(9 + 16) = 17.
    """
    assert float(hyab_lab((62, 9, -1), (50, 6, 3))) == pytest.approx(17)
    assert float(hyab_lab((50, 6, 3), (62, 9, -1))) == pytest.approx(17)


def test_a_warm_red_becomes_red_and_not_salmon() -> None:
    """CIEDE2000 would prefer the salmon (10.5 to 12.7); HyAB finds it twice as far (40.5 to 22.3)."""
    red, salmon = (200, 32, 44), (225, 120, 105)
    warm = lab(np.array((244, 67, 54), np.uint8))
    assert float(hyab_lab(warm, lab(np.array(red, np.uint8)))) == pytest.approx(22.3, abs=0.1)
    assert float(hyab_lab(warm, lab(np.array(salmon, np.uint8)))) == pytest.approx(40.5, abs=0.1)


def test_plain_areas_cost_the_difference_of_the_threads() -> None:
    found = priced(np.full((40, 40, 3), NAVY, np.uint8), 4, [NAVY, CHALK])
    apart = float(hyab_lab(lab(np.array(NAVY, np.uint8)), lab(np.array(CHALK, np.uint8))))
    np.testing.assert_allclose(found.costs[..., 0], 0)
    np.testing.assert_allclose(found.costs[..., 1], apart, atol=0.06)
    assert found.serves[..., 0].all()
    assert not found.serves[..., 1].any()
    np.testing.assert_allclose(found.floor, 0, atol=1e-6)


def test_an_edge_may_show_either_side_and_never_asks_for_a_mixture() -> None:
    """Half red, half chalk, the edge through the middle of a column of cells."""
    rgb = Sheet(70, 70).box([0, 0, 35, 70], RED).rgb()
    pink = tuple(int(v) for v in (np.array(RED) + np.array(CHALK)) // 2)
    found = priced(rgb, 7, [RED, CHALK, pink], "flat")
    edge = found.costs[:, 3]
    assert found.serves[:, 3, :2].all()
    assert (np.abs(edge[:, 0] - edge[:, 1]) < 3).all()
    assert (found.costs[:, :3, 0] == 0).all()
    assert (found.costs[:, 4:, 1] == 0).all()
    assert not found.serves[:, [0, 1, 5, 6], 2].any(), "away from the edge nothing serves for a plain colour"


@given(st.integers(0, 10**6), st.integers(1, 5))
def test_costs_are_what_a_loop_over_the_samples_finds(seed: int, threads: int) -> None:
    """The crisp eye on a tiny picture against a plain double loop with the same weights."""
    rng = np.random.default_rng(seed)
    rgb = rng.integers(0, 256, (3, 3, 3)).astype(np.uint8)
    yarn = rng.integers(0, 256, (threads, 3)).astype(np.uint8)
    fine = fine_picture(Picture(rgb, None, "noise"), 2, 2, cell_aspect=1.0)
    found = cell_costs(fine, yarn, "flat")
    assert (found.costs.min(axis=-1) == 0).all()
    assert np.take_along_axis(found.serves, found.costs.argmin(axis=-1)[..., None], -1).all()
    from pipeline.colour import light_lab

    samples, n = light_lab(fine.light), fine.fine
    for row in range(2):
        for cell in range(2):
            total, weights = np.zeros(threads), 0.0
            for y in range(samples.shape[0]):
                for x in range(samples.shape[1]):
                    down, across = (y + 0.5) / n - row - 0.5, (x + 0.5) / n - cell - 0.5
                    if max(abs(down), abs(across)) > 1.08 + 1 / n:
                        continue
                    weight = np.exp(-(down**2 + across**2) / (2 * 0.36**2))
                    total += weight * hyab_lab(samples[y, x], lab(yarn))
                    weights += weight
            mean = total / weights
            np.testing.assert_allclose(found.costs[row, cell], mean - mean.min(), atol=0.35)
            assert found.floor[row, cell] == pytest.approx(mean.min(), abs=0.35)


def of(threads: Stash, path: str, tmp_path: object, worked: Worked = "rows") -> object:
    space = Space(24, worked, preset_gauge("six-strand embroidery cotton", worked))
    return design(PictureSource(tmp_path / path), space, Drawer(threads))  # type: ignore[operator]


def test_a_drawing_gets_the_threads_that_earn_their_place(tmp_path: object) -> None:
    from PIL import Image

    sheet = Sheet(240, 240).disc(120, 120, 90, NAVY).disc(120, 120, 40, RED)
    Image.fromarray(sheet.rgb()).save(tmp_path / "target.png")  # type: ignore[operator]
    drawn = of(builtin_stash(), "target.png", tmp_path)
    assert {t.name for t in drawn.threads} == {"chalk", "navy", "signal red"}  # type: ignore[attr-defined]
    assert drawn.threads[drawn.ground].name == "chalk"  # type: ignore[attr-defined]


def test_the_page_round_a_badge_becomes_the_ground_that_is_named(tmp_path: object) -> None:
    """The white of the page turns navy, the white inside the badge stays."""
    from PIL import Image

    sheet = Sheet(240, 240, (255, 255, 255)).disc(120, 120, 110, RED).disc(120, 120, 50, (255, 255, 255))
    Image.fromarray(sheet.rgb()).save(tmp_path / "badge.png")  # type: ignore[operator]
    stash = Stash((Thread("navy", "#1b2a59"), Thread("chalk", "#f6f3ea"), Thread("red", "#c8202c")), "drawer")
    space = Space(24, "rows", preset_gauge("six-strand embroidery cotton", "rows"))
    drawn = design(PictureSource(tmp_path / "badge.png"), space, Drawer(stash, ground="navy"))  # type: ignore[operator]
    names = [t.name for t in drawn.threads]
    rows, cells = drawn.wanted.shape
    assert names[drawn.ground] == "navy"
    assert names[drawn.wanted[0, 1]] == "navy"
    assert names[drawn.wanted[rows // 2, cells // 2]] == "chalk"
    assert names[drawn.wanted[rows // 2, 4]] == "red"
