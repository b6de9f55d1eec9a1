"""What is being written stands hidden beside its target and is locked by the run that writes it.

The system takes the lock away when the run ends in whatever manner, so what a killed run left can be told
from what another run is writing now.
"""

from __future__ import annotations

import os
import re
import shutil
from contextlib import suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # not a POSIX system: what killed runs leave stays
    fcntl = None  # type: ignore[assignment]


def hidden_prefix(target: Path, what: str) -> str:
    return f".{target.name[:100]}-{what}-"


def locked(path: Path, *, wait: bool = True) -> int | None:
    """Lock a file or folder until the handle returned is closed; None where that is not possible."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    except OSError:
        return None
    if lock(handle, wait=wait):
        return handle
    os.close(handle)
    return None


def lock(handle: int, *, wait: bool = True) -> bool:
    if fcntl is None:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError:
        return False
    return True


def remove_stale(target: Path, what: str) -> None:
    """Remove what killed runs of the same target left beside it."""
    ours = re.compile(re.escape(hidden_prefix(target, what)) + "[a-z0-9_]{8}")  # the end is tempfile's
    with suppress(OSError):
        for entry in list(os.scandir(target.parent)):
            if not ours.fullmatch(entry.name) or entry.is_symlink():
                continue
            handle = locked(Path(entry.path), wait=False)
            if handle is None:  # a run is writing it now
                continue
            try:
                if entry.is_dir():
                    shutil.rmtree(entry.path, ignore_errors=True)
                else:
                    Path(entry.path).unlink()
            finally:
                os.close(handle)


def write_synced(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
