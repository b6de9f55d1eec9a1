"""The front door: from artwork, band and drawer to a plan, stage by stage.

from pathlib import Path
from pipeline.plan import plan
from pipeline.order.asked import Band, Drawer, PictureSource, Request
from pipeline.drawer.stash import builtin_stash

pennant = PictureSource(Path("sample_images/pennant.png"))
made = plan(Request(pennant, Band(strands=13), Drawer(builtin_stash())))
made.verdict.made, made.cuts[0].length_mm
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from pipeline.advice.advise import (
    Advice,
    Change,
    ChangeKind,
    EaseLine,
    Suggestion,
    advise,
    eases,
    usual_changes,
)
from pipeline.advice.changes import Redesign
from pipeline.band.handed import mirrored
from pipeline.band.pattern import Pattern
from pipeline.design.assemble import Frame, Wants, to_pattern
from pipeline.design.design import design
from pipeline.design.model import Design
from pipeline.design.pose import band_threads, ends_of, fit_of, gauge_for, included, pose, space_of
from pipeline.design.touch import Touch, touched
from pipeline.literals import Worked, working
from pipeline.materials.alike import share_alike
from pipeline.materials.fit import Fit
from pipeline.materials.gain import Sharing, compare
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import Cut, cut_list
from pipeline.materials.sharing import Late, never
from pipeline.materials.skeins import SkeinPlan, plan_skeins
from pipeline.order.asked import Request
from pipeline.order.means import refuse_beyond_files, refuse_beyond_means
from pipeline.routing import (
    Allowed,
    Budget,
    Lengthened,
    LongerBand,
    Routed,
    Stopped,
    costs_if_made,
    lengthened,
)
from pipeline.verdict.feasibility import Feasibility, check
from pipeline.verdict.likeness import Likeness, likeness
from pipeline.verdict.reasons import Reason, knot_numbers, reasons
from pipeline.verdict.thin import Thin, unseen

DRAWING = "drawing the design"
FURTHER_EFFORT = 1.0
"""What eases and advice may spend together, as a share of the effort of the band's own search."""

PICTURE_EFFORT = 0.15
"""Effort of pictures priced cell by cell, as a share of exact grids'. Row-worked bands of eight drawings
come within 7 % of the whole effort's colour error, at a tenth within 10 %; the time grows in proportion.
"""

LONG_S = 5.0
"""Seconds of a processor that routing took, from which several processes advise sooner than one: each has its
modules and loops to load, a second or so.
"""
GRACE_S = 3.0
"""A band that runs over its time by less is planned rather than refused."""
LEAST_SEARCH = 0.2
"""Share of the time left that is searched even where finishing may take longer."""
SHARING = 0.25
"""Share of the time kept for finishing that sharing the tying may take."""


Finishing = Callable[[int], float]
"""Seconds that finishing takes, given rows × strands of the picture."""


class Watch(Protocol):
    """Hears which stage runs and how far its search is."""

    def stage(self, name: str) -> None: ...
    def routing(self, done: float, cost: float, bound: float) -> None: ...
    def advising(self, done: int, of: int, label: str) -> None: ...
    def sketched(self, band: Callable[[], Pattern]) -> None:
        """``band`` makes the band as it stands so far; the first comes before the search."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A finished plan: the pattern, what it shows, how it is cut, and how good it can be."""

    pattern: Pattern
    design: Design
    verdict: Feasibility
    reasons: tuple[Reason, ...]
    likeness: Likeness | None
    thin: tuple[Thin, ...]
    """Thin strokes and dots of the picture that the band breaks or loses."""
    lower_bound: float
    stopped: Stopped
    period: int | None
    """Rows of the motif that is tied again and again, or None."""
    fit: Fit | None
    """How the wrist adds up, or None where none was given."""
    cuts: tuple[Cut, ...]
    skeins: SkeinPlan
    sharing: Sharing
    trade_off: tuple[LongerBand, ...]
    joins_trade_off: tuple[LongerBand, ...]
    eases: tuple[EaseLine, ...]
    advice: Advice | None
    timings: Mapping[str, float]


