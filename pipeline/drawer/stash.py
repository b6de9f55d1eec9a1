"""The threads a maker owns: the built-in palette, a CSV list or a GIMP palette.

A stash file is a CSV with the header ``name,colour,metres`` and, if wanted, ``preset``, ``skein_m``,
``price`` (of one skein) and ``notes`` (not read). Separators may be commas, semicolons or tabs, as
spreadsheets write them; where it is not the comma, numbers may have a decimal comma. An empty number is
"not known". GIMP palettes (.gpl) give names and colours, metres are then not known.
"""

from __future__ import annotations

import csv
import difflib
import io
import itertools
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from pipeline.colour import Colour, hex_of, parse_hex
from pipeline.drawer.presets import DEFAULT_PRESET, PRESETS, folded, preset_named
from pipeline.drawer.presets import diameter_mm as diameter_mm
from pipeline.errors import HitchgridError, InputError
from pipeline.files.channels import csv_text, label, same_name, spreadsheet
from pipeline.files.reading import Kind, read_plain, text_of
from pipeline.limits import MOST_NAME, MOST_STASH_BYTES, MOST_THREADS, OWNED_M, PRICE, SKEIN_M, Bounds

USUAL_SKEIN_M = PRESETS[DEFAULT_PRESET].skein_m or 8.0
STASH = Kind("list of threads", MOST_STASH_BYTES, "Name a list of threads, as CSV or .gpl.")
COLUMNS = ("name", "colour", "metres", "preset", "skein_m", "price")
SPELLED = {"color": "colour", "meters": "metres", "skein": "skein_m"}


def _checked_name(name: str) -> str:
    """Normalise a name (NFC, single blanks). Raises InputError if it cannot be shown or written safely."""
    tidy = unicodedata.normalize("NFC", name).strip()
    odd = next((c for c in tidy if unicodedata.category(c)[0] == "C" or c in "\u2028\u2029"), None)
    if odd is not None:
        raise InputError(
            f"a thread's name holds the invisible character U+{ord(odd):04X}.", "Type the name again."
        )
    tidy = same_name(tidy)
    if not tidy:
        raise InputError("a thread has no name.", "Give every thread a name.")
    if not tidy[0].isalnum():
        raise InputError(
            f"the name {tidy[:MOST_NAME]!r} starts with {tidy[0]!r}, and a spreadsheet may run it.",
            "Start the name with a letter or a digit.",
        )
    if spreadsheet(tidy) != tidy:
        raise InputError(
            f"a spreadsheet may run a part of the name {tidy[:MOST_NAME]!r}.",
            "Leave out the sign =, +, - or @ after a separator.",
        )
    if len(tidy) > MOST_NAME:
        raise InputError(
            f"the name {tidy[:20]!r}… has {len(tidy)} characters.", f"Use at most {MOST_NAME} characters."
        )
    return tidy


