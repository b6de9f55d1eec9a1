"""Writes the measurements as a page that people read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from benchmarks.growth import BASE, SERIES, series_of
from benchmarks.solvers import BY_EFFORT
from pipeline.band.knots import WORKED

NAMES = {
    "ours": "hitchgrid",
    "ours-long": "hitchgrid, {limit:g} s",
    "ours-light": "hitchgrid, light",
    "ours-plain": "hitchgrid, plain",
    "by-hand": "by hand",
    "cp-sat": "CP-SAT, {limit:g} s",
    "highs": "HiGHS MIP, {limit:g} s",
    "networkx": "networkx",
}
COLUMNS = (
    "case",
    "order",
    "threads",
    "solver",
    "cost",
    "bound",
    "gap %",
    "seconds",
    "CPU s",
    "MiB",
    "hand-overs",
    "ratio",
)

PREFACE = """# Routing benchmark

Written by `make bench` (`python -m benchmarks.routing`); the numbers are in `results.json` beside it.

- **cost**: colour error, Σ CIEDE2000 between wanted and shown thread, lower is better. Wherever a solver
  gives a routing, the cost is what tying it knot by knot gives, not what the solver claims.
- **bound**: no routing of this network costs less, as certified by that solver; **gap** is
  (cost − bound) / cost. **seconds** by the clock, **CPU s** and peak memory (**MiB**) are of a process of
  its own on one core; imports and compilation are not in the times. Where the clock says clearly more
  than the CPU, other work shared the machine.
- **ratio**: cost over that of hitchgrid at default effort and full ease on the same instance.
- `hitchgrid` is the router at default effort and full ease; `light` and `plain` are the eases for row
  work, problems with tighter rules, so their cost is not comparable with full ease.
- **by hand**: in row work the best base thread for each column and one leader thread for all rows; in
  diagonal work every knot swaps and each strand has the best thread. A reference, not always a legal band.
- CP-SAT and HiGHS get the same instance, one worker, and their model from `benchmarks/reference/`.
"""


def line(run: Mapping[str, Any], runs: Mapping[str, Mapping[str, Any]]) -> str:
    """One run as a line of the terminal."""
    cells = _cells(run, runs)
    return "  ".join(
        f"{cell:>{width}}" for cell, width in zip(cells, (16, 8, 2, 18, 9, 9, 6, 7, 7, 5, 5, 6), strict=True)
    ) + (f"  {run['note']}" if run.get("note") else "")


def _cells(run: Mapping[str, Any], runs: Mapping[str, Mapping[str, Any]]) -> list[str]:
    cost, bound = run["cost"], run["bound"]
    ours = runs.get(f"{run['case']} {run['worked']} ours", {}).get("cost")
    gap = "" if cost is None or run["solver"] == "by-hand" else f"{100 * _gap(cost, bound):.1f}"
    return [
        run["case"],
        run["worked"],
        str(run["threads"]),
        NAMES[run["solver"]].format(limit=run["limit"]) + _effort(run),
        "none" if cost is None else f"{cost:.1f}",
        "" if run["solver"] == "by-hand" else f"{bound:.1f}",
        gap,
        f"{run['seconds']:.2f}",
        f"{run['cpu_s']:.2f}",
        f"{run['peak_mib']:.0f}",
        "" if run["hand_overs"] is None or run["worked"] != "rows" else str(run["hand_overs"]),
        _ratio(cost, ours),
    ]


def _effort(run: Mapping[str, Any]) -> str:
    return f", effort {run['limit']:g}" if run["solver"] in BY_EFFORT and run["limit"] != 1 else ""


def _gap(cost: float, bound: float) -> float:
    return max(0.0, cost - bound) / cost if cost > 1e-6 else 0.0


def _ratio(cost: float | None, ours: float | None) -> str:
    if cost is None or ours is None:
        return ""
    if ours < 1e-6:
        return "1.00" if cost < 1e-6 else "∞"
    return f"{cost / ours:.2f}"


def render(results: Mapping[str, Any]) -> str:
    """The whole page from the kept numbers."""
    order = list(NAMES)
    runs = dict(sorted(results.get("runs", {}).items(), key=lambda item: _place(item[1], order)))
    dates = sorted({run["date"] for part in (runs, results.get("growth", {})) for run in part.values()})
    machine = results.get("machine", {})
    facts = "; ".join(f"{key} {value}" for key, value in machine.items() if value)
    when = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}" if dates else ""
    parts = [
        PREFACE,
        f"Measured {when} on: {facts}.",
        "",
        *_table(COLUMNS, (_cells(run, runs) for run in runs.values())),
    ]
    notes = [f"- {key}: {run['note']}" for key, run in runs.items() if run.get("note")]
    parts += ["", "Runs without an answer of their own:", "", *notes] if notes else []
    if results.get("growth"):
        parts += ["", *_growth(results["growth"])]
    return "\n".join(parts) + "\n"


def _place(run: Mapping[str, Any], order: list[str]) -> tuple[str, bool, int]:
    return run["case"], run["worked"] != "rows", order.index(run["solver"])


def _growth(kept: Mapping[str, Mapping[str, Any]]) -> list[str]:
    head = ("strands", "rows", "threads", "order", "cost", "bound", "seconds", "CPU s", "MiB")
    body = [
        [
            str(run["strands"]),
            str(run["rows"]),
            str(run["threads"]),
            run["worked"],
            "none" if run["cost"] is None else f"{run['cost']:.1f}",
            f"{run['bound']:.1f}",
            f"{run['seconds']:.2f}",
            f"{run['cpu_s']:.2f}",
            f"{run['peak_mib']:.0f}",
        ]
        for series in SERIES
        for worked in WORKED
        for run in series_of(kept, series, worked)
    ]
    effort = ", ".join(sorted({f"{run['effort']:g}" for run in kept.values()}))
    fixed = ", ".join(f"{value} {key}" for key, value in BASE.items())
    return [
        "## Growth",
        "",
        f"A made-up picture (smooth hills) at full ease and effort {effort}; one thing grows at a time, the",
        f"others stay at {fixed}.",
        "",
        "![CPU seconds over rows, strands and threads](growth.png)",
        "",
        *_table(head, body),
    ]


def _table(head: Iterable[str], body: Iterable[Iterable[str]]) -> list[str]:
    head = list(head)
    return [
        f"| {' | '.join(head)} |",
        "|" + " --- |" * len(head),
        *(f"| {' | '.join(cells)} |" for cells in body),
    ]
