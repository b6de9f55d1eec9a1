"""Fit: from a wrist to the rows that a band needs, and the size it comes to.

    knotted length = wrist + room at the wrist − gap of the closure − tapers

Wrist sizes by name are percentiles of ANSUR II (Gordon et al., NATICK/TR-15/007, 2014; measured 2012 on
4,082 men and 1,986 women of the US Army). Children's figures are rounded means from published surveys.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from pipeline.band.pattern import Ends, Gauge, Pattern
from pipeline.band.replay import RowReplay, replay
from pipeline.errors import ImpossibleError, InputError
from pipeline.limits import ROOM_MM, USUAL_ROOM_MM, WRIST_MM
from pipeline.literals import Worked, working

GAP_MM = 10.0
"""What ties bridge between the two ends of the band; value from our own looking, no source."""


@dataclass(frozen=True, slots=True)
class Size:
    """A wrist circumference that goes by a name."""

    name: str
    wrist_mm: float
    source: str


SIZES = (
    Size("child-3", 105, "about 105 mm at 3 years (Öztürk et al. 2017; Khadilkar et al.)"),
    Size("child-6", 128, "about 128 mm at 6 years (Öztürk et al. 2017; Khadilkar et al.)"),
    Size("women-small", 142, "ANSUR II women, 5th percentile"),
    Size("women-medium", 154, "ANSUR II women, 50th percentile"),
    Size("women-large", 168, "ANSUR II women, 95th percentile"),
    Size("men-small", 162, "ANSUR II men, 5th percentile"),
    Size("men-medium", 176, "ANSUR II men, 50th percentile"),
    Size("men-large", 191, "ANSUR II men, 95th percentile"),
    Size("adult-small", 142, "ANSUR II women, 5th percentile"),
    Size("adult-medium", 165, "midway between the ANSUR II medians of women (154) and men (176)"),
    Size("adult-large", 191, "ANSUR II men, 95th percentile"),
)


def size_named(name: str) -> Size | None:
    """Return the size of that name, or None.

    >>> size_named("men-medium").wrist_mm
    176
    """
    return next((size for size in SIZES if size.name == name.strip().lower()), None)


def millimetres(mm: float) -> str:
    """A length in whole millimetres, in words."""
    return f"{mm:.0f} mm"


@dataclass(frozen=True, slots=True)
class Fit:
    """How the length of a band follows from a wrist; all in mm.

    ``gap_mm`` is what the closure bridges, ``tapers_mm`` the length of both tapers together, ``row_mm`` that
    of a row. ``usual``: nobody gave the wrist, and a usual one was taken. Raises ImpossibleError if nothing
    is left to knot.

    >>> fit = Fit(wrist_mm=160, room_mm=13, gap_mm=10, tapers_mm=0, row_mm=1.42)
    >>> fit.knotted_mm, fit.rows
    (163, 115)
    """

    wrist_mm: float
    room_mm: float
    gap_mm: float
    tapers_mm: float
    row_mm: float
    usual: bool = False

    def __post_init__(self) -> None:
        if not self.row_mm > 0:
            raise ValueError(f"rows of {self.row_mm} mm")
        if self.rows < 1:
            raise ImpossibleError(
                f"tapers of {self.tapers_mm:.0f} mm and a gap of {self.gap_mm:.0f} mm leave nothing to knot "
                f"on a wrist of {self.wrist_mm:.0f} mm.",
                "Use straight ends, or fewer strands.",
            )

    @property
    def knotted_mm(self) -> float:
        """What is to be knotted between the tapers."""
        return self.wrist_mm + self.room_mm - self.gap_mm - self.tapers_mm

    @property
    def rows(self) -> int:
        """The rows that come nearest to that."""
        return round(self.knotted_mm / self.row_mm)

    def sentences(self, came_mm: float | None = None, say: Callable[[float], str] = millimetres) -> list[str]:
        """How it adds up, and what became of it: ``came_mm`` is the knotted length of the finished band.

        ``say`` spells a length in the units that the maker uses.

        >>> Fit(160, 13, 10, 0, 1.42).sentences()
        ['Wrist 160 mm + room at the wrist 13 mm − gap of the closure 10 mm = 163 mm to knot.']
        """
        tapers = f" − tapers {say(self.tapers_mm)}" if self.tapers_mm else ""
        said = []
        if self.usual:
            said.append(
                f"No wrist was given: {say(self.wrist_mm)} is taken, a middle-sized adult's; "
                "--wrist changes it."
            )
        said.append(
            f"Wrist {say(self.wrist_mm)} + room at the wrist {say(self.room_mm)} − gap of the closure "
            f"{say(self.gap_mm)}{tapers} = {say(self.knotted_mm)} to knot."
        )
        if came_mm is not None:
            over = came_mm - self.knotted_mm
            off = abs(over) > max(2 * self.row_mm, 3.0)
            more = f", {say(abs(over))} {'longer' if over > 0 else 'shorter'} than that" if off else ""
            said.append(f"The band comes to {say(came_mm)} knotted{more}.")
        return said


def fit_rows(
    wrist_mm: float,
    gauge: Gauge,
    *,
    room_mm: float = USUAL_ROOM_MM,
    ends: Ends | None = None,
    usual: bool = False,
) -> Fit:
    """Return how a wrist, closed by ``ends`` (plain ties if None), becomes rows of ``gauge``.

    A loop start bridges half its way around (it is drawn flat), other closures ``GAP_MM``; ``usual`` as in
    :class:`Fit`. Raises InputError for a wrist or ease that nobody has and ImpossibleError if nothing is
    left to knot.

    >>> from pipeline.materials.gauge import preset_gauge
    >>> usual, wider = (fit_rows(mm, preset_gauge(0.71, "rows")).rows for mm in (160, 180))
    >>> 0 < usual < wider
    True
    """
    if wrist_mm not in WRIST_MM:
        raise InputError(
            f"a wrist of {wrist_mm:.0f} mm is not a wrist.",
            "Give it with its unit, such as 160mm, 16cm, 6.3in.",
        )
    if room_mm not in ROOM_MM:
        raise InputError(
            f"room of {room_mm:.0f} mm at the wrist is out of range.", "6 to 25 mm is usual, 13 the default."
        )
    gap, tapers = GAP_MM, 0.0
    if ends is not None:
        tapers = (ends.start.taper_mm or 0.0) + (ends.finish.taper_mm or 0.0)
        if ends.start.style == "loop" and ends.start.loop_mm:
            gap = ends.start.loop_mm / 2
    return Fit(wrist_mm, room_mm, gap, tapers, row_mm(gauge), usual)


def row_mm(gauge: Gauge) -> float:
    """Length of a row along the band, before it is known who ties its cells.

    Where the gauge tells leader-tied from base-tied cells, half of the row is taken to be of either.
    """
    if gauge.leader_tied is None or gauge.base_tied is None:
        return gauge.row_pitch_mm
    return (gauge.leader_tied.along_mm + gauge.base_tied.along_mm) / 2


def row_height_mm(gauge: Gauge, worked: Worked, row: RowReplay) -> float:
    """Length of a tied row along the band: from the gauge by who ties, where it says so."""
    if not working(worked).led or gauge.leader_tied is None or gauge.base_tied is None or not row.steps:
        return gauge.row_pitch_mm
    by_leader = sum(step.tied.knot.left_ties == row.rising for step in row.steps)
    total = by_leader * gauge.leader_tied.along_mm + (len(row.steps) - by_leader) * gauge.base_tied.along_mm
    return total / len(row.steps)


@lru_cache(maxsize=4)
def size_mm(pattern: Pattern) -> tuple[float, float]:
    """Width and knotted length of the band, by its gauge.

    >>> from pipeline.band.example import two_rows
    >>> size_mm(two_rows())
    (4.26, 2.84)
    """
    orders = [section.worked for section in pattern.sections]
    gauges = [pattern.gauge_of(worked) for worked in orders]
    length = sum(row_height_mm(gauges[row.section], orders[row.section], row) for row in replay(pattern))
    return max((width_mm(pattern, worked) for worked in orders), default=0.0), length


def size_words(pattern: Pattern) -> str:
    """How large a band is: its strands, rows and millimetres."""
    wide, long = size_mm(pattern)
    return f"{pattern.counts}, about {wide:.0f} × {long:.0f} mm knotted"


def width_mm(pattern: Pattern, worked: Worked) -> float:
    """Width of the sections that are worked so."""
    return pattern.gauge_of(worked).strand_pitch_mm * working(worked).pitches(len(pattern.strands))
