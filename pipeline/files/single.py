"""Writing one file: whole or not at all, and never over something that nobody looked at."""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files.channels import label
from pipeline.files.folder import refuse_inputs
from pipeline.files.lock import abandoned, hidden_beside, hold, sole_writer

_LARGEST_KEPT = 64_000_000


class ChangedError(OutputError):
    """The file is not what it was when the edit began."""


def write_file(
    path: Path, content: bytes | str, *, replace: bool = False, inputs: Iterable[Path | None] = ()
) -> None:
    """Write one file whole or not at all.

    ``inputs`` are files that this run reads: ``path`` may be none of them. Raises OutputError, also when it
    exists and ``replace`` is off, and when it is a folder, a pipe or a device.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_file(Path(place) / "chart.svg", "<svg/>")
    ...     (Path(place) / "chart.svg").read_text()
    '<svg/>'
    """
    refuse_inputs([path], inputs)
    _put(path, content.encode() if isinstance(content, str) else content, replace=replace)


def own_folder(folder: Path, mode: int = 0o777) -> None:
    """Make a folder for what the maker keeps between runs, if there is none. Raises OutputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=mode)
    except OSError as error:
        raise OutputError(f"cannot write to {folder}: {error.strerror}.", "Check HOME.") from None


def edit_file(path: Path, content: bytes, *, expected: bytes | None, backup: bool = True) -> Path | None:
    """Replace the content of a file that still is what was ``expected`` (None: there is none yet).

    Links, permissions and owner stay. With ``backup`` the former file is kept beside it under a name that is
    not taken, which is returned. Raises ChangedError if somebody else changed the file, OutputError if it
    cannot be written; then it is as it was.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = (Path(place) / "stash.csv").write_text("navy")
    ...     edit_file(Path(place) / "stash.csv", b"coral", expected=b"navy").name
    'stash.csv.before'
    """
    return _put(path, content, replace=True, expected=expected, compare=True, backup=backup)


def _put(
    path: Path,
    content: bytes,
    *,
    replace: bool,
    expected: bytes | None = None,
    compare: bool = False,
    backup: bool = False,
) -> Path | None:
    hidden: Path | None = None
    try:
        target = path.resolve(strict=False)  # a link stays a link
        _check(path, target, replace)
        hidden = hidden_beside(target)
        with sole_writer(target.parent):  # else another run may take it for one that was left
            file = hidden.open("xb")
            hold(file.fileno())
        with file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
            if target.exists():
                _same_rights(target, hidden)
            with sole_writer(target.parent):
                for left in abandoned(target):
                    left.unlink()
                _check(path, target, replace)
                if compare and _content(target) != expected:
                    what = f"{label(path)} was changed meanwhile."
                    raise ChangedError(what, "Nothing was written; try again.")
                kept = _backup(target) if backup and target.exists() else None
                hidden.replace(target)
                return kept
    except (OSError, RuntimeError, ValueError) as error:  # links in a circle, a null character
        reason = getattr(error, "strerror", None) or "not a place for a file"
        raise OutputError(f"cannot write {label(path)}: {reason}.", "Choose another place.") from None
    finally:
        if hidden is not None:
            with suppress(OSError):
                hidden.unlink(missing_ok=True)


def _check(path: Path, target: Path, replace: bool) -> None:
    if path.is_symlink() and not target.exists():
        raise OutputError(f"{label(path)} is a link that leads nowhere.", "Name a file.")
    if not target.exists():
        return
    if not stat.S_ISREG(target.stat().st_mode):
        raise OutputError(f"{label(path)} is not a plain file.", "Name another file.")
    if not replace:
        raise OutputError(f"{label(path)} exists.", "Add --replace, or name another file.")


def _content(target: Path) -> bytes | None:
    try:
        with target.open("rb") as file:
            return file.read(_LARGEST_KEPT)
    except FileNotFoundError:
        return None


def _same_rights(target: Path, new: Path) -> None:
    status = target.stat()
    with suppress(OSError):
        os.chown(new, status.st_uid, status.st_gid)
    new.chmod(stat.S_IMODE(status.st_mode))


def _backup(target: Path) -> Path:
    """Keep the present file under a second name: .before, .before-2 …; one that has it already will do."""
    number = 1
    while True:
        copy = target.with_name(f"{target.name}.before{'' if number == 1 else f'-{number}'}")
        if not os.path.lexists(copy):
            break
        if copy.is_file() and not copy.is_symlink() and _content(copy) == _content(target):
            return copy
        number += 1
    try:
        os.link(target, copy)
    except OSError:  # a file system without hard links
        with copy.open("xb"):
            pass
        shutil.copy2(target, copy)
    return copy
