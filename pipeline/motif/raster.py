"""The bytes of a raster picture -> upright eight-bit sRGB with straight alpha.

Every kind of sample ends as eight bits a channel by scaling, never by clipping: sixteen-bit samples
are divided by 257, floating samples by the top of the range that they use. A colour profile in the
file is applied, the camera's orientation too, and of several frames only the first is read.
"""

from __future__ import annotations

import io
import logging
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from pipeline.errors import InputError

MOST_PIXELS = 50_000_000
"""A picture with more pixels is refused before it is decoded."""

_LONGEST_SHAPE = 10_000
_MOST_UNUSUAL = 12_000_000  # of pixels that take up to 32 bytes each
_FORMATS = ("PNG", "JPEG", "WEBP", "GIF", "BMP", "TIFF")
_MOST_PROFILE_BYTES = 4_000_000
_TO_RESAVE = "Open it in a picture editor, save it again as PNG, and use that file."
_TO_SHRINK = "Make it smaller in a picture editor: 2,000 pixels a side are plenty."

for _log in ("PIL", "tifffile"):  # what they find wrong is told by our errors, once
    logging.getLogger(_log).addHandler(logging.NullHandler())


def decode(
    data: bytes, name: str, *, exact: bool = False, most_pixels: int = MOST_PIXELS
) -> NDArray[np.uint8]:
    """Return the picture in ``data`` as (h, w, 4) uint8: sRGB and alpha, not premultiplied.

    ``name`` is what the errors call it. ``exact`` keeps the stored numbers: a colour profile is not
    applied. Raises ``InputError`` for anything that is not a picture of a known format, is damaged,
    or has more than ``most_pixels`` pixels; the latter before decoding.
    """
    tiff = data[:4] in (b"II*\0", b"MM\0*")
    with _damage_is_an_input_error(name), _silence() if tiff else nullcontext():
        image = _open(data, name, tiff)
        if image is None:
            return _unusual_tiff(data, min(most_pixels, _MOST_UNUSUAL), name)
        _refuse_too_many(image.width, image.height, name, most_pixels)
        image.load()
        _refuse_too_many(image.width, image.height, name, most_pixels)
        with suppress(Exception):  # a damaged orientation tag turns nothing
            ImageOps.exif_transpose(image, in_place=True)
        return _to_rgba(image if exact else _to_srgb(image), name)


def _refuse_too_many(width: int, height: int, name: str, most: int) -> None:
    if width < 1 or height < 1:
        raise InputError(f"{name} is a picture without pixels.", _TO_RESAVE)
    if max(width, height) > _LONGEST_SHAPE * min(width, height):
        raise InputError(
            f"{name} is {width} by {height} pixels, and no band has such a shape.", "Cut out the motif."
        )
    if width * height > most:
        raise InputError(
            f"{name} is {width} by {height} pixels, more than the {most:,} that are read.", _TO_SHRINK
        )


