"""A picture in its place along the band, and what stands on both sides of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.design.border import draw_border
from pipeline.design.design import design
from pipeline.design.placing import between_borders, offers, place
from pipeline.design.pose import space_of
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import ImpossibleError, InputError
from pipeline.literals import BORDERS
from pipeline.materials.gauge import preset_gauge
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource


@given(
    st.integers(1, 12),
    st.integers(0, 60),
    st.sampled_from(["repeat", "centre"]),
    st.sampled_from(["rows", "diagonal"]),
)
def test_a_placed_picture_is_whole(motif: int, spare: int, how: str, worked: str) -> None:
    grid = np.arange(1, motif + 1)[:, None] + np.zeros((1, 3), dtype=np.int64)
    rows = motif + spare
    placed = place(grid, rows, how=how, ground=0, worked=worked)
    assert placed.shape == (rows, 3)
    starts = [r for r in range(rows - motif + 1) if (placed[r : r + motif] == grid).all()]
    assert starts
    if worked == "diagonal":
        assert any(start % 2 == 0 for start in starts)
    if how == "repeat" and worked == "rows":
        assert len(starts) >= rows // motif
    if how == "centre" and worked == "rows":
        assert abs(2 * starts[0] + motif - rows) <= 1


def test_a_picture_that_is_too_long_is_refused_and_offers_are_made() -> None:
    with pytest.raises(ImpossibleError, match="takes 9 rows"):
        place(np.zeros((9, 3), dtype=np.int64), 8, how="centre", ground=0)
    assert [offer.how for offer in offers(120, 100, strands=24)] == ["strands", "longer"]
    assert [offer.how for offer in offers(40, 100, strands=24)] == ["repeat", "centre", "border"]
    assert offers(100, 100, strands=24) == ()
    assert offers(12, 40, strands=24, turned_rows=36)[0].how == "turn"
    assert "turn" not in [offer.how for offer in offers(12, 30, strands=24, turned_rows=36)], "too long"
    assert "turn" not in [offer.how for offer in offers(20, 40, strands=24, turned_rows=26)], "hardly wide"


@pytest.mark.parametrize("motif", range(1, 8))
@pytest.mark.parametrize("rows", range(8, 40))
def test_diagonal_motifs_repeat_on_whole_pairs_of_rows(motif: int, rows: int) -> None:
    """As many as fit, each beginning on an even row, none upon another."""
    grid = np.arange(1, motif + 1)[:, None] + np.zeros((1, 3), dtype=np.int64)
    placed = place(grid, rows, how="repeat", ground=0, worked="diagonal")
    starts = np.flatnonzero(placed[:, 0] == 1)
    assert len(starts) == rows // (motif + motif % 2)
    assert (starts % 2 == 0).all()
    for start in starts:
        assert (placed[start : start + motif] == grid).all()
    assert (placed > 0).any(axis=1).sum() == motif * len(starts)


def test_offers_say_figures() -> None:
    """24 strands make 23 cells; at 100 rows instead of 120 that is 19 cells, which 20 strands make."""
    fewer, longer = offers(120, 100, strands=24)
    assert fewer.sentence == "On 20 strands instead of 24 it has the right length."
    assert longer.sentence.endswith("20 rows longer.")
    assert "On 2 strands" in offers(100, 10, strands=3)[0].sentence


# ---------------------------------------------------------------- borders


@given(
    st.sampled_from(BORDERS),
    st.tuples(st.integers(1, 9), st.integers(3, 30)),
    st.integers(8, 60),
    st.booleans(),
    st.integers(0, 2**32 - 1),
)
def test_both_ends_are_equal_and_each_is_symmetric(kind, shape, spare, diagonal, seed) -> None:
    grid, motif = np.random.default_rng(seed).integers(0, 4, shape), shape[0]
    worked = "diagonal" if diagonal else "rows"
    try:
        others = [int(t) for t in np.unique(grid) if t]
        placed = between_borders(grid, motif + spare, kind, ground=0, others=others, worked=worked)
    except ImpossibleError:
        assert diagonal and spare // 2 - spare // 2 % 2 < 4
        return
    side = (placed.shape[0] - motif) // 2
    before, inside, after = placed[:side], placed[side : side + motif], placed[side + motif :]
    assert (inside == grid).all()
    assert (before == after[::-1]).all()
    assert (after == after[:, ::-1]).all()
    assert motif + spare - placed.shape[0] in (range(4) if diagonal else range(2))
    assert not diagonal or side % 2 == 0  # or other cells of the picture would be knots
    assert (after[:2] == 0).all()
    assert set(np.unique(after)) - {0} <= set(np.unique(grid))
    assert (after > 0).any() == (grid > 0).any()


def test_bars_by_hand() -> None:
    """Two rows off and two rows wide, the most wanted thread first; thread 1 is the ground."""
    motif = np.array([[0, 0, 2], [0, 1, 1]])
    placed = between_borders(motif, 20, "bars", ground=1, others=[0, 2])
    assert placed[11:, 0].tolist() == [1, 1, 0, 0, 1, 1, 2, 2, 1]
    assert between_borders(motif, 21, "bars", ground=1, others=[0, 2]).tolist() == placed.tolist()


def test_lines_by_hand() -> None:
    """On seven cells lines leave the middle, cross the band and meet again at the edges after three rows."""
    drawn = draw_border("lines", 6, 7, ground=0, threads=[1])
    assert ["".join(".#"[cell] for cell in row) for row in drawn] == [
        ".......",
        ".......",
        "...#...",
        "..#.#..",
        ".#...#.",
        "#.....#",
    ]


@pytest.mark.parametrize("cells", range(4, 30))
def test_lines_are_unbroken_in_diagonal_work(cells: int) -> None:
    """Among the cells that are knots, each line shows one in every row, a step further to its side."""
    drawn = draw_border("lines", 20, cells, ground=0, threads=[1], worked="diagonal")
    row, cell = np.indices(drawn.shape)
    shown = (drawn == 1) & ((row + cell) % 2 == 0)
    for r in range(2, 19):
        for c in np.flatnonzero(shown[r, 1:-1]) + 1:
            assert shown[r + 1, [c - 1, c + 1]].any()


def test_blocks_by_hand() -> None:
    """Twelve cells are three blocks of four, four rows high; the outer two and the middle one take turns."""
    drawn = draw_border("blocks", 11, 12, ground=0, threads=[1, 2])
    assert drawn[2].tolist() == drawn[5].tolist() == [0] * 4 + [1] * 4 + [0] * 4
    assert drawn[6].tolist() == drawn[9].tolist() == [2] * 4 + [0] * 4 + [2] * 4
    assert not drawn[[0, 1, 10]].any()


def test_no_room_for_a_border_is_said() -> None:
    with pytest.raises(ImpossibleError, match=r"takes 5 of the 12 rows .* a border takes 4 on each side"):
        between_borders(np.ones((5, 3), dtype=np.int64), 12, "bars", ground=0, others=[1])


def test_a_border_and_another_way_to_fill_are_one_sentence() -> None:
    gauge, letters = preset_gauge(0.71, "rows"), LetterSource("RC")
    for fill in ("repeat", "none"):
        with pytest.raises(InputError, match=f"--border and --fill {fill} do not go together"):
            space_of(letters, Band(border="lines", fill=fill), gauge)
    bars = space_of(letters, Band(fill="border"), gauge)
    assert (bars.border, bars.fill) == ("bars", "auto")
    assert space_of(letters, Band(fill="border", border="blocks"), gauge).border == "blocks"


@pytest.mark.parametrize("kind", BORDERS)
def test_a_border_of_a_priced_picture_counts_half_and_is_equal_on_both_sides(kind: str) -> None:
    """Its cells want plain threads of the picture; those of the picture keep their prices."""
    gauge, stash = preset_gauge(0.71, "rows"), builtin_stash()
    source = PictureSource(Path(__file__).parents[2] / "sample_images" / "pennant.png")
    room = space_of(source, Band(strands=13, rows=20, wrist_mm=160, border=kind), gauge)  # type: ignore[arg-type]
    alone = design(source, replace(room, border=None, fill="none"), Drawer(stash))
    made = design(source, room, Drawer(stash))
    side = (made.kinds.shape[0] - 20) // 2
    assert made.kinds.shape[0] == 2 * side + 20 and made.threads == alone.threads
    assert (made.kinds[side : side + 20] == alone.kinds).all()
    before, after = made.kinds[:side], made.kinds[side + 20 :]
    assert (before == after[::-1]).all()
    drawn = made.kinds >= len(alone.costs)
    assert drawn.any() and not drawn[side : side + 20].any()
    k = len(made.threads)
    assert made.costs[len(alone.costs) :] == pytest.approx(0.5 * alone.costs[:k], abs=0.011)
    assert (made.wanted[drawn] == made.kinds[drawn] - len(alone.costs)).all()
