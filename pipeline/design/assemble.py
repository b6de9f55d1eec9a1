"""From routes to the document: which of the four knots each place of the network takes.

The router says which threads meet and whether they swap; who ties is decided here. The thread nearer to
the wanted one ties. Where that leaves a choice, the travelling strand ties in row work (the left one in a
rising row, the right one in a falling row) and the left one in diagonal work, so that rows read simply.
Two strands of one thread always swap: that changes no colour, and spares a hand-over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.band.knots import Knot, knot_of
from pipeline.band.network import Network, RowPlan
from pipeline.band.pattern import (
    Ends,
    Gauge,
    GaugeByOrder,
    Join,
    Pattern,
    PatternThread,
    Row,
    Section,
    SectionKind,
    title_of,
)
from pipeline.colour import delta_e_table, parse_hex
from pipeline.routing.question import Routed


@dataclass(frozen=True, slots=True)
class _Place:
    """A row of the network in the document: section index and row index within the section."""

    section: int
    row: int


def to_pattern(
    network: Network,
    solution: Routed,
    wanted: Sequence[int | None],
    threads: Sequence[PatternThread],
    gauge: Gauge | GaugeByOrder,
    ends: Ends,
    title: str,
    ground: int | None = None,
    changes: Mapping[int, tuple[int, int]] | None = None,
    costs: NDArray[np.float64] | None = None,
    either: Sequence[tuple[int, ...]] | None = None,
) -> Pattern:
    """Write ``solution`` as a pattern document.

    ``wanted``: for each knot of the network the thread index the picture wants, or None where nothing was
    asked (free cells, selvedges, switching rows); ``ground``: the thread that such cells show where they can.
    ``changes``: thread changes at joins, {knot: (side, thread)}: in that knot the strand on that side (0
    left, 1 right) is core and goes on as a piece of ``thread``. ``costs``: (knots, threads) the picture's own
    costs, and ``either`` for each knot the threads that serve as well as the wanted one; without them the
    cost is CIEDE2000 from the wanted thread.

    Rows without a picture index become switching sections; picture sections are split around them. Raises
    ValueError if the lengths do not agree.
    """
    if len(wanted) != network.knots or len(solution.swaps) != network.knots:
        raise ValueError(f"wanted and swaps need {network.knots} entries, one for each knot")
    changes = changes or {}
    colours = np.array([parse_hex(thread.colour) for thread in threads], dtype=np.uint8)
    distance = delta_e_table(colours, colours)
    hanging = [int(t) for t in solution.strands]
    knots: list[Knot] = []
    for v in range(network.knots):
        p = int(network.position[v])
        left, right = hanging[p], hanging[p + 1]
        want = wanted[v] if wanted[v] is not None else ground
        if v in changes:
            left_ties = changes[v][0] == 1
        elif costs is not None and wanted[v] is not None:
            near, far = float(costs[v, left]), float(costs[v, right])
            left_ties = _left_travels(network, v) if near == far else near < far
        else:
            left_ties = _left_ties(left, right, want, distance, _left_travels(network, v))
        swaps = bool(solution.swaps[v]) or (left == right and v not in changes)
        knots.append(knot_of(left_ties=left_ties, swaps=swaps))
        after = [left, right]
        if v in changes:
            after[changes[v][0]] = changes[v][1]
        hanging[p : p + 2] = after[::-1] if swaps else after
    places = _places(network.rows)
    sections: list[Section] = []
    for index in range(len({place.section for place in places})):
        of_section = [r for r, place in enumerate(places) if place.section == index]
        first = network.rows[of_section[0]]
        rows = tuple(_row(network, r, knots, wanted, costs, either) for r in of_section)
        kind: SectionKind = "switching" if first.picture is None else "picture"
        sections.append(Section(kind=kind, worked=first.worked, rows=rows))
    joins = []
    for v in sorted(changes):
        row = int(network.row[v])
        knot = v - network.knots_of_row(row).start
        joins.append(Join(section=places[row].section, row=places[row].row, knot=knot, thread=changes[v][1]))
    return Pattern(
        title=title_of(title),
        threads=tuple(threads),
        strands=tuple(int(t) for t in solution.strands),
        gauge=gauge,
        sections=tuple(sections),
        ends=ends,
        ground=ground,
        joins=tuple(joins),
    )


def _row(
    network: Network,
    row: int,
    knots: Sequence[Knot],
    wanted: Sequence[int | None],
    costs: NDArray[np.float64] | None,
    either: Sequence[tuple[int, ...]] | None,
) -> Row:
    here = network.knots_of_row(row)
    asked = any(want is not None for want in wanted[here])
    return Row(
        knots=tuple(zip(network.rows[row].positions, knots[here], strict=True)),
        wanted=tuple(wanted[here]),
        costs=tuple(map(tuple, costs[here].tolist())) if costs is not None and asked else None,
        either=tuple(either[here]) if either is not None and any(either[here]) else None,
    )


def _left_travels(network: Network, v: int) -> bool:
    """Whether the left strand is the travelling one: always in diagonal work, by the turn in row work."""
    row = network.rows[int(network.row[v])]
    return row.worked == "diagonal" or not row.positions or row.positions[0] == 0


def _left_ties(
    left: int, right: int, want: int | None, distance: NDArray[np.float64], left_travels: bool
) -> bool:
    if left == right or want is None:
        return left_travels
    if want in (left, right):
        return left == want
    near, far = float(distance[want, left]), float(distance[want, right])
    return left_travels if near == far else near < far


def _places(rows: Sequence[RowPlan]) -> list[_Place]:
    """Where each row stands in the document; a section ends where kind, order or the turns break off."""
    places: list[_Place] = []
    section, start, turn = -1, 0, None
    for r, row in enumerate(rows):
        kind = (row.picture is None, row.worked)
        before = (rows[r - 1].picture is None, rows[r - 1].worked) if r else None
        parity = _parity(row)
        if kind == before and (parity is None or turn is None or turn == (parity + r) % 2):
            turn = turn if parity is None else (parity + r) % 2
        else:
            section, start = section + 1, r
            turn = None if parity is None else (parity + r) % 2
        places.append(_Place(section, r - start))
    return places


def _parity(row: RowPlan) -> int | None:
    """What a row does: 0 rising or even pairs, 1 falling or odd pairs, None where it cannot be told."""
    if not row.positions or (row.worked == "rows" and len(row.positions) == 1):
        return None
    return int(row.positions[0] != 0) if row.worked == "rows" else row.positions[0] % 2
