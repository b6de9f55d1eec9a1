"""The pattern document: what a band is made of, knot by knot, as a file that others can rely on.

``docs/pattern-format.md`` is the format for readers. Positions count from 0, lengths are millimetres,
colours are ``#rrggbb`` in sRGB. A document is checked twice: its shape by the models here, then its
sense (positions, turns, indices) by :func:`problems`; :func:`read_pattern` does both and names the place.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.band.knots import Knot, Worked, row_positions
from pipeline.errors import PatternError
from pipeline.files.channels import label
from pipeline.files.reading import Kind, read_plain
from pipeline.limits import MOST_PATTERN_BYTES, MOST_ROWS_IN_ALL, MOST_SECTIONS, MOST_STRANDS, MOST_TITLE
from pipeline.literals import FOLDED_STYLES, EndStyle

FORMAT: Literal["hitchgrid-pattern"] = "hitchgrid-pattern"
VERSION: Literal[1] = 1
PATTERN = Kind("pattern", MOST_PATTERN_BYTES, "Name a pattern.json that hitchgrid wrote.")
"""400 strands × 5,000 rows would be about 40 MB, no band is that long."""

Index = Annotated[int, Field(ge=0, le=1_000_000)]
Millimetres = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
Colour = Annotated[str, Field(pattern=r"^#[0-9a-f]{6}$")]
Name = Annotated[str, Field(min_length=1, max_length=200)]


class Part(BaseModel):
    """Base of every part of the document: frozen, strict, and closed to unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class PatternThread(Part):
    """A thread that the band uses or that its picture wants."""

    name: Name
    colour: Colour
    diameter_mm: Positive = 0.71


class KnotLength(Part):
    """Size of one cell, by who ties: ``across_mm`` along the row, ``along_mm`` along the band."""

    across_mm: Positive
    along_mm: Positive


class Gauge(Part):
    """Pitches and thread use of one working order, in millimetres.

    ``tie_mm`` and ``core_mm`` are the lengths that the tying and the core strand spend on a knot that
    swaps; ``half_mm`` is what each half of a knot that stays costs the tying strand, ``turn_mm`` what the
    leader needs to turn at an edge, ``idle_mm`` what a strand needs to pass a row without a knot. Where the
    optional ones are absent, ``materials`` derives them.
    """

    strand_pitch_mm: Positive
    row_pitch_mm: Positive
    tie_mm: Positive
    core_mm: Millimetres
    half_mm: Positive | None = None
    turn_mm: Millimetres | None = None
    idle_mm: Millimetres | None = None
    leader_tied: KnotLength | None = None
    base_tied: KnotLength | None = None
    swatch: Name | None = None
    """Name of the swatch it was measured on; None where it was derived from the thread alone."""


class GaugeByOrder(Part):
    """Gauges of a band that has sections of both working orders."""

    rows: Gauge
    diagonal: Gauge


Cost = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]


class Row(Part):
    """One row: knots in tying order, and the thread that the picture wants for each (or null).

    ``costs``: for each knot what it costs that each thread of the band shows, the least 0; None where that is
    CIEDE2000 from the thread wanted. ``either``: for each knot the further threads that serve there as
    well as the wanted one; None where none does.
    """

    knots: tuple[tuple[Index, Knot], ...]
    wanted: tuple[Index | None, ...]
    costs: tuple[tuple[Cost, ...], ...] | None = None
    either: tuple[tuple[Index, ...], ...] | None = None

    def serving(self, knot: int) -> tuple[int, ...]:
        """The threads that make the cell of a knot, the wanted one first; none where nothing is asked."""
        wanted = self.wanted[knot]
        return () if wanted is None else (wanted, *(self.either[knot] if self.either else ()))


SectionKind = Literal["picture", "switching", "blocks", "plain"]
ASKING: tuple[SectionKind, ...] = ("picture", "switching")
"""Sections whose knots may want a thread."""


class Section(Part):
    """Rows worked one way for one purpose."""

    kind: SectionKind
    worked: Worked
    rows: tuple[Row, ...]


class End(Part):
    """How one end of the band is made; ``tail_mm`` is what hangs free of each unfolded strand there.

    ``taper``: strands of the left and of the right half that pinch to the centre, none where the end is
    as wide as the band; ``taper_mm``: how long that taper is. At the start only: ``folded``, pairs of
    starting positions that are one cut, and ``loop_mm``, the loop or the holding cord that closes the
    band. ``docs/pattern-format.md`` describes the styles.
    """

    style: EndStyle
    tail_mm: Millimetres
    taper: tuple[Index, Index] | None = None
    taper_mm: Millimetres | None = None
    folded: tuple[tuple[Index, Index], ...] = ()
    loop_mm: Millimetres | None = None


