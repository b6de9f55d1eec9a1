"""A picture file -> an upright sRGB picture, trimmed, cropped, turned; or the exact cells of a grid.

The content of a file decides what it is, its name does not. Everything that can be wrong with a file
is one ``InputError``; sizes are checked before anything is decoded.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import scipy  # loads its parts when they are asked for: many bands need none
from numpy.typing import NDArray

from pipeline.colour import Colour, encoded, linear, luminance, parse_hex
from pipeline.errors import InputError
from pipeline.files.channels import label
from pipeline.files.reading import Kind, read_plain
from pipeline.limits import MOST_PICTURE_BYTES
from pipeline.motif.raster import decode
from pipeline.motif.svg import looks_like_svg, render_svg

if TYPE_CHECKING:
    from pipeline.order.asked import PictureSource

PICTURE = Kind(
    "picture", MOST_PICTURE_BYTES, "Make it smaller: for pictures, 2,000 pixels a side are more than enough."
)
"""A larger file is refused before it is read."""

Crop = tuple[float, float, float, float]
"""Left, top, right and bottom edge as fractions of width and height, of the upright picture."""

_WORKING_PIXELS = 4_000_000
_MOST_CELLS = 4_000_000
_TOLERANCE = 16  # largest difference of a channel within "the same colour"; hides JPEG noise
_CLEAR_MAJORITY = 0.6
_WHITE: Colour = (255, 255, 255)
_BLACK: Colour = (0, 0, 0)


@dataclass(frozen=True, slots=True)
class Picture:
    """An opaque picture in sRGB.

    ``rgb``: uint8 (h, w, 3), read-only. ``ground``: the colour that the picture lies on, or None if
    there is no such colour. ``name``: what to call it, for titles and messages.
    """

    rgb: NDArray[np.uint8]
    ground: Colour | None
    name: str

    def __post_init__(self) -> None:
        if self.rgb.dtype != np.uint8 or self.rgb.ndim != 3 or self.rgb.shape[2] != 3 or self.rgb.size == 0:
            raise ValueError(f"a picture is uint8 (h, w, 3), not {self.rgb.dtype} {self.rgb.shape}")
        if self.ground is not None and not all(0 <= value <= 255 for value in self.ground):
            raise ValueError(f"a ground colour is three numbers from 0 to 255, not {self.ground}")
        self.rgb.flags.writeable = False


def load_picture(
    path: Path | str,
    *,
    background: str | None = None,
    trim: bool = True,
    crop: Crop | None = None,
    turn: int = 0,
    mirror: bool = False,
) -> Picture:
    """Read a picture file: PNG, JPEG, WebP, GIF (first frame), BMP, TIFF or SVG.

    ``background`` ("#rrggbb") is laid under transparent parts and becomes the ground; without it they
    get white, or black under a picture that is itself nearly white. ``crop`` takes a part of the
    upright picture; without it a margin of the ground colour is trimmed off, unless ``trim`` is
    False. Then the picture is turned clockwise by ``turn`` quarter turns and, last, mirrored.
    Very large pictures are made smaller here, by averaging in linear light.

    Raises ``InputError`` for a file that cannot be used, or a crop that leaves nothing.

    >>> import tempfile
    >>> from PIL import Image
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     flag = Image.new("RGB", (30, 20), "#1b2a59")
    ...     flag.paste("#f6f3ea", (10, 5, 16, 15))
    ...     flag.save(Path(folder) / "flag.png")
    ...     picture = load_picture(Path(folder) / "flag.png", turn=1)
    >>> picture.rgb.shape, picture.ground, picture.name
    ((6, 10, 3), (27, 42, 89), 'flag')
    """
    path = Path(path)
    called = label(path)
    under = parse_hex(background) if background is not None else None
    data = read_plain(path, PICTURE)
    rgba = render_svg(data, called) if looks_like_svg(data) else decode(data, called)
    if crop is not None:
        rgba = _cropped(rgba, crop, called)
    rgba = _shrunk(rgba)
    transparent = bool((rgba[..., 3] < 128).any())
    if under is None and transparent:
        under = _BLACK if _nearly_white(rgba) else _WHITE
    rgb = _composite(rgba, under or _WHITE)
    ground = under or border_colour(rgb)
    if trim and crop is None and ground is not None:
        rgb = _trimmed(rgb, ground)
    rgb = np.rot90(rgb, -(turn % 4))
    if mirror:
        rgb = rgb[:, ::-1]
    return Picture(np.array(rgb, order="C"), ground, label(path.stem) or "picture")


def picture_of(artwork: PictureSource) -> Picture:
    """The part of a picture that is asked for, turned and mirrored as it was asked for."""
    return load_picture(
        artwork.path,
        background=artwork.background,
        trim=artwork.trim,
        crop=artwork.crop,
        turn=artwork.turn,
        mirror=artwork.mirror,
    )


def on_ground(picture: Picture, colour: Colour) -> Picture:
    """The picture with the page it lies on, from the border inwards, turned into ``colour``; what the page's
    colour shows elsewhere, inside the drawing, stays. A picture without a ground stays as it is.

    >>> dot = Picture(np.full((5, 5, 3), 255, np.uint8), (255, 255, 255), "dot")
    >>> on_ground(dot, (27, 42, 89)).rgb[2, 2].tolist()
    [27, 42, 89]
    """
    if picture.ground is None:
        return picture
    rgb = picture.rgb.copy()
    page = np.abs(rgb.astype(np.int16) - np.array(picture.ground, np.int16)).max(axis=2) <= _TOLERANCE
    part, _ = scipy.ndimage.label(page)
    border = np.unique(np.concatenate([part[0], part[-1], part[:, 0], part[:, -1]]))
    outside = np.isin(part, border[border > 0])
    rgb[scipy.ndimage.binary_dilation(outside, np.ones((3, 3)))] = (
        colour  # with the mixed pixels of a smooth edge
    )
    return Picture(rgb, colour, picture.name)


def load_grid(path: Path | str, *, background: str | None = None) -> NDArray[np.uint8]:
    """Read a picture that has one pixel a cell: uint8 (H, W, 3), exactly the stored colours.

    Nothing is resampled, trimmed or converted by a colour profile; transparent pixels show
    ``background`` ("#rrggbb", white by default). Raises ``InputError`` as ``load_picture`` does, and for
    SVG drawings or more than four million pixels.

    >>> import tempfile
    >>> from PIL import Image
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     Image.new("RGB", (2, 1), "#1b2a59").save(Path(folder) / "cells.png")
    ...     load_grid(Path(folder) / "cells.png").tolist()
    [[[27, 42, 89], [27, 42, 89]]]
    """
    path = Path(path)
    called = label(path)
    under = parse_hex(background) if background is not None else _WHITE
    data = read_plain(path, PICTURE)
    if looks_like_svg(data):
        raise InputError(
            f"{called} is an SVG drawing, which has no pixels to be cells.",
            "Save it as a PNG with one pixel a cell, or plan it without --grid.",
        )
    grid = _composite(decode(data, called, exact=True, most_pixels=_MOST_CELLS), under)
    grid.flags.writeable = False
    return grid


def border_colour(rgb: NDArray[np.uint8]) -> Colour | None:
    """Return the colour that clearly dominates the outermost ring of pixels, or None.

    A colour held by more than half of the ring is, channel by channel, its median; so the median is
    the only candidate, and it dominates if at least 60 % of the ring are within the tolerance.
    """
    ring = np.concatenate([rgb[0], rgb[-1], rgb[1:-1, 0], rgb[1:-1, -1]]).astype(np.int16)
    centre = np.median(ring, axis=0)
    alike = np.abs(ring - centre).max(axis=1) <= _TOLERANCE
    if alike.mean() < _CLEAR_MAJORITY:
        return None
    red, green, blue = np.rint(np.median(ring[alike], axis=0)).astype(int)
    return int(red), int(green), int(blue)


def _cropped(rgba: NDArray[np.uint8], crop: Crop, label: str) -> NDArray[np.uint8]:
    left, top, right, bottom = crop
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):  # also refuses what is not a number
        raise InputError(
            "The crop must run from left to right and from top to bottom within the picture.",
            "Write left,top,right,bottom, for instance 10%,0%,90%,50%.",
        )
    height, width = rgba.shape[:2]
    part = rgba[round(top * height) : round(bottom * height), round(left * width) : round(right * width)]
    if part.size == 0:
        raise InputError(f"The crop leaves not a single pixel of {label}.", "Take a larger part.")
    return part


def _shrunk(rgba: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Average blocks of pixels, in linear light and weighted by alpha, until the picture is handy.

    The last rows and columns that do not fill a block, fewer than a block is wide, are left out.
    """
    height, width = rgba.shape[:2]
    factor = int(np.ceil(np.sqrt(height * width / _WORKING_PIXELS)))
    down, across = min(factor, height), min(factor, width)
    if down * across == 1:
        return rgba
    rows, columns = height // down, width // across
    blocks = rgba[: rows * down, : columns * across].reshape(rows, down, columns, across, 4)
    light_of = linear(np.arange(256)).astype(np.float32)
    small = np.empty((rows, columns, 4), np.uint8)
    for first in range(0, rows, 32):  # a few rows of blocks at a time bound the memory
        part = blocks[first : first + 32]
        alpha = part[..., 3:].astype(np.float32)
        weight = alpha.sum(axis=(1, 3))
        light = (light_of[part[..., :3]] * alpha).sum(axis=(1, 3))
        small[first : first + 32, :, :3] = encoded(light / np.maximum(weight, 1e-9))
        small[first : first + 32, :, 3:] = np.rint(weight / (down * across))
    return small


