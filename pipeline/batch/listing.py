"""Reads a list of orders: a CSV file whose columns are the options that every way in has."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.drawer.stash import separator_of
from pipeline.errors import HitchgridError, InputError
from pipeline.files.channels import label
from pipeline.files.folder import folder_name
from pipeline.files.reading import Kind, read_plain, text_of
from pipeline.limits import MOST_ORDERS, MOST_ORDERS_BYTES
from pipeline.order.given import Given, canonical, column
from pipeline.order.options import COLUMNS
from pipeline.order.request import Order, parse

LIST_FILE = Kind(
    "list of orders", MOST_ORDERS_BYTES, "Name a list with a header and an order a line; split a long one."
)
NAMES = tuple(option.name for option in COLUMNS)
"""What columns may be called; other spellings of them are understood too."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list. ``number`` counts from 1 with the header; ``cells`` are the texts by option.

    ``copies`` bands are made alike, which only the thread needed depends on.
    """

    number: int
    order: Order
    cells: tuple[tuple[str, str], ...] = ()
    copies: int = 1

    @property
    def title(self) -> str:
        return self.order.title

    @property
    def folder(self) -> str:
        """Name of its result folder: unique in the list by the line it stands in."""
        return f"{self.number - 1:03d}-{folder_name(self.title)}"


@dataclass(frozen=True, slots=True)
class Refused:
    """A line that cannot be read, and why."""

    number: int
    error: str


def parse_lines(text: str, source: str, base: Path) -> tuple[tuple[Line, ...], tuple[Refused, ...]]:
    r"""Read the list; its pictures are found from ``base``. Return its lines, and those that cannot be read.

    Columns may be parted by commas, semicolons or tabs. Raises InputError for a list without a usable header.

    >>> lines, refused = parse_lines("letters,rows\nRC,60\nBOW,many\n", "orders.csv", Path())
    >>> [line.title for line in lines], [line.number for line in refused]
    (['RC'], [3])
    """
    reader = csv.reader(io.StringIO(text), delimiter=separator_of(text), strict=True)
    lines: list[Line] = []
    refused: list[Refused] = []
    try:
        header = _header(next(reader, []), source)
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(lines) + len(refused) >= MOST_ORDERS:
                raise InputError(f"{source} has more than {MOST_ORDERS:,} orders.", "Split the list.")
            number = reader.line_num
            try:
                lines.append(_line(number, header, cells, base))
            except HitchgridError as error:
                refused.append(Refused(number, str(error)))
    except csv.Error as error:
        raise InputError(f"{source}, line {reader.line_num}: {error}.", "Save the list as CSV.") from None
    if not lines and not refused:
        raise InputError(f"{source} holds no orders.", "Add a line for each band.")
    return tuple(lines), tuple(refused)


def read_lines(path: Path) -> tuple[tuple[Line, ...], tuple[Refused, ...]]:
    """Read the list from a file, whose pictures are found from its folder; see :func:`parse_lines`."""
    called = label(path)
    return parse_lines(text_of(read_plain(path, LIST_FILE), called), called, path.absolute().parent)


def _header(cells: Sequence[str], source: str) -> tuple[str, ...]:
    header = tuple(canonical(cell) for cell in cells)
    unknown = next((name for name in header if name not in NAMES), None)
    if unknown is not None:
        near = difflib.get_close_matches(unknown, NAMES, n=1)
        hint = f"Did you mean {near[0]}?" if near else "Usual ones are letters, picture, strands and wrist."
        raise InputError(f"{source}, line 1: there is no column {unknown[:60]!r}.", hint)
    twice = next((name for name in header if header.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"{source}, line 1: the column {twice} stands there twice.", "Leave one.")
    if not {"letters", "picture"} & {*header}:
        raise InputError(f'{source}, line 1: the header needs a column "letters" or "picture".', "Add it.")
    return header


def _line(number: int, header: Sequence[str], cells: Sequence[str], base: Path) -> Line:
    if len(cells) != len(header):
        raise InputError(
            f"line {number}: it has {len(cells)} cells, and the header has {len(header)}.",
            "Put a cell that holds a separator in double quotes.",
        )
    texts: Mapping[str, str] = {
        name: cell.strip() for name, cell in zip(header, cells, strict=True) if cell.strip()
    }
    order = parse(texts, column(number), base, COLUMNS)
    copies = Given(texts, column(number), COLUMNS).whole("copies") or 1
    return Line(number, order, tuple(sorted(texts.items())), copies)
