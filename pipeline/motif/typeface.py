"""Any font -> glyphs in cells: drawn large, then reduced so that thin strokes survive.

A cell is ink if half of it is covered, or if the middle line of a stroke runs through it.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import InputError
from pipeline.files.channels import label
from pipeline.files.reading import Kind, read_plain
from pipeline.limits import MOST_FONT_BYTES
from pipeline.motif import font_worker
from pipeline.motif.alphabet import Glyph
from pipeline.motif.confined import Lost, ask

_RUN = 0.45  # share of a cell's width that a middle line must run through it; our own, by looking
_LEAST = 0.2  # share of a cell that such a line must ink, or it is a mere spur of the middle line
_BUILT_IN = resources.files("pipeline.writers").joinpath("sans-bold.ttf")
FONT = Kind("font", MOST_FONT_BYTES, font_worker.ANOTHER)


def typeset(letters: Sequence[str], height: int, font: Path | None) -> dict[str, Glyph]:
    """Return a glyph for each letter but the space, all on one line of ``height`` rows.

    ``font`` is a TrueType or OpenType file; None takes the bold one that the charts are set in, which
    has Latin, Greek and Cyrillic. The line reaches from the highest to the lowest ink of the text and
    of a capital H. Raises ``InputError`` for a file that is not a font or lacks a letter.
    """
    wanted = list(dict.fromkeys(letter for letter in letters if letter != " "))
    where = "The built-in font" if font is None else f"The font {label(font)}"
    if not wanted:
        return {}
    task = {"letters": wanted, "height": height, "name": where}
    try:
        if font is None:
            facts, pixels = font_worker.work(task, _BUILT_IN.read_bytes())
        else:
            facts, pixels = ask("pipeline.motif.font_worker", task, read_plain(font, FONT))
    except Lost:
        raise InputError(f"{where} cannot be used as a font.", font_worker.ANOTHER) from None
    masks = {}
    for letter, (columns, rows) in zip(wanted, facts["sizes"], strict=True):
        mask = np.frombuffer(pixels[: columns * rows], np.uint8).reshape(rows, columns) > 0
        masks[letter], pixels = _reduced(mask, height), pixels[columns * rows :]
    return masks


def _reduced(mask: NDArray[np.bool_], height: int) -> Glyph:
    """Reduce to ``height`` rows and as many whole columns as keep the shape."""
    from skimage.morphology import skeletonize

    rows, columns = mask.shape
    width = max(1, round(columns * height / rows))
    down = np.linspace(0, rows, height + 1).round().astype(int)
    across = np.linspace(0, columns, width + 1).round().astype(int)

    def total(samples: NDArray[np.bool_]) -> NDArray[np.float64]:
        sums = np.zeros((rows + 1, columns + 1))
        sums[1:, 1:] = samples.cumsum(axis=0).cumsum(axis=1)
        corners = sums[np.ix_(down, across)]
        return np.asarray(np.diff(np.diff(corners, axis=0), axis=1))

    area = np.outer(np.diff(down), np.diff(across))
    middle: NDArray[np.bool_] = np.asarray(skeletonize(mask))  # type: ignore[no-untyped-call]
    inked = total(mask) / area
    crossed = total(middle) >= _RUN * np.sqrt(area)
    cells = (inked >= 0.5) | (crossed & (inked >= _LEAST))
    if not cells.any():  # a dot smaller than half a cell
        cells = inked == inked.max()
    return Glyph(cells, 0)
