"""Compiling the inner loops with numba, with a cache on disk that never stands in the way.

Numba keeps compiled code beside the module, or in the user's cache folder; where neither can be
written, code is compiled anew in each process.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any]) -> Any:
    """Compile ``function`` at its first call; bounds are not checked and floats keep IEEE order."""
    try:
        return numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no folder for the cache can be written
        return numba.njit(nogil=True)(function)
