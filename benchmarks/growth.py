"""How time and quality grow with rows, strands and threads, one at a time."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks.instances import hills, problem
from benchmarks.measure import measure
from pipeline.band.knots import WORKED

BASE = {"strands": 25, "rows": 120, "threads": 6}
SERIES = {
    "rows": (30, 60, 120, 180, 240),
    "strands": (9, 13, 17, 25, 33, 41),
    "threads": (2, 3, 4, 5, 6, 7, 8),
}


def run(
    kept: dict[str, Any], save: Callable[[], None], effort: float, *, again: bool, say: Callable[[str], None]
) -> None:
    """Measure every size of the series that is not in ``kept`` yet."""
    sizes = [BASE | {series: value} for series, values in SERIES.items() for value in values]
    for size in dict.fromkeys(tuple(size.values()) for size in sizes):
        strands, rows, threads = size
        case = hills(rows, strands - 1, threads)
        for worked in WORKED:
            key = f"{strands} × {rows} × {threads} {worked}"
            if key in kept and kept[key]["effort"] == effort and not again:
                continue
            measured = measure("ours", problem(case, worked), effort)
            about = {"strands": strands, "rows": rows, "threads": threads, "worked": worked, "effort": effort}
            kept[key] = about | {"date": datetime.date.today().isoformat()} | asdict(measured)
            save()
            cost = "none" if measured.cost is None else f"{measured.cost:.1f}"
            say(f"growth, {key}: cost {cost}, bound {measured.bound:.1f}, {measured.cpu_s:.1f} CPU s")


def series_of(kept: Mapping[str, Mapping[str, Any]], series: str, worked: str) -> list[Mapping[str, Any]]:
    """The runs of one series in one working order, from small to large."""
    others = [key for key in BASE if key != series]
    runs = [
        run
        for run in kept.values()
        if run["worked"] == worked and all(run[key] == BASE[key] for key in others)
    ]
    return sorted(runs, key=lambda run: run[series])


def plot(kept: Mapping[str, Mapping[str, Any]], path: Path) -> None:
    """Draw CPU seconds over each series, a line for each working order, as PNG."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, panels = pyplot.subplots(1, len(SERIES), figsize=(10, 3.2), sharey=True, layout="constrained")
    for panel, series in zip(panels, SERIES, strict=True):
        for worked, marker in zip(WORKED, "os", strict=True):
            runs = series_of(kept, series, worked)
            name = "row-worked" if worked == "rows" else "diagonal-worked"
            panel.plot(
                [run[series] for run in runs], [run["cpu_s"] for run in runs], marker=marker, label=name
            )
        panel.set_xlabel(series)
        panel.set_xlim(left=0)
        panel.set_ylim(bottom=0)
        panel.grid(alpha=0.3)
    panels[0].set_ylabel("CPU seconds, one core")
    panels[0].legend()
    fixed = ", ".join(f"{value} {key}" for key, value in BASE.items())
    figure.suptitle(f"One thing grows at a time, the others stay at {fixed}", fontsize="medium")
    figure.savefig(path, dpi=110, metadata={"Software": None})
    pyplot.close(figure)
