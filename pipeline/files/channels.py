"""Names from files are text and nothing else: one function for each channel that they are shown in.

Names of threads, titles, gauges and files come from outside and may hold anything: formulas, markup, orders
to a terminal, marks that turn the direction of writing. Every writer and every screen sends them through the
function of its channel.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

_INSTEAD = "\ufffd"
_JOINERS = "\u00ad\u200c\u200d"
_HALF = re.compile(r"[\ud800-\udfff]")
_FORMULA = re.compile(r"(^|[;|,\t\r\n])([\s\"']*)(?=[=+\-@\uff1d\uff0b\uff0d\uff20\t\r])")


def printable(text: str, *, keep: str = "") -> str:
    r"""Text for a terminal, a sentence, a picture or paper: nothing in it gives orders or hides.

    Blanks of every kind become a space, joiners inside words go, and every other character that does not
    print (controls, marks of direction, halves of surrogate pairs, unassigned ones) becomes a replacement
    character. ``keep`` names those to leave alone, such as line ends.

    >>> printable("navy\x1b[2J\u202e\u00a0blue")
    'navy\ufffd[2J\ufffd blue'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in keep else _seen(c) for c in text)


def _seen(character: str) -> str:
    if character in _JOINERS:
        return ""
    return " " if character.isspace() else _INSTEAD


def label(path: Path | str, most: int = 80) -> str:
    """The name of a file without its folder as a sentence may show it: printable and short.

    >>> label(Path("/home/maker/stash.csv"))
    'stash.csv'
    """
    shown = printable(" ".join((Path(path).name or str(path)).split()))
    return shown if len(shown) <= most else "…" + shown[1 - most :]


def spreadsheet(cell: object) -> object:
    """A cell that no spreadsheet takes for a formula; numbers stay numbers.

    A cell is a formula by its first character (OWASP, "CSV injection"); where a program splits at another
    separator than was written, what follows that becomes a cell of its own, so it is guarded too.

    >>> spreadsheet("=1+1"), spreadsheet("quay;=1+1"), spreadsheet(-3)
    ("'=1+1", "quay;'=1+1", -3)
    """
    return _FORMULA.sub(r"\1\2'", printable(cell, keep="\t\r\n")) if isinstance(cell, str) else cell


def csv_text(header: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    r"""Lines of CSV, none of whose cells a spreadsheet takes for a formula.

    >>> csv_text(["thread", "pieces"], [["navy, old", 2]])
    'thread,pieces\n"navy, old",2\n'
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([spreadsheet(cell) for cell in row] for row in rows)
    return text.getvalue()


def shell(words: Iterable[str]) -> str:
    r"""A command line to be pasted into a POSIX shell, in which no word is more than a word.

    >>> shell(["hitchgrid", "plan", "it's; rm.png", "a\x1bb"])
    'hitchgrid plan \'it\'"\'"\'s; rm.png\' $\'a\\x1bb\''
    """
    return " ".join(shlex.quote(word) if word.isprintable() else _ansi_c(word) for word in words)


def _ansi_c(word: str) -> str:
    return "$'" + "".join(map(_escaped, word)) + "'"


def _escaped(character: str) -> str:
    if character.isprintable():
        return "\\" + character if character in "\\'" else character
    return "".join(f"\\x{byte:02x}" for byte in character.encode("utf-8", "surrogateescape"))


def xml(text: str) -> str:
    r"""Text for XML, HTML and the paragraphs of a PDF: escaped, and only characters that XML 1.0 has.

    >>> xml('<b a="&">\x00')
    '&lt;b a=&quot;&amp;&quot;&gt;\ufffd'
    """
    return escape(printable(text), {'"': "&quot;", "'": "&#39;"})


def json_text(value: Any, indent: int | None = 2) -> str:
    r"""JSON that every reader takes: no NaN or infinity, and no half of a surrogate pair.

    Raises ValueError for a number that JSON does not have.

    >>> json_text({"name": "a\udcff"}, None)
    '{"name": "a\ufffd"}'
    """
    return _HALF.sub(_INSTEAD, json.dumps(value, indent=indent, ensure_ascii=False, allow_nan=False))


def same_name(text: str) -> str:
    r"""The form in which names are compared: composed (NFC), every run of blanks one space.

    >>> same_name("Ne\u0301on\u00a0 red ") == same_name("N\u00e9on red")
    True
    """
    return " ".join(unicodedata.normalize("NFC", text).split())