class Ends(Part):
    start: End
    finish: End


class Join(Part):
    """A new piece of strand: in knot ``knot`` of the row, the core strand's old piece ends and a new
    piece of ``thread`` goes on, both hidden in the core. ``thread`` is the strand's old thread when the
    piece merely ran out, another one when the strand changes colour here.

    ``tying`` marks the exception for a strand that is never core: the tying strand's piece ends after
    this knot, and its tail is tucked along the base.
    """

    section: Index
    row: Index
    knot: Index
    thread: Index
    tying: bool = False


class Pattern(Part):
    """A whole band."""

    format: Literal["hitchgrid-pattern"] = FORMAT
    version: Literal[1] = VERSION
    title: Annotated[str, Field(max_length=MOST_TITLE)]
    threads: Annotated[tuple[PatternThread, ...], Field(min_length=1, max_length=200)]
    strands: Annotated[tuple[Index, ...], Field(min_length=2, max_length=MOST_STRANDS)]
    gauge: Gauge | GaugeByOrder
    sections: Annotated[tuple[Section, ...], Field(max_length=MOST_SECTIONS)]
    ends: Ends
    ground: Index | None = None
    joins: tuple[Join, ...] = ()

    def gauge_of(self, worked: Worked) -> Gauge:
        """The gauge of sections worked that way."""
        if isinstance(self.gauge, Gauge):
            return self.gauge
        return self.gauge.rows if worked == "rows" else self.gauge.diagonal

    def rows(self) -> Iterator[tuple[int, int, Section, Row]]:
        """Every row in tying order with its section index, row index in the section, and section."""
        for s, section in enumerate(self.sections):
            for r, row in enumerate(section.rows):
                yield s, r, section, row


def title_of(text: str) -> str:
    r"""What a band can be called: no control characters or parts of broken ones, at most MOST_TITLE long.

    >>> title_of("quay\x1b[31m\n  wall")
    'quay [31m wall'
    """
    clean = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return (clean if len(clean) <= MOST_TITLE else clean[: MOST_TITLE - 1] + "…") or "band"


def read_pattern(path: Path) -> Pattern:
    """Read and check a pattern file. Raises PatternError naming the first place that is wrong, InputError for
    a file that cannot be read.

    >>> import tempfile
    >>> from pipeline.band.example import two_rows
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = (Path(place) / "pattern.json").write_text(render(two_rows()))
    ...     read_pattern(Path(place) / "pattern.json") == two_rows()
    True
    """
    return parse_pattern(read_plain(path, PATTERN), label(path))


def parse_pattern(data: bytes | str, source: str = "pattern") -> Pattern:
    """Parse and check a pattern document. Raises PatternError naming every place that is wrong.

    >>> from pipeline.band.example import two_rows
    >>> parse_pattern(render(two_rows())) == two_rows()
    True
    >>> parse_pattern(render(two_rows()).replace("[2, ", "[7, ", 1))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pipeline.errors.PatternError: sections[0].rows[0].knots[2]: position 7 is outside a band of 4 strands...
    """
    try:
        head = json.loads(data)
    except (ValueError, RecursionError) as error:
        what = "is nested too deeply" if isinstance(error, RecursionError) else f"is not JSON ({error})"
        raise PatternError(f"{source} {what}", "Name a pattern.json that hitchgrid wrote.") from None
    if not isinstance(head, dict) or head.get("format") != FORMAT:
        raise PatternError(
            f'{source} is not a pattern file: "format" is not "{FORMAT}"',
            "Name a pattern.json that hitchgrid wrote.",
        )
    version = head.get("version")
    if type(version) is not int:
        raise PatternError("is not a whole number", "Mend that place, or plan the band again.", "version")
    if version > VERSION:
        raise PatternError(
            f"{source} is of a newer version than {VERSION}, this program's", "Update hitchgrid."
        )
    try:
        pattern = Pattern.model_validate_json(data)
    except ValidationError as error:
        raise _refusal([(place_of(e["loc"]), e["msg"]) for e in error.errors()]) from None
    found = list(problems(pattern))
    if found:
        raise _refusal(found)
    return pattern


def _refusal(found: list[tuple[str, str]]) -> PatternError:
    shown = "; ".join(f"{place}: {what}" if place else what for place, what in found[1:5])
    more = f" (also {shown}{'; …' if len(found) > 5 else ''})" if shown else ""
    return PatternError(found[0][1] + more, "Mend that place, or plan the band again.", found[0][0])


