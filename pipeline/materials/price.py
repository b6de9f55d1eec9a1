"""What a band asks of its maker: hours, difficulty and the price of the thread."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.limits import PACE_S, USUAL_PACE_S, WORKABLE_MM
from pipeline.literals import plural
from pipeline.materials.lengths import Cut
from pipeline.materials.skeins import SkeinPlan


@dataclass(frozen=True, slots=True)
class Hours:
    """Knots and the hours that tying them takes, at a quick and a calm pace; cutting and ends not counted."""

    knots: int
    quick: float
    calm: float


def hours(pattern: Pattern, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Hours:
    """Estimate the time from a pace in seconds a knot, or a quick and a calm one. Raises InputError.

    >>> from pipeline.band.example import two_rows
    >>> hours(two_rows(), 10.0).knots
    6
    """
    quick, calm = (pace_s, pace_s) if isinstance(pace_s, (int, float)) else pace_s
    if not PACE_S.least <= quick <= calm <= PACE_S.most:
        raise InputError(f"a pace of {quick:g} s a knot is out of range.", "8 to 10 s is usual.")
    knots = pattern.knot_count
    return Hours(knots, knots * quick / 3600, knots * calm / 3600)


GradeName = Literal["first band", "steady", "practised", "patient", "daring"]
GRADES: tuple[GradeName, ...] = ("first band", "steady", "practised", "patient", "daring")
STEPS = (2, 5, 9, 14)
"""Points at which the next grade begins; our own scale, by looking at plans."""


@dataclass(frozen=True, slots=True)
class GradeReason:
    """Something that makes a band harder: points, and the reason."""

    points: int
    reason: str


@dataclass(frozen=True, slots=True)
class Grade:
    """How hard a band is, and why; the weightiest reason first."""

    name: GradeName
    points: int
    reasons: tuple[GradeReason, ...]


def grade(pattern: Pattern, cuts: Sequence[Cut]) -> Grade:
    """Grade a band from strands, length, threads, hand-overs, joins, extra rows and long strands.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.materials.lengths import cut_list
    >>> grade(two_rows(), cut_list(two_rows())).name
    'first band'
    """
    reasons = sorted(_reasons(pattern, cuts), key=lambda reason: -reason.points)
    points = sum(reason.points for reason in reasons)
    name = GRADES[sum(points >= step for step in STEPS)]
    return Grade(name, points, tuple(reasons))


def _reasons(pattern: Pattern, cuts: Sequence[Cut]) -> list[GradeReason]:
    strands = len(pattern.strands)
    used = len(pattern.used)
    count: Counter[str] = Counter()
    for row in replay(pattern):
        count["knots"] += len(row.steps)
        if pattern.sections[row.section].working.led:
            between = [step.shown != step.hidden for step in row.steps if step.hand_over]
            count["between"] += sum(between)
            count["within"] += len(between) - sum(between)
            count["mixed"] += len({step.tied.knot for step in row.steps}) > 1
        count["rows"] += 1
    rows, turns = max(1, count["rows"]), count["between"] + count["within"]
    switching = sum(len(s.rows) for s in pattern.sections if s.kind == "switching")
    long = sum(max(cut.pieces_mm) > WORKABLE_MM for cut in cuts)
    changes = sum(len(set(cut.piece_threads)) > 1 for cut in cuts)
    found = [
        (_steps(strands, 9, 17, 25, 33), f"{strands} strands"),
        (_steps(count["knots"], 600, 1500, 3000, 5000), f"{count['knots']} knots"),
        (_steps(used, 4, 6, 8), f"{used} threads"),
        (
            _steps(100 * turns / rows, 10, 60, 150, 300),
            _turns(count["between"], count["within"], count["rows"]),
        ),
        (
            _steps(100 * count["mixed"] / rows, 20, 70),
            f"{plural(count['mixed'], 'row')} with more than one kind of knot",
        ),
        (_steps(len(pattern.joins), 1, 6, 20), plural(len(pattern.joins), "join")),
        (_steps(changes, 1, 4), f"{plural(changes, 'strand')} with a change of thread"),
        (_steps(switching, 1, 10, 30), plural(switching, "switching row")),
        (_steps(long, 1, 5), f"{plural(long, 'strand')} wound on a card"),
    ]
    return [GradeReason(*reason) for reason in found if reason[0]]


def _turns(between: int, within: int, rows: int) -> str:
    """Hand-overs in words, those between threads as the report counts them."""
    if not within:
        return f"{plural(between, 'hand-over')} in {plural(rows, 'row')}"
    said = f"{plural(between, 'hand-over')} and {within}" if between else plural(within, "hand-over")
    return f"{said} within one thread in {plural(rows, 'row')}"


def _steps(value: float, *steps: float) -> int:
    return sum(value >= step for step in steps)


@dataclass(frozen=True, slots=True)
class ThreadPrice:
    """What one thread costs: the length used and the skeins opened, None where no price is known."""

    name: str
    used: float | None
    skeins: float | None


@dataclass(frozen=True, slots=True)
class Price:
    """Prices by thread, in whatever money the stash is kept in; sums leave unknown prices out."""

    threads: tuple[ThreadPrice, ...]

    @property
    def used(self) -> float:
        return sum(thread.used or 0.0 for thread in self.threads)

    @property
    def skeins(self) -> float:
        return sum(thread.skeins or 0.0 for thread in self.threads)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Threads that have no price."""
        return tuple(thread.name for thread in self.threads if thread.used is None)


def price(plan: SkeinPlan) -> Price:
    r"""Price the thread: by length used (skein price · metres / skein), and by whole skeins to open.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.drawer.stash import parse_stash
    >>> from pipeline.materials.lengths import cut_list
    >>> from pipeline.materials.skeins import plan_skeins
    >>> data = b"name,colour,metres,price\nnavy,#1b2a59,8,1.2\nwhite,#ffffff,8,1.6\n"
    >>> drawer = parse_stash(data, "drawer.csv")
    >>> found = price(plan_skeins(two_rows(), cut_list(two_rows()), drawer))
    >>> [(thread.name, round(thread.used, 4), thread.skeins) for thread in found.threads]
    [('navy', 0.0375, 1.2), ('white', 0.132, 1.6)]
    """
    rows = []
    for thread in plan.threads:
        if thread.skein_price is None:
            rows.append(ThreadPrice(thread.name, None, None))
            continue
        used = thread.skein_price * thread.needed_m / thread.skein_m
        rows.append(ThreadPrice(thread.name, used, thread.skein_price * thread.skeins))
    return Price(tuple(rows))
