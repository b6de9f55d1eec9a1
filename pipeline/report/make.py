"""A report made of a plan, or of a pattern alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from pipeline.advice.advise import Suggestion
from pipeline.band.pattern import Pattern
from pipeline.blocks.plan import BlockPlan
from pipeline.blocks.switches import switches_of
from pipeline.limits import USUAL_PACE_S
from pipeline.materials.fit import Fit, size_mm
from pipeline.materials.lengths import Cut
from pipeline.materials.price import grade, hours, price
from pipeline.materials.skeins import SkeinPlan
from pipeline.plan import Plan
from pipeline.report.model import (
    Cause,
    ColourBecame,
    Difficulty,
    EaseGiven,
    GroupUse,
    HarderBy,
    JoinsLine,
    Lengths,
    LikenessFound,
    LongestStrand,
    Priced,
    Report,
    SkeinsOf,
    Suggested,
    SwitchingLine,
    UnmadeCell,
    WristFit,
)
from pipeline.routing.question import Stopped, proved
from pipeline.verdict.feasibility import Feasibility, check
from pipeline.verdict.reasons import Reason


def report_of(made: Plan, *, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Report:
    """Make the report of a plan; ``pace_s`` as in ``price.hours``."""
    advice = made.advice
    return report_of_pattern(
        made.pattern,
        made.verdict,
        lower_bound=made.lower_bound,
        stopped=made.stopped,
        reasons=made.reasons,
        trade_off=tuple(
            SwitchingLine(switching_rows=p.switching_rows, made=p.made, colour_error=p.colour_error)
            for p in made.trade_off
        ),
        joins_trade_off=tuple(
            JoinsLine(joins=p.joins, made=p.made, colour_error=p.colour_error) for p in made.joins_trade_off
        ),
        eases=tuple(
            EaseGiven(
                ease=line.ease.value,
                made=line.made,
                colour_error=line.colour_error,
                lower_bound=min(line.lower_bound, line.colour_error),
                hand_overs=line.hand_overs,
            )
            for line in made.eases
        ),
        suggestions=tuple(map(_suggested, advice.suggestions)) if advice else (),
        tried_without_gain=tuple(map(_suggested, advice.no_help)) if advice else (),
        advice_effort=advice.effort if advice else 0.0,
        period=made.period,
        **_colours(made),
        **_work(made.pattern, made.cuts, made.skeins, pace_s),
        longest_strand_mm=LongestStrand(
            before_sharing=made.sharing.longest_before_mm,
            after_sharing=made.sharing.longest_after_mm,
            bound=made.sharing.bound_mm,
        ),
        different_lengths=Lengths(
            before_sharing=made.sharing.lengths_before, after_sharing=made.sharing.lengths_after
        ),
        fit=None if made.fit is None else _fit(made.fit, made.pattern),
        notes=(*made.design.notes, *made.skeins.sentences()),
    )


def report_of_blocks(made: BlockPlan, *, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Report:
    """Make the report of a band of colour blocks; its notes say which groups switch when."""
    names = [thread.name for thread in made.pattern.threads]
    return report_of_pattern(
        made.pattern,
        check(made.pattern),
        **_work(made.pattern, made.cuts, made.skeins, pace_s),
        groups=tuple(
            GroupUse(thread=use.group.thread, strands=use.group.strands, tied_per_strand=use.tied)
            for use in made.use
        ),
        fit=None if made.fit is None else _fit(made.fit, made.pattern),
        notes=(
            *made.skeins.sentences(),
            *(f"Switch {i}: {s.sentence(names)}" for i, s in enumerate(switches_of(made.pattern), 1)),
        ),
    )


def report_of_pattern(
    pattern: Pattern,
    found: Feasibility,
    *,
    lower_bound: float = 0.0,
    stopped: Stopped = Stopped.DONE,
    reasons: Sequence[Reason] = (),
    **more: Any,
) -> Report:
    """Make the report of a pattern alone.

    ``found``: what the independent checker found; its numbers are the report's. ``lower_bound``: certified
    colour error that no band of this network can beat. ``reasons``: one for each unmade cell, or none.
    ``more``: further fields of the report. Raises ValueError if the reasons do not match the unmade cells.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.verdict.feasibility import check
    >>> report = report_of_pattern(two_rows(), check(two_rows()))
    >>> report.cells, report.made
    (6, 5)
    """
    if reasons and len(reasons) != len(found.unmade):
        raise ValueError(f"{len(reasons)} reasons for {len(found.unmade)} unmade cells")
    error = found.colour_error
    best = proved(error, lower_bound)
    bound = error if best else math.floor(1e4 * lower_bound) / 1e4  # a certificate is never rounded up
    return Report(
        title=pattern.title,
        cells=found.cells,
        made=found.made,
        unmade=len(found.unmade),
        colour_error=error,
        lower_bound=bound,
        proved_best=best,
        gap_per_cent=100.0 * (error - bound) / error if error > 0 else 0.0,
        stopped=stopped.value,
        switching_rows=found.switching_rows,
        hand_overs=found.hand_overs,
        same_thread_hand_overs=found.same_thread_hand_overs,
        joins=found.joins,
        thread_changes=found.thread_changes,
        threads=tuple(thread.name for thread in pattern.threads),
        unmade_cells=_unmade(found, reasons),
        **more,
    )


def _suggested(suggestion: Suggestion) -> Suggested:
    return Suggested(
        change=suggestion.label,
        kind=suggestion.change.kind.value,
        price=suggestion.price,
        cells=suggestion.cells,
        made=suggestion.made,
        colour_error=suggestion.colour_error,
        off_picture=suggestion.off_picture,
        hand_overs=suggestion.hand_overs,
    )


def _unmade(found: Feasibility, reasons: Sequence[Reason]) -> tuple[UnmadeCell, ...]:
    cells = []
    for i, cell in enumerate(found.unmade):
        why = reasons[i] if reasons else None
        cells.append(
            UnmadeCell(
                section=cell.section,
                row=cell.row,
                knot=cell.knot,
                position=cell.position,
                wanted=cell.wanted,
                shown=cell.shown,
                delta_e=cell.delta_e,
                reason=why.sentence if why else "",
                why=None if why is None else _cause(why),
            )
        )
    return tuple(cells)


def _cause(why: Reason) -> Cause:
    return Cause(
        kind=why.why.value, distance=why.distance, rows=why.rows, at_least=why.at_least, found=why.found
    )


def _colours(made: Plan) -> dict[str, Any]:
    """What picture colours became."""
    return {
        "likeness": None
        if made.likeness is None
        else LikenessFound(
            ciede2000=made.likeness.ciede2000,
            hyab=made.likeness.hyab,
            ssim=made.likeness.ssim,
            words=made.likeness.words,
        ),
        "threads_became": tuple(
            ColourBecame(colour=b.colour, thread=b.thread, delta_e=b.delta_e, cells=b.cells)
            for b in made.design.became
        ),
    }


def _work(
    pattern: Pattern, cuts: Sequence[Cut], skeins: SkeinPlan, pace_s: tuple[float, float] | float
) -> dict[str, Any]:
    """What the drawer gives, tying time, difficulty and price."""
    time, graded, cost = hours(pattern, pace_s), grade(pattern, cuts), price(skeins)
    return {
        "skeins": tuple(
            SkeinsOf(
                thread=plan.thread,
                needed_m=plan.need_m,
                owned_m=plan.owned_m,
                skeins=len(plan.cutting.skeins),
                buy=plan.buy,
                enough=plan.enough,
            )
            for plan in skeins.threads
        ),
        "knots": time.knots,
        "hours": (round(time.quick, 1), round(time.calm, 1)),
        "grade": Difficulty(
            name=graded.name,
            points=graded.points,
            reasons=tuple(
                HarderBy(points=r.points, reason=r.sentence, easier=r.easier) for r in graded.reasons
            ),
            easier=graded.easier,
        ),
        "price": Priced(used=round(cost.used, 2), skeins=round(cost.skeins, 2), unknown=cost.unknown),
    }


def _fit(fit: Fit, pattern: Pattern) -> WristFit:
    return WristFit(
        wrist_mm=fit.wrist_mm,
        usual=fit.usual,
        room_mm=fit.room_mm,
        gap_mm=fit.gap_mm,
        tapers_mm=fit.tapers_mm,
        knotted_mm=fit.knotted_mm,
        said=tuple(fit.sentences(size_mm(pattern)[1])),
    )