def _checked_amount(value: float | None, what: str, within: Bounds) -> float | None:
    if value is not None and value not in within:  # as not even itself is where it is not a number
        raise InputError(
            f"{what} of {value:g} cannot be.", f"Write a number from {within.least:g} to {within.most:,.0f}."
        )
    return None if value is None else float(value)


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread of one colour.

    ``colour`` is ``#rrggbb``; ``metres`` is what is owned, or None if not known (0: none left);
    ``skein_m`` is the length it is sold in and ``price`` that of one skein, where known.
    Raises InputError for a name, a colour or a number that cannot be.
    """

    name: str
    colour: str
    metres: float | None = None
    preset: str = DEFAULT_PRESET
    skein_m: float | None = None
    diameter_mm: float = PRESETS[DEFAULT_PRESET].diameter_mm
    price: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", _checked_name(self.name))
        object.__setattr__(self, "colour", hex_of(parse_hex(self.colour)))
        _checked_amount(self.metres, "a length", OWNED_M)
        _checked_amount(self.skein_m, "a skein", SKEIN_M)
        _checked_amount(self.price, "a price", PRICE)

    @property
    def sold_m(self) -> float:
        """The length it is sold in; the usual one where that is not known."""
        return self.skein_m or USUAL_SKEIN_M

    @property
    def rgb(self) -> Colour:
        """The colour as sRGB bytes."""
        return parse_hex(self.colour)


def thread_of(
    name: str,
    colour: str,
    metres: float | None = None,
    *,
    preset: str = DEFAULT_PRESET,
    skein_m: float | None = None,
    price: float | None = None,
) -> Thread:
    """Make a thread of a kind: the preset gives its diameter, and its skein unless told otherwise."""
    kind = preset_named(preset)
    return Thread(name, colour, metres, kind.name, skein_m or kind.skein_m, kind.diameter_mm, price)


@dataclass(frozen=True, slots=True)
class Stash:
    """Threads owned, with names that differ; ``source`` says where they come from. Raises InputError."""

    threads: tuple[Thread, ...]
    source: str

    def __post_init__(self) -> None:
        if not self.threads:
            raise InputError(f"{self.source} holds no threads.", "Add at least one, or leave --stash out.")
        if len(self.threads) > MOST_THREADS:
            raise InputError(
                f"{self.source} holds {len(self.threads)} threads.", f"Keep at most {MOST_THREADS} of them."
            )
        name, count = Counter(self.names).most_common(1)[0]
        if count > 1:
            raise InputError(
                f"{self.source} has the name {name!r} twice.", "Give each thread a name of its own."
            )

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(thread.name for thread in self.threads)

    def find(self, name: str) -> Thread:
        """Return the thread of that name: exactly, else in any case. Raises InputError with near names."""
        exact = [thread for thread in self.threads if thread.name == name]
        fits = exact or [thread for thread in self.threads if folded(thread.name) == folded(name)]
        if len(fits) == 1:
            return fits[0]
        if fits:
            raise InputError(
                f"{name!r} fits {' and '.join(repr(thread.name) for thread in fits[:4])}.",
                "Write the name exactly.",
            )
        known = {folded(thread.name): thread.name for thread in self.threads}
        near = difflib.get_close_matches(folded(name), list(known), n=3, cutoff=0.6)
        near = near or [key for key in known if folded(name) in key][:3]
        names = [known[key] for key in near] or list(self.names[:6])
        held = f"It holds {', '.join(names)}{'…' if len(self.threads) > len(names) else '.'}"
        hint = f"Did you mean {' or '.join(names)}?" if near else held
        raise InputError(f"there is no thread {name[:MOST_NAME]!r} in {self.source}.", hint)

    def pick(self, names: Iterable[str]) -> Stash:
        """Return just these threads, in the order named, each once. Raises InputError."""
        return Stash(tuple(dict.fromkeys(map(self.find, names))), self.source)


def split_names(text: str) -> tuple[str, ...]:
    """Split ``navy, chalk`` at the commas, or ``navy; chalk`` at the semicolons where there are no commas; a
    name that holds one stands in double quotes. Nothing between two is an empty name. Line ends are blanks.
    Raises InputError if it is far too long.

    >>> split_names('navy, "red, dark",chalk'), split_names('navy; "red, dark"')
    (('navy', 'red, dark', 'chalk'), ('navy', 'red, dark'))
    """
    if len(text) > MOST_THREADS * MOST_NAME:
        raise InputError(f"a list of names has {len(text)} characters.", "Name fewer threads.")
    line = " ".join(text.splitlines())
    bare = re.sub(r'"[^"]*"', "", line)
    delimiter = ";" if ";" in bare and "," not in bare else ","
    return tuple(
        name.strip() for name in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    )


def spell_names(names: Iterable[str]) -> str:
    """Write names so that :func:`split_names` reads them: commas between, quotes where a name holds such a
    sign itself.

    >>> spell_names(["navy", "red, dark"])
    'navy,"red, dark"'
    """
    return ",".join(
        '"' + name.replace('"', '""') + '"' if re.search('[",;]', name) else name for name in names
    )


def builtin_stash() -> Stash:
    """The built-in palette: spread evenly over what cotton can look like, metres not known.

    >>> builtin_stash().find("Navy").colour
    '#1b2a59'
    """
    text = files("pipeline.drawer").joinpath("palette.csv").read_text(encoding="utf-8")
    return Stash(tuple(_csv_threads(text, "the built-in palette")), "the built-in palette")


def read_stash(path: Path | None) -> Stash:
    r"""Read a CSV list or a GIMP palette; without a path the built-in palette.

    Raises InputError naming file, line and what to try.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = (Path(place) / "drawer.csv").write_text("name,colour,metres\nnavy,#1b2a59,8\n")
    ...     read_stash(Path(place) / "drawer.csv").names
    ('navy',)
    """
    return builtin_stash() if path is None else parse_stash(read_plain(path, STASH), label(path))


def parse_stash(data: bytes, source: str) -> Stash:
    r"""Read the bytes of a CSV list or a GIMP palette; see :func:`read_stash`.

    >>> parse_stash(b"name,colour,metres\nnavy,#1b2a59,8\n", "drawer.csv").threads[0].metres
    8.0
    """
    text = text_of(STASH.checked(data, source), source)
    if not text.strip():
        raise InputError(f"{source} is empty.", "Write name,colour,metres and a line for each thread.")
    return Stash(tuple((_gpl_threads if is_palette(text) else _csv_threads)(text, source)), source)


def is_palette(text: str) -> bool:
    """Whether a list is a GIMP palette."""
    return text.lstrip().startswith("GIMP Palette")


def _csv_threads(text: str, source: str) -> Iterator[Thread]:
    delimiter = separator_of(text)
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True
    )
    columns: list[str] | None = None
    lines: dict[str, int] = {}
    while True:
        here = f"{source}, line {reader.line_num + 1}"
        try:
            row = [cell.strip() for cell in next(reader)]
            if not any(row):
                continue
            if columns is None:
                columns = columns_of(row)
                continue
            if len(row) > len(columns) and any(row[len(columns) :]):
                raise InputError(
                    f"has {len(row)} cells, the header {len(columns)}.", "Put double quotes around commas."
                )
            thread = _thread_of_row(dict(zip(columns, row, strict=False)), decimal_comma=delimiter != ",")
            if thread.name in lines:
                raise InputError(
                    f"the name {thread.name!r} stands in line {lines[thread.name]} already.",
                    "Give each thread a name of its own.",
                )
            lines[thread.name] = reader.line_num
            if len(lines) > MOST_THREADS:
                raise InputError(f"more than {MOST_THREADS} threads.", "Keep those you would use.")
        except StopIteration:
            return
        except csv.Error as error:
            raise InputError(f"{here}: {error}.", "Check the double quotes in this line.") from None
        except HitchgridError as error:
            raise InputError(f"{here}: {error.message}", error.hint) from None
        yield thread


def separator_of(text: str) -> str:
    """What stands between the columns of a list: the comma, semicolon or tab that its first line has most."""
    first = next(iter(text.lstrip("\r\n").splitlines()), "")
    return max(",;\t", key=first.count)


def columns_of(header: Iterable[str]) -> list[str]:
    """The columns that a first line names, however it spells them. Raises InputError."""
    columns = [SPELLED.get(cell.casefold(), cell.casefold()) for cell in header]
    missing = [name for name in COLUMNS[:3] if name not in columns]
    unknown = [cell for cell in columns if cell not in (*COLUMNS, "notes", "")]
    twice = [cell for cell in columns if cell and columns.count(cell) > 1]
    hint = f"The first line is name,colour,metres; {', '.join(COLUMNS[3:])} and notes may follow."
    if missing or unknown:
        what = (
            f"there is no column {missing[0]!r}."
            if missing
            else f"column {unknown[0][:MOST_NAME]!r} is unknown."
        )
        raise InputError(what, hint)
    if twice:
        raise InputError(f"column {twice[0]!r} stands twice.", hint)
    return columns


def _thread_of_row(cells: dict[str, str], *, decimal_comma: bool) -> Thread:
    def number(column: str, within: Bounds) -> float | None:
        text = cells.get(column, "")
        if not text:
            return None
        if decimal_comma:
            text = text.replace(",", ".")
        if not re.fullmatch(r"[+-]?\d{1,12}(\.\d{0,12})?|[+-]?\.\d{1,12}", text, re.ASCII):
            raise InputError(
                f"{column} {text[:20]!r} is not a number.", "Write it like 8 or 12.5, or leave it empty."
            )
        return _checked_amount(float(text), column, within)

    return thread_of(
        cells.get("name", ""),
        cells.get("colour", ""),
        number("metres", OWNED_M),
        preset=cells.get("preset") or DEFAULT_PRESET,
        skein_m=number("skein_m", SKEIN_M),
        price=number("price", PRICE),
    )


_GPL_COLOUR = re.compile(r"\s*(\d{1,3})\s+(\d{1,3})\s+(\d{1,3})(?:\s+(.*))?", re.ASCII)


def _gpl_threads(text: str, source: str) -> Iterator[Thread]:
    """Colours of a GIMP palette. Nameless ones are called by their hex digits, namesakes are numbered."""
    seen: set[str] = set()
    for line_number, line in enumerate(text.lstrip().splitlines(), start=1):
        if line_number == 1 or not line.strip() or line.lstrip().startswith("#"):
            continue
        if line.startswith(("Name:", "Columns:")):
            continue
        match = _GPL_COLOUR.fullmatch(line)
        if match is None or max(int(part) for part in match.groups()[:3]) > 255:
            raise InputError(
                f"{source}, line {line_number}: {line.strip()[:40]!r} is not a palette colour.",
                "Write red, green and blue from 0 to 255 and a name.",
            )
        colour = hex_of([int(part) for part in match.groups()[:3]])
        given = (match[4] or "").strip()
        name = given if given and given != "Untitled" else f"colour {colour[1:]}"
        if len(seen) == MOST_THREADS:
            raise InputError(f"{source} has more than {MOST_THREADS} colours.", "Keep those you would use.")
        try:
            thread = thread_of(_unused(_checked_name(name), seen.__contains__), colour)
        except HitchgridError as error:
            raise InputError(f"{source}, line {line_number}: {error.message}", error.hint) from None
        seen.add(thread.name)
        yield thread


def _unused(name: str, taken: Callable[[str], bool]) -> str:
    names = itertools.chain([name], (f"{name} {number}" for number in itertools.count(2)))
    return next(itertools.filterfalse(taken, names))


def render_stash(stash: Stash) -> str:
    """Write a stash as CSV; :func:`parse_stash` reads it back to the same threads.

    A diameter is not a column: it follows from the preset.

    >>> stash = builtin_stash()
    >>> parse_stash(render_stash(stash).encode(), stash.source) == stash
    True
    """
    return csv_text(COLUMNS, ([cell_of(getattr(t, name)) for name in COLUMNS] for t in stash.threads))


def cell_of(value: str | float | None, delimiter: str = ",") -> str:
    """What a cell of a list says: numbers with a decimal comma where the comma is free."""
    if value is None or isinstance(value, str):
        return value or ""
    number = f"{value:.6f}".rstrip("0").rstrip(".")
    return number if delimiter == "," else number.replace(".", ",")
