"""What every cell of a band wants, and what each thread costs there: the value that a design is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat
from pipeline.colour import Floats, encoded
from pipeline.design.features import Features
from pipeline.design.threads import Became
from pipeline.drawer.stash import Thread
from pipeline.errors import InputError
from pipeline.limits import MOST_ROWS, MOST_STRANDS
from pipeline.literals import Worked, working

Grid = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """What every cell wants, by *kinds* of cells.

    ``kinds``: (rows, strands−1) index into the tables, −1 where nothing is asked; the first kinds are plain
    areas of each thread, in the order of ``threads``; in diagonal work only cells whose position has the
    parity of their row are knots. ``costs``: (kinds, threads) what it costs to show each thread, the least 0.
    ``serves``: the same shape, which threads make such a cell. Without a ``floor`` the costs are
    CIEDE2000 from the thread wanted, else HyAB from the picture. ``notes`` are sentences for the maker.
    """

    kinds: Grid
    costs: Floats
    serves: Flags
    threads: tuple[Thread, ...]
    ground: int
    worked: Worked
    floor: Floats | None = None
    """(kinds,) what even the best of these threads is off there, in HyAB; None: no costs of a picture."""
    light: Floats | None = None
    """(kinds, 3) mean linear light of the picture there; None as above."""
    repeat: Repeat | None = None
    """Rows that come again and again, alike; None where nothing repeats."""
    became: tuple[Became, ...] = ()
    notes: tuple[str, ...] = ()
    features: Features | None = None
    """The picture's thin strokes and dots; None where none were looked for."""
    picture: NDArray[np.uint8] | None = None
    """(height, width, 3) sRGB of the picture it was made from, None for letters."""

    def __post_init__(self) -> None:
        rows, cells = self.kinds.shape
        if not 1 <= rows <= MOST_ROWS:
            raise InputError(
                f"the band would have {rows} rows; 1 to {MOST_ROWS} are possible.", "Set --rows or --wrist."
            )
        check_strands(cells + 1)
        if self.costs.shape != self.serves.shape or self.costs.shape[1] != len(self.threads):
            raise ValueError(f"costs {self.costs.shape} and serves {self.serves.shape} do not agree")
        for array in (self.kinds, self.costs, self.serves):
            array.flags.writeable = False

    @property
    def cells(self) -> NDArray[np.uint8] | None:
        """(rows, strands−1, 3) sRGB of the picture reduced to cells, None where there is none."""
        return None if self.light is None else encoded(self.light[self.kinds])

    @property
    def strands(self) -> int:
        return int(self.kinds.shape[1]) + 1

    @property
    def wanted(self) -> Grid:
        """(rows, strands−1) the thread that each cell wants most, −1 where nothing is asked."""
        return self.wanted_of(self.kinds)

    def wanted_of(self, kinds: Grid) -> Grid:
        """The cheapest thread that serves, for kinds of any shape; −1 for free cells."""
        best = np.append(np.where(self.serves, self.costs, np.inf).argmin(axis=1), -1)
        return np.asarray(best[kinds], dtype=np.int64)

    def either_of(self, kinds: Grid) -> list[tuple[int, ...]]:
        """The threads that serve besides the wanted one, for each of (n,) kinds."""
        wanted = self.wanted_of(kinds)
        return [
            tuple(int(t) for t in np.flatnonzero(self.serves[kind]) if t != want) if kind >= 0 else ()
            for kind, want in zip(kinds, wanted, strict=True)
        ]

    @property
    def copies(self) -> list[tuple[int, int]]:
        """Row and position at which each copy of the picture begins, where its features are known."""
        if self.features is None:
            return []
        rows, cells = self.features.grid
        first, past = len(self.threads), len(self.threads) + rows * cells
        row, position = np.nonzero((self.kinds >= first) & (self.kinds < past))
        own = self.kinds[row, position] - first
        return sorted({*zip((row - own // cells).tolist(), (position - own % cells).tolist(), strict=True)})

    @property
    def beyond(self) -> float:
        """What no band of these threads can do: Σ floor over the cells that are tied."""
        if self.floor is None:
            return 0.0
        tied = knot_mask(self.kinds.shape[0], self.kinds.shape[1], self.worked) & (self.kinds >= 0)
        return float(self.floor[self.kinds[tied]].sum())

    @property
    def ground_ends(self) -> tuple[int, int]:
        """How many rows at the beginning and at the end are nothing but ground."""
        motif = np.flatnonzero(~np.isin(self.kinds, (self.ground, -1)).all(axis=1))
        rows = self.kinds.shape[0]
        return (int(motif[0]), rows - 1 - int(motif[-1])) if motif.size else (0, 0)

    def without_ends(self, top: int, bottom: int) -> Design:
        """The same design without so many rows at the beginning and at the end."""
        repeat, stop = self.repeat, self.kinds.shape[0] - bottom
        if repeat is not None:
            inside = repeat.first >= top and repeat.stop <= stop
            repeat = replace(repeat, first=repeat.first - top) if inside else None
        return replace(self, kinds=self.kinds[top:stop], repeat=repeat)

    def mirrored(self) -> Design:
        """The same design seen in a mirror."""
        return replace(self, kinds=self.kinds[:, ::-1].copy())


def check_strands(strands: int) -> None:
    """Refuse a strand count that no band has. Raises InputError."""
    if not 2 <= strands <= MOST_STRANDS:
        raise InputError(
            f"a band of {strands} strands cannot be tied.", f"Use 2 to {MOST_STRANDS}, usually 8 to 24."
        )


def knot_mask(rows: int, cells: int, worked: Worked, first: int = 0) -> Flags:
    """Which cells of a (rows, cells) grid are knots; the grid's first column is position ``first``.

    >>> knot_mask(2, 3, "diagonal").astype(int).tolist()
    [[1, 0, 1], [0, 1, 0]]
    """
    if working(worked).square:
        return np.ones((rows, cells), dtype=bool)
    row, position = np.ogrid[:rows, first : first + cells]
    return np.asarray((row + position) % 2 == 0)
