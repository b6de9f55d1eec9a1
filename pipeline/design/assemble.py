"""From routes to the document: which of the four knots each place of the network takes.

The router says which threads meet and whether they swap; who ties is decided here. The thread nearer to
the wanted one ties. Where that leaves a choice, the travelling strand ties in row work (the left one in a
rising row, the right one in a falling row) and the left one in diagonal work, so that rows read simply.
Two strands of one thread always swap: that changes no colour, and spares a hand-over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

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
from pipeline.literals import working
from pipeline.routing.question import Routed


@dataclass(frozen=True, slots=True)
class Frame:
    """What a pattern says besides its knots; free cells show the thread ``ground`` where they can."""

    threads: Sequence[PatternThread]
    gauge: Gauge | GaugeByOrder
    ends: Ends
    title: str
    ground: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Wants:
    """What is asked of each knot of a network.

    ``wanted``: the thread index that the picture wants, or None where nothing is asked, as in a selvedge.
    ``costs``: (knots, threads) the picture's own costs; without them it is CIEDE2000 from the thread wanted.
    ``either``: the threads that serve as well as the wanted one.
    """

    wanted: Sequence[int | None]
    costs: NDArray[np.float64] | None = None
    either: Sequence[tuple[int, ...]] | None = None


Changes = Mapping[int, tuple[int, int]]
"""Thread changes at joins, {knot: (side, thread)}: in that knot the strand on that side (0 left, 1 right) is
core and goes on as a piece of the thread."""


def to_pattern(
    network: Network, solution: Routed, asked: Wants, frame: Frame, changes: Changes | None = None
) -> Pattern:
    """Write ``solution`` as a pattern document.

    Rows without a picture index become switching sections; picture sections are split around them. Raises
    ValueError if the lengths do not agree.
    """
    if len(asked.wanted) != network.knots or len(solution.swaps) != network.knots:
        raise ValueError(f"wanted and swaps need {network.knots} entries, one for each knot")
    changes = changes or {}
    knots = _knots(network, solution, asked, frame, changes)
    places = _places(network.rows)
    sections: list[Section] = []
    for _, group in groupby(range(len(places)), key=lambda r: places[r][0]):
        rows = list(group)
        first = network.rows[rows[0]]
        kind: SectionKind = "switching" if first.picture is None else "picture"
        made = tuple(_row(network, r, knots, asked) for r in rows)
        sections.append(Section(kind=kind, worked=first.worked, rows=made))
    joins = []
    for v in sorted(changes):
        row = int(network.row[v])
        knot = v - network.knots_of_row(row).start
        section, of_section = places[row]
        joins.append(Join(section=section, row=of_section, knot=knot, thread=changes[v][1]))
    return Pattern(
        title=title_of(frame.title),
        threads=tuple(frame.threads),
        strands=tuple(int(t) for t in solution.strands),
        gauge=frame.gauge,
        sections=tuple(sections),
        ends=frame.ends,
        ground=frame.ground,
        joins=tuple(joins),
    )


def _knots(network: Network, solution: Routed, asked: Wants, frame: Frame, changes: Changes) -> list[Knot]:
    """Tie the band: which of the four each knot is."""
    colours = np.array([parse_hex(thread.colour) for thread in frame.threads], dtype=np.uint8)
    distance = delta_e_table(colours, colours)
    hanging = [int(t) for t in solution.strands]
    knots: list[Knot] = []
    for v in range(network.knots):
        p, wanted = int(network.position[v]), asked.wanted[v]
        left, right = hanging[p], hanging[p + 1]
        if v in changes:
            left_ties = changes[v][0] == 1
        elif asked.costs is not None and wanted is not None:
            near, far = float(asked.costs[v, left]), float(asked.costs[v, right])
            left_ties = _left_travels(network, v) if near == far else near < far
        else:
            want = frame.ground if wanted is None else wanted
            left_ties = _left_ties(left, right, want, distance, _left_travels(network, v))
        swaps = bool(solution.swaps[v]) or (left == right and v not in changes)
        knots.append(knot_of(left_ties=left_ties, swaps=swaps))
        after = [left, right]
        if v in changes:
            after[changes[v][0]] = changes[v][1]
        hanging[p : p + 2] = after[::-1] if swaps else after
    return knots


def _row(network: Network, row: int, knots: Sequence[Knot], asked: Wants) -> Row:
    here = network.knots_of_row(row)
    wanted, costs, either = asked.wanted[here], asked.costs, asked.either
    asks = any(want is not None for want in wanted)
    return Row(
        knots=tuple(zip(network.rows[row].positions, knots[here], strict=True)),
        wanted=tuple(wanted),
        costs=tuple(map(tuple, costs[here].tolist())) if costs is not None and asks else None,
        either=tuple(either[here]) if either is not None and any(either[here]) else None,
    )


def _left_travels(network: Network, v: int) -> bool:
    """Whether the left strand is the travelling one: by the turn where rows take turns, else always."""
    row = network.rows[int(network.row[v])]
    return not working(row.worked).turning or not row.positions or row.positions[0] == 0


def _left_ties(
    left: int, right: int, want: int | None, distance: NDArray[np.float64], left_travels: bool
) -> bool:
    if left == right or want is None:
        return left_travels
    if want in (left, right):
        return left == want
    near, far = float(distance[want, left]), float(distance[want, right])
    return left_travels if near == far else near < far


def _places(rows: Sequence[RowPlan]) -> list[tuple[int, int]]:
    """Each row's section, and its place in that; a section ends where kind, order or the turns break off."""
    places: list[tuple[int, int]] = []
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
        places.append((section, r - start))
    return places


def _parity(row: RowPlan) -> int | None:
    """What a row does: 0 rising or even pairs, 1 falling or odd pairs, None where it cannot be told."""
    turning = working(row.worked).turning
    if not row.positions or (turning and len(row.positions) == 1):
        return None
    return int(row.positions[0] != 0) if turning else row.positions[0] % 2
