"""The maker's own files in a folder that is replaced: they stay, whatever happens in the middle.

Before the folders are exchanged, each of them is linked into the new one (the same file under two names, so
that whoever has it open goes on writing into it). After the exchange the former folder is emptied: what
hitchgrid wrote goes, what stands in the new folder too loses its second name, and what appeared meanwhile
moves over.
"""

from __future__ import annotations

import filecmp
import os
import shutil
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from pipeline.files.manifest import MANIFEST, Written, is_ours

_LONGEST_NAME = 255
"""Bytes of a file name on nearly every system."""


def carry_over(former: Path, staging: Path, written: Written) -> dict[str, str]:
    """Link the maker's files of ``former`` into ``staging``; return the new names of those in the way."""
    moved: dict[str, str] = {}
    for entry in sorted(former.iterdir()):
        if is_ours(entry, written):
            continue
        name = entry.name
        if os.path.lexists(staging / name):
            name = free_name(name, (former, staging))
            moved[entry.name] = name
        if entry.is_dir() and not entry.is_symlink():
            shutil.copytree(entry, staging / name, symlinks=True, copy_function=_link)
        else:
            _link(entry, staging / name)
    return moved


def empty(former: Path, folder: Path, written: Written) -> dict[str, str]:
    """Remove the exchanged folder ``former``; what only it holds of the maker's moves to ``folder``.

    Returns the new name of each that had to give way. The manifest goes last: without it a folder left behind
    is taken for one that was never finished.
    """
    moved: dict[str, str] = {}
    for entry in sorted(former.iterdir(), key=lambda entry: (entry.name == MANIFEST, entry.name)):
        if is_ours(entry, written):
            entry.unlink()
        else:
            _hand_back(entry, folder, moved)
    former.rmdir()
    return moved


def free_name(name: str, folders: Iterable[Path]) -> str:
    """A name like ``name`` that none of the folders has: chart-kept.png, chart-kept-2.png …"""
    folders = tuple(folders)
    return next(kept for kept in _kept_names(name) if not any(os.path.lexists(f / kept) for f in folders))


def _kept_names(name: str) -> Iterable[str]:
    stem, ending = Path(name).stem, Path(name).suffix
    number = 1
    while True:
        tail = f"-kept{'' if number == 1 else f'-{number}'}{ending}"
        room = max(0, _LONGEST_NAME - len(os.fsencode(tail)))
        yield os.fsdecode(os.fsencode(stem)[:room]) + tail
        number += 1


def _hand_back(entry: Path, folder: Path, moved: dict[str, str]) -> None:
    if entry.is_dir() and not entry.is_symlink():
        there = folder / entry.name
        if there.is_dir() and not there.is_symlink():
            for inner in sorted(entry.iterdir()):
                _hand_back(inner, there, moved)
            entry.rmdir()
            return
    elif any(_same(entry, there) for there in _likely(entry, folder)):
        entry.unlink()
        return
    name = entry.name
    if os.path.lexists(folder / name):
        name = moved[entry.name] = free_name(name, [folder])
    entry.rename(folder / name)


def _likely(entry: Path, folder: Path) -> Iterable[Path]:
    """Where the same file may stand in the new folder: under its name or as one that was kept aside."""
    yield folder / entry.name
    for name in _kept_names(entry.name):
        if not os.path.lexists(folder / name):
            return
        yield folder / name


def _same(one: Path, other: Path) -> bool:
    with suppress(OSError):
        if os.path.samestat(one.lstat(), other.lstat()):
            return True
        if one.is_symlink() or other.is_symlink():
            return one.is_symlink() and other.is_symlink() and one.readlink() == other.readlink()
        return one.is_file() and other.is_file() and filecmp.cmp(one, other, shallow=False)
    return False


def _link(source: str | Path, target: str | Path) -> None:
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError:  # a file system without hard links
        if Path(source).is_symlink() or Path(source).is_file():
            shutil.copy2(source, target, follow_symlinks=False)
        else:
            raise  # a pipe or a socket that cannot be linked cannot be copied either
