"""Edits of a list of threads that leave every byte but the edited ones as they were.

The list is the maker's: its columns, notes, quotes, line ends, order and blank lines are not ours to tidy. So
an edit finds the place of a cell in the text and changes just that.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.drawer.stash import COLUMNS, Thread, cell_of, columns_of, is_palette, parse_stash, separator_of
from pipeline.errors import InputError
from pipeline.files.channels import same_name
from pipeline.files.reading import text_of

_MARK = b"\xef\xbb\xbf"
Cells = Mapping[str, str | float | None]
"""What a row says, by column; None where it is not known."""


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell of the list: what it says, and where it stands in the text, quotes included."""

    text: str
    start: int
    end: int


def with_metres(data: bytes, source: str, metres: Mapping[str, float]) -> bytes:
    r"""The list with these metres; nothing else changes.

    Raises InputError for a palette, which knows no metres, and for a thread that is not listed.

    >>> with_metres(b'notes,name,colour,metres\r\n"a, b",navy,#1b2a59,8\r\n', "d.csv", {"navy": 7.75})
    b'notes,name,colour,metres\r\n"a, b",navy,#1b2a59,7.75\r\n'
    """
    _list_of(data, source)
    for name, amount in metres.items():
        data = _edited(data, source, name, {"metres": amount})
    return data


def with_threads(data: bytes, source: str, threads: Sequence[Thread]) -> bytes:
    r"""The list with these threads below the others, in its own columns, separators and line ends.

    Columns that a thread needs and the list lacks are added to the header. A palette takes names and colours.

    >>> from pipeline.drawer.stash import thread_of
    >>> with_threads(b"GIMP Palette\n1 2 3 navy\n", "d.gpl", [thread_of("coral", "#e0604a")])
    b'GIMP Palette\n1 2 3 navy\n224  96  74\tcoral\n'
    """
    parse_stash(data, source)
    text = text_of(data, source)
    ending = "\r\n" if "\r\n" in text else "\n"
    if text and not text.endswith(("\n", "\r")):
        text += ending
    if is_palette(text):
        return _encoded(text + palette_lines(threads).replace("\n", ending), data)
    delimiter, header, _ = _table(text)
    rows = [{name: cell_of(getattr(thread, name), delimiter) for name in COLUMNS} for thread in threads]
    extra = [name for name in COLUMNS if name not in header and any(row[name] for row in rows)]
    if extra:
        at = _rows(text, delimiter)[0][-1].end
        text = text[:at] + "".join(delimiter + name for name in extra) + text[at:]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=ending)
    for row in rows:
        writer.writerow([row.get(name, "") for name in (*header, *extra)])
    return _encoded(text + out.getvalue(), data)


def with_changed(data: bytes, source: str, thread: Thread) -> bytes:
    r"""The list with the thread of that name as given, in the columns that the list has; all else stays.

    Raises InputError for a palette, which knows no metres, and for a thread that is not listed.

    >>> from pipeline.drawer.stash import thread_of
    >>> with_changed(b"name,notes,colour,metres\nfog,old,#cccccc,8\n", "d", thread_of("fog", "#dddddd", 3.0))
    b'name,notes,colour,metres\nfog,old,#dddddd,3\n'
    """
    cells = {name: getattr(thread, name) for name in COLUMNS if name != "name"}
    return _edited(data, source, thread.name, cells)


def without(data: bytes, source: str, name: str) -> bytes:
    r"""The list without the thread of that name. Raises InputError as :func:`with_changed` does.

    >>> without(b"name,colour,metres\nnavy,#1b2a59,8\ntar,#17181c,2\n", "d", "navy")
    b'name,colour,metres\ntar,#17181c,2\n'
    """
    text, _, _, row = _found(data, source, name)
    end = text.find("\n", row[-1].end)
    start = text.rfind("\n", 0, row[0].start) + 1
    rest = text[:start] + (text[end + 1 :] if end >= 0 else "")
    parse_stash(_encoded(rest, data), source)
    return _encoded(rest, data)


def _edited(data: bytes, source: str, name: str, cells: Cells) -> bytes:
    """The list with these cells in the row of a thread, which is filled up where it ends before one."""
    text, delimiter, header, row = _found(data, source, name)
    said = [cell_of(cells[column], delimiter) if column in cells else None for column in header]
    end, missing = row[-1].end, [cell or "" for cell in said[len(row) :]]
    while missing and not missing[-1]:
        missing.pop()
    text = text[:end] + "".join(delimiter + cell for cell in missing) + text[end:]
    for place, cell in reversed(list(zip(row, said, strict=False))):
        if cell is not None:
            text = text[: place.start] + cell + text[place.end :]
    return _encoded(text, data)


def _found(data: bytes, source: str, name: str) -> tuple[str, str, list[str], list[_Cell]]:
    """The text of a list, its separator and columns, and the row of a thread."""
    text = _list_of(data, source)
    delimiter, header, rows = _table(text)
    at = header.index("name")
    for row in rows:
        if len(row) > at and same_name(row[at].text) == same_name(name):
            return text, delimiter, header, row
    raise InputError(f"{source} has no thread {name!r}.", "Add it to the list first.")


def _list_of(data: bytes, source: str) -> str:
    """The text of a list of threads that can know metres."""
    parse_stash(data, source)
    text = text_of(data, source)
    if is_palette(text):
        raise InputError(f"{source} is a palette and knows no metres.", "Import it into a CSV list first.")
    return text


def palette_lines(threads: Sequence[Thread]) -> str:
    """Threads as lines of a GIMP palette."""
    return "".join(" ".join(f"{value:3d}" for value in t.rgb) + f"\t{t.name}\n" for t in threads)


def _table(text: str) -> tuple[str, list[str], list[list[_Cell]]]:
    """The separator, the columns as :mod:`stash` calls them, and the rows below."""
    delimiter = separator_of(text)
    header, *rows = _rows(text, delimiter)
    return delimiter, columns_of(cell.text.strip() for cell in header), rows


def _rows(text: str, delimiter: str) -> list[list[_Cell]]:
    return [row for row in _all_rows(text, delimiter) if any(cell.text.strip() for cell in row)]


def _all_rows(text: str, delimiter: str) -> Iterator[list[_Cell]]:
    """Every row; cells as the csv module reads them with ``skipinitialspace``, in time linear in the text."""
    cell = re.compile(f' *+(?:"((?:[^"]++|"")*+)"|([^{delimiter}\r\n]*+))')
    at, row = 0, list[_Cell]()
    while at < len(text):
        found = cell.match(text, at)
        assert found is not None  # it matches nothing at all, too
        quoted = found[1] is not None
        said = found[1].replace('""', '"') if quoted else found[2]
        blanks = len(found[0]) - len(found[0].lstrip(" "))
        row.append(_Cell(said, at + blanks, found.end()))
        at = found.end()
        if at < len(text) and text[at] == delimiter:
            at += 1
            if at == len(text):
                row.append(_Cell("", at, at))
            continue
        if at < len(text) and text[at] not in "\r\n":
            raise AssertionError("a list that was parsed has a letter behind a quote")
        at += 2 if text.startswith("\r\n", at) else 1
        yield row
        row = []
    if row:
        yield row


def _encoded(text: str, data: bytes) -> bytes:
    return (_MARK if data.startswith(_MARK) else b"") + text.encode()
