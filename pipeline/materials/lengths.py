"""Thread use: how much every strand spends, knot by knot, and how long it must be cut.

The pattern is replayed and every knot is charged to the two strands that meet in it. For a strand

    length = start + (1 + margin) · worked + finish,  rounded up to a whole centimetre,

    worked = Σ knots tied: tie_mm if the strands swap, 2 · half_mm if they stay
           + Σ knots carried: core_mm
           + Σ turns at an edge: turn_mm + Σ rows passed without a knot: idle_mm.

The lengths are those of the gauge of the section's working order (``gauge.py`` derives those that a
gauge leaves open and names the sources); ``start`` and ``finish`` come from ``ends.py``. A join
ends one piece and begins the next; both get ``OVERLAP_MM`` more. The margin is put on what is worked, not
on tails, which are measured.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

from pipeline.band.knots import Worked
from pipeline.band.pattern import Pattern, Place
from pipeline.band.replay import RowReplay, replay
from pipeline.files.channels import csv_text
from pipeline.limits import WORKABLE_MM
from pipeline.materials.ends import end_use
from pipeline.materials.gauge import half_mm, idle_mm, margin_of, turn_mm

OVERLAP_MM = 40.0
"""What each of the two pieces at a join needs for its tail: 30–50 mm of grip, common practice."""

Charged = Literal["tied", "carried", "turn", "idle", "join"]


@dataclass(frozen=True, slots=True)
class Charge:
    """``mm`` of thread spent by a strand (numbered by starting position).

    ``knot`` is the index in the row's tying order, −1 where no knot is meant (turns come before the row's
    first knot, idle strands after its last). A ``join`` spends nothing: from there on the strand is a new
    piece of ``thread``.
    """

    strand: int
    mm: float
    what: Charged
    knot: int
    thread: int | None = None


@dataclass(frozen=True, slots=True)
class Charges(RowReplay):
    """A row, and everything it costs, in the order in which it is spent."""

    charges: tuple[Charge, ...]


@lru_cache(maxsize=2)
def charges(pattern: Pattern) -> tuple[Charges, ...]:
    """Replay the pattern and charge each knot, turn and idle row to its strands.

    >>> from pipeline.band.example import two_rows
    >>> first, second = charges(two_rows())
    >>> [(charge.strand, charge.what, charge.mm) for charge in first.charges[:2]]
    [(0, 'tied', 9.0), (1, 'carried', 1.6)]
    >>> second.charges[0].what  # the leader turns at the edge
    'turn'
    """
    rows = []
    order = tuple(range(len(pattern.strands)))
    ended_at: int | None = None
    for row in replay(pattern):
        section = pattern.sections[row.section]
        gauge = pattern.gauge_of(section.worked)
        swap_mm, stay_mm, core_mm = gauge.tie_mm, 2 * half_mm(gauge), gauge.core_mm
        made: list[Charge] = []
        if row.steps and section.working.led:
            starts_at, ends_at = _edges(row.steps[0].tied.position, len(order), ended_at)
            if starts_at == ended_at:
                made.append(Charge(order[starts_at], turn_mm(gauge), "turn", -1))
            ended_at = ends_at
        elif row.steps:
            ended_at = None
        idle = set(order) if row.steps else set()
        for step in row.steps:
            tied = step.tied
            made.append(Charge(tied.tying, swap_mm if tied.knot.swaps else stay_mm, "tied", step.knot))
            made.append(Charge(tied.core, core_mm, "carried", step.knot))
            if step.joined is not None:
                strand = tied.tying if step.tying_joined else tied.core
                made.append(Charge(strand, 0.0, "join", step.knot, step.joined))
            idle -= {tied.tying, tied.core}
        made += [Charge(s, idle_mm(gauge), "idle", -1) for s in row.order if s in idle]
        order = row.order
        rows.append(Charges(row.section, row.row, row.steps, row.before, order, row.threads, tuple(made)))
    return tuple(rows)


def _edges(first: int, strands: int, ended_at: int | None) -> tuple[int, int]:
    """Positions at which a row-worked row starts and ends; two strands just turn about."""
    if strands == 2:
        return (1, 0) if ended_at == 1 else (0, 1)
    return (0, strands - 1) if first == 0 else (strands - 1, 0)


class Spending(NamedTuple):
    """A charge, with the row of the band in which it is spent."""

    band_row: int
    row: Charges
    charge: Charge

    @property
    def place(self) -> Place:
        return self.row.section, self.row.row, self.charge.knot


@dataclass(frozen=True, slots=True)
class Stretch:
    """One piece of a strand, numbered by starting position: what it spends, in turn, and what its two ends
    take, be they the strand's own or an overlap.
    """

    strand: int
    thread: int
    spent: tuple[Spending, ...]
    before_mm: float
    after_mm: float

    @property
    def worked_mm(self) -> float:
        return math.fsum(spending.charge.mm for spending in self.spent)

    def length_mm(self, margin: float) -> float:
        """How long it must be cut."""
        return up_to_cm(self.worked_mm * (1 + margin) + self.before_mm + self.after_mm)


@lru_cache(maxsize=2)
def stretches(pattern: Pattern) -> tuple[tuple[Stretch, ...], ...]:
    """Every strand, by starting position, in the pieces that its joins make of it."""
    spent: list[list[Spending]] = [[] for _ in pattern.strands]
    for band_row, row in enumerate(charges(pattern)):
        for charge in row.charges:
            spent[charge.strand].append(Spending(band_row, row, charge))
    ends, made = end_use(pattern), []
    for strand, (thread, whole) in enumerate(zip(pattern.strands, spent, strict=True)):
        parts, begin, before_mm = [], 0, ends.start_mm[strand]
        for i, (_, _, charge) in enumerate(whole):
            if charge.thread is not None:
                parts.append(Stretch(strand, thread, tuple(whole[begin:i]), before_mm, OVERLAP_MM))
                thread, begin, before_mm = charge.thread, i + 1, OVERLAP_MM
        parts.append(Stretch(strand, thread, tuple(whole[begin:]), before_mm, ends.finish_mm[strand]))
        made.append(tuple(parts))
    return tuple(made)


@dataclass(frozen=True, slots=True)
class Cut:
    """How one strand is cut. ``position`` is its starting position from 0.

    ``pieces_mm`` are the lengths it is cut into, in the order they are laid in, and ``piece_threads`` the
    thread of each; ``length_mm`` is their sum and ``used_mm`` what the replay spends of it, tails included
    and margins not. ``folded_with`` is the position whose strand is the other half of the same cut: the
    first pieces of the two are one length, folded.
    """

    position: int
    thread: int
    length_mm: float
    pieces_mm: tuple[float, ...]
    tied: int
    carried: int
    piece_threads: tuple[int, ...]
    used_mm: float
    folded_with: int | None = None


LOTS = 0.05
"""Pieces this much shorter than the next longer lot are cut as long as that; our own choosing."""


def cut_list(pattern: Pattern, *, margin: float | None = None, lots: float = LOTS) -> tuple[Cut, ...]:
    """Return how every strand is cut, by starting position.

    ``margin`` is the share added to what is worked; None takes 25 % for a derived gauge and 10 % for a
    measured one. Pieces of one thread that differ by less than the share ``lots`` are cut equally long, so
    that there are few lengths to measure. A negative margin is refused with ValueError: a cut is never
    shorter than its use.

    >>> from pipeline.band.example import two_rows
    >>> [(cut.thread, cut.length_mm, cut.tied, cut.carried) for cut in cut_list(two_rows(), margin=0.25)]
    [(0, 250.0, 3, 3), (1, 220.0, 1, 1), (1, 220.0, 1, 1), (1, 220.0, 1, 1)]
    """
    if margin is None:
        margin = default_margin(pattern)
    if not margin >= 0:
        raise ValueError(f"margin {margin} is below zero")
    partner = {a: b for pair in pattern.ends.start.folded for a, b in (pair, pair[::-1])}
    strands = stretches(pattern)
    exact: dict[int, list[float]] = {}
    for stretch in itertools.chain(*strands):
        exact.setdefault(stretch.thread, []).append(stretch.length_mm(margin))
    equal = {thread: in_lots(lengths, lots) for thread, lengths in exact.items()}
    cuts = []
    for position, parts in enumerate(strands):
        pieces_mm = tuple(equal[stretch.thread][stretch.length_mm(margin)] for stretch in parts)
        knots = Counter(spending.charge.what for stretch in parts for spending in stretch.spent)
        cuts.append(
            Cut(
                position=position,
                thread=pattern.strands[position],
                length_mm=math.fsum(pieces_mm),
                pieces_mm=pieces_mm,
                tied=knots["tied"],
                carried=knots["carried"],
                piece_threads=tuple(stretch.thread for stretch in parts),
                used_mm=sum(stretch.worked_mm + stretch.before_mm + stretch.after_mm for stretch in parts),
                folded_with=partner.get(position),
            )
        )
    return tuple(cuts)


def in_lots(lengths_mm: Sequence[float], lots: float = LOTS) -> dict[float, float]:
    """Give each length the longest one that it is shorter than by no more than the share ``lots``.

    Lots are opened from the longest down, which needs the fewest. Pieces that go on a card (over
    ``WORKABLE_MM``) are cut one by one.

    >>> in_lots([100.0, 98.0, 90.0, 96.0], 0.05)
    {100.0: 100.0, 98.0: 100.0, 96.0: 100.0, 90.0: 90.0}
    """
    found: dict[float, float] = {}
    lot = math.inf
    for mm in sorted(set(lengths_mm), reverse=True):
        if mm > WORKABLE_MM or lot > WORKABLE_MM or mm < lot * (1 - lots):
            lot = mm
        found[mm] = lot
    return found


def default_margin(pattern: Pattern) -> float:
    """The margin for the gauges that the pattern's sections are worked in."""
    orders: set[Worked] = {section.worked for section in pattern.sections}
    return margin_of([pattern.gauge_of(worked) for worked in sorted(orders)] or [pattern.gauge_of("rows")])


