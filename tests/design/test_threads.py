"""The choice of threads against brute force, the rule that colours stay apart, and what is reported."""

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

from pipeline.colour import delta_e, delta_e_table, hex_of
from pipeline.design.facility import choose, total_of
from pipeline.design.threads import LOOK_APART, _grouped, match_threads, nearest_threads, routing_costs
from pipeline.drawer.stash import Stash, Thread, builtin_stash
from pipeline.errors import InputError


def stash_of(*colours: str) -> Stash:
    return Stash(tuple(Thread(f"thread {i}", c) for i, c in enumerate(colours)), "drawer")


def random_stash(rng: np.random.Generator, size: int) -> Stash:
    return stash_of(*(hex_of(rng.integers(0, 256, 3)) for _ in range(size)))


def grid(*rows: list[str]) -> np.ndarray:
    return (
        np.array([[bytes.fromhex(c[1:]) for c in row] for row in rows], dtype="S3")
        .view(np.uint8)
        .reshape(len(rows), -1, 3)
    )


def error(match: object, colours: np.ndarray) -> float:
    rgb = np.array([t.rgb for t in match.threads], dtype=np.uint8)  # type: ignore[attr-defined]
    return float(delta_e(colours, rgb[match.wanted]).sum())  # type: ignore[attr-defined]


# ---------------------------------------------------------------- against brute force