def place_of(loc: tuple[int | str, ...]) -> str:
    """Write a location as ``sections[2].rows[14].knots[3]``; names of union members are left out."""
    place = ""
    for step in loc:
        if isinstance(step, int):
            place += f"[{step}]"
        elif step not in ("Gauge", "GaugeByOrder"):
            place += f".{step}" if place else step
    return place


def problems(pattern: Pattern) -> Iterator[tuple[str, str]]:
    """Yield (place, what is wrong) for everything that the models cannot see.

    >>> from pipeline.band.example import two_rows
    >>> list(problems(two_rows()))
    []
    >>> [place for place, _ in problems(two_rows().model_copy(update={"strands": (0, 1, 1, 9)}))]
    ['strands[3]']
    """
    threads, strands = len(pattern.threads), len(pattern.strands)
    rows = sum(len(section.rows) for section in pattern.sections)
    if rows > MOST_ROWS_IN_ALL:
        yield "sections", f"a band of {rows:,} rows; {MOST_ROWS_IN_ALL:,} is the most"
        return
    for i, thread in enumerate(pattern.strands):
        if thread >= threads:
            yield f"strands[{i}]", f"thread {thread} is not among the {threads} threads"
    if pattern.ground is not None and pattern.ground >= threads:
        yield "ground", f"thread {pattern.ground} is not among the {threads} threads"
    names = [thread.name for thread in pattern.threads]
    for i, name in enumerate(names):
        if name in names[:i]:
            yield f"threads[{i}].name", f"the name {name!r} stands twice"
    yield from _end_problems(pattern.ends, pattern.strands)
    for s, section in enumerate(pattern.sections):
        yield from _section_problems(f"sections[{s}]", section, strands, threads)
    for j, join in enumerate(pattern.joins):
        if join.thread >= threads:
            yield f"joins[{j}].thread", f"thread {join.thread} is not among the {threads} threads"
        if not _has_knot(pattern, join):
            yield f"joins[{j}]", f"there is no knot {join.knot} in row {join.row} of section {join.section}"


def _end_problems(ends: Ends, strands: tuple[int, ...]) -> Iterator[tuple[str, str]]:
    for name, end in (("start", ends.start), ("finish", ends.finish)):
        if end.taper is not None and sum(end.taper) != len(strands):
            yield (
                f"ends.{name}.taper",
                f"halves of {end.taper[0]} and {end.taper[1]} strands, not {len(strands)}",
            )
        if name == "finish" and (end.folded or end.style in FOLDED_STYLES):
            yield f"ends.{name}", "only a start can be folded"
        if end.folded and end.style not in FOLDED_STYLES:
            yield f"ends.{name}.folded", f"a {end.style} start folds no strands"
        seen: set[int] = set()
        for i, (one, other) in enumerate(end.folded):
            here = f"ends.{name}.folded[{i}]"
            if max(one, other) >= len(strands):
                yield here, f"a band of {len(strands)} strands has no position {max(one, other)}"
            elif one == other or {one, other} & seen:
                yield here, "a position folds with one other, once"
            elif strands[one] != strands[other]:
                yield here, "the two positions of one cut have one thread"
            seen |= {one, other}


def _has_knot(pattern: Pattern, join: Join) -> bool:
    if join.section >= len(pattern.sections):
        return False
    rows = pattern.sections[join.section].rows
    return join.row < len(rows) and join.knot < len(rows[join.row].knots)


def _price_problems(here: str, row: Row, threads: int) -> Iterator[tuple[str, str]]:
    for name, table in (("costs", row.costs), ("either", row.either)):
        if table is not None and len(table) != len(row.knots):
            yield f"{here}.{name}", f"has {len(table)} entries for {len(row.knots)} knots"
    for i, costs in enumerate(row.costs or ()):
        if len(costs) != threads:
            yield f"{here}.costs[{i}]", f"has {len(costs)} numbers for {threads} threads"
        elif min(costs) > 0:
            yield f"{here}.costs[{i}]", "the least of the costs is 0"
    for i, others in enumerate(row.either or ()):
        wanted = row.wanted[i] if i < len(row.wanted) else None
        if others and wanted is None:
            yield f"{here}.either[{i}]", "nothing is asked there, so nothing can serve as well"
        if max(others, default=0) >= threads:
            yield f"{here}.either[{i}]", f"thread {max(others)} is not among the {threads} threads"
        elif len({wanted, *others}) <= len(others):
            yield f"{here}.either[{i}]", "names further threads, each once"


