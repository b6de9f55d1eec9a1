"""Writing a result: all its files appear together in one folder, or none does.

Everything is first written to a hidden folder beside the target and then put in its place by one rename.
Where a former result stands there, the two folders are exchanged in one step, so that a run killed at
any moment leaves either the former result or the new one, whole. What a killed run leaves hidden beside the
target is removed by the next run of the same target: a run holds a lock on what it is writing, and the system
takes the lock away when the run ends in whatever manner.
"""

from __future__ import annotations

import ctypes
import errno
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files.lock import hidden_prefix, locked, remove_stale, write_synced

MARK = "pattern.json"
"""The file by which a folder is known to hold a result."""
_AT_FDCWD, _EXCHANGE = -100, 2  # Linux: renameat2(2)


def folder_name(title: str) -> str:
    """Turn a title into a folder name of letters, digits and hyphens that cannot leave its parent.

    >>> folder_name("Rowing Club: ../Crew ★")
    'rowing-club-crew'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60] or "band"


def check_target(folder: Path, *, replace: bool) -> None:
    """Refuse a folder that a result could not be written to. Raises OutputError."""
    try:
        _check_target(folder, replace)
    except OSError as error:  # a name too long for the system, a folder that may not be looked into
        raise OutputError(f"cannot use {folder}: {error.strerror}.", "Choose another --out.") from None


def _check_target(folder: Path, replace: bool) -> None:
    if folder.is_symlink():
        raise OutputError(f"{folder} is a symbolic link.", "Name the folder itself with --out.")
    if not folder.exists():
        _check_parent(folder)
        return
    if not folder.is_dir():
        raise OutputError(f"{folder} is a file.", "Name a folder with --out.")
    present = sorted(entry.name for entry in os.scandir(folder))
    if not present:
        return
    if MARK not in present:
        raise OutputError(f"{folder} holds other files ({present[0]}, …).", "Name a new folder with --out.")
    if not replace:
        raise OutputError(f"{folder} already holds a result.", "Add --replace, or name another --out.")
    _check_parent(folder)


def _check_parent(folder: Path) -> None:
    parent = folder.absolute().parent
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    if not parent.is_dir() or not os.access(parent, os.W_OK | os.X_OK):
        raise OutputError(f"cannot write to {parent}.", "Name a folder of your own with --out.")


def write_result(folder: Path, files: Mapping[str, bytes | str], *, replace: bool = False) -> None:
    """Write ``files`` (plain names to contents) as the result ``folder``.

    Files of a former result that the new one does not have are gone afterwards; files that no result has
    (a maker's own notes) are carried over. Raises OutputError, leaving what was there as it was.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_result(Path(place) / "band", {"pattern.json": "{}", "cut-list.csv": "position"})
    ...     sorted(path.name for path in (Path(place) / "band").iterdir())
    ['cut-list.csv', 'pattern.json']
    """
    for name in files:
        if Path(name).name != name or name.startswith("."):
            raise ValueError(f"not a plain file name: {name!r}")
    check_target(folder, replace=replace)
    folder = folder.absolute()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _staged(folder) as staging:
            for name, content in files.items():
                write_synced(staging / name, content.encode() if isinstance(content, str) else content)
            if folder.exists():
                _carry_over(folder, staging)
            staging.chmod(0o755)
            _put_in_place(staging, folder)
    except OSError as error:
        hint = "Free some space or choose another --out."
        raise OutputError(f"cannot write {folder}: {error.strerror}.", hint) from None
    remove_stale(folder, "former")


@contextmanager
def _staged(target: Path) -> Iterator[Path]:
    """A locked hidden folder beside ``target`` that is gone afterwards; stale ones go at once."""
    remove_stale(target, "new")
    while True:
        staging = Path(tempfile.mkdtemp(prefix=hidden_prefix(target, "new"), dir=target.parent))
        handle = locked(staging)
        if staging.exists():  # else another run took it for a stale one before it was locked
            break
    try:
        yield staging
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        if handle is not None:
            os.close(handle)


WRITTEN = re.compile(r"[a-z-]+\.(json|csv|png|svg|pdf|txt|html)")
"""Names of the files that results are made of."""


def _carry_over(former: Path, staging: Path) -> None:
    for entry in sorted(former.iterdir()):
        if WRITTEN.fullmatch(entry.name) or (staging / entry.name).exists():
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.copytree(entry, staging / entry.name, symlinks=True)
        else:
            shutil.copy2(entry, staging / entry.name, follow_symlinks=False)


def _put_in_place(staging: Path, folder: Path) -> None:
    if not folder.exists() or not any(folder.iterdir()):
        staging.rename(folder)  # POSIX lets a folder replace an empty one
        return
    if _exchange(staging, folder):
        return
    former = Path(tempfile.mkdtemp(prefix=hidden_prefix(folder, "former"), dir=folder.parent))
    folder.rename(former)
    try:
        staging.rename(folder)
    except OSError:
        former.rename(folder)
        raise
    shutil.rmtree(former, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Exchange two folders in one step where the system can; return whether it did."""
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
