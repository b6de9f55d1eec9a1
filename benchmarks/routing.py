"""The benchmark of the router: ``python -m benchmarks.routing``.

Runs every solver on every shared case in both working orders, prints a line as each run ends, keeps the
numbers in ``benchmarks/results.json`` and writes ``benchmarks/RESULTS.md`` from them. Runs that are in
the file already are skipped, so the whole can be done in pieces; ``--again`` repeats them. Pieces measured
into files of their own (``--results``) come together with ``--merge``.
"""

from __future__ import annotations

import argparse
import datetime
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks import growth, report
from benchmarks.instances import load, names, problem
from benchmarks.measure import machine, measure
from benchmarks.solvers import BY_EFFORT, ROWS_ONLY, SOLVERS, TWO_ONLY, UNLIMITED
from pipeline.band.knots import WORKED

HERE = Path(__file__).parent


def main(arguments: list[str] | None = None) -> int:
    """Run what the arguments select, and write the report."""
    chosen = _parser().parse_args(arguments)
    results = _Results(chosen.results)
    for other in chosen.merge:
        results.merge(other)
    try:
        for name in chosen.cases:
            for worked in chosen.orders:
                for solver in chosen.solvers:
                    _run(results, name, worked, solver, chosen)
        if chosen.growth:
            growth.run(results.section("growth"), results.save, chosen.effort, again=chosen.again, say=_say)
    except KeyboardInterrupt:
        _say("stopped; what was measured is kept")
    if results.data:
        chosen.report.write_text(report.render(results.data), encoding="utf-8")
        if results.data.get("growth"):
            growth.plot(results.data["growth"], chosen.report.parent / "growth.png")
    return 0


def _run(results: _Results, name: str, worked: str, solver: str, chosen: argparse.Namespace) -> None:
    case = load(name)
    threads = len(case.difference)
    if (solver in ROWS_ONLY and worked != "rows") or (solver in TWO_ONLY and threads != 2):
        return
    runs = results.section("runs")
    key = f"{name} {worked} {solver}"
    limit = 0.0 if solver in UNLIMITED else chosen.effort if solver in BY_EFFORT else chosen.limit
    if key in runs and runs[key]["limit"] == limit and not chosen.again:
        return
    measured = measure(solver, problem(case, worked), limit)
    about = {"case": name, "worked": worked, "solver": solver, "threads": threads, "limit": limit}
    runs[key] = about | {"date": datetime.date.today().isoformat()} | asdict(measured)
    results.data["machine"] = machine()
    results.save()
    _say(report.line(runs[key], runs))


class _Results:
    """The numbers measured so far, kept as JSON."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.data: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}

    def section(self, name: str) -> dict[str, Any]:
        section: dict[str, Any] = self.data.setdefault(name, {})
        return section

    def merge(self, path: Path) -> None:
        """Take over what another file measured; what is in both stays as it is here."""
        for name, section in json.loads(path.read_text()).items():
            self.data[name] = section | self.data.get(name, {})
        self.save()

    def save(self) -> None:
        part = self.path.with_suffix(".part")
        part.write_text(json.dumps(self.data, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        part.replace(self.path)


def _say(text: str) -> None:
    print(text, flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.routing", description=__doc__)
    parser.add_argument("--cases", nargs="+", choices=names(), default=list(names()), metavar="CASE")
    parser.add_argument("--orders", nargs="+", choices=WORKED, default=list(WORKED), metavar="ORDER")
    parser.add_argument("--solvers", nargs="*", choices=SOLVERS, default=list(SOLVERS), metavar="SOLVER")
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for the solvers that have a limit")
    parser.add_argument("--effort", type=float, default=1.0, help="effort of our router; the default is 1")
    parser.add_argument("--growth", action="store_true", help="measure growth in rows, strands, threads too")
    parser.add_argument("--again", action="store_true", help="repeat runs that are in the results already")
    parser.add_argument("--merge", nargs="+", type=Path, default=[], help="take over results of other files")
    parser.add_argument("--results", type=Path, default=HERE / "results.json")
    parser.add_argument("--report", type=Path, default=HERE / "RESULTS.md")
    return parser


if __name__ == "__main__":
    sys.exit(main())
