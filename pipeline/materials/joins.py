"""Joins: where a strand too long to handle ends, and a new piece of it is laid in.

Base strands have a workable length of about 2.5 m; a long leader is wound on a card, up to a whole skein
(both common at the bench, no source). Longer strands are cut in pieces. A join hides where the strand is
core, best with three knots in a row over both tails, two to five columns in from the edge; two joins are
never side by side. A strand that is never core where it must be joined ends after a knot that it ties,
its tail tucked along the base (``Join.tying``).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pipeline.band.pattern import Join, Pattern, Place
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.limits import WORKABLE_MM
from pipeline.materials.lengths import OVERLAP_MM, Cut, default_margin, stretches, up_to_cm

CARD_MM = 8000.0
"""What a card takes: a skein of six-strand embroidery cotton."""
SHORTEST_MM = 500.0
"""No maker handles less than half a metre a piece, and joins would not find their places."""
APART = 3
"""Joins nearer than this in both rows and columns count as side by side."""


@dataclass(frozen=True, slots=True)
class _Knot:
    """One knot in the life of a strand: where, what it has spent by then (margin included), as what."""

    section: int
    row: int
    knot: int
    band_row: int
    position: int
    spent_mm: float
    core: bool

    @property
    def place(self) -> Place:
        return self.section, self.row, self.knot

    def join(self, thread: int) -> Join:
        """The join that lays a piece of ``thread`` in at this knot."""
        return Join(section=self.section, row=self.row, knot=self.knot, thread=thread, tying=not self.core)


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of one strand that is one piece so far; lengths with margin, ends and overlaps included."""

    strand: int
    thread: int
    knots: tuple[_Knot, ...]
    worked_mm: float
    before_mm: float
    after_mm: float
    first: bool

    @property
    def length_mm(self) -> float:
        return up_to_cm(self.before_mm + self.worked_mm + self.after_mm)


def place_joins(
    pattern: Pattern,
    longest_mm: float = WORKABLE_MM,
    *,
    card_mm: float | Sequence[float] = CARD_MM,
    margin: float | None = None,
) -> Pattern:
    """Return the pattern with joins placed so that no piece is longer than it can be handled.

    Base strands are kept to ``longest_mm``, leaders (strands that travel more knots than they hang in) to
    ``card_mm``, and no piece is longer than that: it is a skein, the same for all threads or one value for
    each thread of the pattern. Joins that the pattern has are kept. Few joins come first, then how well
    they hide, then even pieces. Where no place is found the piece stays long; :func:`on_cards` tells.
    Raises InputError for a length too short to work with.

    >>> from pipeline.band.example import two_rows
    >>> place_joins(two_rows()).joins  # 25 cm are no trouble to handle
    ()
    """
    if longest_mm < SHORTEST_MM:
        raise InputError(
            f"pieces of {longest_mm:.0f} mm are too short to work with.",
            f"Give {SHORTEST_MM / 10:.0f} cm or more; 2.5 m is usual.",
        )
    margin = default_margin(pattern) if margin is None else margin
    leading = leaders(pattern)
    folded = {position for pair in pattern.ends.start.folded for position in pair}
    placed: list[tuple[int, int]] = []  # (row of the band, position)
    spans = [span for parts in _spans(pattern, margin, placed) for span in parts]
    spans.sort(key=lambda span: (-span.length_mm, span.strand))
    joins: list[Join] = []
    for span in spans:
        card = card_mm if isinstance(card_mm, (int, float)) else card_mm[span.thread]
        limit = card if span.strand in leading else min(longest_mm, card)
        if span.first and span.strand in folded:  # both halves of the cut come from one skein
            span = replace(span, before_mm=span.before_mm + limit - min(limit, card / 2))
        if span.length_mm > limit:
            found = _cut_places(span, limit, len(pattern.strands), placed)
            placed += [(knot.band_row, knot.position) for knot in found]
            joins += [knot.join(span.thread) for knot in found]
    return _with_joins(pattern, joins)


