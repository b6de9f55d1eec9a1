"""Compiling the inner loops with numba, with a cache on disk that never stands in the way.

Numba keeps compiled code beside the module, or in the user's cache folder; where neither can be written, code
is compiled anew in each process. A file of settings in the current folder may tell another place, and numba
unpickles what lies there. That folder may hold a stranger's pictures, so numba is kept from the file.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable
from typing import Any


def _numba() -> Any:
    modules: dict[str, Any] = sys.modules
    reader = modules.get("yaml")
    modules["yaml"] = None  # so that importing what would read the file fails
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # numba warns that it cannot read it
            import numba
            from numba.core import config
    finally:
        del modules["yaml"]
        if reader is not None:
            modules["yaml"] = reader
    config._config_fname = os.devnull  # where it looks again before it compiles
    return numba


njit = _numba().njit


def compiled(function: Callable[..., Any]) -> Any:
    """Compile ``function`` at its first call; bounds are not checked and floats keep IEEE order."""
    try:
        return njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no folder for the cache can be written
        return njit(nogil=True)(function)
