"""Writing a result: all its files appear together in one folder, or none does.

Everything is first written to a hidden folder beside the target and then put in its place by one rename.
Where a former result stands there, the two folders are exchanged in one step, so that a run killed at
any moment leaves either the former result or the new one, whole. What a killed run leaves hidden beside the
target is settled by the next run of the same target.
"""

from __future__ import annotations

import os
import re
import shutil
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files import manifest
from pipeline.files.channels import label
from pipeline.files.lock import FORMER, abandoned, exchange, hidden_beside, hold, sole_writer
from pipeline.files.makers import carry_over, empty
from pipeline.files.manifest import MANIFEST, Written, is_ours


def folder_name(title: str) -> str:
    """Turn a title into a folder name of letters, digits and hyphens that cannot leave its parent.

    >>> folder_name("Rowing Club: ../Crew ★")
    'rowing-club-crew'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60] or "band"


def check_target(folder: Path, *, replace: bool, inputs: Iterable[Path | None] = ()) -> str:
    """Return a mark of the result that the folder holds; raise OutputError if it could not be written to.

    ``inputs`` are files that this run reads: none of them may be one that it would replace.
    """
    try:
        _check_target(folder, replace)
        refuse_inputs(manifest.listed(folder), inputs)
        return manifest.stamp(folder)
    except OSError as error:  # a name too long for the system, a folder that may not be looked into
        raise OutputError(f"cannot use {label(folder)}: {error.strerror}.", "Choose another --out.") from None
    except ValueError:  # a null character or half a character in the name
        raise OutputError(f"{label(folder)} is no name for a folder.", "Choose another --out.") from None


def _check_target(folder: Path, replace: bool) -> None:
    called = label(folder)
    with suppress(FileNotFoundError, NotADirectoryError):
        folder.lstat()
    if folder.is_symlink():
        raise OutputError(f"{called} is a symbolic link.", "Name the folder itself with --out.")
    if not folder.exists():
        _check_parent(folder)
        return
    if not folder.is_dir():
        raise OutputError(f"{called} is a file.", "Name a folder with --out.")
    # After the exchange it would be another folder, and the one that the shell is in would be gone.
    if Path.cwd().is_relative_to(folder.resolve()):
        raise OutputError(
            f"{called} is or holds the folder you are in.", "Name a new folder inside it with --out."
        )
    present = sorted(entry.name for entry in os.scandir(folder))
    if not present:
        return
    if manifest.read(folder) is None:
        raise OutputError(
            f"{called} holds files that hitchgrid did not write ({label(present[0])}, …).",
            "Name a new folder with --out.",
        )
    if not replace:
        raise OutputError(f"{called} already holds a result.", "Add --replace, or name another --out.")
    _check_parent(folder)


def _check_parent(folder: Path) -> None:
    parent = folder.absolute().parent
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    if not parent.is_dir() or not os.access(parent, os.W_OK | os.X_OK):
        raise OutputError(f"cannot write to {label(parent)}.", "Name a folder of your own with --out.")


def refuse_inputs(outputs: Iterable[Path], inputs: Iterable[Path | None]) -> None:
    """Raise OutputError if a file that is read is one of those to be written, under whatever name."""
    known = [path for path in inputs if path is not None]
    for output in outputs:
        for path in known:
            with suppress(OSError, ValueError):
                if output.samefile(path):
                    raise OutputError(
                        f"{label(path)} is what this run reads, and would be replaced.",
                        "Copy it elsewhere, or write to another place.",
                    )


def write_result(
    folder: Path,
    files: Mapping[str, bytes | str],
    *,
    replace: bool = False,
    inputs: Iterable[Path | None] = (),
    since: str | None = None,
) -> list[str]:
    """Write ``files`` (plain names to contents) as the result ``folder``.

    Files of a former result that the new one does not have are gone afterwards, but only while they are what
    was written; whatever else is in the folder stays. A file that the maker changed or that is in the way is
    kept under another name; the sentences returned say so. ``since`` is what ``check_target`` said when the
    run began: another run's result of the meantime is not replaced. Raises OutputError, leaving all as it
    was.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = write_result(Path(place) / "band", {"pattern.json": "{}", "chart.svg": "<svg/>"})
    ...     sorted(path.name for path in (Path(place) / "band").iterdir())
    ['chart.svg', 'pattern.json', 'written.json']
    """
    for name in files:
        if Path(name).name != name or name.startswith(".") or name == MANIFEST:
            raise ValueError(f"not a plain file name: {name!r}")
    check_target(folder, replace=replace, inputs=inputs)
    contents = {name: c.encode() if isinstance(c, str) else c for name, c in files.items()}
    try:
        folder = folder.absolute()
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _staged(folder) as staging:
            for name, content in contents.items():
                write_synced(staging / name, content)
            write_synced(staging / MANIFEST, manifest.render(contents))
            with sole_writer(folder.parent):
                now = check_target(
                    folder, replace=replace, inputs=inputs
                )  # another run may have been quicker
                if since is not None and now != since:
                    raise OutputError(
                        f"another run wrote to {label(folder)} meanwhile.",
                        "Name another --out, or try again.",
                    )
                return _put_in_place(staging, folder)
    except OSError as error:
        hint = "Free some space or choose another --out."
        reason = error.strerror or "something in it cannot be kept"
        raise OutputError(f"cannot write {label(folder)}: {reason}.", hint) from None


@contextmanager
def drafting(folder: Path) -> Iterator[Callable[[str, bytes], Path | None]]:
    """Within the block the function yielded writes a file that is to be seen before the result is there.

    It returns where, or None where it could not: in a hidden folder beside the target, never in the result.
    That is gone after the block; what a killed run leaves is settled by the next run of the same target.
    """
    folder = folder.absolute()
    with ExitStack() as stack:

        def write(name: str, content: bytes) -> Path | None:
            try:
                for parent in reversed([p for p in folder.parents if not p.exists()]):
                    parent.mkdir()
                    stack.callback(_remove_empty, parent)
                draft = stack.enter_context(_staged(folder)) / name
                draft.write_bytes(content)
            except (OSError, OutputError):  # a result is waited for, a draft is not
                return None
            return draft

        yield write


def _remove_empty(folder: Path) -> None:
    with suppress(OSError):
        folder.rmdir()


@contextmanager
def _staged(target: Path) -> Iterator[Path]:
    """A locked hidden folder beside ``target`` that is gone afterwards; what killed runs left is settled."""
    with sole_writer(target.parent):
        for left in abandoned(target):
            _settle(left, target)
        staging = hidden_beside(target)
        staging.mkdir()
        handle = os.open(staging, os.O_RDONLY)
        hold(handle)
    try:
        yield staging
    finally:
        with suppress(OSError):
            if staging.exists():
                _settle(staging, target)
        os.close(handle)


def _settle(left: Path, target: Path) -> None:
    """Put away a hidden folder: what is being built has no manifest yet, a former result has one."""
    if not left.is_dir():
        left.unlink()
        return
    written = manifest.read(left)
    if written is None:
        shutil.rmtree(left, ignore_errors=True)  # links only, and files of ours by halves
    elif target.exists():
        empty(left, target, written)
    elif f"-{FORMER}-" in left.name or not all(is_ours(entry, written) for entry in left.iterdir()):
        left.rename(target)
    else:
        shutil.rmtree(left, ignore_errors=True)  # a new result that never came to its place


def _put_in_place(staging: Path, folder: Path) -> list[str]:
    if not folder.exists() or not any(folder.iterdir()):
        staging.rename(folder)  # POSIX lets a folder replace an empty one
        return []
    written = manifest.read(folder) or {}
    moved = carry_over(folder, staging, written)
    staging.chmod(folder.stat().st_mode & 0o7777)
    if not exchange(staging, folder):
        former = hidden_beside(folder, FORMER)
        folder.rename(former)
        try:
            staging.rename(folder)
        except OSError:
            former.rename(folder)
            raise
        staging = former
    with suppress(OSError):  # the result stands; what cannot be put away now is by the next run
        moved |= empty(staging, folder, written)
    return [_kept_sentence(name, kept, written) for name, kept in moved.items()]


def _kept_sentence(name: str, kept: str, written: Written) -> str:
    why = "was changed since it was written" if name in written else "was in the way"
    return f"{label(name)} {why}; it is kept as {label(kept)}."


def write_synced(path: Path, content: bytes) -> None:
    """Write a new file and wait until the disk has it."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
