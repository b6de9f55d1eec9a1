"""An SVG drawing -> pixels, without trusting the drawing.

Three walls, the first two in a confined process: the text is read by expat and refused if it has anything
that reaches outside the drawing or that grows without bound; then resvg draws it; then the result is decoded
like any other picture.
"""

from __future__ import annotations

import importlib.util

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import InputError
from pipeline.limits import MOST_SVG_BYTES
from pipeline.motif.confined import Lost, ask
from pipeline.motif.raster import decode
from pipeline.motif.svg_worker import MOST_DEPTH, MOST_DRAWN, MOST_ELEMENTS, TO_PNG

__all__ = ["MOST_DEPTH", "MOST_DRAWN", "MOST_ELEMENTS", "MOST_SVG_BYTES", "looks_like_svg", "render_svg"]
_SIDE = 1200  # pixels of the longer side that is drawn; a band has a few dozen cells across


def looks_like_svg(data: bytes) -> bool:
    """Whether the first thing in the data is XML markup (so that no raster reader need try)."""
    start = data[:1024]
    for mark, codec in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"\xef\xbb\xbf", "utf-8")):
        if start.startswith(mark):
            return start[len(mark) :].decode(codec, "ignore").lstrip().startswith("<")
    return start.lstrip().startswith(b"<")


def render_svg(data: bytes, name: str) -> NDArray[np.uint8]:
    """Return the drawing as (h, w, 4) uint8 sRGB and alpha, its longer side 1,200 pixels.

    Raises ``InputError`` for anything but a self-contained drawing: a DTD or entities, references
    that do not begin with ``#``, text, embedded pictures, scripts, nesting deeper than
    ``MOST_DEPTH``, more than ``MOST_ELEMENTS`` elements, or ``MOST_DRAWN`` after following
    references; and if the drawing takes too long or the optional resvg-py is missing.
    """
    if len(data) > MOST_SVG_BYTES:
        raise InputError(f"{name} is an SVG of more than {MOST_SVG_BYTES // 1_000_000} megabytes.", TO_PNG)
    if importlib.util.find_spec("resvg_py") is None:
        raise InputError(
            f"{name} is an SVG drawing, and the part that draws those is not installed.",
            'Install it with: pip install "hitchgrid[svg]", or export the drawing as a PNG.',
        )
    try:
        _, png = ask("pipeline.motif.svg_worker", {"name": name, "side": _SIDE}, data)
    except Lost as lost:
        if lost.slow:
            raise InputError(f"{name} takes too long to draw.", TO_PNG) from None
        raise InputError(f"{name} cannot be drawn: it is damaged or too complicated.", TO_PNG) from None
    return decode(png, name)
