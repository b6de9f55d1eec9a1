"""A folder of many results: claimed by one run at a time, with lists of its own beside the results."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.errors import OutputError
from pipeline.files import manifest
from pipeline.files.channels import label
from pipeline.files.folder import refuse_inputs
from pipeline.files.lock import hold, sole_writer
from pipeline.files.makers import free_name
from pipeline.files.manifest import MANIFEST, is_ours
from pipeline.files.single import write_file

_CLAIM = ".in-use"


@contextmanager
def claimed(
    folder: Path, lists: Iterable[str], inputs: Iterable[Path | None], *, replace: bool = True
) -> Iterator[None]:
    """Make ``folder`` one of ours, if it is not yet, and keep other runs out of it.

    Without ``replace`` a folder that is one of ours already is refused. What was made for a run that put
    nothing into it goes again with the run.

    ``lists`` are the names that :func:`put` will write there; none may be one of ``inputs``. Raises
    OutputError for a folder that holds other files or in which another run is at work.
    """
    refuse_inputs((folder / name for name in lists), inputs)
    try:
        new = [place for place in (folder, *folder.parents) if not place.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        foreign = sorted(path.name for path in folder.iterdir() if path.name != _CLAIM)
    except (OSError, ValueError) as error:  # a null character or half a character in the name
        reason = getattr(error, "strerror", None) or "no name for a folder"
        raise OutputError(f"cannot write to {label(folder)}: {reason}.", "Choose another --out.") from None
    if foreign and manifest.read(folder) is None:
        raise OutputError(
            f"{label(folder)} holds files that hitchgrid did not write ({label(foreign[0])}, …).",
            "Name a new folder with --out.",
        )
    if foreign and not replace:
        raise OutputError(f"{label(folder)} already holds results.", "Add --replace, or name another --out.")
    handle = _claim(folder)
    try:
        if not foreign:
            write_file(folder / MANIFEST, manifest.render({}))
        yield
    finally:
        with suppress(OSError):
            if not foreign and {path.name for path in folder.iterdir()} == {MANIFEST, _CLAIM}:
                (folder / MANIFEST).unlink()
            (folder / _CLAIM).unlink()
            for place in new:
                place.rmdir()  # unless something is in it
        os.close(handle)


def _claim(folder: Path) -> int:
    path = folder / _CLAIM
    try:
        while True:
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o600)
            if not hold(handle) and os.name == "posix":
                os.close(handle)
                raise OutputError(
                    f"another run is at work in {label(folder)}.",
                    "Wait until it is done, or name another --out.",
                )
            with suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(handle), path.stat()):
                    return handle
            os.close(handle)  # the run before took it away just now
    except OSError as error:
        raise OutputError(
            f"cannot write to {label(folder)}: {error.strerror}.", "Choose another --out."
        ) from None


def put(folder: Path, files: Mapping[str, bytes | str]) -> list[str]:
    """Write lists into a claimed folder, each whole; a file in the way that is not ours is kept aside.

    Returns the sentences that say so. Raises OutputError.
    """
    contents = {name: c.encode() if isinstance(c, str) else c for name, c in files.items()}
    moved: dict[str, str] = {}
    with sole_writer(folder):
        written = dict(manifest.read(folder) or {})
        for name in contents:
            if os.path.lexists(folder / name) and not is_ours(folder / name, written):
                moved[name] = free_name(name, [folder])
                (folder / name).rename(folder / moved[name])
                written.pop(name, None)
    # Until the new file is there, the manifest knows both, so that a kill in between confuses nobody.
    digests = {name: manifest.digest(content) for name, content in contents.items()}
    both = {name: f"{written.get(name, '')} {new}".strip() for name, new in digests.items()}
    write_file(folder / MANIFEST, manifest.render_digests({**written, **both}), replace=True)
    for name, content in contents.items():
        write_file(folder / name, content, replace=True)
    write_file(folder / MANIFEST, manifest.render_digests({**written, **digests}), replace=True)
    return [f"{name} is not what was written; it is kept as {label(kept)}." for name, kept in moved.items()]
