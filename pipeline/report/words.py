"""The report in sentences: how much of the picture is made, and how good that is."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipeline.literals import listed
from pipeline.report.model import Report, ThinPart


def verdict(report: Report) -> str:
    """One sentence: what share of the picture this band makes.

    >>> verdict(Report(cells=40, made=39, unmade=1, colour_error=12.0))
    '39 of 40 cells can be tied as the picture wants (97.5 %); 1 shows another thread.'
    """
    cells, made, unmade = report.cells, report.made, report.unmade
    if not cells:
        return "This band asks for no picture: whatever its knots show is right."
    if not unmade:
        return f"Every one of the {cells} cells can be tied as the picture wants."
    share = min(99.9, 100 * made / cells)
    show = "shows" if unmade == 1 else "show"
    tied = f"{made} of {cells} cells can be tied as the picture wants ({share:.1f} %)"
    return f"{tied}; {unmade} {show} another thread."


LOOKS = {
    "very close": "It looks very close to the picture.",
    "close": "It looks close to the picture.",
    "recognisable": "The picture is recognisable in it.",
    "loose": "It looks like the picture only loosely.",
}
"""Sentences for the words of ``verdict.likeness``."""


def likeness(report: Report) -> str:
    """How like its picture the band looks, in a sentence; "" where that was not measured."""
    if report.likeness is None:
        return ""
    lacks = [f"its {report.threads[thread]}" for thread in report.lacking_threads] + [
        "thin parts of it"
    ] * bool(report.thin_parts)
    looks = LOOKS[report.likeness.words]
    return f"{looks.removesuffix('.')}, but without {listed(lacks)}." if lacks else looks


def looks(report: Report) -> list[str]:
    """How like its picture the band looks, in words, and whether another could be closer.

    >>> looks(Report(cells=9, made=8, unmade=1, colour_error=50, lower_bound=50, proved_best=True))
    ['No band of these threads, strands and rows comes closer to the picture.']
    """
    said = [likeness(report)] if report.likeness else []
    if report.unmade and report.proved_best:
        said.append("No band of these threads, strands and rows comes closer to the picture.")
    return said


def thin_parts(report: Report) -> list[str]:
    """Which thin strokes and dots the band breaks or loses, a sentence each, and what is worth trying.

    >>> told = {"what": "dot", "state": "lost", "thread": 0, "seen": 0, "rows": (3, 3), "positions": (7, 8)}
    >>> lost = Report(cells=9, made=9, unmade=0, colour_error=0, threads=("navy",), thin_parts=(told,))
    >>> thin_parts(lost)[0]
    'A dot of the picture, in navy, is lost: row 4, positions 8 to 9.'
    """
    said = [_thin_part(part, report.threads) for part in report.thin_parts[:MOST_THIN]]
    more = len(report.thin_parts) - len(said)
    if more:
        said.append(f"And {more} more, listed in report.json.")
    if said:
        tries = ["more --strands", "the picture drawn bolder there"]
        if any(part.thread is None for part in report.thin_parts):
            tries.append("one thread more: --colours")
        if any(change.kind == "ease" for change in report.suggestions):
            tries.insert(0, "--hand-overs any")
        said.append(f"Worth trying: {listed(tries, 'or')}.")
    return said


MOST_THIN = 6
"""Thin parts that are told one by one."""


def _thin_part(part: ThinPart, threads: Sequence[str]) -> str:
    named = "which no thread of the band resembles" if part.thread is None else f"in {threads[part.thread]}"
    (top, bottom), (left, right) = part.rows, part.positions
    rows = f"row {top + 1}" if top == bottom else f"rows {top + 1} to {bottom + 1}"
    across = f"position {left + 1}" if left == right else f"positions {left + 1} to {right + 1}"
    state = "is lost" if part.state == "lost" else f"is broken, {100 * part.seen:.0f} % of it shows"
    return f"A {part.what} of the picture, {named}, {state}: {rows}, {across}."


MOST_SAID = 50.0
"""Per cent that might be saved, beyond which a bound tells a maker nothing."""
STOPPED = {
    "done": "",
    "time": " The search ended at its time limit; more time may do better.",
    "interrupt": " The search was ended by hand; more time may do better.",
}


def certificate(report: Report) -> str:
    """How good that is, as far as it was proved, in one or two sentences; "" where nothing was asked.

    >>> certificate(Report(cells=9, made=8, unmade=1, colour_error=50, lower_bound=40, gap_per_cent=20))
    'No band under the same rules saves more than 20 % of what is off.'
    """
    if not report.cells:
        return ""
    if report.proved_best:
        return (
            "Proved best: with these threads, this number of strands and rows, and these rules for "
            "hand-overs, no band comes closer to the picture."
        )
    stopped = STOPPED[report.stopped]
    if report.lower_bound <= 0 or report.gap_per_cent > MOST_SAID:
        return f"How much closer a band under the same rules could come is not known.{stopped}"
    most = math.ceil(report.gap_per_cent)
    return f"No band under the same rules saves more than {most} % of what is off.{stopped}"
