"""Before planning: what a band of a size takes, and how much of it each thread of the drawer could be.

Nothing is known yet of who ties, so every strand is taken to be average. A knot takes one tie and one core,
and a band of n strands has n − 1 of them a row in row work, half as many in diagonal work:

    worked = knots · (tie_mm + core_mm),  metres = (1 + margin) · worked + n · (start tail + finish tail).

Pieces are cut whole: a skein of 8 m gives four average strands of 1.9 m and keeps 40 cm over. So a thread is
asked how many average strands its skeins give, not how many metres they add up to. Derived, no source; the
rules of thumb that bracket it are 2–6 times the finished length for the average strand of a diagonal band
(macramé guides) and about 7 for one of row work (derived).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.knots import Worked
from pipeline.band.pattern import Gauge
from pipeline.drawer.stash import Thread
from pipeline.limits import WORKABLE_MM
from pipeline.literals import listed
from pipeline.materials.gauge import margin_of
from pipeline.materials.skeins import DEFAULT_SKEIN_M, owned_skeins, skeins_of

TAILS_MM = 200.0
"""Both tails of a strand where the ends are not known yet."""


@dataclass(frozen=True, slots=True)
class Demand:
    """What a band takes in all, in average strands: ``strands`` of ``strand_m`` metres each."""

    strands: int
    strand_m: float

    @property
    def metres(self) -> float:
        return self.strands * self.strand_m


def demand(
    strands: int,
    rows: int,
    worked: Worked,
    gauge: Gauge,
    *,
    tails_mm: float = TAILS_MM,
    margin: float | None = None,
) -> Demand:
    """What a band of ``strands`` and ``rows`` takes; ``tails_mm`` is for both tails of a strand together.

    ``margin`` as in ``lengths.cut_list``. Raises ValueError for a band that has no knots.

    >>> from pipeline.materials.gauge import preset_gauge
    >>> round(demand(20, 100, "rows", preset_gauge(0.71, "rows")).metres, 1)
    29.3
    """
    if strands < 2 or rows < 1:
        raise ValueError(f"a band of {strands} strands and {rows} rows")
    margin = margin_of([gauge]) if margin is None else margin
    knots = rows * (strands - 1) / (1 if worked == "rows" else 2)
    worked_mm = knots * (gauge.tie_mm + gauge.core_mm) * (1 + margin)
    return Demand(strands, (worked_mm / strands + tails_mm) / 1000)


def most_strands(thread: Thread, of: Demand, longest_mm: float = WORKABLE_MM) -> int | None:
    """How many average strands the metres owned of a thread give; None where they are not known.

    Strands longer than ``longest_mm`` are cut in equal pieces with a join.

    >>> most_strands(Thread("navy", "#1b2a59", metres=9.0), Demand(20, 1.9))
    4
    """
    if thread.metres is None:
        return None
    parts = max(1, -(-round(of.strand_m * 1000) // round(longest_mm)))
    piece_cm = max(1, round(of.strand_m * 100 / parts))
    return sum(skein // piece_cm for skein in owned_skeins(thread)) // parts


def most_share(thread: Thread, of: Demand) -> float:
    """The largest share of a band, 0 to 1, that the metres owned of a thread can be; 1 if not known."""
    strands = most_strands(thread, of)
    return 1.0 if strands is None else min(1.0, strands / of.strands)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a thread is expected to give to a band before it is planned: about ``strands`` of it.

    ``buy``: skeins of ``skein_m`` that are missing for that.
    """

    thread: Thread
    strands: int
    need_m: float
    skein_m: float
    buy: int

    @property
    def enough(self) -> bool:
        return self.buy == 0


def expected(shares: Sequence[tuple[Thread, float]], of: Demand) -> tuple[Expected, ...]:
    """What each thread would have to give, from the share of the band's knots that show it.

    Shares are in proportion; a thread that shows at all hangs in one strand at least. Raises ValueError if
    all are nothing.

    >>> navy, chalk = Thread("navy", "#1b2a59", 20.0), Thread("chalk", "#f4f1e8", 3.0)
    >>> [(made.strands, made.buy) for made in expected([(navy, 3), (chalk, 1)], Demand(8, 1.9))]
    [(6, 0), (2, 1)]
    """
    whole = sum(share for _, share in shares)
    if not whole > 0:
        raise ValueError("no thread shows anywhere")
    made = []
    for thread, share in shares:
        strands = max(1, round(of.strands * share / whole)) if share > 0 else 0
        owned = most_strands(thread, of)
        skein_m = thread.skein_m or DEFAULT_SKEIN_M
        lacking = 0 if owned is None else max(0, strands - owned)
        from_one = max(1, int(skein_m / of.strand_m))
        buy = -(-lacking // from_one)
        made.append(Expected(thread, strands, round(strands * of.strand_m, 2), skein_m, buy))
    return tuple(made)


def shortage(found: Sequence[Expected]) -> str | None:
    """One sentence on what to buy before such a band is begun, or None where the drawer holds enough.

    >>> navy = Thread("navy", "#1b2a59", 3.0)
    >>> shortage(expected([(navy, 1.0)], Demand(4, 1.9)))
    'The drawer is likely to be short: about 7.6 m of navy are needed and 3 m owned; buy 1 skein of navy.'
    """
    short = [made for made in found if not made.enough]
    if not short:
        return None
    needs = "; ".join(
        f"about {made.need_m:.1f} m of {made.thread.name} are needed and {made.thread.metres or 0:g} m owned"
        for made in short
    )
    buying = listed(skeins_of(made.thread.name, made.buy) for made in short)
    return f"The drawer is likely to be short: {needs}; buy {buying}."
