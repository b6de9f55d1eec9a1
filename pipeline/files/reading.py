"""Reading files that others wrote: plain files only, bounded, and everything wrong with one is a sentence."""

from __future__ import annotations

import json
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from pipeline.errors import InputError
from pipeline.files.channels import label

_FLAGS = os.O_RDONLY | sum(getattr(os, name, 0) for name in ("O_BINARY", "O_NONBLOCK", "O_NOCTTY"))
_LONGEST_NUMBER = 40
"""Digits of a number in JSON; a double needs 17."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file that is read: what sentences call it, its most bytes, and what to try instead."""

    name: str
    most_bytes: int
    instead: str

    def checked(self, data: bytes, called: str) -> bytes:
        """The bytes of such a file, wherever they come from. Raises InputError for none or too many."""
        if len(data) > self.most_bytes:
            _refuse(f"{called} is larger than the {_size(self.most_bytes)} that are read", self.instead)
        if not data:
            _refuse(f"{called} is empty", self.instead)
        return data


def read_plain(path: Path, kind: Kind) -> bytes:
    r"""Read a plain, not empty file of at most ``kind.most_bytes``; never waits on a pipe or a device.

    Raises InputError naming the file and what to try.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = (Path(place) / "drawer.csv").write_text("name,colour,metres\n")
    ...     read_plain(Path(place) / "drawer.csv", Kind("list of threads", 100, "Name another."))
    b'name,colour,metres\n'
    """
    called = label(path)
    try:
        handle = os.open(path, _FLAGS)
    except FileNotFoundError:
        _refuse(f"there is no file {called}", "Check its name and the folder it is in.")
    except IsADirectoryError:
        _refuse(f"{called} is a folder, not a {kind.name}", "Name one file inside it.")
    except OSError as error:
        _refuse(f"cannot open {called}: {error.strerror}", "Check its name, and that you may read it.")
    except ValueError:  # a null character or half a character in the name
        _refuse(f"{called} is no file name", "Check it.")
    try:
        status = os.fstat(handle)
        if stat.S_ISDIR(status.st_mode):
            _refuse(f"{called} is a folder, not a {kind.name}", "Name one file inside it.")
        if not stat.S_ISREG(status.st_mode):
            _refuse(f"{called} is not a plain file", f"Copy it to one, and name that as the {kind.name}.")
        if status.st_size > kind.most_bytes:
            _refuse(f"{called} is larger than the {_size(kind.most_bytes)} that are read", kind.instead)
        with os.fdopen(handle, "rb", closefd=False) as file:
            data = file.read(kind.most_bytes + 1)
    except OSError as error:
        _refuse(f"cannot read {called}: {error.strerror}", "Copy it to this machine and try again.")
    finally:
        os.close(handle)
    return kind.checked(data, called)


def text_of(data: bytes, called: str) -> str:
    """Decode UTF-8 with or without its mark. Raises InputError naming the line that is not."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        _refuse(f"{called}, line {line}: the text is not UTF-8", "Save it as UTF-8 and try again.")
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        _refuse(f"{called}, line {line}: this is not text", "Save it as text, UTF-8.")
    return text


def json_of(data: bytes, called: str) -> Any:
    r"""Parse JSON. Raises InputError with the line for what is not JSON, infinities, endless numbers and keys
    that stand twice, of which Python would take the last without a word.

    >>> json_of(b'{"metres": 8}', "report.json")
    {'metres': 8}
    >>> json_of(b'[1,\n1e999]', "report.json")
    Traceback (most recent call last):
    pipeline.errors.InputError: report.json, line 2: 1e999 is not a number that can be used. Correct it, ...
    """
    text = text_of(data, called)
    try:
        return json.loads(
            text, parse_constant=_number, parse_float=_number, parse_int=_whole, object_pairs_hook=_object
        )
    except json.JSONDecodeError as error:
        _refuse(f"{called}, line {error.lineno}: this is not JSON ({error.msg})", _MENDED)
    except RecursionError:
        _refuse(f"{called} is nested too deeply", _MENDED)
    except _BadNumber as error:
        line, word = _place(text, str(error))
        _refuse(f"{called}, line {line}: {word[:20]} is not a number that can be used", _MENDED)
    except _KeyTwice:
        line, key = _second(text)
        _refuse(f"{called}, line {line}: {key[:40]!r} stands twice in one object", _TAKEN_OUT)


_MENDED = "Correct it, or let hitchgrid write it again."
_TAKEN_OUT = "Take the wrong one out, or let hitchgrid write it again."
_TOKENS = re.compile(
    r'"(?:[^"\\]++|\\.)*+"|-?(?:Infinity|NaN|(?:0|[1-9]\d*+)(?:\.\d++)?+(?:[eE][-+]?\d++)?+)',
    re.DOTALL | re.ASCII,
)


_KEYS = re.compile(r'("(?:[^"\\]++|\\.)*+")(\s*+:)?+|[{}]', re.DOTALL)


class _BadNumber(Exception):
    pass


class _KeyTwice(Exception):
    pass


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _KeyTwice
    return found


def _second(text: str) -> tuple[int, str]:
    """The line of the first key that its object has already, and the key."""
    objects: list[set[str]] = []
    for match in _KEYS.finditer(text):
        if match[0] == "{":
            objects.append(set())
        elif match[0] == "}":
            objects.pop()
        elif match[2]:
            key = json.loads(match[1])
            if key in objects[-1]:
                return text.count("\n", 0, match.start()) + 1, key
            objects[-1].add(key)
    raise AssertionError("no key stands twice")


def _number(word: str) -> float:
    value = float(word)
    if value - value != 0 or len(word) > _LONGEST_NUMBER:  # infinite, or not a number at all
        raise _BadNumber(word)
    return value


def _whole(word: str) -> int:
    if len(word) > _LONGEST_NUMBER:
        raise _BadNumber(word)
    return int(word)


def _place(text: str, word: str) -> tuple[int, str]:
    found = next(match for match in _TOKENS.finditer(text) if match[0] == word)
    return text.count("\n", 0, found.start()) + 1, word


def _size(count: int) -> str:
    return f"{count / 1_000_000:g} MB" if count >= 1_000_000 else f"{count:,} bytes"


def _refuse(what: str, instead: str) -> NoReturn:
    raise InputError(f"{what}.", instead) from None
