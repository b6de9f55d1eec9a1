"""The report of a plan: everything that was found out about it, as the text of report.json."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.plan import Plan
from pipeline.writers.report import report_json


def report_of(made: Plan) -> str:
    """Render report.json of a plan."""
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
        further=further(made),
    )


def further(made: Plan) -> Mapping[str, Any]:
    """What the report tells besides feasibility: colours, thread use, tying time."""
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
        },
        "notes": [*made.design.notes, *made.skeins.sentences()],
    }