def plan(
    asked: Request,
    *,
    touches: Sequence[Touch] = (),
    title: str | None = None,
    budget: Budget = Budget(),
    further: bool = True,
    watch: Watch | None = None,
    finishing_s: Finishing = lambda places: 0.0,
) -> Plan:
    """Plan a band.

    ``touches``: cells that the maker gives another thread, or frees. ``budget`` is for the band's own search;
    with ``further`` the eases and the advice get as much again. Once its deadline has passed, or it is
    halted, what remains of the search is left out and the best band so far is finished: checked and cut.
    ``finishing_s``: how many seconds of the deadline to keep for that and for whatever follows. Raises
    HitchgridError for anything that cannot be used or met.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> from pipeline.order.asked import Band, Drawer, LetterSource
    >>> asked = Request(LetterSource("I"), Band(strands=8, rows=12), Drawer(builtin_stash()))
    >>> len(plan(asked, budget=Budget(effort=0.01), further=False).cuts)
    8
    """
    clock = _Clock(watch)
    clock.stage(DRAWING)
    drawn = _drawn(asked, touches, budget, finishing_s)
    clock.stage("routing the strands")
    worked_s = time.process_time()
    effort = budget.effort * (1.0 if drawn.floor is None else PICTURE_EFFORT)
    budget = replace(budget, reporter=watch, effort=effort)
    budget, late = _keeping_back(budget, finishing_s(drawn.kinds.shape[0] * drawn.strands))
    fit = fit_of(asked.band, drawn.strands, gauge_for(asked.band, asked.drawer))
    found = _routed(asked, drawn, fit, title, budget, clock)
    tied, shown = found.band, drawn.without_ends(*found.off)
    clock.stage("sharing the tying")
    repeat = None if asked.tying.joins else tied.question.repeat
    loose, margin = _assembled(asked, shown, tied, title), asked.tying.margin
    shared = share_alike(loose, repeat, asked.tying.share, margin=margin, late=late)
    sold_mm = [1000 * thread.sold_m for thread in shown.threads]
    pattern = place_joins(shared, asked.tying.longest_mm, card_mm=sold_mm, margin=margin)
    clock.stage("checking")
    clock.sketched(lambda: pattern)
    verdict, cuts, bound = check(pattern), cut_list(pattern, margin=margin), tied.solution.lower_bound
    jobs = budget.jobs if time.process_time() - worked_s > LONG_S else 1
    spare = replace(budget, effort=budget.effort * FURTHER_EFFORT / 2, reporter=None, jobs=jobs)
    forced = _forced(pattern, verdict, tied, spare) if further and not budget.late else {}
    why = reasons(pattern, verdict, lower_bound=bound, ease=asked.tying.ease, found=forced)
    easy, advice = tuple[EaseLine, ...](), None
    if further and not budget.late:
        clock.stage("trying what would help")
        spare = spare.sooner(clock.seconds[DRAWING])  # no drawing is begun that would end late
        easy, advice = _advised(Redesign(asked, drawn, *found.posed), found, verdict, spare, watch)
    more = further or asked.tying.switching_rows or asked.tying.joins
    stopped = budget.ended if more and found.stopped is Stopped.DONE else found.stopped
    sharing, skeins = compare(loose, shared, margin=margin), plan_skeins(pattern, cuts, asked.drawer.stash)
    period = None if repeat is None else repeat.rows
    how_good = _likeness(pattern, shown), _thin(pattern, shown), bound, stopped, period, fit
    more_found = found.by_rows, found.by_joins, easy, advice, clock.finish()
    return Plan(pattern, shown, verdict, why, *how_good, cuts, skeins, sharing, *more_found)


def _drawn(asked: Request, touches: Sequence[Touch], budget: Budget, finishing_s: Finishing) -> Design:
    """Draw the design; refuse at once what cannot be charted, or finished in the time and memory there is."""
    artwork, band, drawer, tying = asked
    space = space_of(artwork, band, gauge_for(band, drawer))
    known = space.rows or space.length
    if known is not None:
        _refuse_early(known, space.strands, space.worked, budget, finishing_s)
    began = time.monotonic()
    threads = included(drawer, tying, [touch.thread for touch in touches if touch.thread is not None])
    drawn = touched(design(artwork, space, threads), touches)
    size = drawn.kinds.shape[0], drawn.strands, drawn.worked
    _refuse_early(*size, budget, finishing_s, time.monotonic() - began)
    return drawn


def _routed(
    asked: Request, drawn: Design, fit: Fit | None, title: str | None, budget: Budget, clock: _Clock
) -> Lengthened:
    """Route the strands, with switching rows within the wrist and joins as far as the maker allows.

    The clock hears of the first routing.
    """
    question, kinds = pose(drawn, asked.band, asked.tying)

    def sketch(begun: Routed) -> None:
        clock.sketched(lambda: _assembled(asked, drawn, LongerBand(question, kinds, begun), title))

    room = None if fit is None else max(0, fit.rows - drawn.kinds.shape[0])
    allowed = Allowed(asked.tying.switching_rows, asked.tying.joins, room, drawn.ground_ends)
    budget = replace(budget, first=None if clock.watch is None else sketch)
    return lengthened(question, kinds, allowed, budget)


