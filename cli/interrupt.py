"""Ctrl-C while a plan is made: the first asks for the best so far, the second stops at once."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

AGAIN = b"\nfinishing with the best so far; Ctrl-C again stops at once\n"


@contextmanager
def halting(quiet: bool = False) -> Iterator[Callable[[], bool]]:
    """Within the block the first Ctrl-C only makes the function yielded answer True.

    Search asks it wherever it looks at the clock, so no step is broken off half-way. A second Ctrl-C
    raises KeyboardInterrupt. Outside the main thread, where no signal arrives, nothing changes.
    """
    asked = threading.Event()

    def hear(signum: int, frame: FrameType | None) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        if not quiet:  # not through buffers, which may just be in use
            with suppress(OSError, AttributeError, ValueError):
                os.write(sys.stderr.fileno(), AGAIN)

    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = signal.signal(signal.SIGINT, hear)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)
