"""The choice of threads against brute force, and what is reported."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from pipeline.colour import delta_e, delta_e_table, hex_of, linear
from pipeline.design.facility import choose, total_of
from pipeline.design.threads import (
    MOST,
    _grouped,
    became,
    choose_threads,
    counted_colours,
    hyab_table,
    nearest_threads,
    thread_table,
    with_enough,
)
from pipeline.drawer.stash import Stash, Thread, builtin_stash
from pipeline.errors import InputError
from pipeline.materials.supply import Demand


def stash_of(*colours: str) -> Stash:
    return Stash(tuple(Thread(f"thread {i}", c) for i, c in enumerate(colours)), "drawer")


def random_stash(rng: np.random.Generator, size: int) -> Stash:
    return stash_of(*(hex_of(rng.integers(0, 256, 3)) for _ in range(size)))


def colours_of(*hexes: str) -> np.ndarray:
    return np.array([list(bytes.fromhex(c[1:])) for c in hexes], dtype=np.uint8)


def total(colours: np.ndarray, areas: np.ndarray, threads: tuple[Thread, ...]) -> float:
    table = hyab_table(colours, np.array([t.rgb for t in threads], dtype=np.uint8))
    return float(areas @ table.min(axis=1))


@given(st.integers(0, 10**6), st.integers(2, 9), st.integers(1, 5), st.integers(1, 60))
def test_choice_is_the_best_of_all(seed: int, n: int, count: int, colours: int) -> None:
    rng = np.random.default_rng(seed)
    count = min(count, n)
    table, weights = rng.random((colours, n)) * 50, rng.integers(1, 20, colours).astype(float)
    chosen, complete = choose(table, weights, count)
    assert complete
    assert len(set(chosen)) == count
    best = min(total_of(table, weights, columns) for columns in itertools.combinations(range(n), count))
    assert total_of(table, weights, chosen) == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_threads_are_the_best_of_all(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stash = random_stash(rng, 8)
    colours, areas = rng.integers(0, 256, (40, 3)).astype(np.uint8), rng.integers(1, 9, 40).astype(float)
    found = total(colours, areas, choose_threads(colours, areas, stash, count=3))
    best = min(total(colours, areas, some) for some in itertools.combinations(stash.threads, 3))
    assert found == pytest.approx(best, abs=1e-6)


def test_names_counts_and_inclusions() -> None:
    colours, areas = colours_of("#1b2a59", "#f6f3ea", "#c8202c"), np.array([3.0, 9.0, 5.0])
    stash = builtin_stash()
    only = choose_threads(colours, areas, stash, only=["coral", "Pebble", "tar"])
    assert {t.name for t in only} <= {"coral", "pebble", "tar"}
    more = choose_threads(colours, areas, stash, include=["tar", "chalk"])
    assert [t.name for t in more] == ["chalk", "signal red", "navy", "tar"]
    with pytest.raises(InputError):
        choose_threads(colours, areas, stash, only=["corall"])
    with pytest.raises(InputError):
        choose_threads(colours, areas, stash, count=0)
    assert len(choose_threads(colours, areas, stash, count=500)) == 3


def test_used_up_threads_are_left_out_unless_named() -> None:
    stash = Stash((Thread("red", "#c8202c", 0), Thread("coral", "#e17869", 8)), "drawer")
    red = colours_of("#c8202c")
    assert choose_threads(red, np.ones(1), stash)[0].name == "coral"
    assert choose_threads(red, np.ones(1), stash, only=["red"])[0].name == "red"


def test_as_many_threads_as_earn_their_place() -> None:
    """Five even areas take five threads, a shade of one of them none, and more than five are never taken."""
    inks = colours_of("#f6f3ea", "#1b2a59", "#c8202c", "#f6cc30", "#121417", "#2f7a4f", "#8a4fa0")
    five = np.array([1.0] * 5)
    assert len(choose_threads(inks[:5], five, builtin_stash())) == 5
    shades = np.vstack([inks[:3], colours_of("#20305f")])
    assert len(choose_threads(shades, np.array([4.0, 4, 4, 1]), builtin_stash())) == 3
    assert len(choose_threads(inks, np.ones(7), builtin_stash())) == MOST == 5


def test_colours_are_counted_by_area() -> None:
    light = linear(np.array([[[0, 0, 0]] * 3 + [[255, 255, 255]]] * 2, np.uint8))
    colours, areas = counted_colours(light)
    assert dict(zip(map(hex_of, colours), areas.tolist(), strict=True)) == {"#000000": 6, "#ffffff": 2}


def test_nearest_threads_of_a_grid() -> None:
    grid = colours_of("#1b2a59", "#22346b", "#f4f1e8")[None]
    threads = stash_of("#1b2a59", "#f4f1e8").threads
    mask = np.array([[True, True, False]])
    assert nearest_threads(grid, mask, threads).tolist() == [[0, 0, -1]]
    parts = became(grid[mask], np.array([0, 0]), threads)
    assert [(b.thread, b.cells) for b in parts] == [(0, 2)]
    expected = delta_e(grid[mask], np.array(threads[0].rgb, np.uint8)).mean()
    assert parts[0].delta_e == pytest.approx(float(expected))


def test_an_exact_grid_costs_ciede2000() -> None:
    threads = builtin_stash().threads[:4]
    table = thread_table(threads)
    assert (table.diagonal() == 0).all()
    assert table[2, 3] == pytest.approx(float(delta_e(threads[2].rgb, threads[3].rgb)))


def made_photo(seed: int, rows: int, cells: int) -> np.ndarray:
    """Soft blots of colour with a little noise."""
    rng = np.random.default_rng(seed)
    blots = ndimage.gaussian_filter(rng.normal(size=(rows, cells, 3)), (rows / 12, cells / 6, 0), mode="wrap")
    light = 128 + 60 * blots / blots.std() + rng.normal(0, 3, blots.shape)
    return np.clip(np.rint(light), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("seed", "count"), [(11, 6), (12, 8)])
def test_gathered_colours_choose_as_well_as_all_of_them(seed: int, count: int) -> None:
    """Against interchange on the table of every colour; 1 % more is allowed."""
    stash = random_stash(np.random.default_rng(seed), 150)
    inks, cells = np.unique(made_photo(seed, 118, 40).reshape(-1, 3), axis=0, return_counts=True)
    table, weights = hyab_table(inks, np.array([t.rgb for t in stash.threads], np.uint8)), cells.astype(float)
    grouped, sums = _grouped(inks, table, weights)
    assert len(grouped) <= 512 < len(inks)
    assert sums.sum() == pytest.approx(118 * 40)
    np.testing.assert_allclose(sums @ grouped, weights @ table)  # one thread alone costs what it did
    full, _ = choose(table, weights, count, work=0)
    found = total(inks, weights, choose_threads(inks, weights, stash, count=count))
    assert found <= 1.01 * total_of(table, weights, full)


def test_few_distances_are_not_gathered() -> None:
    inks = np.unique(made_photo(13, 60, 20).reshape(-1, 3), axis=0)
    table, weights = delta_e_table(inks, [t.rgb for t in builtin_stash().threads]), np.ones(len(inks))
    assert _grouped(inks, table, weights)[0] is table


def test_cores_do_not_change_the_groups(tmp_path: Path) -> None:
    """More than 20,000 colours, so that the groups are fitted to a part of them."""
    np.save(tmp_path / "colours.npy", np.unique(made_photo(14, 700, 40).reshape(-1, 3), axis=0))
    code = (
        "import sys, numpy as np\n"
        "from pipeline.drawer.stash import builtin_stash\n"
        "from pipeline.design.threads import _grouped, choose_threads, hyab_table\n"
        "inks = np.load(sys.argv[1])\n"
        "threads = choose_threads(inks, np.ones(len(inks)), builtin_stash(), count=3)\n"
        "assert 'sklearn' in sys.modules\n"
        "print([t.name for t in threads])\n"
    )

    def said(cores: str) -> str:
        return subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / "colours.npy")],
            env={**os.environ, "OMP_NUM_THREADS": cores, "OPENBLAS_NUM_THREADS": cores},
            check=True,
            capture_output=True,
            text=True,
        ).stdout

    assert said("1") == said("4") != ""


def test_a_thread_of_which_too_little_is_owned_gives_way_to_its_neighbour() -> None:
    """Two near blues, 2 m of the nearer one and a band that takes about 30 m in all, half of it blue."""
    blue, near = Thread("regatta", "#2e5f9e", metres=2.0), Thread("harbour", "#35639c", metres=24.0)
    chalk = Thread("chalk", "#f6f3ea", metres=40.0)
    stash, band = Stash((blue, near, chalk), "drawer"), Demand(20, 1.5)
    colours, areas = colours_of("#2e5f9e", "#f6f3ea"), np.ones(2)
    chosen = choose_threads(colours, areas, stash)
    assert {t.name for t in chosen} == {"regatta", "chalk"}
    kept, said = with_enough(chosen, colours, areas, stash, band)
    assert {t.name for t in kept} == {"harbour", "chalk"}
    assert said[0].startswith("regatta was passed over: the drawer holds 2 m")
    assert with_enough(chosen, colours, areas, stash, band, include=["regatta"]) == (chosen, ())


def test_a_thread_that_nothing_can_stand_in_for_stays() -> None:
    stash = Stash((Thread("red", "#c8202c", metres=2.0), Thread("chalk", "#f6f3ea", metres=40.0)), "drawer")
    colours = colours_of("#c8202c", "#f6f3ea")
    chosen = choose_threads(colours, np.ones(2), stash)
    assert with_enough(chosen, colours, np.ones(2), stash, Demand(20, 1.5)) == (chosen, ())
