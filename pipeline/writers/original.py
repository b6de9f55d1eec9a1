"""The picture that a band was made from, for the writers that show it beside the band."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Original(NamedTuple):
    """The picture, the same in cells, and how both lie; empty where nothing is known of it."""

    picture: NDArray[np.uint8] | None = None
    """(height, width, 3) sRGB."""
    cells: NDArray[np.uint8] | None = None
    """(picture rows, strands−1, 3) the same reduced to cells."""
    lengthwise: bool = False
    """Whether it reads along the band, as letters do: both are shown turned a quarter."""


UNKNOWN = Original()
