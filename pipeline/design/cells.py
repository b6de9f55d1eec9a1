"""A picture on a fine grid: some samples across every cell of the band, in linear light.

The band's grid has (rows, cells): columns ``strand_pitch`` apart, rows ``row_pitch`` apart, in both working
orders. A row-worked knot fills one field of it; a diagonal-worked knot lies in every other field.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.colour import Bytes, Colour, Floats, linear
from pipeline.errors import InputError
from pipeline.limits import MOST_ROWS
from pipeline.literals import Framing
from pipeline.motif.picture import Picture

FINE = 8
"""Samples along each side of a field; fewer where a long band would take too much memory."""
FINER = 2
"""How many times finer a grid is for looking at a picture of many pixels: a hair of it is still seen."""
_SAMPLES, _SAMPLES_FINER = 1_500_000, 1_000_000
"""Samples of the fine grid at most, and of a finer one."""


@dataclass(frozen=True, slots=True, eq=False)
class FinePicture:
    """``light``: (rows·fine, cells·fine, 3) linear light, read-only; ``fine``: samples to a field's side."""

    light: Floats
    fine: int

    def __post_init__(self) -> None:
        height, width, parts = self.light.shape
        if parts != 3 or height % self.fine or width % self.fine:
            raise ValueError(f"light of shape {self.light.shape} is no grid of {self.fine} samples a field")
        self.light.flags.writeable = False

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and cells."""
        return self.light.shape[0] // self.fine, self.light.shape[1] // self.fine

    def coarser(self, times: int) -> FinePicture:
        """The same picture with so many times fewer samples to a side."""
        if times == 1:
            return self
        height, width = (side // times for side in self.light.shape[:2])
        blocks = self.light.reshape(height, times, width, times, 3)
        return FinePicture(blocks.mean(axis=(1, 3)), self.fine // times)

    def means(self) -> Floats:
        """(rows, cells, 3) mean linear light of each field."""
        rows, cells = self.shape
        return np.asarray(self.light.reshape(rows, self.fine, cells, self.fine, 3).mean(axis=(1, 3)))


def natural_rows(picture: Picture, cells_across: int, *, cell_aspect: float) -> int:
    """Rows at which the picture keeps its shape when it fills the band's width.

    ``cell_aspect``: strand pitch over row pitch. Raises InputError if the picture would be too long for a
    band.

    >>> flag = Picture(np.zeros((20, 40, 3), np.uint8), None, "flag")
    >>> natural_rows(flag, 10, cell_aspect=1.0)
    5
    """
    height, width = (int(side) for side in picture.rgb.shape[:2])
    rows = max(1, round(height / width * cells_across * cell_aspect))
    if rows > MOST_ROWS:
        raise InputError(
            f"{picture.name} is {width} wide and {height} high, which would be {rows} rows.",
            "Turn or crop it, or say the length with --rows.",
        )
    return rows


def fine_picture(
    picture: Picture,
    rows: int,
    cells: int,
    *,
    cell_aspect: float,
    fit: Framing = "contain",
    finer: bool = False,
) -> FinePicture:
    """Lay a picture on a grid of (rows, cells), every pixel weighted by the area it has in a sample.

    ``cell_aspect``: strand pitch over row pitch. ``contain`` shows the whole picture, the rest is ground;
    ``cover`` fills the grid and cuts what is left over; ``stretch`` does not keep the shape. ``finer``: with
    ``FINER`` times as many samples where the picture has the pixels. Raises
    InputError for a grid without cells, ValueError for an aspect that is not above 0.

    >>> flag = Picture(np.repeat([[[0, 0, 0], [255, 255, 255]]], 2, axis=0).astype(np.uint8), None, "flag")
    >>> fine = fine_picture(flag, 1, 2, cell_aspect=1.0, fit="stretch")
    >>> fine.shape, fine.light.shape, fine.light[0, ::FINE, 0].tolist()
    ((1, 2), (8, 16, 3), [0.0, 1.0])
    """
    if rows < 1 or cells < 1:
        raise InputError(f"{rows} rows of {cells} cells cannot show a picture.", "Take more strands or rows.")
    if not cell_aspect > 0:
        raise ValueError(f"cell_aspect must be above 0, not {cell_aspect}")
    fine = int(np.clip((_SAMPLES / (rows * cells)) ** 0.5, 2, FINE))
    rgb = picture.rgb
    if finer and fine == FINE:
        pixels, samples = rgb.shape[1] / cells, rows * cells * (FINER * FINE) ** 2
        fine *= FINER if pixels > FINE and samples <= _SAMPLES_FINER else 1
    outside = linear(np.array(picture.ground or _border_colour(rgb), dtype=np.uint8))
    top, left, bottom, right = _window(rgb, rows, cells, cell_aspect, fit)
    across = np.linspace(left, right, cells * fine + 1)
    narrow = np.empty((rgb.shape[0], cells * fine, 3))
    step = max(1, 2_000_000 // rgb.shape[1])
    for start in range(0, len(rgb), step):
        piece = linear(rgb[start : start + step]) - outside
        narrow[start : start + step] = _means(piece.swapaxes(0, 1), across).swapaxes(0, 1)
    light = _means(narrow, np.linspace(top, bottom, rows * fine + 1)) + outside
    return FinePicture(np.clip(light, 0.0, 1.0), fine)


Window = tuple[float, float, float, float]
"""Top, left, bottom, right of the part of the picture (in pixels) that the grid shows; may reach beyond."""


def _window(picture: Bytes, rows: int, cells: int, cell_aspect: float, fit: Framing) -> Window:
    height, width = picture.shape[:2]
    grid_height, grid_width = rows, cells * cell_aspect
    down, across = height / grid_height, width / grid_width
    scale = {"contain": max, "cover": min}.get(fit)
    if scale is not None:
        both = scale(down, across)
        # less than a field too long or too wide is pulled to fit, rather than left as a sliver of ground
        if abs(height / both - grid_height) >= 1 or abs(width / both - grid_width) >= cell_aspect:
            down = across = both
    half_height, half_width = down * grid_height / 2, across * grid_width / 2
    return height / 2 - half_height, width / 2 - half_width, height / 2 + half_height, width / 2 + half_width


def _border_colour(rgb: Bytes) -> Colour:
    """The colour that most of the border has (to 3 bits a channel), for what lies outside the picture."""
    border = np.concatenate([rgb[0], rgb[-1], rgb[:, 0], rgb[:, -1]])
    cut = (border >> 5).astype(np.int64)
    codes = (cut[:, 0] << 6) | (cut[:, 1] << 3) | cut[:, 2]
    most = border[codes == np.bincount(codes).argmax()]
    red, green, blue = (int(part) for part in np.median(most, axis=0))
    return red, green, blue


def _means(values: Floats, edges: Floats) -> Floats:
    """Means of ``values`` along axis 0 between successive ``edges`` (in samples); 0 outside."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    inside = np.clip(edges, 0, len(values))
    whole = np.minimum(inside.astype(np.int64), len(values) - 1)
    part = (inside - whole).reshape(-1, *[1] * (values.ndim - 1))
    at_edges = total[whole] * (1 - part) + total[whole + 1] * part
    return np.asarray(np.diff(at_edges, axis=0) / (edges[1] - edges[0]))