def join_before(
    pattern: Pattern,
    left_mm: Mapping[int, float],
    done: Collection[Place],
    longest_mm: float,
    *,
    margin: float,
) -> Pattern:
    """Add joins for the strands (by starting position) that have ``left_mm`` left once ``done`` is tied.

    The first join of each comes before that runs out, new pieces are no longer than ``longest_mm``. A strand
    for which no place is found gets none.
    """
    placed: list[tuple[int, int]] = []
    spans = _spans(pattern, margin, placed)
    joins: list[Join] = []
    for strand, left in left_mm.items():
        span = next(part for part in spans[strand] if any(knot.place not in done for knot in part.knots))
        spent = max((knot.spent_mm for knot in span.knots if knot.place in done), default=0.0)
        limit = max(longest_mm, up_to_cm(left))
        knots = [replace(k, spent_mm=k.spent_mm - spent) for k in span.knots if k.place not in done]
        rest = _Span(
            strand,
            span.thread,
            tuple(knot for knot in knots if knot.spent_mm >= left / 2),  # use up what hangs there
            span.worked_mm - spent,
            limit - left,  # as much of the limit as is used up
            span.after_mm,
            first=False,
        )
        found = _cut_places(rest, limit, len(pattern.strands), placed)
        placed += [(knot.band_row, knot.position) for knot in found]
        joins += [knot.join(span.thread) for knot in found]
    return _with_joins(pattern, joins)


@dataclass(frozen=True, slots=True)
class Laid:
    """A new piece: of which strand, where that hangs in the knot of the join, and how long the piece is cut.

    ``row`` is that of the band; rows, positions and strands count from 0. ``hidden``: in how many of its
    knots, this one first, the strand is core, so that both tails are tied over.
    """

    join: Join
    strand: int
    position: int
    row: int
    hidden: int
    piece_mm: float


def laid_in(pattern: Pattern, joins: Sequence[Join], *, margin: float) -> tuple[Laid, ...]:
    """Tell of some of a pattern's joins what a maker wants to know, in the order of the band."""
    wanted = {join.place: join for join in joins}
    made = []
    for strand, spans in enumerate(_spans(pattern, margin, [])):
        for ended, new in pairwise(spans):
            last = ended.knots[-1]
            if last.place in wanted:
                core = [last.core, *(knot.core for knot in new.knots)]
                hidden = core.index(False) if False in core else len(core)
                made.append(
                    Laid(wanted[last.place], strand, last.position, last.band_row, hidden, new.length_mm)
                )
    return tuple(sorted(made, key=lambda laid: (laid.row, laid.join.knot)))


def _with_joins(pattern: Pattern, joins: Sequence[Join]) -> Pattern:
    ordered = sorted([*pattern.joins, *joins], key=lambda join: join.place)
    return pattern.model_copy(update={"joins": tuple(ordered)})


def leaders(pattern: Pattern) -> frozenset[int]:
    """Strands (by starting position) that travel more knots than they hang in; none in diagonal work."""
    travelled = [0] * len(pattern.strands)
    for row in replay(pattern):
        if not pattern.sections[row.section].working.led or not row.steps:
            continue
        for step in row.steps:
            travelled[step.tied.left if row.rising else step.tied.right] += 1
            travelled[step.tied.right if row.rising else step.tied.left] -= 1
    return frozenset(s for s, knots in enumerate(travelled) if knots > 0)


def on_cards(cuts: Sequence[Cut], longest_mm: float = WORKABLE_MM) -> tuple[int, ...]:
    """Starting positions of strands with a piece longer than ``longest_mm``: they are wound on a card."""
    return tuple(cut.position for cut in cuts if max(cut.pieces_mm) > longest_mm)


