"""``hitchgrid plan``: from a picture or letters to a band that can be tied."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from cli.flags import taking
from pipeline.order.options import OPTIONS

if TYPE_CHECKING:
    from pipeline.band.pattern import Pattern

FINISHING_S, FINISHING_EACH_S = 0.5, 0.0012
"""What sharing, checking and writing take of a core, in all and for each of rows × strands."""
BUSIEST = 4.0
"""How many times slower than the processor a run is reckoned at most: a slow start is soon over."""


@taking(OPTIONS)
def command(texts: Mapping[str, str]) -> None:
    """Turn a picture or letters into a band that can be tied.

    Example: hitchgrid plan sample_images/pennant.png --strands 24 --wrist 16cm

    Example: hitchgrid plan --letters "RC" --strands 17
    """
    finishing_s, began = _finishing(), time.monotonic()
    from cli.console import Watch, say
    from cli.interrupt import halting
    from cli.summary import show_summary
    from pipeline.bundle import plan_files
    from pipeline.files.folder import check_target, drafting, folder_name, write_result
    from pipeline.order.request import parse
    from pipeline.plan import plan
    from pipeline.report import report_of
    from pipeline.routing import Budget
    from pipeline.writers.preview import band_png

    order = parse(texts)
    folder = Path(texts.get("out") or Path("output") / folder_name(order.title))
    replace, quiet = texts.get("replace") == "yes", texts.get("quiet") == "yes"
    found = check_target(folder, replace=replace, inputs=order.files)
    asked, search = order.request(), order.search
    deadline = None if search.time_limit_s is None else began + search.time_limit_s

    def drawn(band: Pattern) -> Path | None:
        return show("draft.png", band_png(band, lengthwise=order.artwork.lengthwise))

    with halting(quiet) as halted, drafting(folder) as show, Watch(quiet, drawn) as watch:
        made = plan(
            asked,
            title=order.title,
            budget=Budget(search.effort, search.seed, deadline, halted=halted, jobs=0),
            further=search.advice,
            watch=watch,
            finishing_s=finishing_s,
        )
        report = report_of(made, pace_s=order.pace_s)
        lengthwise, timings = order.artwork.lengthwise, made.timings
        files = plan_files(made, report, lengthwise=lengthwise, timings=timings, stage=watch.stage)
        kept = write_result(folder, files, replace=replace, inputs=order.files, since=found)
    if not quiet:
        show_summary(made, report, folder)
        say(kept)


def _finishing() -> Callable[[int], float]:
    """How long finishing takes by rows × strands, at the pace of this run so far: machines are busy."""
    began, worked_s = time.monotonic(), time.process_time()

    def seconds(places: int) -> float:
        pace = (time.monotonic() - began) / max(0.01, time.process_time() - worked_s)
        return min(BUSIEST, max(1.0, pace)) * (FINISHING_S + FINISHING_EACH_S * places)

    return seconds
