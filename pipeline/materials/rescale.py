"""Mid-band: what is left of each strand is measured, the gauge rescaled, and the rest planned anew.

What strands have used up to a row tells the hand: used = a · tied + b · carried, where tied and carried are
the predicted millimetres of either kind and a and b the maker's rates. They are fitted by least squares,
drawn together by a weak prior (a = b), so that one strand measured, or many of one kind, gives one rate.
The rest of the band is then charged at these rates, and every strand that would run out is told in time,
with the row in which it does and a join before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.band.pattern import Gauge, GaugeByOrder, Pattern
from pipeline.errors import InputError
from pipeline.limits import WORKABLE_MM
from pipeline.materials.ends import end_use
from pipeline.materials.gauge import half_mm, idle_mm, turn_mm
from pipeline.materials.joins import join_before
from pipeline.materials.lengths import OVERLAP_MM, Charges, Cut, charges

RESERVE = 0.05
"""What is kept in reserve on the rest, once the hand is measured; value of our own choosing."""


@dataclass(frozen=True, slots=True)
class Remaining:
    """One strand from a row on. Positions count from 0.

    ``left_mm`` is what was measured (or is to be expected at this rate); ``need_mm`` what the knots of its
    present piece need yet, a reserve of 5 % included, and ``tail_mm`` the tail or overlap it should end
    with. ``runs_out`` is the row of the band, from 0, in which it ends, or None.
    """

    strand: int
    position: int
    measured: bool
    left_mm: float
    need_mm: float
    tail_mm: float
    runs_out: int | None

    @property
    def short_mm(self) -> float:
        """What it lacks for its knots and half its tail: less than that is made up by a shorter tail."""
        return max(0.0, self.need_mm + self.tail_mm / 2 - self.left_mm)


@dataclass(frozen=True, slots=True)
class Replan:
    """The rest of a band at the rate of the maker's own hand.

    ``tie_rate`` and ``core_rate`` are what a knot tied and a knot carried take against the gauge;
    ``spread`` is the largest deviation of one strand measured from that (0 with one strand). ``pattern``
    has the rescaled gauge, and joins for strands that would run out.
    """

    tie_rate: float
    core_rate: float
    spread: float
    strands: tuple[Remaining, ...]
    pattern: Pattern

    @property
    def short(self) -> tuple[Remaining, ...]:
        """Strands that do not reach, the first to run out first."""
        found = (strand for strand in self.strands if strand.short_mm > 0)
        return tuple(sorted(found, key=lambda strand: (strand.runs_out or 0, strand.position)))


def replan(
    pattern: Pattern,
    cuts: tuple[Cut, ...],
    done: int,
    left_mm: Mapping[int, float],
    *,
    longest_mm: float = WORKABLE_MM,
) -> Replan:
    """Plan the rest after ``done`` rows of the band, given what is left of some strands.

    ``left_mm`` maps positions (from 0, as the strands hang after those rows) to the free length below the
    last knot. New pieces are as long as ``longest_mm`` at most. Raises InputError for rows or positions
    that the band does not have, and for lengths that cannot be (more than was cut).

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.materials.lengths import cut_list
    >>> made = replan(two_rows(), cut_list(two_rows()), 1, {3: 123.0})  # as much of the leader as expected
    >>> round(made.tie_rate, 3), made.short
    (1.0, ())
    """
    rows = list(charges(pattern))
    if not 1 <= done < len(rows):
        raise InputError(
            f"the band has {len(rows)} rows, and row {done + 1} cannot be the next.",
            "Give the first row that is still to be tied: --from-row.",
        )
    order = rows[done - 1].order
    for position, mm in left_mm.items():
        if not 0 <= position < len(order):
            raise InputError(
                f"--left: a band of {len(order)} strands has no position {position + 1}.",
                "Count from the left.",
            )
        if not 0 <= mm < 1e6:
            raise InputError(f"--left: {mm} mm cannot be left.", "Measure from the last knot to the end.")
    if not left_mm:
        raise InputError("nothing was measured.", "Give --left POSITION=LENGTH for a strand or more.")
    begun, tied, carried = _present_pieces(pattern, cuts, rows[:done])
    used = {order[p]: begun[order[p]] - mm for p, mm in left_mm.items()}
    for p, mm in left_mm.items():
        s = order[p]
        if used[s] <= 0 < tied[s] + carried[s]:
            raise InputError(
                f"--left: {mm:.0f} mm in position {p + 1} is more than that strand had.",
                "Count positions from the left, and measure from the last knot to the end.",
            )
    measured = [(tied[s], carried[s], used[s]) for s in sorted(used) if tied[s] + carried[s] > 0]
    tie_rate, core_rate, spread = _rates(measured)
    left = [begun[s] - tied[s] * tie_rate - carried[s] * core_rate for s in range(len(cuts))]
    for p, mm in left_mm.items():
        left[order[p]] = mm
    scaled = _rescaled(pattern, tie_rate, core_rate)
    rest = _rest(scaled, list(charges(scaled))[done:])
    strands = []
    for position, s in enumerate(order):
        knots, tail = rest[s]
        need = knots[-1][1] * (1 + RESERVE) if knots else 0.0
        out = next((done + i for i, mm in knots if mm * (1 + RESERVE) + tail / 2 > left[s]), None)
        strands.append(Remaining(s, position, position in left_mm, left[s], need, tail, out))
    short = {strand.strand: strand.left_mm for strand in strands if strand.runs_out is not None}
    if short:
        scaled = join_before(scaled, short, done, longest_mm, margin=RESERVE)
    return Replan(tie_rate, core_rate, spread, tuple(strands), scaled)


def _present_pieces(
    pattern: Pattern, cuts: tuple[Cut, ...], rows: Sequence[Charges]
) -> tuple[list[float], list[float], list[float]]:
    """For each strand: what its present piece had for knots, and should have used tying and as core."""
    ends = end_use(pattern)
    begun = [cut.pieces_mm[0] - ends.start_mm[cut.position] for cut in cuts]
    tied, carried = [0.0] * len(cuts), [0.0] * len(cuts)
    piece = [0] * len(cuts)
    for row in rows:
        for charge in row.charges:
            s = charge.strand
            (tied if charge.what == "tied" else carried)[s] += charge.mm
            if charge.thread is not None:
                piece[s] += 1
                tied[s] = carried[s] = 0.0
                begun[s] = cuts[s].pieces_mm[piece[s]] - OVERLAP_MM
    return begun, tied, carried


PRIOR = 0.1
"""Weight of the prior that both rates are one, against one strand measured; our own choosing."""


def _rates(measured: Sequence[tuple[float, float, float]]) -> tuple[float, float, float]:
    """Fit (tied, carried, used) in mm; return both rates and the largest deviation of one strand.

    Deviations are counted in proportion, so that a long leader does not outweigh all others.
    """
    from scipy.optimize import nnls  # heavy, and seldom wanted

    if not measured:
        return 1.0, 1.0, 0.0
    predicted = np.array([row[:2] for row in measured])
    whole = predicted.sum(axis=1)
    shares = predicted / whole[:, None]
    used = np.array([row[2] for row in measured]) / whole
    rates, _ = nnls(np.vstack([shares, [PRIOR, -PRIOR]]), np.append(used, 0.0))
    tie_rate, core_rate = (max(0.05, float(rate)) for rate in rates)
    fitted = shares @ np.array([tie_rate, core_rate])
    return tie_rate, core_rate, float(np.abs(used / fitted - 1).max())


def _rest(pattern: Pattern, rows: Sequence[Charges]) -> list[tuple[list[tuple[int, float]], float]]:
    """For each strand, while its present piece lasts: (row from here, worked by its end), and its tail."""
    ends = end_use(pattern)
    knots: list[list[tuple[int, float]]] = [[] for _ in pattern.strands]
    tails = list(ends.finish_mm)
    spent = [0.0] * len(pattern.strands)
    ended = [False] * len(pattern.strands)
    for i, row in enumerate(rows):
        for charge in row.charges:
            s = charge.strand
            if ended[s]:
                continue
            if charge.thread is not None:
                ended[s], tails[s] = True, OVERLAP_MM
                continue
            spent[s] += charge.mm
            knots[s].append((i, spent[s]))
    return list(zip(knots, tails, strict=True))


def _rescaled(pattern: Pattern, tie_rate: float, core_rate: float) -> Pattern:
    def scaled(gauge: Gauge) -> Gauge:
        lengths = {
            "tie_mm": gauge.tie_mm * tie_rate,
            "half_mm": half_mm(gauge) * tie_rate,
            "core_mm": gauge.core_mm * core_rate,
            "turn_mm": turn_mm(gauge) * core_rate,
            "idle_mm": idle_mm(gauge) * core_rate,
        }
        rounded = {name: round(mm, 4) for name, mm in lengths.items()}
        return gauge.model_copy(update={**rounded, "swatch": gauge.swatch or "this band"})

    gauge = pattern.gauge
    if isinstance(gauge, Gauge):
        return pattern.model_copy(update={"gauge": scaled(gauge)})
    both = GaugeByOrder(rows=scaled(gauge.rows), diagonal=scaled(gauge.diagonal))
    return pattern.model_copy(update={"gauge": both})