def _section_problems(place: str, section: Section, strands: int, threads: int) -> Iterator[tuple[str, str]]:
    turn: int | None = None  # what row 0 does: 0 rising or even pairs, 1 falling or odd pairs
    for r, row in enumerate(section.rows):
        here = f"{place}.rows[{r}]"
        if len(row.wanted) != len(row.knots):
            yield f"{here}.wanted", f"has {len(row.wanted)} entries for {len(row.knots)} knots"
        for i, wanted in enumerate(row.wanted):
            if wanted is None:
                continue
            if wanted >= threads:
                yield f"{here}.wanted[{i}]", f"thread {wanted} is not among the {threads} threads"
            elif section.kind not in ASKING:
                yield f"{here}.wanted[{i}]", f"a {section.kind} section asks for nothing, use null"
        yield from _price_problems(here, row, threads)
        positions = tuple(position for position, _ in row.knots)
        outside = [i for i, p in enumerate(positions) if p > strands - 2]
        if outside:
            i = outside[0]
            yield f"{here}.knots[{i}]", f"position {positions[i]} is outside a band of {strands} strands"
            continue
        if not positions:
            if section.kind == "picture" and (section.worked == "rows" or strands > 2):
                yield f"{here}.knots", "a picture row cannot be empty"
            continue
        if section.worked == "rows":
            parity = _row_turn(positions, strands)
            if parity is None:
                i = _first_break(positions, strands)
                yield (
                    f"{here}.knots[{i}]",
                    f"a row ties positions 0 to {strands - 2} rising or falling, one after another",
                )
                continue
            if strands == 2:
                continue  # one knot a row: rising and falling look the same
        else:
            wrong = next((i for i, p in enumerate(positions) if p % 2 != positions[0] % 2), None)
            twice = next((i for i, p in enumerate(positions) if p in positions[:i]), None)
            if wrong is not None or twice is not None:
                i = min(i for i in (wrong, twice) if i is not None)
                yield f"{here}.knots[{i}]", f"position {positions[i]} does not fit pairs of one parity"
                continue
            parity = positions[0] % 2
            full = row_positions(strands, parity, "diagonal")
            if section.kind == "picture" and len(positions) != len(full):
                yield f"{here}.knots", f"a diagonal picture row ties all {len(full)} pairs"
        if turn is None:
            turn = (parity + r) % 2
        elif (parity + r) % 2 != turn:
            yield f"{here}.knots[0]", "rows take turns, and this one starts as the row before it did"


def _row_turn(positions: tuple[int, ...], strands: int) -> int | None:
    for parity in (0, 1):
        if positions == row_positions(strands, parity, "rows"):
            return parity
    return None


def _first_break(positions: tuple[int, ...], strands: int) -> int:
    full = row_positions(strands, int(positions[0] != 0), "rows")
    same = next((i for i, (a, b) in enumerate(zip(positions, full, strict=False)) if a != b), None)
    return min(len(positions), len(full)) - 1 if same is None else same


def render(pattern: Pattern) -> str:
    """Write the document as JSON, a row of knots on a line; the same pattern gives the same text.

    >>> from pipeline.band.example import two_rows
    >>> render(two_rows()).splitlines()[1]
    '  "format": "hitchgrid-pattern",'
    """
    body = pattern.model_dump(mode="json", exclude_none=False)
    optional: dict[str, Any] = {"ground": None, "joins": []}
    body = {key: value for key, value in body.items() if key not in optional or value != optional[key]}
    for section in body["sections"]:
        for row in section["rows"]:
            for key in ("costs", "either"):
                if row[key] is None:
                    del row[key]
    body = {
        key: _without_blanks(value) if key in ("gauge", "ends", "joins") else value
        for key, value in body.items()
    }
    return _lines(body, 0) + "\n"


def _without_blanks(value: Any) -> Any:
    """Leave out optional keys that say nothing: null, false and empty lists."""
    if isinstance(value, dict):
        blank: tuple[Any, ...] = (None, [])
        return {
            key: _without_blanks(inner)
            for key, inner in value.items()
            if inner not in blank and inner is not False
        }
    if isinstance(value, list):
        return [_without_blanks(inner) for inner in value]
    return value


def _lines(value: Any, depth: int) -> str:
    """JSON with objects and lists of objects broken over lines, everything else on one."""
    pad, inner = "  " * depth, "  " * (depth + 1)
    if isinstance(value, dict) and any(isinstance(v, (dict, list)) for v in value.values()):
        if "knots" in value:
            return json.dumps(value, ensure_ascii=False)
        items = [f"{inner}{json.dumps(key)}: {_lines(v, depth + 1)}" for key, v in value.items()]
        return "{\n" + ",\n".join(items) + f"\n{pad}}}"
    if isinstance(value, list) and any(isinstance(v, dict) for v in value):
        return "[\n" + ",\n".join(inner + _lines(v, depth + 1) for v in value) + f"\n{pad}]"
    return json.dumps(value, ensure_ascii=False)
