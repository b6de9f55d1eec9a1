"""Borders: what stands on both sides of a picture, drawn into the ground and tied like the picture itself.

A border is drawn from the picture outwards and laid on both sides, so that the two ends of the band are equal
and each is the other seen in a mirror; from left to right it is symmetric in itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.literals import Border, Worked, working

Grid = NDArray[np.int64]
OFF = 2
"""Rows of ground between the picture and its border."""
BAR = 2
"""Rows of a bar, and of the ground between two."""
LEAST = OFF + BAR
"""Rows that a border takes at least, on each side."""
MESH = (7, 13)
"""Cells from one crossing of the lines to the next, at least and at most."""
BLOCK = 4
"""About so many cells a block is wide."""
MOST_BARS = 3


def draw_border(
    kind: Border,
    rows: int,
    cells: int,
    *,
    ground: int,
    threads: Sequence[int],
    worked: Worked = "rows",
    aspect: float = 1.0,
) -> Grid:
    """Draw a border of (``rows``, ``cells``) thread indices, its first row that beside the picture.

    ``threads`` are those it may show beside the ``ground``, the most wanted first; ``aspect`` is the width of
    a cell over its height. Without threads, or rows for it, it is ground.

    - ``bars``: a bar across for each thread, up to three;
    - ``lines``: lines of the first thread, a cell thick, that run to and fro between the edges and cross;
    - ``blocks``: blocks about four cells wide and as high, ground and thread in turn, as on a chequered flag.

    >>> draw_border("bars", 5, 2, ground=0, threads=[1]).tolist()
    [[0, 0], [0, 0], [1, 1], [1, 1], [0, 0]]
    """
    drawn = np.full((rows, cells), ground, dtype=np.int64)
    if threads and rows >= LEAST:
        inner = drawn[OFF:]
        if kind == "bars":
            _bars(inner, threads)
        elif kind == "lines":
            _lines(inner, threads[0], worked)
        else:
            _blocks(inner, threads, aspect)
    return drawn


def _bars(drawn: Grid, threads: Sequence[int]) -> None:
    for i, thread in enumerate(threads[:MOST_BARS]):
        bar = drawn[2 * BAR * i : 2 * BAR * i + BAR]
        if len(bar) == BAR:
            bar[:] = thread


def _lines(drawn: Grid, thread: int, worked: Worked) -> None:
    """Two families of slanted lines, mirror images of each other, that cross in the middle and at the edges.

    Where cells are diamonds only every other one is a knot, so a line takes two there, of which one is tied,
    and crossings lie an even number of cells apart.
    """
    rows, cells = drawn.shape
    thick = working(worked).step
    mesh = min((m for m in range(*MESH) if m % thick == 0), key=lambda m: ((cells - 1) % m, m))
    row, cell = np.ogrid[:rows, :cells]
    start = (cells - 1) // 2
    rising, falling = (cell + row - start) % mesh, (cells - 1 - cell + row - start) % mesh
    drawn[(rising < thick) | (falling < thick)] = thread


def _blocks(drawn: Grid, threads: Sequence[int], aspect: float) -> None:
    rows, cells = drawn.shape
    across = max(1, round(cells / BLOCK))
    across += 1 - across % 2  # an odd number is symmetric
    tall = min(rows, max(1, round(cells / across * aspect)))
    from_middle = np.abs(2 * np.arange(cells) - (cells - 1)) * across / cells
    column = np.floor((from_middle + 1) / 2).astype(np.int64)
    for i in range(rows // tall):
        drawn[i * tall : (i + 1) * tall, (column + i) % 2 == 0] = threads[i % len(threads)]
