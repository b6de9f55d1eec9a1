"""Colours: hex text, light, CIELAB and the difference that an eye sees.

Colours are sRGB triples of 0 … 255. Averages are taken in linear light (IEC 61966-2-1). Small differences are
CIEDE2000, large ones HyAB, both over CIELAB (D65, 2° observer); conversion and CIEDE2000 are scikit-image's.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.errors import InputError

Colour = tuple[int, int, int]
"""One sRGB colour, 0 … 255 each."""
Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

_HEX = re.compile(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})")


def parse_hex(text: str) -> Colour:
    """Read ``#rrggbb`` or ``#rgb``, with or without the ``#``, in either case. Raises InputError.

    >>> parse_hex("#1b2a59"), parse_hex("FA0")
    ((27, 42, 89), (255, 170, 0))
    """
    match = _HEX.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"{text[:40]!r} is not a colour.", "Write it as # and six digits 0-9 or a-f, such as #1b2a59."
        )
    digits = match[1] if len(match[1]) == 6 else "".join(2 * digit for digit in match[1])
    red, green, blue = bytes.fromhex(digits)
    return red, green, blue


def hex_of(colour: ArrayLike) -> str:
    """Write one colour as ``#rrggbb``.

    >>> hex_of((27, 42, 89))
    '#1b2a59'
    """
    red, green, blue = (int(part) for part in np.asarray(colour).reshape(3))
    return f"#{red:02x}{green:02x}{blue:02x}"


_ENCODED = np.arange(256) / 255.0
_LINEAR = np.where(_ENCODED <= 0.04045, _ENCODED / 12.92, ((_ENCODED + 0.055) / 1.055) ** 2.4)
_LINEAR.flags.writeable = False


def linear(colours: ArrayLike) -> Floats:
    """Decode sRGB bytes to linear light, 0 … 1 (IEC 61966-2-1, threshold 0.04045).

    >>> linear([0, 188, 255]).round(3).tolist()
    [0.0, 0.503, 1.0]
    """
    return _LINEAR[np.asarray(colours, dtype=np.uint8)]


def encoded(light: ArrayLike) -> Bytes:
    """Encode linear light, 0 … 1, as sRGB bytes; the inverse of :func:`linear`.

    >>> encoded([0.0, 0.5, 1.0]).tolist()
    [0, 188, 255]
    """
    part = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    return np.rint(255.0 * _curve(part)).astype(np.uint8)


def _curve(light: Floats) -> Floats:
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def lab(colours: ArrayLike) -> Floats:
    """CIELAB (D65, 2° observer) of sRGB bytes of shape (…, 3)."""
    from skimage.color import rgb2lab

    bytes_ = np.asarray(colours, dtype=np.uint8)
    return np.asarray(rgb2lab(bytes_.astype(np.float64) / 255.0), dtype=np.float64)


def delta_e_lab(a: ArrayLike, b: ArrayLike) -> Floats:
    """CIEDE2000 (Sharma, Wu, Dalal 2005) between CIELAB arrays of shapes that broadcast to (…, 3)."""
    from skimage import color

    difference: Any = color.deltaE_ciede2000
    first, second = np.broadcast_arrays(np.asarray(a, np.float64), np.asarray(b, np.float64))
    return np.asarray(difference(first, second), dtype=np.float64)


def delta_e(a: ArrayLike, b: ArrayLike) -> Floats:
    """CIEDE2000 between sRGB byte arrays of shapes that broadcast to (…, 3).

    >>> float(delta_e((255, 255, 255), (0, 0, 0)).round(6))
    100.0
    """
    return delta_e_lab(lab(a), lab(b))


def delta_e_table(a: ArrayLike, b: ArrayLike) -> Floats:
    """CIEDE2000 of every colour of ``a`` (m, 3) to every one of ``b`` (n, 3), as (m, n).

    Memory is bounded: it works through ``a`` in pieces.
    """
    rows, columns = lab(np.asarray(a).reshape(-1, 3)), lab(np.asarray(b).reshape(-1, 3))
    table = np.empty((len(rows), len(columns)))
    step = max(1, 200_000 // max(1, len(columns)))
    for start in range(0, len(rows), step):
        piece = rows[start : start + step]
        table[start : start + step] = delta_e_lab(piece[:, None], columns[None])
    return table


def hyab_lab(a: ArrayLike, b: ArrayLike) -> Floats:
    """HyAB between CIELAB arrays of shapes that broadcast to (…, 3): |ΔL*| + √(Δa*² + Δb*²).

    Made for the large differences among which a thread is chosen, where CIEDE2000 errs (Abasi, Amani Tehran
    and Fairchild, "Distance metrics for very large color differences", Color Research and Application 2020).

    >>> hyab_lab((50, 3, 4), (60, 0, 0)).item()
    15.0
    """
    apart = np.asarray(a, np.float64) - np.asarray(b, np.float64)
    return np.asarray(np.abs(apart[..., 0]) + np.hypot(apart[..., 1], apart[..., 2]))


def light_lab(light: ArrayLike) -> Floats:
    """CIELAB (D65, 2° observer) of linear light of shape (…, 3), 0 … 1, without rounding to bytes."""
    from skimage.color import rgb2lab

    part = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    return np.asarray(rgb2lab(_curve(part)), dtype=np.float64)


def luminance(colours: ArrayLike) -> Floats:
    """Relative luminance, 0 … 1, of sRGB bytes (…, 3) (WCAG 2.2, definition of relative luminance)."""
    return np.asarray(linear(colours) @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(a: ArrayLike, b: ArrayLike) -> Floats:
    """Contrast ratio, 1 … 21, of sRGB bytes (WCAG 2.2: 3 is enough for graphics, 4.5 for text).

    >>> float(contrast((0, 0, 0), (255, 255, 255)).round(3))
    21.0
    """
    first, second = luminance(a), luminance(b)
    return np.asarray((np.maximum(first, second) + 0.05) / (np.minimum(first, second) + 0.05))