def _spans(pattern: Pattern, margin: float, placed: list[tuple[int, int]]) -> list[list[_Span]]:
    """All strands, cut at the joins there are; their places are noted in ``placed``."""
    strands = stretches(pattern)
    made: list[list[_Span]] = [[] for _ in strands]
    for parts in strands:
        for i, part in enumerate(parts):
            spent, knots = 0.0, []
            for band_row, row, charge in part.spent:
                spent += charge.mm * (1 + margin)
                if charge.what in ("tied", "carried"):
                    tied = row.steps[charge.knot].tied
                    position = tied.position + (part.strand == tied.right)
                    place = (row.section, row.row, charge.knot, band_row, position)
                    knots.append(_Knot(*place, spent_mm=spent, core=charge.what == "carried"))
            if part is not parts[-1]:
                placed.append((knots[-1].band_row, knots[-1].position))
            fixed = part.before_mm, part.after_mm
            made[part.strand].append(
                _Span(part.strand, part.thread, tuple(knots), spent, *fixed, first=i == 0)
            )
    return made


JOIN_COST, UNEVEN_COST, SAME_ROW_COST, TYING_COST = 3.0, 0.5, 0.3, 20.0
"""What a join costs beside how badly it hides; weights of our own choosing, by looking at plans."""
PLACES_A_PIECE = 40


def _cut_places(span: _Span, limit: float, strands: int, placed: Sequence[tuple[int, int]]) -> list[_Knot]:
    """Choose knots after which the span is cut, every piece within ``limit``; empty if that cannot be.

    A shortest path over candidate knots in tying order; candidates are thinned to the best-hidden ones.
    """
    rows = [row for row, _ in placed]
    candidates: dict[int, tuple[float, _Knot]] = {}
    for i, knot in enumerate(span.knots):
        if not 3 <= i < len(span.knots) - 3 or _beside(knot, placed):
            continue
        cost = _badness(span.knots[i : i + 3], strands) + SAME_ROW_COST * rows.count(knot.band_row)
        bucket = int(knot.spent_mm / limit * PLACES_A_PIECE)
        if bucket not in candidates or cost < candidates[bucket][0]:
            candidates[bucket] = cost, knot
    chosen = [candidates[bucket] for bucket in sorted(candidates)]
    begins = [(0.0, span.before_mm), *((knot.spent_mm, OVERLAP_MM) for _, knot in chosen)]
    stops = [(knot.spent_mm, OVERLAP_MM, cost) for cost, knot in chosen]
    # best[i + 1]: least cost of cutting after candidate i, and the place cut before (0: the beginning)
    best: list[tuple[float, int] | None] = [(0.0, 0)]
    for i, (here, after, cost) in enumerate([*stops, (span.worked_mm, span.after_mm, 0.0)]):
        found: tuple[float, int] | None = None
        for j in range(i, -1, -1):
            start, before = begins[j]
            piece = before + here - start + after
            if up_to_cm(piece) > limit:
                break
            if (former := best[j]) is not None:
                total = former[0] + UNEVEN_COST * (piece / limit) ** 2
                if found is None or total < found[0]:
                    found = total, j
        best.append(None if found is None else (found[0] + JOIN_COST + cost, found[1]))
    places: list[_Knot] = []
    step = best[-1]
    while step is not None and step[1] > 0:
        places.append(chosen[step[1] - 1][1])
        step = best[step[1]]
    return places[::-1]


def _beside(knot: _Knot, placed: Sequence[tuple[int, int]]) -> bool:
    return any(abs(knot.band_row - r) < APART and abs(knot.position - p) < APART for r, p in placed)


def _badness(ahead: Sequence[_Knot], strands: int) -> float:
    """How badly a join hides in ``ahead[0]``: few core knots from there on, too near or far from an edge."""
    knot = ahead[0]
    if not knot.core:
        return TYING_COST
    core = next((i for i, k in enumerate(ahead) if not k.core), len(ahead))
    column = min(knot.position, strands - 1 - knot.position)
    return (3 - core) * 1.0 + max(0, 2 - column) * 1.5 + max(0, column - 5) * 0.1
