"""From a picture to the colour of each cell.

The grid has (rows, cells): columns ``strand_pitch`` apart, rows ``row_pitch`` apart, in both working orders.
A row-worked knot fills one field of that grid. A diagonal-worked knot lies in every other field and covers
a diamond two fields wide and two high, so that the diamonds of a picture fill the plane. Every cell takes
what the picture shows in its shape: flat artwork the colour that covers most of it (``artwork.py``),
photos the average in linear light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.colour import Bytes, Colour, Floats, encoded, linear
from pipeline.errors import InputError
from pipeline.literals import Fit, Mode, Worked
from pipeline.motif.flat import Artwork, distinct_colours, is_flat
from pipeline.motif.picture import Picture
from pipeline.motif.strokes import widen_strokes

_NEARLY = 0.02
"""Parts of a cell that count as the same: a sample more or less must not decide, or mirror images differ."""
_COARSE = 1.5
"""Pixels to a field up to which no stroke can be thinner than a field."""

MOST_ROWS = 5_000
_SAMPLES = 1_500_000
"""Fields of the fine grid at most, so that big bands take bounded memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Colours of a grid.

    ``colours``: uint8 (rows, cells, 3), read-only; ``mode``: how they were found, ``flat`` (then each is
    one of the picture's distinct colours) or ``photo``; ``ground``: the picture's ground as it appears
    in the cells, or None.
    """

    colours: Bytes
    mode: Literal["flat", "photo"]
    ground: Colour | None


def natural_rows(picture: Picture, cells_across: int, *, cell_aspect: float, fit: Fit = "contain") -> int:
    """Rows at which the picture keeps its shape when it fills the band's width.

    ``cell_aspect``: strand pitch over row pitch. ``fit`` changes nothing: at this many rows the picture
    fills the grid whichever it is. Raises InputError if the picture would be too long for a band.

    >>> flag = Picture(np.zeros((20, 40, 3), np.uint8), None, "flag")
    >>> natural_rows(flag, 10, cell_aspect=1.0)
    5
    """
    del fit
    height, width = (int(side) for side in picture.rgb.shape[:2])
    rows = max(1, round(height / width * cells_across * cell_aspect))
    if rows > MOST_ROWS:
        raise InputError(
            f"{picture.name} is {width} wide and {height} high, which would be {rows} rows.",
            "Turn or crop it, or say the length with --rows.",
        )
    return rows


def reduce_picture(
    picture: Picture,
    rows: int,
    cells: int,
    *,
    worked: Worked,
    cell_aspect: float,
    mode: Mode = "auto",
    fit: Fit = "contain",
) -> Cells:
    """Reduce a picture to (rows, cells) colours.

    ``cell_aspect``: strand pitch over row pitch. ``contain`` shows the whole picture, the rest is ground;
    ``cover`` fills the grid and cuts what is left over; ``stretch`` does not keep the shape. In diagonal
    work all fields are filled in, also those without a knot.

    >>> flag = Picture(np.repeat([[[27, 42, 89], [255, 255, 255]]], 2, axis=0).astype(np.uint8), None, "flag")
    >>> cells = reduce_picture(flag, 1, 2, worked="rows", cell_aspect=1.0, fit="stretch")
    >>> cells.colours.tolist(), cells.mode
    ([[[27, 42, 89], [255, 255, 255]]], 'flat')
    """
    if rows < 1 or cells < 1:
        raise InputError(f"{rows} rows of {cells} cells cannot show a picture.", "Take more strands or rows.")
    if not cell_aspect > 0:
        raise ValueError(f"cell_aspect must be above 0, not {cell_aspect}")
    rgb = picture.rgb
    ground = picture.ground if picture.ground is not None else _border_colour(rgb)
    artwork = None if mode == "photo" else distinct_colours(rgb)
    if artwork is None or (mode == "auto" and not is_flat(artwork)):
        light = _averages(rgb, ground, _window(rgb, rows, cells, cell_aspect, fit), rows, cells, worked)
        return _cells(encoded(light), "photo", picture.ground)
    artwork = artwork.with_colour(ground)
    window = _window(artwork.labels, rows, cells, cell_aspect, fit)
    colours = artwork.colours[_flat(artwork, artwork.index_of(ground), window, rows, cells, worked)]
    red, green, blue = (int(part) for part in artwork.colours[artwork.index_of(ground)])
    return _cells(colours, "flat", None if picture.ground is None else (red, green, blue))


def _cells(colours: Bytes, mode: Literal["flat", "photo"], ground: Colour | None) -> Cells:
    colours.flags.writeable = False
    return Cells(colours, mode, ground)


Window = tuple[float, float, float, float]
"""Top, left, bottom, right of the part of the picture (in pixels) that the grid shows; may reach beyond."""


def _window(picture: Bytes, rows: int, cells: int, cell_aspect: float, fit: Fit) -> Window:
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


def _fine(rows: int, cells: int) -> int:
    """Samples along each side of a field: as many as memory allows, 2 … 16, even (half a field counts)."""
    side = int(np.clip((_SAMPLES / (rows * cells)) ** 0.5, 2, 16))
    return side - side % 2


def _averages(rgb: Bytes, ground: Colour, window: Window, rows: int, cells: int, worked: Worked) -> Floats:
    """Average linear light of each cell (rows, cells, 3), every pixel weighted by the area it has in it."""
    fine = 1 if worked == "rows" else min(8, _fine(rows, cells))
    top, left, bottom, right = window
    height, width = rgb.shape[:2]
    light = linear(np.array(ground, dtype=np.uint8))
    across = np.linspace(left, right, cells * fine + 1)
    narrow = np.empty((height, cells * fine, 3))
    step = max(1, 2_000_000 // width)
    for start in range(0, height, step):
        piece = linear(rgb[start : start + step]) - light
        narrow[start : start + step] = _integrals(piece.swapaxes(0, 1), across).swapaxes(0, 1)
    averages = _integrals(narrow, np.linspace(top, bottom, rows * fine + 1)) + light
    return averages if worked == "rows" else _in_diamonds(averages, rows, cells, fine)


def _integrals(values: Floats, edges: Floats) -> Floats:
    """Means of ``values`` along axis 0 between successive ``edges`` (in samples); 0 outside."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    inside = np.clip(edges, 0, len(values))
    whole = np.minimum(inside.astype(np.int64), len(values) - 1)
    part = (inside - whole).reshape(-1, *[1] * (values.ndim - 1))
    at_edges = total[whole] * (1 - part) + total[whole + 1] * part
    return np.asarray(np.diff(at_edges, axis=0) / (edges[1] - edges[0]))


def _in_diamonds(fine_values: Floats, rows: int, cells: int, fine: int) -> Floats:
    """Means over the diamond two fields wide and high around each field's middle; clipped at the edges."""
    half = fine // 2
    offsets = (np.arange(2 * fine) + 0.5) / fine - 1
    reach = np.abs(offsets)[:, None] + np.abs(offsets)[None]
    kernel = np.where(np.isclose(reach, 1), 0.5, (reach < 1).astype(np.float64))
    pad = [(half, half), (half, half), *[(0, 0)] * (fine_values.ndim - 2)]
    padded = np.pad(fine_values, pad)
    inside = np.pad(np.ones(fine_values.shape[:2]), pad[:2])
    total = np.zeros((rows, cells, *fine_values.shape[2:]))
    weight = np.zeros((rows, cells))
    for y, x in zip(*np.nonzero(kernel), strict=True):
        step = slice(y, y + (rows - 1) * fine + 1, fine), slice(x, x + (cells - 1) * fine + 1, fine)
        total += kernel[y, x] * padded[step]
        weight += kernel[y, x] * inside[step]
    return np.asarray(total / weight.reshape(rows, cells, *[1] * (fine_values.ndim - 2)))


def _flat(artwork: Artwork, outside: int, window: Window, rows: int, cells: int, worked: Worked) -> Bytes:
    """The distinct colour that covers most of each cell (rows, cells), with thin strokes widened."""
    fine = _fine(rows, cells)
    labels = _sampled(artwork.labels, outside, window, rows * fine, cells * fine)
    if min((window[2] - window[0]) / rows, (window[3] - window[1]) / cells) > _COARSE:
        across = fine if worked == "rows" else 2**0.5 * fine  # between the sides of a field, of a diamond
        labels = widen_strokes(labels, across, len(artwork.colours))
    return _majority(labels, rows, cells, fine, worked, len(artwork.colours))


def _sampled(labels: Bytes, outside: int, window: Window, height: int, width: int) -> Bytes:
    """Labels at the middles of a fine grid over the window (height, width); ``outside`` beyond."""
    top, left, bottom, right = window
    y = np.floor(top + (np.arange(height) + 0.5) * (bottom - top) / height).astype(np.int64)
    x = np.floor(left + (np.arange(width) + 0.5) * (right - left) / width).astype(np.int64)
    inside_y, inside_x = (y >= 0) & (y < labels.shape[0]), (x >= 0) & (x < labels.shape[1])
    taken = labels[np.clip(y, 0, labels.shape[0] - 1)][:, np.clip(x, 0, labels.shape[1] - 1)]
    return np.where(inside_y[:, None] & inside_x[None], taken, np.uint8(outside))


def _majority(labels: Bytes, rows: int, cells: int, fine: int, worked: Worked, count: int) -> Bytes:
    """The label that covers most of each cell (rows, cells); the rarer one where two cover about the same."""
    best = np.zeros((rows, cells), dtype=np.uint8)
    most = np.full((rows, cells), -1.0)
    for label in range(count):
        here = (labels == label).astype(np.float64)
        if worked == "rows":
            share = here.reshape(rows, fine, cells, fine).mean(axis=(1, 3))
        else:
            share = _in_diamonds(here, rows, cells, fine)
        ahead = share >= most - _NEARLY
        best[ahead], most[ahead] = label, share[ahead]
    return best