def up_to_cm(mm: float) -> float:
    """Round up to a whole centimetre.

    >>> up_to_cm(40.0), up_to_cm(40.1)
    (40.0, 50.0)
    """
    return 10.0 * math.ceil(round(mm, 6) / 10)


@dataclass(frozen=True, slots=True)
class Piece:
    """One length to cut from a skein of ``thread``, and the positions that hang from it.

    ``halves_mm`` is what hangs in each of two positions from the fold on, in their order; ``joined``: it is
    laid in at a join.
    """

    thread: int
    length_mm: float
    positions: tuple[int, ...]
    halves_mm: tuple[float, ...] = ()
    joined: bool = False


def pieces(pattern: Pattern, cuts: tuple[Cut, ...]) -> tuple[Piece, ...]:
    """Every length that is cut with the scissors: folded halves in one, and a holding cord.

    >>> from pipeline.band.example import two_rows
    >>> [piece.length_mm for piece in pieces(two_rows(), cut_list(two_rows()))]
    [250.0, 220.0, 220.0, 220.0]
    """
    made: list[Piece] = []
    for cut in cuts:
        for i, (length, thread) in enumerate(zip(cut.pieces_mm, cut.piece_threads, strict=True)):
            if i == 0 and cut.folded_with is not None:
                if cut.position < cut.folded_with:
                    other = cuts[cut.folded_with]
                    halves = (length, other.pieces_mm[0])
                    made.append(Piece(thread, sum(halves), (cut.position, other.position), halves))
            else:
                made.append(Piece(thread, length, (cut.position,), joined=i > 0))
    start = pattern.ends.start
    if start.style == "holding-cord" and start.loop_mm:
        thread = pattern.strands[0] if pattern.ground is None else pattern.ground
        made.append(Piece(thread, up_to_cm(start.loop_mm), ()))
    return tuple(made)


