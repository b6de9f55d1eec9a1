"""How time and quality grow with rows, strands and threads, one at a time."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks.instances import hills, problem
from benchmarks.measure import measure
from pipeline.knots import WORKED

BASE = {"strands": 25, "rows": 120, "threads": 6}
SERIES = {
    "rows": (30, 60, 120, 180, 240),
    "strands": (9, 13, 17, 25, 33, 41),
    "threads": (2, 3, 4, 5, 6, 7, 8),
}


def run(kept: dict[str, Any], save: Callable[[], None], *, again: bool, say: Callable[[str], None]) -> None:
    """Measure every point of the series that is not in ``kept`` yet."""
    for series, values in SERIES.items():
        for value in values:
            for worked in WORKED:
                size = BASE | {series: value}
                key = f"{series} {value} {worked}"
                if key in kept and not again:
                    continue
                case = hills(size["rows"], size["strands"] - 1, size["threads"])
                measured = measure("ours", problem(case, worked), 0.0)
                about = {"series": series, "worked": worked, "date": datetime.date.today().isoformat()}
                kept[key] = about | size | asdict(measured)
                save()
                numbers = f"cost {measured.cost}, bound {measured.bound:.1f}, {measured.seconds:.1f} s"
                say(f"growth, {key}: {numbers}")


def plot(kept: Mapping[str, Mapping[str, Any]], path: Path) -> None:
    """Draw seconds over each series, a line for each working order, as PNG."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, panels = pyplot.subplots(1, len(SERIES), figsize=(10, 3.2), sharey=True, layout="constrained")
    for panel, series in zip(panels, SERIES, strict=True):
        for worked, marker in zip(WORKED, "os", strict=True):
            points = [run for run in kept.values() if run["series"] == series and run["worked"] == worked]
            points = sorted((run[series], run["seconds"]) for run in points)
            name = "row-worked" if worked == "rows" else "diagonal-worked"
            panel.plot([x for x, _ in points], [y for _, y in points], marker=marker, label=name)
        panel.set_xlabel(series)
        panel.set_ylim(bottom=0)
        panel.grid(alpha=0.3)
    panels[0].set_ylabel("seconds, one core")
    panels[0].legend()
    fixed = ", ".join(f"{value} {key}" for key, value in BASE.items())
    figure.suptitle(f"Default effort; else {fixed}", fontsize="medium")
    figure.savefig(path, dpi=110, metadata={"Software": None})
    pyplot.close(figure)
