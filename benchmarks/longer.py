"""What switching rows and joins are worth: ``python -m benchmarks.longer``.

Public cases and pictures at one colour a cell are routed once, then given switching rows and joins. The table
``RESULTS-longer.md`` has the colour error, how many rows and joins were used of those allowed, and the
processor time beyond the first routing.
"""

from __future__ import annotations

import argparse
import sys
import time
from itertools import product
from pathlib import Path

from benchmarks.instances import load, problem, soft
from benchmarks.measure import warm_up
from pipeline.band.knots import Worked
from pipeline.routing import Allowed, Budget, Ease, Question, Routed, lengthened, route

RESULTS = Path(__file__).parent / "RESULTS-longer.md"
HARD = ("letters_13x60", "fur_13x60", "stripes_21x90", "fur_25x120")
SOFT = ("lighthouse_dusk", "life_ring")
ORDERS: tuple[tuple[Worked, Ease], ...] = (("rows", Ease.LIGHT), ("diagonal", Ease.FULL))


def measured(question: Question, known: Routed, allowed: Allowed, budget: Budget) -> list[str]:
    """One line of the table, without the name of the case."""
    began = time.process_time()
    kinds = question.costs.argmin(axis=1)
    band = lengthened(question, kinds, allowed, budget, known).band
    spent = time.process_time() - began
    used = f"{band.switching_rows} of {allowed.rows}", f"{band.joins} of {allowed.joins}"
    return [*used, f"{known.cost:.1f}", f"{band.colour_error:.1f}", f"{spent:.1f}"]


def main(arguments: list[str] | None = None) -> int:
    """Measure, and write the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.longer", description=__doc__)
    parser.add_argument("--effort", type=float, default=0.1)
    parser.add_argument("--rows", type=int, nargs="+", default=[0, 12])
    parser.add_argument("--joins", type=int, nargs="+", default=[0, 2, 12])
    chosen = parser.parse_args(arguments)
    warm_up()
    lines = [
        "| case | order | rows | joins | error without | error | CPU s |",
        "|---|---|---|---|---|---|---|",
    ]
    for worked, ease in ORDERS:
        asked = {name: problem(load(name), worked, ease) for name in HARD}
        asked |= {f"{name}, soft": soft(name, worked, ease) for name in SOFT}
        for name, question in asked.items():
            budget, order = Budget(chosen.effort, 1), f"{worked}, {ease}" if worked == "rows" else worked
            known = route(question, budget)
            for rows, joins in product(chosen.rows, chosen.joins):
                if rows or joins:
                    cells = name, order, *measured(question, known, Allowed(rows, joins), budget)
                    lines.append(f"| {' | '.join(cells)} |")
                    print(lines[-1], flush=True)
    head = "# What switching rows and joins are worth\n\n"
    head += f"`python -m benchmarks.longer`, effort {chosen.effort}, seed 1.\n\n"
    RESULTS.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
