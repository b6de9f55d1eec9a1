"""The files of a planned band: everything the maker gets in one folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from pipeline.band.pattern import Pattern, render
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import Cut, cut_list_csv
from pipeline.materials.skeins import SkeinPlan
from pipeline.plan import Plan
from pipeline.report import Report
from pipeline.writers.chart import chart_png, chart_svg
from pipeline.writers.original import UNKNOWN, Original
from pipeline.writers.preview import preview_png
from pipeline.writers.report_page import report_html
from pipeline.writers.sheet import sheet_pdf
from pipeline.writers.worksheet import worksheet_html

TIMINGS = "timings.json"
"""The only file whose bytes differ from run to run."""


def band_files(
    pattern: Pattern,
    cuts: tuple[Cut, ...],
    report: Report,
    *,
    skeins: SkeinPlan | None = None,
    original: Original = UNKNOWN,
    timings: Mapping[str, float] | None = None,
    stage: Callable[[str], None] = lambda name: None,
) -> dict[str, bytes | str]:
    """Render every file of a result, by name.

    ``skeins``: the cutting plan; ``original`` is shown beside the band; ``stage`` hears which file is drawn.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.verdict.feasibility import check
    >>> from pipeline.materials.lengths import cut_list
    >>> from pipeline.report import report_of_pattern
    >>> report = report_of_pattern(two_rows(), check(two_rows()))
    >>> "sheet.pdf" in band_files(two_rows(), cut_list(two_rows()), report)
    True
    """
    writers: dict[str, Callable[[], bytes | str]] = {
        "pattern.json": lambda: render(pattern),
        "report.json": report.json_text,
        "report.html": lambda: report_html(report, pattern, cuts=cuts, cells=original.cells),
        "cut-list.csv": lambda: cut_list_csv(pattern, cuts),
        "chart.png": lambda: chart_png(pattern),
        "chart.svg": lambda: chart_svg(pattern),
        "preview.png": lambda: preview_png(pattern, original),
        "instructions.txt": lambda: write_instructions(pattern, cuts, fit=report.fit_said),
        "worksheet.html": lambda: worksheet_html(pattern, cuts, fit=report.fit_said),
        "sheet.pdf": lambda: sheet_pdf(pattern, report=report, cuts=cuts, skeins=skeins, original=original),
    }
    files: dict[str, bytes | str] = {}
    for name, write in writers.items():
        stage(f"writing {name}")
        files[name] = write()
    if timings is not None:
        files[TIMINGS] = json.dumps({k: round(v, 3) for k, v in timings.items()}, indent=2) + "\n"
    return files


def plan_files(made: Plan, report: Report, *, lengthwise: bool, **more: Any) -> dict[str, bytes | str]:
    """The files of a plan, whose picture may read ``lengthwise``; ``more`` as in :func:`band_files`."""
    original = Original(made.design.picture, made.design.cells, lengthwise)
    return band_files(made.pattern, made.cuts, report, skeins=made.skeins, original=original, **more)