@contextmanager
def _damage_is_an_input_error(name: str) -> Iterator[None]:
    """Turn whatever a decoder raises on bad data into one ``InputError``.

    On damaged files Pillow raises OSError, SyntaxError, ValueError, EOFError, struct.error,
    KeyError and more, depending on the format; all of them mean that the file is at fault.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except Image.DecompressionBombError as error:
        raise InputError(f"{name} has far more pixels than are read.", _TO_SHRINK) from error
    except MemoryError as error:
        raise InputError(f"{name} needs more memory than there is.", _TO_SHRINK) from error
    except Exception as error:
        raise InputError(f"{name} is damaged or cut short and cannot be read.", _TO_RESAVE) from error


@contextmanager
def _silence() -> Iterator[None]:
    """Keep libtiff quiet, which writes to the standard error of the process."""
    kept = None
    with suppress(OSError):  # there may be no standard error
        kept = os.dup(2)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
    try:
        yield
    finally:
        if kept is not None:
            os.dup2(kept, 2)
            os.close(kept)


def _open(data: bytes, name: str, tiff: bool) -> Image.Image | None:
    """Open lazily; None for a TIFF whose kind of samples Pillow does not know."""
    try:
        return Image.open(io.BytesIO(data), formats=_FORMATS)
    except UnidentifiedImageError as error:
        if tiff:
            return None
        raise InputError(
            f"{name} is not a picture that can be read here.",
            "Give a PNG, JPEG, WebP, GIF, BMP, TIFF or SVG file.",
        ) from error


def _to_srgb(image: Image.Image) -> Image.Image:
    """Apply an embedded colour profile; one that is damaged or does not fit is left aside."""
    profile = image.info.get("icc_profile")
    if not profile or len(profile) > _MOST_PROFILE_BYTES:
        return image
    if image.mode == "P":
        image = image.convert("RGBA")
    becomes = {"RGB": "RGB", "RGBA": "RGBA", "L": "RGB", "CMYK": "RGB"}.get(image.mode)
    if becomes is None:
        return image
    with suppress(ImageCms.PyCMSError, OSError, ValueError, TypeError):
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(
            image, source, ImageCms.createProfile("sRGB"), outputMode=becomes
        )
        return image if converted is None else converted
    return image


def _to_rgba(image: Image.Image, name: str) -> NDArray[np.uint8]:
    if image.mode.startswith("I") or image.mode == "F":
        samples = np.asarray(image)
        alpha = np.full(samples.shape, 255, np.uint8)
        clear = image.info.get("transparency")
        if isinstance(clear, int):
            alpha[samples == clear] = 0
        grey = eight_bits(samples, name)
        return np.dstack([grey, grey, grey, alpha])
    return np.asarray(image.convert("RGBA"))


def eight_bits(samples: NDArray[Any], name: str) -> NDArray[np.uint8]:
    """Scale samples of any numeric type to 0…255, rounding to the nearest.

    Eight-bit samples stay; integers that fit sixteen bits are divided by 257 (so 65535 -> 255).
    Floating samples are taken as 0…1, 0…255 or 0…65535, whichever is the first that holds them
    (common practice, no source); beyond that, and for larger integers, from least to greatest.
    Raises ``InputError`` if a sample is not a finite number.

    >>> eight_bits(np.array([0, 257, 65535], np.uint16), "x").tolist()
    [0, 1, 255]
    """
    if samples.dtype == np.uint8:
        return samples
    values = samples.astype(np.float64)
    if not np.isfinite(values).all():
        raise InputError(f"{name} holds samples that are not numbers.", _TO_RESAVE)
    least, greatest = float(values.min()), float(values.max())
    tops = (1.0, 255.0, 65535.0) if samples.dtype.kind == "f" else (65535.0,)
    top = next((top for top in tops if greatest <= top), None)
    if top is None or least < 0:
        values /= 2  # halved first, so that the widest span stays finite
        values -= least / 2
        top = (greatest / 2 - least / 2) or 1.0
    values /= top
    np.clip(values, 0.0, 1.0, out=values)
    values *= 255
    return np.rint(values, out=values).astype(np.uint8)


def _unusual_tiff(data: bytes, most_pixels: int, name: str) -> NDArray[np.uint8]:
    """Read the first page of a TIFF with samples that Pillow does not know, floating colour say."""
    import tifffile  # comes with scikit-image; slow to import and seldom needed

    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page = file.pages.first
        height, width, count = page.imagelength, page.imagewidth, page.samplesperpixel
        _refuse_too_many(width, height, name, most_pixels)
        if page.ndim not in (2, 3) or count > 4 or page.imagedepth != 1:
            raise InputError(f"{name} is a TIFF that is not a picture in grey or colour.", _TO_RESAVE)
        samples = np.asarray(page.asarray())
        if page.ndim == 3 and page.axes.startswith("S"):
            samples = np.moveaxis(samples, 0, -1)
    samples = samples.reshape(height, width, count)
    colours = 3 if count >= 3 else 1
    rgb = np.broadcast_to(eight_bits(samples[..., :colours], name), (height, width, 3))
    opaque = np.full((height, width), 255, np.uint8)
    return np.dstack([rgb, eight_bits(samples[..., -1], name) if count > colours else opaque])