@dataclass(frozen=True, slots=True)
class ThreadUse:
    """What a band takes of one thread: all that is cut of it, the longest piece, and the knots it ties."""

    thread: int
    metres: float
    longest_mm: float
    tied: int


def thread_use(pattern: Pattern, cuts: tuple[Cut, ...]) -> tuple[ThreadUse, ...]:
    """What is cut of each thread, by its index: folded pieces whole, joins and a holding cord included.

    >>> from pipeline.band.example import two_rows
    >>> [(use.longest_mm, use.tied) for use in thread_use(two_rows(), cut_list(two_rows()))]
    [(250.0, 3), (220.0, 3)]
    """
    lengths: dict[int, list[float]] = {}
    for piece in pieces(pattern, cuts):
        lengths.setdefault(piece.thread, []).append(piece.length_mm)
    tied = Counter(step.shown for row in replay(pattern) for step in row.steps)
    return tuple(
        ThreadUse(thread, math.fsum(mm) / 1000, max(mm), tied[thread])
        for thread, mm in sorted(lengths.items())
    )


def cut_list_csv(pattern: Pattern, cuts: tuple[Cut, ...]) -> str:
    """Render ``cut-list.csv``: one line a strand, positions from 1."""
    header = ("position", "thread", "colour", "length_mm", "pieces", "tied", "carried")
    threads = [pattern.threads[cut.thread] for cut in cuts]
    return csv_text(
        header,
        (
            (c.position + 1, t.name, t.colour, f"{c.length_mm:.0f}", len(c.pieces_mm), c.tied, c.carried)
            for c, t in zip(cuts, threads, strict=True)
        ),
    )