@given(st.integers(0, 10**6), st.integers(2, 9), st.integers(1, 5), st.integers(1, 60))
def test_choice_is_the_best_of_all(seed: int, n: int, count: int, colours: int) -> None:
    rng = np.random.default_rng(seed)
    count = min(count, n)
    table, weights = rng.random((colours, n)) * 50, rng.integers(1, 20, colours).astype(float)
    chosen, complete = choose(table, weights, count)
    assert complete
    assert len(set(chosen)) == count

    def total(columns: tuple[int, ...]) -> float:
        return float(weights @ table[:, list(columns)].min(axis=1))

    best = min(total(columns) for columns in itertools.combinations(range(n), count))
    assert total(chosen) == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_photo_threads_are_the_best_of_all(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stash = random_stash(rng, 8)
    colours = rng.integers(0, 256, (9, 7, 3)).astype(np.uint8)
    match = match_threads(colours, stash, count=3, distinct=False)
    assert match.exact
    table = delta_e_table(colours.reshape(-1, 3), [t.rgb for t in stash.threads])
    best = min(table[:, list(c)].min(axis=1).sum() for c in itertools.combinations(range(8), 3))
    assert error(match, colours) == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("count", [2, 3, 5])
def test_flat_threads_are_the_best_that_stay_apart(seed: int, count: int) -> None:
    """Brute force over every way to give five colours threads: min(count, 5) of them, all told apart."""
    rng = np.random.default_rng(seed)
    stash = random_stash(rng, 7)
    inks = rng.integers(0, 256, (5, 3)).astype(np.uint8)
    colours = inks[rng.integers(0, 5, (6, 8))]
    match = match_threads(colours, stash, count=count)
    rgb = np.array([t.rgb for t in stash.threads], dtype=np.uint8)
    between = delta_e_table(rgb, rgb)
    apart = min(LOOK_APART, float((delta_e_table(inks, inks) + 999 * np.eye(5)).min()))
    cells = np.array([(colours == ink).all(axis=2).sum() for ink in inks])
    table = delta_e_table(inks, rgb)
    best = min(
        sum(cells[c] * table[c, t] for c, t in enumerate(ways))
        for ways in itertools.product(range(7), repeat=5)
        if len(set(ways)) == count
        and all(between[a, b] >= apart for a, b in itertools.combinations(set(ways), 2))
    )
    assert error(match, colours) == pytest.approx(best, abs=1e-6)


# ---------------------------------------------------------------- colours stay apart


def test_two_blues_do_not_fall_together() -> None:
    """Navy is nearest to both, but there is another blue to keep them apart."""
    stash = stash_of("#1b2a59", "#5a96c3", "#f4f1e8")
    colours = grid(["#1b2a59", "#22346b", "#f4f1e8"])
    match = match_threads(colours, stash, count=None)
    assert len(match.threads) == 3
    assert len(set(match.wanted.reshape(-1).tolist())) == 3
    assert not match.notes


def test_a_small_stash_says_what_fell_together() -> None:
    match = match_threads(grid(["#1b2a59", "#22346b", "#f4f1e8"]), stash_of("#1b2a59", "#f4f1e8"))
    assert match.notes == ("#1b2a59, #22346b all become thread 0: the stash has no further thread.",)
    fewer = match_threads(grid(["#1b2a59", "#22346b", "#f4f1e8"]), builtin_stash(), count=2)
    assert len(fewer.threads) == 2
    assert fewer.notes[0].endswith("all become navy: only 2 threads are used.")


def test_threads_that_look_alike_do_not_count_as_apart() -> None:
    """Two whites a hair apart are passed over for a cream that can be told from either."""
    stash = stash_of("#ffffff", "#fefefc", "#e8dcc0")
    match = match_threads(grid(["#ffffff", "#f4f1e8"]), stash)
    assert {t.colour for t in match.threads} == {"#ffffff", "#e8dcc0"}
    only_whites = match_threads(grid(["#ffffff", "#e8dcc0"]), stash_of("#ffffff", "#fefefc"))
    assert len(only_whites.threads) == 2
    assert "look nearly alike" in only_whites.notes[0]


@pytest.mark.parametrize("seed", range(6))
def test_as_few_threads_as_can_be_look_alike(seed: int) -> None:
    """Brute force over a stash of pairs that look alike: fewest such pairs first, then least error."""
    rng = np.random.default_rng(seed)
    firsts = rng.integers(20, 230, (3, 3))
    stash = stash_of(*(hex_of(c) for c in np.vstack([firsts, firsts + rng.integers(-2, 3, (3, 3))])))
    inks = rng.integers(0, 256, (4, 3)).astype(np.uint8)
    colours = inks[rng.integers(0, 4, (5, 6))]
    match = match_threads(colours, stash)
    rgb = np.array([t.rgb for t in stash.threads], dtype=np.uint8)
    between, table = delta_e_table(rgb, rgb), delta_e_table(inks, rgb)
    cells = [(colours == ink).all(axis=2).sum() for ink in inks]
    ways = [
        (
            sum(between[a, b] < LOOK_APART for a, b in itertools.combinations(way, 2)),
            sum(n * table[c, t] for c, (n, t) in enumerate(zip(cells, way, strict=True))),
        )
        for way in itertools.permutations(range(6), 4)
    ]
    alike, least = min(ways)
    assert alike >= 1
    assert sum("look nearly alike" in note for note in match.notes) == alike
    assert error(match, colours) == pytest.approx(least, abs=1e-6)


def test_exact_grids_map_to_the_nearest_thread() -> None:
    stash = stash_of("#1b2a59", "#5a96c3", "#f4f1e8")
    match = nearest_threads(grid(["#1b2a59", "#22346b", "#f4f1e8"]), stash)
    assert [match.threads[i].name for i in match.wanted[0]] == ["thread 0", "thread 0", "thread 2"]


# ---------------------------------------------------------------- how many, which, in what order


def test_most_used_threads_come_first() -> None:
    match = match_threads(
        grid(["#c8202c"] * 2 + ["#f6f3ea"] * 5, ["#1b2a59"] * 3 + ["#f6f3ea"] * 4), builtin_stash()
    )
    assert [t.name for t in match.threads] == ["chalk", "navy", "signal red"]
    assert [(b.colour, b.thread, b.cells) for b in match.became] == [
        ("#f6f3ea", 0, 9),
        ("#1b2a59", 1, 3),
        ("#c8202c", 2, 2),
    ]
    assert all(b.delta_e == pytest.approx(0, abs=1e-9) for b in match.became)
    assert match.index_of((27, 42, 89)) == 1


def test_only_masked_cells_count() -> None:
    colours = grid(["#c8202c", "#f6f3ea", "#1b2a59"])
    match = match_threads(colours, builtin_stash(), mask=np.array([[True, True, False]]))
    assert len(match.threads) == 2
    assert sum(b.cells for b in match.became) == 2
    with pytest.raises(InputError, match="no cell"):
        match_threads(colours, builtin_stash(), mask=np.zeros((1, 3), dtype=bool))


def test_only_and_include() -> None:
    colours = grid(["#c8202c", "#f6f3ea"])
    match = match_threads(colours, builtin_stash(), only=["coral", "Pebble", "tar"])
    assert [t.name for t in match.threads] == ["coral", "pebble"]
    more = match_threads(colours, builtin_stash(), include=["tar", "chalk"])
    assert [t.name for t in more.threads][2:] == ["tar"]
    with pytest.raises(InputError, match="no thread"):
        match_threads(colours, builtin_stash(), only=["corall"])
    with pytest.raises(InputError, match="0 threads"):
        match_threads(colours, builtin_stash(), count=0)


def test_used_up_threads_are_left_out_unless_named() -> None:
    stash = Stash((Thread("red", "#c8202c", 0), Thread("coral", "#e17869", 8)), "drawer")
    assert match_threads(grid(["#c8202c"]), stash).threads[0].name == "coral"
    assert match_threads(grid(["#c8202c"]), stash, only=["red"]).threads[0].name == "red"


def test_flat_pictures_take_their_colours_and_at_most_twelve() -> None:
    inks = [t.colour for t in builtin_stash().threads[::4]]
    assert len(inks) == 14
    assert len(match_threads(grid(inks[:5]), builtin_stash()).threads) == 5
    assert len(match_threads(grid(inks), builtin_stash()).threads) == 12


def test_photos_take_four_to_six() -> None:
    rng = np.random.default_rng(8)
    for spread in (8, 60, 128):
        colours = np.clip(128 + rng.integers(-spread, spread, (40, 20, 3)), 0, 255).astype(np.uint8)
        assert 3 <= len(match_threads(colours, builtin_stash()).threads) <= 6


def test_a_single_thread_and_more_than_there_are() -> None:
    colours = grid(["#c8202c", "#f6f3ea"])
    assert set(match_threads(colours, stash_of("#808080")).wanted.reshape(-1).tolist()) == {0}
    assert len(match_threads(colours, builtin_stash(), count=500).threads) == 2


def test_photo_report_names_the_mean_of_what_became_each_thread() -> None:
    grey = np.arange(0, 250, 5, dtype=np.uint8)
    colours = np.stack([grey] * 3, axis=-1)[None]
    match = match_threads(colours, builtin_stash(), count=3)
    assert sum(b.cells for b in match.became) == 50
    total = sum(b.cells * b.delta_e for b in match.became)
    assert total == pytest.approx(error(match, colours))
    assert [b.cells for b in match.became] == sorted((b.cells for b in match.became), reverse=True)


def test_a_big_stash_of_one_colour_still_keeps_what_it_can_apart() -> None:
    stash = stash_of(*["#f0f0f0"] * 55, "#202020", "#c02020")
    match = match_threads(grid(["#000000", "#ff0000", "#ffffff", "#00ff00"]), stash)
    assert len(match.threads) == 4
    assert {"#202020", "#c02020"} < {t.colour for t in match.threads}
    assert sum("look nearly alike" in note for note in match.notes) == 1


def test_many_colours_and_threads_take_bounded_work() -> None:
    rng = np.random.default_rng(9)
    stash = random_stash(rng, 150)
    colours = rng.integers(0, 256, (100, 60, 3)).astype(np.uint8)
    match = match_threads(colours, stash, count=6)
    assert len(match.threads) == 6
    assert not match.exact


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
    colours = made_photo(seed, 118, 40)
    inks, cells = np.unique(colours.reshape(-1, 3), axis=0, return_counts=True)
    table, weights = delta_e_table(inks, [t.rgb for t in stash.threads]), cells.astype(float)
    grouped, sums = _grouped(inks, table, weights)
    assert len(grouped) <= 512 < len(inks)
    assert sums.sum() == pytest.approx(colours.shape[0] * colours.shape[1])
    np.testing.assert_allclose(sums @ grouped, weights @ table)  # one thread alone costs what it did
    match = match_threads(colours, stash, count=count)
    assert not match.exact
    full, _ = choose(table, weights, count, work=0)
    assert error(match, colours) <= 1.01 * total_of(table, weights, full)


def test_few_distances_are_not_gathered() -> None:
    inks = np.unique(made_photo(13, 60, 20).reshape(-1, 3), axis=0)
    table, weights = delta_e_table(inks, [t.rgb for t in builtin_stash().threads]), np.ones(len(inks))
    assert _grouped(inks, table, weights)[0] is table


def test_cores_do_not_change_the_groups(tmp_path: Path) -> None:
    """More than 20,000 colours, so that the groups are fitted to a part of them."""
    np.save(tmp_path / "colours.npy", made_photo(14, 700, 40))
    code = (
        "import hashlib, sys, numpy as np\n"
        "from pipeline.drawer.stash import builtin_stash\n"
        "from pipeline.design.threads import match_threads\n"
        "match = match_threads(np.load(sys.argv[1]), builtin_stash(), count=3)\n"
        "assert 'sklearn' in sys.modules\n"
        "print([t.name for t in match.threads], hashlib.sha256(match.wanted.tobytes()).hexdigest())\n"
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


def test_same_input_same_match() -> None:
    rng = np.random.default_rng(10)
    colours = rng.integers(0, 256, (30, 20, 3)).astype(np.uint8)
    first, second = (match_threads(colours, builtin_stash(), count=5) for _ in range(2))
    assert first.threads == second.threads
    assert first.wanted.tobytes() == second.wanted.tobytes()
    assert not first.wanted.flags.writeable


# ---------------------------------------------------------------- costs


def test_costs_are_ciede2000_and_free_cells_cost_nothing() -> None:
    threads = builtin_stash().threads[:4]
    costs = routing_costs(np.array([2, -1, 0]), threads)
    assert costs.shape == (3, 4)
    assert costs[0, 2] == costs[2, 0] == 0
    assert not costs[1].any()
    assert costs[0, 3] == pytest.approx(float(delta_e(threads[2].rgb, threads[3].rgb)))
