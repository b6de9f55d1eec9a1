"""Processes that work for another one: Ctrl-C is for the one that waits for them."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import resource_tracker


@contextmanager
def deaf_children() -> Iterator[None]:
    """Processes that are started within the block never hear a Ctrl-C, not even while they still import.

    A terminal sends it to all of them at once. One that comes to this process meanwhile is heard at the end
    of the block, so that no start is broken off half-way. Outside POSIX nothing changes.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # its own start, once in a process, may lift what is blocked
    came = threading.Event()
    listens = threading.current_thread() is threading.main_thread()
    heard = signal.signal(signal.SIGINT, lambda number, frame: came.set()) if listens else None
    blocked = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})  # what children inherit
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
        if listens:
            signal.signal(signal.SIGINT, heard)
        if came.is_set():
            signal.raise_signal(signal.SIGINT)
