"""Patterns read from files, and everything that can be wrong with one, place by place."""

from __future__ import annotations

from codecs import BOM_UTF8
from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from pipeline.band.knots import row_positions
from pipeline.band.pattern import ASKING, FORMAT, VERSION, Ends, Join, Pattern, Row, Section
from pipeline.errors import PatternError
from pipeline.files.channels import label, same_name
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.limits import MOST_PATTERN_BYTES, MOST_ROWS_IN_ALL
from pipeline.literals import FOLDED_STYLES

PATTERN = Kind("pattern", MOST_PATTERN_BYTES, "Name a pattern.json that hitchgrid wrote.")


def read_pattern(path: Path) -> Pattern:
    """Read and check a pattern file. Raises PatternError naming the first place that is wrong, InputError for
    a file that cannot be read or is no JSON.

    >>> import tempfile
    >>> from pipeline.band.example import two_rows
    >>> from pipeline.band.pattern import render
    >>> with tempfile.TemporaryDirectory() as place:
    ...     _ = (Path(place) / "pattern.json").write_text(render(two_rows()))
    ...     read_pattern(Path(place) / "pattern.json") == two_rows()
    True
    """
    return parse_pattern(read_plain(path, PATTERN), label(path))


def parse_pattern(data: bytes | str, source: str = "pattern") -> Pattern:
    """Parse and check a pattern document. Raises PatternError naming every place that is wrong, InputError
    for what is no JSON.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.band.pattern import render
    >>> parse_pattern(render(two_rows())) == two_rows()
    True
    >>> parse_pattern(render(two_rows()).replace("[2, ", "[7, ", 1))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pipeline.errors.PatternError: sections[0].rows[0].knots[2]: position 7 is outside a band of 4 strands...
    """
    if isinstance(data, str):
        data = data.encode()
    head = json_of(data, source)
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
        pattern = Pattern.model_validate_json(data.removeprefix(BOM_UTF8))
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
    if pattern.row_count > MOST_ROWS_IN_ALL:
        yield "sections", f"a band of {pattern.row_count:,} rows; {MOST_ROWS_IN_ALL:,} is the most"
        return
    for i, thread in enumerate(pattern.strands):
        if thread >= threads:
            yield f"strands[{i}]", f"thread {thread} is not among the {threads} threads"
    if pattern.ground is not None and pattern.ground >= threads:
        yield "ground", f"thread {pattern.ground} is not among the {threads} threads"
    names = [same_name(thread.name) for thread in pattern.threads]
    for i, name in enumerate(names):
        if not name:
            yield f"threads[{i}].name", "a thread has no name"
        elif name in names[:i]:
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
        if end.taper is not None and (end.style in FOLDED_STYLES or min(end.taper) < 1):
            yield f"ends.{name}.taper", "two halves of tails taper, and a folded start has none"
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
        elif i < len(row.wanted) and (want := row.wanted[i]) is not None and want < threads and costs[want]:
            yield f"{here}.wanted[{i}]", f"thread {want} is wanted, and another costs less"
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
            parity = int(positions[0] != 0)
            full = row_positions(strands, parity, "rows")
            if positions != full:
                last = min(len(positions), len(full)) - 1
                i = next((i for i in range(last + 1) if positions[i] != full[i]), last)
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
