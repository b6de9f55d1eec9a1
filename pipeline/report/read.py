"""A report read back from report.json for drawing outputs again, if it is whole and of this very band."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from pipeline.band.pattern import Pattern
from pipeline.band.reading import place_of
from pipeline.errors import InputError
from pipeline.files.channels import label
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.limits import MOST_REPORT_BYTES
from pipeline.report.model import Report
from pipeline.verdict.feasibility import Feasibility

KIND = Kind("report", MOST_REPORT_BYTES, "Remove it, or plan the band again.")


def read_report(path: Path, pattern: Pattern, found: Feasibility) -> Report:
    """Read the report of ``pattern``, of which the checker found ``found``.

    Raises InputError for a file that is no report, is damaged, or is that of another band.
    """
    called = label(path)
    given = json_of(read_plain(path, KIND), called)
    try:
        report = Report.model_validate(given)
    except ValidationError as error:
        first = error.errors()[0]
        place = place_of(first["loc"]) or "the whole"
        raise InputError(f"{called} is no report of a band: {place} is wrong.", KIND.instead) from None
    told = [(cell.section, cell.row, cell.knot, cell.wanted, cell.shown) for cell in report.unmade_cells]
    seen = [(cell.section, cell.row, cell.knot, cell.wanted, cell.shown) for cell in found.unmade]
    threads = len(pattern.threads)
    same = (report.cells, report.made) == (found.cells, found.made) and told == seen
    named = {one.thread for one in report.threads_became} | {one.thread for one in report.skeins}
    if not same or max(named, default=0) >= threads:
        raise InputError(f"{called} is the report of another band.", KIND.instead)
    return report
