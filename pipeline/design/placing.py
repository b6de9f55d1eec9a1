"""A picture brought to the length of the band: repeated, or alone in the middle, with or without a border."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat
from pipeline.design.border import LEAST, draw_border
from pipeline.errors import ImpossibleError
from pipeline.literals import Border, Worked, working

Grid = NDArray[np.int64]
How = Literal["repeat", "centre"]


def place(grid: Grid, rows: int, *, how: How, ground: int, worked: Worked = "rows") -> Grid:
    """Bring a (picture rows, cells) grid of kinds of cells to ``rows`` rows.

    ``repeat``: whole motifs one after another, as many as fit, the spare rows shared between and around
    them in ground; ``centre``: one motif in the middle of the ground. ``ground`` is a kind. Raises
    ImpossibleError if the picture is longer than ``rows``.

    >>> import numpy as np
    >>> place(np.array([[1, 2]]), 3, how="centre", ground=0).tolist()
    [[0, 0], [1, 2], [0, 0]]
    """
    motif, cells = grid.shape
    if motif > rows:
        raise ImpossibleError(
            f"the picture takes {motif} rows and the band has room for {rows}.",
            "Use fewer strands (the picture shrinks with them), crop it, or make the band longer.",
        )
    placed = np.full((rows, cells), ground, dtype=np.int64)
    middle = (rows - motif) // 2
    starts = layout(motif, rows, worked)[0] if how == "repeat" else (middle - middle % working(worked).step,)
    for start in starts:
        placed[start : start + motif] = grid
    return placed


def layout(motif: int, rows: int, worked: Worked) -> tuple[tuple[int, ...], Repeat | None]:
    """Where motifs of so many rows begin, as many as fit, and the rows that repeat.

    Motif and gap together take an even number of rows, so that the threads can hang there as at the
    beginning; where there is no room for an odd motif's gap, two motifs together do. What is left of the
    gaps stands at both ends.

    >>> layout(7, 33, "rows"), layout(7, 30, "rows")[1]
    (((1, 9, 17, 25), Repeat(first=1, rows=8, times=4)), Repeat(first=1, rows=14, times=2))
    """
    step = working(worked).step
    times = max(1, rows // (motif + motif % step))
    spare = rows - times * motif
    gap = round(spare / (times + 1))
    gap += (motif + gap) % 2
    if times * (motif + gap) > rows:
        gap -= 2
    if times == 1 or gap < 0:
        gap = 0
    top = (spare - (times - 1) * gap) // 2
    top -= top % step
    starts = tuple(top + i * (motif + gap) for i in range(times))
    before = max(gap // 2, top + times * (motif + gap) - rows)
    before += before % step if before < top else -(before % step)
    pair = 1 + (motif + gap) % 2
    if times // pair < 2 or pair * (motif + gap) < 4:
        return starts, None
    return starts, Repeat(top - before, pair * (motif + gap), times // pair)


def between_borders(
    grid: Grid,
    rows: int,
    kind: Border,
    *,
    ground: int,
    others: Sequence[int],
    worked: Worked = "rows",
    aspect: float = 1.0,
) -> Grid:
    """Set a (picture rows, cells) grid of kinds of cells in the middle between two equal borders.

    The whole has ``rows`` rows, or as few less as it takes to make both ends equal: up to one in row work,
    up to three in diagonal work. Borders show the kinds ``others`` on ``ground``;
    ``aspect`` is the width of a cell over its height. Raises ImpossibleError if there is no room.

    >>> import numpy as np
    >>> between_borders(np.array([[1, 1]]), 10, "bars", ground=0, others=[1])[:, 0].tolist()
    [1, 1, 0, 0, 1, 0, 0, 1, 1]
    """
    motif, cells = grid.shape
    side = (rows - motif) // 2
    side -= side % working(worked).step
    if side < LEAST:
        raise ImpossibleError(
            f"the picture takes {motif} of the {max(rows, 0)} rows that the wrist has room for, and a border "
            f"takes {LEAST} on each side.",
            "Use fewer strands (the picture shrinks with them), a longer --wrist, or no border.",
        )
    border = draw_border(kind, side, cells, ground=ground, threads=others, worked=worked, aspect=aspect)
    return np.concatenate([border[::-1], grid, border])


LARGER = 1.44
"""How many times as long a picture must become to be worth turning: it is wider than tall by a fifth."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A way to bring the picture to the length, in a sentence for the maker."""

    how: str
    sentence: str


def offers(
    picture_rows: int, rows: int, *, strands: int, worked: Worked = "rows", turned_rows: int = 0
) -> tuple[Offer, ...]:
    """Say what is possible with a picture of ``picture_rows`` rows in a band of ``rows``.

    Turned along the band it takes ``turned_rows``, 0 where it may not be turned.
    """
    spare = rows - picture_rows
    if spare == 0:
        return ()
    if spare < 0:
        fewer = max(2, math.floor((strands - 1) * rows / picture_rows) + 1)
        return (
            Offer("strands", f"On {fewer} strands instead of {strands} it has the right length."),
            Offer("longer", f"Left as it is, the band comes out {-spare} rows longer."),
        )
    found: list[Offer] = []
    if LARGER * picture_rows <= turned_rows <= rows:
        found.append(Offer("turn", f"Turned along the band it takes {turned_rows} rows: --turn 1."))
    times = rows // (picture_rows + picture_rows % working(worked).step)
    if times > 1:
        found.append(Offer("repeat", f"It could be repeated {times} times: --fill repeat."))
    found.append(Offer("centre", f"It could be centred in {spare} rows of ground: --fill centre."))
    if spare >= 2 * LEAST + 2:
        found.append(Offer("border", "It could stand between two borders: --border."))
    more = math.ceil((strands - 1) * rows / picture_rows) + 1
    if more <= 2 * strands:
        found.append(Offer("strands", f"On {more} strands instead of {strands} it has the right length."))
    return tuple(found)
