"""The pattern document: what a band is made of, knot by knot, as a file that others can rely on.

``docs/pattern-format.md`` is the format for readers. Positions count from 0, lengths are millimetres,
colours are ``#rrggbb`` in sRGB. A document is checked twice: its shape by the models here, then its
sense (positions, turns, indices) in :mod:`pipeline.band.reading`, which names the place that is wrong.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from pipeline.band.knots import Knot, Worked
from pipeline.limits import MOST_SECTIONS, MOST_STRANDS, MOST_TITLE
from pipeline.literals import EndStyle, Working, working

FORMAT: Literal["hitchgrid-pattern"] = "hitchgrid-pattern"
VERSION: Literal[1] = 1

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


Place = tuple[int, int, int]
"""Section, row in the section, knot in the row's tying order."""
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

    @property
    def working(self) -> Working:
        """What the way it is worked means."""
        return working(self.worked)


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

    @property
    def place(self) -> Place:
        """Where its knot stands."""
        return self.section, self.row, self.knot


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
        of_order: Gauge = self.gauge if isinstance(self.gauge, Gauge) else getattr(self.gauge, worked)
        return of_order

    def rows(self) -> Iterator[tuple[int, int, Section, Row]]:
        """Every row in tying order with its section index, row index in the section, and section."""
        for s, section in enumerate(self.sections):
            for r, row in enumerate(section.rows):
                yield s, r, section, row

    @property
    def row_count(self) -> int:
        """Rows of all sections."""
        return sum(len(section.rows) for section in self.sections)

    @property
    def knot_count(self) -> int:
        """Knots of all rows."""
        return sum(len(row.knots) for _, _, _, row in self.rows())

    @property
    def used(self) -> frozenset[int]:
        """The threads that strands have, from the start or from a join on."""
        return frozenset((*self.strands, *(join.thread for join in self.joins)))

    @property
    def kinds(self) -> frozenset[Knot]:
        """The kinds of knot that it has."""
        return frozenset(knot for _, _, _, row in self.rows() for _, knot in row.knots)

    @property
    def counts(self) -> str:
        """Its strands and rows, in words."""
        return f"{len(self.strands)} strands, {self.row_count} rows"

    def with_rows(self, rows: Iterable[Row]) -> Pattern:
        """The same with other rows, as many as it has."""
        left = iter(rows)
        sections = (s.model_copy(update={"rows": tuple(islice(left, len(s.rows)))}) for s in self.sections)
        return self.model_copy(update={"sections": tuple(sections)})


def title_of(text: str) -> str:
    r"""What a band can be called: no control characters or parts of broken ones, at most MOST_TITLE long.

    >>> title_of("quay\x1b[31m\n  wall")
    'quay [31m wall'
    """
    clean = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return (clean if len(clean) <= MOST_TITLE else clean[: MOST_TITLE - 1] + "…") or "band"


def render(pattern: Pattern) -> str:
    """Write the document as JSON, a row of knots on a line; the same pattern gives the same text.

    >>> from pipeline.band.example import two_rows
    >>> render(two_rows()).splitlines()[1]
    '  "format": "hitchgrid-pattern",'
    """
    body = pattern.model_dump(mode="json", exclude_none=True)
    for part in (body, *body["ends"].values(), *body["joins"]):  # what says nothing is left out
        for key in ("folded", "joins", "tying"):
            if not part.get(key, True):
                del part[key]
    return _lines(body, 0) + "\n"


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
