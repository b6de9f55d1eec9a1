"""``written.json``: which files of a folder hitchgrid wrote, by name and digest.

Only these may ever be replaced or removed, and only while they are what was written: anything else in the
folder is the maker's.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files.channels import json_text
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.limits import MOST_MANIFEST_BYTES

MANIFEST = "written.json"
FORMAT = "hitchgrid-written"
VOLATILE = "timings.json"
"""Differs from run to run, so it is listed without a digest and is ours whatever it holds."""
_KIND = Kind("list of files", MOST_MANIFEST_BYTES, "Name a new folder.")
_CHUNK = 1 << 20

Written = Mapping[str, str]
"""Names to SHA-256 digests in hexadecimal, two while one is replaced; "" for one that is not compared."""


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def render(files: Mapping[str, bytes]) -> bytes:
    """The manifest of these files; the same files give the same bytes."""
    return render_digests(
        {name: "" if name == VOLATILE else digest(content) for name, content in files.items()}
    )


def render_digests(written: Written) -> bytes:
    """The manifest of files whose digests are known."""
    return (json_text({"format": FORMAT, "files": dict(sorted(written.items()))}) + "\n").encode()


def read(folder: Path) -> Written | None:
    """What a former run wrote into the folder, or None if it is no folder of ours."""
    try:
        document = json_of(read_plain(folder / MANIFEST, _KIND), MANIFEST)
    except InputError:
        return None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        return None
    found = document.get("files")
    if not isinstance(found, dict) or not all(isinstance(value, str) for value in found.values()):
        return None
    return found


def listed(folder: Path) -> list[Path]:
    """The files that a former run says it wrote into the folder, but for names that lead elsewhere."""
    return [folder / name for name in read(folder) or () if Path(name).name == name]


def stamp(folder: Path) -> str:
    """A mark of the result that a folder holds, "" for none; two results that differ have two marks."""
    try:
        return digest(read_plain(folder / MANIFEST, _KIND))
    except InputError:
        return ""


def is_ours(path: Path, written: Written) -> bool:
    """Whether the file is what a former run wrote, unchanged. Never waits on a pipe, never follows a link."""
    if path.name == MANIFEST:
        return read(path.parent) is not None
    known = written.get(path.name)
    try:
        if known is None or not stat.S_ISREG(path.lstat().st_mode):
            return False
        return path.name == VOLATILE or _digest_of(path) in known.split()
    except OSError:
        return False


def _digest_of(path: Path) -> str:
    made = hashlib.sha256()
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(handle, "rb") as file:
        while part := file.read(_CHUNK):
            made.update(part)
    return made.hexdigest()
