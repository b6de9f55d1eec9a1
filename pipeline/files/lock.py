"""Who writes now: a lock on the folder written to, and hidden files beside the target that tell their writer.

The system takes a lock away when its run ends in whatever manner, so what a killed run left can be told from
what another run is writing now.
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files.channels import label

try:
    import fcntl
except ImportError:  # not a POSIX system: two at once are not kept apart, and what killed runs leave stays
    fcntl = None  # type: ignore[assignment]

PATIENCE_S = 20.0
"""How long to wait for another run that is putting its files in place, which takes a moment."""
NEW, FORMER = "new", "former"
_AT_FDCWD, _EXCHANGE = -100, 2  # Linux: renameat2(2)


@contextmanager
def sole_writer(folder: Path) -> Iterator[None]:
    """Keep other runs from putting files into ``folder`` until the block ends.

    Raises OutputError where another run does not finish. A file system without locks goes without.
    """
    handle = None
    with suppress(OSError):  # a folder that may be written to but not read cannot be locked
        handle = os.open(folder, os.O_RDONLY)
    try:
        if handle is not None:
            _wait_for(handle, folder)
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _wait_for(handle: int, folder: Path) -> None:
    until = time.monotonic() + PATIENCE_S
    while fcntl is not None:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError:
            if time.monotonic() > until:
                raise OutputError(
                    f"another run is writing in {label(folder)}.", "Wait until it is done, and try again."
                ) from None
            time.sleep(0.02)
        except OSError:  # no locks here
            return


def hold(handle: int) -> bool:
    """Lock an open file or folder until it is closed, if nobody has; return whether it is locked now."""
    if fcntl is None:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def hidden_beside(target: Path, what: str = NEW) -> Path:
    """A hidden name beside ``target`` for what is going to be it, or was it (``FORMER``)."""
    return target.with_name(f"{_prefix(target, what)}{secrets.token_hex(4)}")


def abandoned(target: Path) -> Iterator[Path]:
    """What killed runs of the same target left hidden beside it; locked while the caller looks at it."""
    new, former = (re.escape(_prefix(target, what)) for what in (NEW, FORMER))
    ours = re.compile(f"({new}|{former})[0-9a-f]{{8}}")
    with suppress(OSError):
        for entry in sorted(os.scandir(target.parent), key=lambda entry: entry.name):
            if not ours.fullmatch(entry.name) or entry.is_symlink():
                continue
            with suppress(OSError):
                handle = os.open(entry.path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
                try:
                    if hold(handle):  # else a run is writing it now
                        yield Path(entry.path)
                finally:
                    os.close(handle)


def _prefix(target: Path, what: str) -> str:
    return f".{os.fsdecode(os.fsencode(target.name)[:200])}-{what}-"


def exchange(one: Path, other: Path) -> bool:
    """Exchange two files or folders in one step where the system can; return whether it did."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError, TypeError):
        return False
    if renameat2(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in (errno.ENOSYS, errno.EINVAL):
        return False
    raise OSError(code, os.strerror(code), str(other))