def _assembled(asked: Request, drawn: Design, tied: LongerBand, title: str | None) -> Pattern:
    """The pattern as it was routed, called as the artwork where it has no ``title``."""
    band, kinds, routes = asked.band, tied.kinds, tied.solution
    wanted = [None if t < 0 else int(t) for t in drawn.wanted_of(kinds)]
    costs = None if drawn.floor is None else tied.question.costs
    gauge = gauge_for(band, asked.drawer)
    ends = ends_of(band, [int(t) for t in routes.strands], gauge)
    made = to_pattern(
        tied.question.network,
        routes,
        Wants(wanted, costs, drawn.either_of(kinds)),
        Frame(band_threads(drawn.threads), gauge, ends, title or asked.artwork.title, drawn.ground),
        tied.changes,
    )
    return mirrored(made) if band.left_handed else made


def _forced(pattern: Pattern, verdict: Feasibility, tied: LongerBand, budget: Budget) -> Mapping[int, float]:
    """What unmade cells would cost if they were made, by knot; none is asked for in a band with joins."""
    if tied.joins:
        return {}
    return costs_if_made(tied.question, tied.solution, knot_numbers(pattern, verdict), budget)


def _advised(
    redesign: Redesign, found: Lengthened, verdict: Feasibility, budget: Budget, watch: Watch | None
) -> tuple[tuple[EaseLine, ...], Advice | None]:
    """What each ease of hand-overs would give, and, where cells are unmade, what would help."""
    tying, drawn, question = redesign.asked.tying, redesign.drawn, redesign.problem
    led = working(drawn.worked).led
    easy: tuple[EaseLine, ...] = ()
    if led:
        known = {tying.ease: found.by_rows[0].solution}
        easy = eases(question, redesign.wanted, known, budget, watch)
    if not verdict.unmade:
        return easy, None
    figures = verdict.cells, verdict.made, verdict.colour_error, drawn.beyond, verdict.hand_overs
    base = Suggestion(Change(ChangeKind.EASE, ease=tying.ease), "as planned", "", *figures)
    changes = usual_changes(question, tying.ease, tying.switching_rows or 0, tying.joins, led)
    return easy, advise(redesign.under, base, changes, budget, watch, easy)


def _refuse_early(
    rows: int, strands: int, worked: Worked, budget: Budget, finishing_s: Finishing, drawing_s: float = 0.0
) -> None:
    """Refuse a band that cannot be finished in the time or the memory there is, or charted.

    ``drawing_s``: what drawing it took already; of fewer rows it takes less.
    """

    def takes_s(places: int) -> float:
        return drawing_s * places / (rows * strands) + finishing_s(places)

    left = None if budget.deadline is None else budget.deadline - time.monotonic() + GRACE_S + drawing_s
    refuse_beyond_means(rows, strands, seconds=left, finishing_s=takes_s)
    refuse_beyond_files(rows, rows * (strands - 1) // working(worked).step, strands)


def _likeness(pattern: Pattern, drawn: Design) -> Likeness | None:
    """How like its picture the band looks, from the first to the last row of the picture; None for letters
    and exact grids.
    """
    if drawn.picture is None or drawn.light is None:
        return None
    rows = np.flatnonzero((drawn.kinds >= len(drawn.threads)).any(axis=1))
    first, last = int(rows[0]), int(rows[-1])
    return likeness(pattern, drawn.light[drawn.kinds[first : last + 1]], first)


def _thin(pattern: Pattern, drawn: Design) -> tuple[Thin, ...]:
    """The thin parts of the picture that the band breaks or loses."""
    return () if drawn.features is None else unseen(pattern, drawn.features.found, drawn.copies)


def _keeping_back(budget: Budget, seconds: float) -> tuple[Budget, Late]:
    """The budget with so much of its deadline kept for finishing, but ``LEAST_SEARCH`` left to the search.

    With it comes what tells whether sharing has had its part of what is kept.
    """
    if budget.deadline is None:
        return budget, never
    left = budget.deadline - time.monotonic()
    kept = max(0.0, min(seconds, (1 - LEAST_SEARCH) * left))
    until = budget.deadline - (1 - SHARING) * kept
    return budget.sooner(kept), lambda: time.monotonic() >= until


class _Clock:
    """Tells the watch which stage runs, and how long each took."""

    def __init__(self, watch: Watch | None) -> None:
        self.watch = watch
        self.seconds: dict[str, float] = {}
        self.name, self.since = "", time.perf_counter()

    def stage(self, name: str) -> None:
        self.finish()
        self.name = name
        if self.watch is not None:
            self.watch.stage(name)

    def sketched(self, made: Callable[[], Pattern]) -> None:
        if self.watch is not None:
            self.watch.sketched(made)

    def finish(self) -> dict[str, float]:
        """End the present stage; return the seconds of all."""
        now = time.perf_counter()
        if self.name:
            self.seconds[self.name] = self.seconds.get(self.name, 0.0) + now - self.since
        self.name, self.since = "", now
        return dict(self.seconds)
