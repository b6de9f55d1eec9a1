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

from dataclasses import dataclass

from pipeline.band.pattern import Gauge
from pipeline.drawer.stash import Thread
from pipeline.limits import WORKABLE_MM
from pipeline.literals import Worked, working
from pipeline.materials.gauge import margin_of
from pipeline.materials.skeins import owned_skeins

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
    knots = rows * (strands - 1) / working(worked).step
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
