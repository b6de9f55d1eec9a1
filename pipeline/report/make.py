"""A report made of a plan, or of a pattern alone, its parts read off the values that the stages returned."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from pipeline.advice.advise import Advice
from pipeline.band.pattern import Pattern
from pipeline.blocks.plan import BlockPlan
from pipeline.blocks.switches import switches_of, told
from pipeline.limits import USUAL_PACE_S
from pipeline.materials.ends import unfolded
from pipeline.materials.fit import size_mm
from pipeline.materials.price import grade, hours, price
from pipeline.plan import Plan
from pipeline.report.model import Lengths, LongestStrand, Report, WristFit
from pipeline.routing.question import Stopped, proved
from pipeline.verdict.feasibility import Feasibility, check
from pipeline.verdict.reasons import Reason

AS_PLANNED = (
    "lower_bound", "stopped", "reasons", "trade_off", "joins_trade_off", "eases", "period", "likeness",
)  # fmt: skip
"""What the report has under the name that it has in the plan."""


def report_of(made: Plan, *, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Report:
    """Make the report of a plan; ``pace_s`` as in ``price.hours``."""
    advice, sharing = made.advice or Advice((), (), (), 0.0), made.sharing
    return report_of_pattern(
        made.pattern,
        made.verdict,
        **{name: getattr(made, name) for name in AS_PLANNED},
        suggestions=advice.suggestions,
        tried_without_gain=advice.no_help,
        advice_effort=advice.effort,
        thin_parts=made.thin,
        threads_became=made.design.became,
        **_work(made, pace_s),
        longest_strand_mm=LongestStrand(
            before_sharing=sharing.longest_before_mm,
            after_sharing=sharing.longest_after_mm,
            bound=sharing.bound_mm,
        ),
        different_lengths=Lengths(before_sharing=sharing.lengths_before, after_sharing=sharing.lengths_after),
        notes=(*made.design.notes, *_start(made.pattern), *made.skeins.sentences()),
    )


def report_of_blocks(made: BlockPlan, *, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Report:
    """Make the report of a band of colour blocks; its notes say which groups switch when."""
    names = [thread.name for thread in made.pattern.threads]
    switches = told(switches_of(made.pattern), names)
    return report_of_pattern(
        made.pattern,
        check(made.pattern),
        **_work(made, pace_s),
        groups=made.use,
        notes=(*made.skeins.sentences(), *switches),
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
    told = asdict(found)
    for cell, why in zip(told["unmade"], reasons, strict=False):
        cell |= {"reason": why.sentence, "why": why}
    return Report.model_validate(
        {
            **told,
            "title": pattern.title,
            "unmade": len(found.unmade),
            "unmade_cells": told["unmade"],
            "lower_bound": bound,
            "proved_best": best,
            "gap_per_cent": 100.0 * (error - bound) / error if error > 0 else 0.0,
            "stopped": stopped.value,
            "threads": [thread.name for thread in pattern.threads],
            "lacking_threads": _lacking(pattern, found),
            **more,
        }
    )


def _start(pattern: Pattern) -> Iterator[str]:
    """Why the start is another than was asked for."""
    if why := unfolded(pattern.ends.start):
        yield why


LACKED = 0.01
"""Share of the cells that want a thread from which on the lack of it is told."""


def _lacking(pattern: Pattern, found: Feasibility) -> list[int]:
    """The threads that cells of the picture want and neither strand nor join has, the most wanted first."""
    wanted = Counter(cell.wanted for cell in found.unmade if cell.wanted not in pattern.used)
    return [thread for thread, cells in wanted.most_common() if cells >= LACKED * found.cells]


def _work(made: Plan | BlockPlan, pace_s: tuple[float, float] | float) -> Mapping[str, Any]:
    """What the drawer gives, tying time, difficulty and price, and how the wrist adds up."""
    time, fit = hours(made.pattern, pace_s), None
    if made.fit is not None:
        said = tuple(made.fit.sentences(size_mm(made.pattern)[1]))
        fit = WristFit.model_validate(made.fit).model_copy(update={"said": said})
    return {
        "skeins": made.skeins.threads,
        "knots": time.knots,
        "hours": (round(time.quick, 1), round(time.calm, 1)),
        "grade": grade(made.pattern, made.cuts),
        "price": price(made.skeins),
        "fit": fit,
    }
