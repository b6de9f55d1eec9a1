"""The report of a plan: everything that was found out about it, as the text of report.json."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.band.pattern import Pattern
from pipeline.limits import USUAL_PACE_S
from pipeline.materials.fit import Fit, size_mm
from pipeline.materials.price import grade, hours, price
from pipeline.plan import Plan
from pipeline.writers.report import report_json


def report_of(made: Plan, *, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> str:
    """Render report.json of a plan; ``pace_s`` as in ``price.hours``."""
    return report_json(
        made.pattern,
        made.verdict,
        lower_bound=made.lower_bound,
        stopped=made.stopped,
        reasons=made.reasons,
        advice=made.advice,
        trade_off=made.trade_off,
        joins_trade_off=made.joins_trade_off,
        eases=made.eases,
        further=further(made, pace_s),
    )


def further(made: Plan, pace_s: tuple[float, float] | float = USUAL_PACE_S) -> Mapping[str, Any]:
    """What the report tells besides feasibility: colours, thread use, tying time, difficulty and price."""
    time = hours(made.pattern, pace_s)
    graded = grade(made.pattern, made.cuts)
    cost = price(made.skeins)
    return {
        "reduced_as": made.design.reduced,
        "threads_became": [
            {"colour": b.colour, "thread": b.thread, "delta_e": b.delta_e, "cells": b.cells}
            for b in made.design.became
        ],
        "skeins": [
            {
                "thread": plan.thread,
                "needed_m": plan.need_m,
                "owned_m": plan.owned_m,
                "skeins": len(plan.cutting.skeins),
                "buy": plan.buy,
                "enough": plan.enough,
            }
            for plan in made.skeins.threads
        ],
        "longest_strand_mm": {
            "before_sharing": made.sharing.longest_before_mm,
            "after_sharing": made.sharing.longest_after_mm,
            "bound": made.sharing.bound_mm,
        },
        "different_lengths": {
            "before_sharing": made.sharing.lengths_before,
            "after_sharing": made.sharing.lengths_after,
        },
        "knots": time.knots,
        "hours": [round(time.quick, 1), round(time.calm, 1)],
        "grade": {
            "name": graded.name,
            "points": graded.points,
            "reasons": [
                {"points": r.points, "reason": r.sentence, "easier": r.easier} for r in graded.reasons
            ],
            "easier": graded.easier,
        },
        "price": {
            "used": round(cost.used, 2),
            "skeins": round(cost.skeins, 2),
            "unknown": list(cost.unknown),
        },
        "fit": None if made.fit is None else fit_facts(made.fit, made.pattern),
        "notes": [*made.design.notes, *made.skeins.sentences()],
    }


def fit_facts(fit: Fit, pattern: Pattern) -> Mapping[str, Any]:
    """How the wrist adds up, in figures and in sentences."""
    return {
        "wrist_mm": fit.wrist_mm,
        "usual": fit.usual,
        "room_mm": fit.room_mm,
        "gap_mm": fit.gap_mm,
        "tapers_mm": fit.tapers_mm,
        "knotted_mm": fit.knotted_mm,
        "said": fit.sentences(size_mm(pattern)[1]),
    }
