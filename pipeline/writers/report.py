"""The report for other programs: what is made, what is not and why, what would help, and what it costs.

One JSON document, described in ``docs/pattern-format.md``. Positions, rows and knots count from 0. Numbers
are rounded to four decimals (0.0001 ΔE00); the same plan gives the same bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from pipeline.advice.advise import Advice, EaseLine, Suggestion
from pipeline.band.pattern import Pattern
from pipeline.routing.question import Stopped
from pipeline.verdict.feasibility import Feasibility
from pipeline.verdict.reasons import Reason


class TradeOffPoint(Protocol):
    """A point of the trade-off over switching rows."""

    @property
    def switching_rows(self) -> int: ...
    @property
    def made(self) -> int: ...
    @property
    def colour_error(self) -> float: ...


class JoinsPoint(Protocol):
    """A point of the trade-off over thread changes at joins."""

    @property
    def joins(self) -> int: ...
    @property
    def made(self) -> int: ...
    @property
    def colour_error(self) -> float: ...


def report_json(
    pattern: Pattern,
    feasibility: Feasibility,
    *,
    lower_bound: float,
    stopped: Stopped = Stopped.DONE,
    reasons: Sequence[Reason] = (),
    advice: Advice | None = None,
    trade_off: Sequence[TradeOffPoint] = (),
    joins_trade_off: Sequence[JoinsPoint] = (),
    eases: Sequence[EaseLine] = (),
    further: Mapping[str, Any] | None = None,
) -> str:
    """Render the report as JSON text.

    ``feasibility``: what the independent checker found; its numbers are the report's. ``lower_bound``:
    certified colour error that no band of this network can beat. ``reasons``: one for each unmade cell, or
    empty. ``further``: more keys (what picture colours became, thread use, skeins), plain data that JSON can
    hold. Raises ValueError if the reasons do not match the unmade cells or ``further`` takes a name in use.

    >>> from pipeline.band.example import two_rows
    >>> import json
    >>> from pipeline.verdict.feasibility import check
    >>> report = json.loads(report_json(two_rows(), check(two_rows()), lower_bound=0.0))
    >>> report["cells"], report["made"]
    (6, 5)
    """
    if reasons and len(reasons) != len(feasibility.unmade):
        raise ValueError(f"{len(reasons)} reasons for {len(feasibility.unmade)} unmade cells")
    error = feasibility.colour_error
    proved = error - lower_bound <= 1e-6 * max(1.0, error)
    bound = error if proved else math.floor(1e4 * lower_bound) / 1e4  # a certificate is never rounded up
    body: dict[str, Any] = {
        "title": pattern.title,
        "cells": feasibility.cells,
        "made": feasibility.made,
        "unmade": len(feasibility.unmade),
        "colour_error": error,
        "lower_bound": bound,
        "proved_best": proved,
        "gap_per_cent": 100.0 * (error - bound) / error if error > 0 else 0.0,
        "stopped": str(stopped),
        "switching_rows": feasibility.switching_rows,
        "hand_overs": feasibility.hand_overs,
        "same_thread_hand_overs": feasibility.same_thread_hand_overs,
        "joins": feasibility.joins,
        "thread_changes": feasibility.thread_changes,
        "threads": [thread.name for thread in pattern.threads],
        "trade_off": [
            {"switching_rows": p.switching_rows, "made": p.made, "colour_error": p.colour_error}
            for p in trade_off
        ],
        "joins_trade_off": [
            {"joins": p.joins, "made": p.made, "colour_error": p.colour_error} for p in joins_trade_off
        ],
        "eases": [
            {
                "ease": str(line.ease),
                "made": line.made,
                "colour_error": line.colour_error,
                "lower_bound": min(line.lower_bound, line.colour_error),
                "hand_overs": line.hand_overs,
            }
            for line in eases
        ],
        "suggestions": [_suggestion(s) for s in advice.suggestions] if advice else [],
        "tried_without_gain": [_suggestion(s) for s in advice.no_help] if advice else [],
        "advice_effort": advice.effort if advice else 0.0,
        "unmade_cells": _unmade(feasibility, reasons),
    }
    for key, value in (further or {}).items():
        if key in body:
            raise ValueError(f"the report has {key!r} already")
        body[key] = value
    return _lines(_rounded(body)) + "\n"


def _suggestion(suggestion: Suggestion) -> dict[str, Any]:
    return {
        "change": suggestion.label,
        "kind": str(suggestion.change.kind),
        "price": suggestion.price,
        "cells": suggestion.cells,
        "made": suggestion.made,
        "colour_error": suggestion.colour_error,
        "off_picture": suggestion.off_picture,
        "hand_overs": suggestion.hand_overs,
    }


def _unmade(feasibility: Feasibility, reasons: Sequence[Reason]) -> list[dict[str, Any]]:
    cells = []
    for i, cell in enumerate(feasibility.unmade):
        entry: dict[str, Any] = {
            "section": cell.section,
            "row": cell.row,
            "knot": cell.knot,
            "position": cell.position,
            "wanted": cell.wanted,
            "shown": cell.shown,
            "delta_e": cell.delta_e,
            "reason": "",
        }
        if reasons:
            why = reasons[i]
            entry["reason"] = why.sentence
            entry["why"] = {
                "kind": str(why.why),
                "distance": why.distance,
                "rows": why.rows,
                "at_least": why.at_least,
                "found": why.found,
            }
        cells.append(entry)
    return cells


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4) + 0.0  # no negative zero
    if isinstance(value, Mapping):
        return {str(key): _rounded(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(inner) for inner in value]
    return value


def _lines(body: dict[str, Any]) -> str:
    """JSON with one key a line, and the entries of a list of objects on a line each."""
    parts = []
    for key, value in body.items():
        text = json.dumps(value, ensure_ascii=False)
        if isinstance(value, list) and value and isinstance(value[0], dict):
            entries = ",\n    ".join(json.dumps(entry, ensure_ascii=False) for entry in value)
            text = f"[\n    {entries}\n  ]"
        parts.append(f"  {json.dumps(key)}: {text}")
    return "{\n" + ",\n".join(parts) + "\n}"
