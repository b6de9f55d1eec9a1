"""Lays out what a case meets, and lends this process the folder, home and streams of the case."""

from __future__ import annotations

import os
import pty
import shutil
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.files.folder import write_result
from tests.fuzz.around import OUT, Around, Case

FORMER = {"pattern.json": "{}", "chart.png": b"former", "cut-list.csv": "position"}
Shown = dict[str, bytes | str | None]
"""What is under each path of a folder: the bytes of a file, where a link leads, None for anything else."""


def lay_out(case: Case, folder: Path) -> None:
    """Put all that the case needs into ``folder``; links lead into its neighbour ``home``."""
    around = case.around
    elsewhere = folder.parent / "home"
    elsewhere.mkdir()
    for file, content in case.files.items():
        _lay(folder / file, content, around.odd.get(file, ""), elsewhere)
    out = folder / OUT
    if around.place in ("folder", "link"):
        (elsewhere / OUT if around.place == "link" else out).mkdir()
    if around.place == "link":
        out.symlink_to(elsewhere / OUT)
    elif around.place != "folder" and around.place:
        _lay(out, b"a maker's", around.place, elsewhere)
    if around.former:
        write_result(out, FORMER)
    for name, content in around.mine.items():
        out.mkdir(exist_ok=True)
        (out / name).write_bytes(content)


def _lay(path: Path, content: bytes, odd: str, elsewhere: Path) -> None:
    if odd == "pipe":
        os.mkfifo(path)
    elif odd == "folder":
        path.mkdir()
    elif odd == "circle":
        path.symlink_to(path)
    elif odd == "loop":
        (elsewhere / f"{path.name}-back").symlink_to(path)
        path.symlink_to(elsewhere / f"{path.name}-back")
    elif odd == "dangling":
        path.symlink_to(elsewhere / "nowhere")
    elif odd == "link":
        (elsewhere / path.name).write_bytes(content)
        path.symlink_to(elsewhere / path.name)
    else:
        path.write_bytes(content)
        if odd == "locked":
            path.chmod(0)


def shown(folder: Path) -> Shown:
    """All that is in a folder and below."""
    found: Shown = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = str(path.readlink())
        else:
            found[name] = path.read_bytes() if path.is_file() else None
    return found


@contextmanager
def inside(folder: Path, around: Around) -> Iterator[None]:
    """Be in ``folder``, with a home of its own beside it; or where a folder was, if it is ``gone``."""
    former, mask = Path.cwd(), os.umask(around.mask)
    changed = {key: os.environ.get(key) for key in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME")}
    for key in changed:
        os.environ.pop(key, None)
    os.environ["HOME"] = str(folder.parent / "home")
    os.chdir(folder)
    if around.gone:
        shutil.rmtree(folder)
    try:
        yield
    finally:
        os.umask(mask)
        os.chdir(former)
        for key, value in changed.items():
            os.environ.pop(key, None) if value is None else os.environ.__setitem__(key, value)


@contextmanager
def streams(folder: Path, around: Around) -> Iterator[list[bytes]]:
    """Give this process and its children other streams; afterwards the list holds output and errors."""
    said: list[bytes] = []
    folder.mkdir()
    (folder / "stdin").write_bytes(around.answers or b"")
    kept = [os.dup(handle) for handle in range(3)]
    python = sys.stdin, sys.stdout, sys.stderr
    for handle, name in enumerate(("stdin", "stdout", "stderr")):
        file = os.open(folder / name, os.O_RDONLY if handle == 0 else os.O_RDWR | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, handle)
        os.close(file)
    seen: list[bytes] = []
    reader = None
    if around.terminal:
        ours, theirs = pty.openpty()
        os.dup2(theirs, 1)
        os.close(theirs)
        reader = threading.Thread(target=_drain, args=(ours, seen), daemon=True)
        reader.start()
    sys.stdin = os.fdopen(os.dup(0), encoding=around.coding, errors="surrogateescape")
    sys.stdout = os.fdopen(os.dup(1), "w", encoding=around.coding, newline="\n")
    sys.stderr = os.fdopen(os.dup(2), "w", encoding=around.coding, newline="\n")
    if around.answers is None:
        sys.stdin.close()
        os.close(0)
        sys.stdin = None  # type: ignore[assignment]
    try:
        yield said
    finally:
        for stream in (sys.stdin, sys.stdout, sys.stderr):
            with suppress(ValueError, OSError, AttributeError):
                stream.close()
        sys.stdin, sys.stdout, sys.stderr = python
        for handle, former in enumerate(kept):
            os.dup2(former, handle)
            os.close(former)
        if reader is not None:
            reader.join(10)
            (folder / "stdout").write_bytes(b"".join(seen))
        said.extend((folder / name).read_bytes() for name in ("stdout", "stderr"))


def _drain(handle: int, seen: list[bytes]) -> None:
    with suppress(OSError):  # the other side is closed
        while part := os.read(handle, 65536):
            seen.append(part)
    os.close(handle)
