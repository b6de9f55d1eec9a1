"""Mid-band: what is left of each strand is measured, the gauge rescaled, and the rest planned anew.

Strands measured tell the hand (``hand.py``); the rest of the band is charged at its rates. For a strand that
would run out there are three ways: strands of its thread that it meets tie or go on in its stead (nothing
that shows changes), the band ends before it runs out, or a new piece is laid in where it hides.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from pipeline.band.knots import tie
from pipeline.band.pattern import Gauge, GaugeByOrder, Pattern, Place
from pipeline.errors import InputError
from pipeline.limits import WORKABLE_MM
from pipeline.materials.gauge import half_mm, idle_mm, turn_mm
from pipeline.materials.hand import Hand, Witness, fit_hand
from pipeline.materials.joins import Laid, join_before, laid_in
from pipeline.materials.ledger import Account, Ledger
from pipeline.materials.lengths import Cut
from pipeline.materials.sharing import spare

RESERVE = 0.05
"""What is kept in reserve on the rest, once the hand is measured; value of our own choosing."""


@dataclass(frozen=True, slots=True)
class Remaining:
    """One strand from now on. Positions count from 0.

    ``left_mm`` is what was measured (or is to be expected at this rate); ``need_mm`` what the knots of its
    present piece need yet, a reserve of 5 % included, and ``tail_mm`` the tail or overlap it should end
    with. ``apart``: it was measured and does not agree with the hand. ``ends_at`` is the knot for which it
    does not suffice, and ``runs_out`` its row in the band, from 0; or None, also where no knot is to come
    and only the tail gets short.
    """

    strand: int
    position: int
    measured: bool
    apart: bool
    left_mm: float
    need_mm: float
    tail_mm: float
    ends_at: Place | None
    runs_out: int | None

    @property
    def short_mm(self) -> float:
        """What it lacks for its knots and half its tail, which may be as short as that; below 0 if it has
        some to spare.
        """
        return self.need_mm + self.tail_mm / 2 - self.left_mm


@dataclass(frozen=True, slots=True)
class Replan:
    """The rest of a band at the rate of the maker's own hand.

    ``strands`` by position, as they hang now, for the band of ``rows`` rows as it was planned. ``roles`` are
    the knots in which another strand of the thread ties or goes on so that fewer run out, ``short`` who runs
    out nevertheless, and ``laid`` the new pieces for them. ``pattern`` has the rescaled gauge, the changed
    knots and the joins.
    """

    hand: Hand
    strands: tuple[Remaining, ...]
    rows: int
    roles: tuple[Place, ...]
    short: tuple[Remaining, ...]
    laid: tuple[Laid, ...]
    pattern: Pattern

    @property
    def run_out(self) -> tuple[Remaining, ...]:
        """Strands that do not reach as the band was planned, the first to run out first."""
        return _short(self.strands)

    @property
    def whole_rows(self) -> int:
        """Rows of the band that every strand reaches as it was planned: it could end there."""
        return min((s.runs_out for s in self.strands if s.runs_out is not None), default=self.rows)


def rows_done(pattern: Pattern, rows: int) -> frozenset[Place]:
    """The knots of the first ``rows`` rows of the band.

    Raises InputError unless there are rows before and after.
    """
    places = [[(s, r, k) for k in range(len(row.knots))] for s, r, _, row in pattern.rows()]
    if not 1 <= rows < len(places):
        raise InputError(
            f"the band has {len(places)} rows, and row {rows + 1} cannot be the next.",
            "Give the first row that is still to be tied: --from-row.",
        )
    return frozenset(place for row in places[:rows] for place in row)


def replan(
    pattern: Pattern,
    cuts: tuple[Cut, ...],
    done: Collection[Place],
    left_mm: Mapping[int, float],
    *,
    longest_mm: float = WORKABLE_MM,
    roles: bool = True,
) -> Replan:
    """Plan the rest of the band once the knots ``done`` are tied, given what is left of some strands.

    ``left_mm`` maps positions (from 0, as the strands hang then) to the free length below the last knot. New
    pieces are as long as ``longest_mm`` at most. ``roles``: whether strands of one thread may stand in for
    one another. Raises InputError for positions that the band does not have, and for lengths that cannot be
    (more than was cut).

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.materials.lengths import cut_list
    >>> band = two_rows()
    >>> made = replan(band, cut_list(band), rows_done(band, 1), {3: 123.0})  # the leader's, as expected
    >>> round(made.hand.tie_rate, 3), made.run_out
    (1.0, ())
    """
    order = order_after(pattern, done)
    _checked(left_mm, len(order))
    accounts = Ledger(pattern, cuts).at(done)
    hand, apart = _told(accounts, order, left_mm)
    left = [
        a.begun_mm - a.tied_mm * hand.tie_rate - (a.spent_mm - a.tied_mm) * hand.core_rate for a in accounts
    ]
    for p, mm in left_mm.items():
        left[order[p]] = mm
    scaled = _rescaled(pattern, hand)

    def remaining(band: Pattern) -> tuple[Remaining, ...]:
        return _remaining(band, cuts, done, order, left, set(left_mm), apart)

    def mended(band: Pattern, short: Sequence[Remaining]) -> tuple[Pattern, tuple[Laid, ...]]:
        lefts = {strand.strand: strand.left_mm for strand in short}
        joined = join_before(band, lefts, done, longest_mm, margin=RESERVE) if short else band
        new = [join for join in joined.joins if join not in band.joins]
        return joined, laid_in(joined, new, margin=RESERVE)

    strands = remaining(scaled)
    short = _short(strands)
    changed: tuple[Place, ...] = ()
    joined, laid = mended(scaled, short)
    if short and roles:
        over = [strand.short_mm for strand in sorted(strands, key=lambda strand: strand.strand)]
        spared = spare(scaled, done, over, RESERVE)
        fewer = _short(remaining(spared))
        other, pieces = mended(spared, fewer)
        if _wanting(fewer, pieces) < _wanting(short, laid):
            changed, short, joined, laid = _differing(scaled, spared), fewer, other, pieces
    return Replan(hand, strands, pattern.row_count, changed, short, laid, joined)


def _told(
    accounts: Sequence[Account], order: Sequence[int], left_mm: Mapping[int, float]
) -> tuple[Hand, set[int]]:
    """The hand that the strands measured tell, and the positions of those that do not agree with it."""
    told, witnesses = [], []
    for p in sorted(left_mm):
        account = accounts[order[p]]
        used = account.begun_mm - left_mm[p]
        if used <= 0 < account.spent_mm:
            raise InputError(
                f"--left: {left_mm[p]:.0f} mm in position {p + 1} is more than that strand had.",
                "Count positions from the left, and measure from the last knot to the end.",
            )
        if account.spent_mm > 0:
            told.append(p)
            witnesses.append(Witness(account.tied_mm, account.spent_mm - account.tied_mm, used))
    hand = fit_hand(witnesses)
    return hand, {told[i] for i in hand.apart}


def order_after(pattern: Pattern, done: Collection[Place]) -> tuple[int, ...]:
    """The strand at each position once those knots, and whatever had to come before, are tied."""
    order = list(range(len(pattern.strands)))
    for s, r, _, row in pattern.rows():
        for k, (position, knot) in enumerate(row.knots):
            if (s, r, k) in done:
                tie(order, position, knot)
    return tuple(order)


def _checked(left_mm: Mapping[int, float], strands: int) -> None:
    if not left_mm:
        raise InputError("nothing was measured.", "Give --left POSITION=LENGTH for a strand or more.")
    for position, mm in left_mm.items():
        if not 0 <= position < strands:
            raise InputError(
                f"--left: a band of {strands} strands has no position {position + 1}.", "Count from the left."
            )
        if not 0 <= mm < 1e6:
            raise InputError(f"--left: {mm} mm cannot be left.", "Measure from the last knot to the end.")


def _short(strands: Sequence[Remaining]) -> tuple[Remaining, ...]:
    ending = [(strand.ends_at, strand.position, strand) for strand in strands if strand.ends_at is not None]
    return tuple(strand for *_, strand in sorted(ending, key=lambda found: found[:2]))


def _wanting(short: Sequence[Remaining], laid: Sequence[Laid]) -> tuple[int, int]:
    """How many strands get no new piece though they run out, and how many run out: fewer are better."""
    return len({strand.strand for strand in short} - {new.strand for new in laid}), len(short)


def _remaining(
    pattern: Pattern,
    cuts: tuple[Cut, ...],
    done: Collection[Place],
    order: Sequence[int],
    left: Sequence[float],
    measured: Collection[int],
    apart: Collection[int],
) -> tuple[Remaining, ...]:
    accounts = Ledger(pattern, cuts).at(done)
    row_of = {(s, r): i for i, (s, r, _, _) in enumerate(pattern.rows())}
    made = []
    for position, s in enumerate(order):
        account = accounts[s]
        need, ends_at = 0.0, None
        for place, mm in account.ahead:
            need += mm * (1 + RESERVE)
            is_knot = place[2] >= 0  # turns and rows passed are felt at the knot after them, or in the tail
            if ends_at is None and is_knot and need + account.tail_mm / 2 > left[s]:
                ends_at = place
        out = None if ends_at is None else row_of[ends_at[:2]]
        known = position in measured, position in apart
        made.append(Remaining(s, position, *known, left[s], need, account.tail_mm, ends_at, out))
    return tuple(made)


def _differing(one: Pattern, other: Pattern) -> tuple[Place, ...]:
    """The knots that are not the same in two versions of a band."""
    return tuple(
        (s, r, k)
        for (s, r, _, row), (_, _, _, new) in zip(one.rows(), other.rows(), strict=True)
        for k, (was, now) in enumerate(zip(row.knots, new.knots, strict=True))
        if was != now
    )


def _rescaled(pattern: Pattern, hand: Hand) -> Pattern:
    def scaled(gauge: Gauge) -> Gauge:
        lengths = {
            "tie_mm": gauge.tie_mm * hand.tie_rate,
            "half_mm": half_mm(gauge) * hand.tie_rate,
            "core_mm": gauge.core_mm * hand.core_rate,
            "turn_mm": turn_mm(gauge) * hand.core_rate,
            "idle_mm": idle_mm(gauge) * hand.core_rate,
        }
        rounded = {name: round(mm, 4) for name, mm in lengths.items()}
        return gauge.model_copy(update={**rounded, "swatch": gauge.swatch or "this band"})

    gauge = pattern.gauge
    if isinstance(gauge, Gauge):
        return pattern.model_copy(update={"gauge": scaled(gauge)})
    both = GaugeByOrder(rows=scaled(gauge.rows), diagonal=scaled(gauge.diagonal))
    return pattern.model_copy(update={"gauge": both})