def _nearly_white(rgba: NDArray[np.uint8]) -> bool:
    """Whether the picture would vanish on white: its mean luminance is above 0.8 (our choice)."""
    alpha = rgba[..., 3].astype(np.float64)
    if not alpha.any():
        return False
    return bool(np.average(luminance(rgba[..., :3]), weights=alpha) > 0.8)


def _composite(rgba: NDArray[np.uint8], under: Colour) -> NDArray[np.uint8]:
    """Lay the picture over one colour, mixing encoded values as every viewer of pictures does."""
    rgb = rgba[..., :3]
    alpha = rgba[..., 3]
    if (alpha == 255).all():
        return np.array(rgb)
    share = alpha[..., None].astype(np.uint32)
    mixed = rgb * share + np.array(under, np.uint32) * (255 - share)
    return ((mixed + 127) // 255).astype(np.uint8)


def _trimmed(rgb: NDArray[np.uint8], ground: Colour) -> NDArray[np.uint8]:
    """Cut off the rows and columns at the edges that are all ground; a bare ground stays whole."""
    apart = np.abs(rgb.astype(np.int16) - np.array(ground, np.int16)).max(axis=2)
    other = apart > _TOLERANCE
    rows, columns = np.flatnonzero(other.any(axis=1)), np.flatnonzero(other.any(axis=0))
    if rows.size == 0:
        return rgb
    return rgb[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
