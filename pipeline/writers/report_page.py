"""The report as a page that a person reads: the verdict first, then why, and what would help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple
from itertools import accumulate, groupby
from typing import Any, NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable
from pipeline.instructions.text import CAUTIONS
from pipeline.instructions.words import listed
from pipeline.literals import plural
from pipeline.materials.fit import size_words
from pipeline.materials.lengths import Cut, thread_use
from pipeline.report import Report, certificate, likeness, thin_parts, verdict
from pipeline.report.model import EaseGiven, JoinsLine, SkeinsOf, Suggested, SwitchingLine, UnmadeCell
from pipeline.writers.bandmap import band_map, picture_map
from pipeline.writers.cutting import cut_lines
from pipeline.writers.drawing import inline_svg
from pipeline.writers.pages import page, thread_css

Named = dict[str, Any]
"""A thread as the page shows it: its number and its name."""
MOST_LINES = 20
"""Lines of a table of unmade cells; the rest is in report.json."""

_WHY = {
    "absent": (
        "No such thread in the band there",
        "No strand of the wanted thread hangs in the band at that row.",
    ),
    "far": (
        "The thread is too far away",
        "A strand of the wanted thread cannot come here in time; switching rows would bring it.",
    ),
    "conflict": (
        "It would cost more elsewhere",
        "Each of these could be made, but the strands are needed in other cells at the same time.",
    ),
    "": ("Not made", "These cells show the nearest thread that could be brought there."),
}


def report_html(
    report: Report, pattern: Pattern, *, cuts: Sequence[Cut] = (), cells: NDArray[np.uint8] | None = None
) -> str:
    """The report page; what nobody looked for is left out.

    ``cells``: (picture rows, strands−1, 3) sRGB of the picture reduced to cells.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.report import report_of_pattern
    >>> from pipeline.verdict.feasibility import check
    >>> "two rows" in report_html(report_of_pattern(two_rows(), check(two_rows())), two_rows())
    True
    """
    drawing = band_map(pattern)
    threads: list[Named] = [{"thread": i, "name": thread.name} for i, thread in enumerate(pattern.threads)]
    return page(
        "report.html",
        styles=("page.css", "report.css"),
        css=thread_css(pattern.threads),
        title=printable(pattern.title) or "Band",
        facts=size_words(pattern),
        verdict=verdict(report),
        certificate=certificate(report),
        whole=report.unmade == 0,
        figures=list(_figures(report, pattern)),
        measures=list(_measures(report)),
        thin=thin_parts(report),
        likeness=likeness(report),
        picture=Markup(picture_map(pattern, cells)) if report.cells else "",
        map=Markup(inline_svg(drawing)),
        map_words=_map_words(pattern, report.unmade),
        threads=[thread.name for thread in pattern.threads],
        notes=[*report.fit_said, *report.notes],
        reasons=list(_reasons(report, pattern)),
        tables=[*_plans(report, threads), *_thread(report, pattern, cuts, threads)],
        cautions=CAUTIONS,
    )


def _figures(report: Report, pattern: Pattern) -> Iterator[tuple[str, str]]:
    """Names and values that a maker goes by: how much of the picture is made, and what the band asks."""
    if report.cells:
        share = 100 * report.made / report.cells
        near = "all" if not report.unmade else f"{min(99.9, share):.1f}" if share >= 99 else f"{share:.0f}"
        yield "Of 100 cells as the picture wants", near
    if report.hours is not None:
        quick, calm = report.hours
        yield "Hours of tying", f"{quick:g}" if quick == calm else f"{quick:g}–{calm:g}"
    yield "Knots", f"{pattern.knot_count}"
    yield "Hand-overs", f"{report.hand_overs}"
    for name, count in (
        ("Hand-overs, one thread", report.same_thread_hand_overs),
        ("Switching rows", report.switching_rows),
        ("Joins", report.joins),
        ("Thread changes", report.thread_changes),
    ):
        if count:
            yield name, f"{count}"


def _measures(report: Report) -> Iterator[str]:
    """The small print: how near the band comes, in measures, each with what it says."""
    if not report.cells:
        return
    if (found := report.likeness) is not None:
        yield (
            "Band beside picture at arm's length, cell by cell: off by "
            f"{found.ciede2000:.1f} in CIEDE2000 on average (1 can just be seen side by side, 10 is plainly "
            f"another colour), and by {found.hyab:.1f} in HyAB, which is made for large differences. Up to 8 "
            "looks very close, up to 14 close, up to 22 recognisable."
        )
        yield f"SSIM of lightness: {found.ssim:.2f}; 1 is the same picture, 0 nothing of it."
    yield (
        f"Colour error: {report.colour_error:.1f}, what the cells are off in all beyond what the best thread "
        "of the band would be. It compares plans of one picture with each other; less is nearer."
    )
    if report.lower_bound:
        yield f"No band under the same rules has less than {report.lower_bound:.1f}: that is proved."


def _map_words(pattern: Pattern, unmade: int) -> str:
    words = (
        "Above the picture, reduced to cells; below the band, both lying on their side: row 1 on the left, "
    )
    words += "position 1 below."
    if any(section.kind == "switching" for section in pattern.sections):
        words += " A bar on top marks switching rows."
    if unmade:
        words += " A framed cell shows another thread than the picture wants; the wanted colour is inside."
    return words


def _reasons(report: Report, pattern: Pattern) -> Iterator[dict[str, Any]]:
    before = [0, *accumulate(len(section.rows) for section in pattern.sections)]

    def kind(cell: UnmadeCell) -> str:
        return cell.why.kind if cell.why is not None else ""

    for found in sorted({kind(cell) for cell in report.unmade_cells}, key=list(_WHY).index):
        mine = [cell for cell in report.unmade_cells if kind(cell) == found]
        lines: dict[tuple[int, int, str, str], list[tuple[int, int]]] = {}
        for cell in mine:
            place = before[cell.section] + cell.row + 1, cell.position + 1
            key = cell.wanted, cell.shown, f"{cell.delta_e:.1f}", cell.reason
            lines.setdefault(key, []).append(place)
        heading, words = _WHY[found]
        ordered = sorted(lines.items(), key=lambda item: (-len(item[1]), item[1]))
        yield {
            "heading": heading,
            "words": words,
            "count": plural(len(mine), "cell"),
            "more": sum(len(places) for _, places in ordered[MOST_LINES:]),
            "lines": [
                {"wanted": key[0], "shown": key[1], "off": key[2], "why": key[3], "where": _where(places)}
                for key, places in ordered[:MOST_LINES]
            ],
        }


def _where(places: Iterable[tuple[int, int]]) -> str:
    """Rows and positions, counted from 1.

    >>> _where([(3, 4), (3, 5), (3, 9), (7, 1)])
    'row 3: 4–5, 9; row 7: 1'
    """
    parts = []
    for row, group in groupby(sorted(places), key=lambda place: place[0]):
        parts.append(f"row {row}: {listed([position for _, position in group])}")
    return "; ".join(parts)


class Table(NamedTuple):
    """A table of the page; ``numbers`` are the columns that stand to the right."""

    heading: str
    words: str
    columns: Sequence[str]
    rows: Sequence[Sequence[Any]]
    numbers: range


def _plans(report: Report, threads: Sequence[Named]) -> Iterator[Table]:
    """What became of the colours, and what other plans would make of the picture."""
    if became := report.threads_became:
        yield Table(
            "What each colour became",
            "Off by is CIEDE2000: 1 can just be seen side by side, 10 is plainly another colour.",
            ("In the picture", "On the band", "Off by", "Cells"),
            [({"patch": e.colour}, threads[e.thread], f"{e.delta_e:.1f}", e.cells) for e in became],
            range(2, 4),
        )
    idle = [entry.change for entry in report.tried_without_gain]
    if report.suggestions or idle:
        words = "Each was tried by planning again, with less effort than the band itself; best first."
        yield Table(
            "What would help",
            words + (f" Tried without gain: {'; '.join(idle)}." if idle else ""),
            ("Change", "Cells made", "Colour error", "It costs"),
            [
                ("as planned", *_gives(report, report.cells), ""),
                *((e.change, *_gives(e, e.cells), e.price) for e in report.suggestions),
            ],
            range(1, 3),
        )
    for heading, words, first, lines in (
        (
            "With more switching rows",
            "Switching rows move strands between parts of the picture and lengthen the band.",
            "Rows added",
            [(e.switching_rows, *_gives(e, report.cells)) for e in report.trade_off],
        ),
        (
            "With thread changes at joins",
            "A strand can go on in another thread at a join; each join has two tails to hide.",
            "Joins",
            [(e.joins, *_gives(e, report.cells)) for e in report.joins_trade_off],
        ),
    ):
        if len(lines) > 1:
            yield Table(heading, words, (first, "Cells made", "Colour error"), lines, range(3))
    if report.eases:
        yield Table(
            "Hand-overs",
            "How many a row may have in its middle, each planned for itself; the number counts edges too.",
            ("Allowed", "Cells made", "Colour error", "Hand-overs"),
            [(_EASES[e.ease], *_gives(e, report.cells), e.hand_overs) for e in report.eases],
            range(1, 4),
        )


_EASES = {
    "plain": "none: the leader changes at the edges only",
    "light": "few: at most one in a row",
    "full": "any number",
}


def _gives(entry: Report | SwitchingLine | JoinsLine | EaseGiven | Suggested, cells: int) -> tuple[str, str]:
    return f"{entry.made} of {cells}", f"{entry.colour_error:.1f}"


def _thread(
    report: Report, pattern: Pattern, cuts: Sequence[Cut], threads: Sequence[Named]
) -> Iterator[Table]:
    """What of each thread the band takes, what there is of it, and how it is cut."""
    if cuts:
        yield Table(
            "Thread use",
            _shared(report),
            ("Thread", "Strands", "Metres to cut", "Longest piece, m", "Knots tied"),
            [
                (threads[t], pattern.strands.count(t), f"{metres:.1f}", f"{longest_mm / 1000:.2f}", tied)
                for t, metres, longest_mm, tied in map(astuple, thread_use(pattern, tuple(cuts)))
            ],
            range(1, 5),
        )
    if report.skeins:
        yield Table(
            "Does the drawer hold enough?",
            "",
            ("Thread", "Needed, m", "Owned, m", "Skeins to cut", "Enough"),
            [(threads[e.thread], f"{e.needed_m:.1f}", *_owned(e)) for e in report.skeins],
            range(1, 4),
        )
    if cuts:
        lines = list(cut_lines(pattern, cuts))
        total = sum(line.metres for line in lines)
        yield Table(
            "Cut list",
            f"In order of the positions at the start; {total:.1f} m in all, margin included.",
            ("Strand", "Thread", "Cut", "Knots tied in all", "Knots carried in all"),
            [(e.strands, threads[e.thread], e.length, e.tied or "", e.carried or "") for e in lines],
            range(3, 5),
        )


def _owned(entry: SkeinsOf) -> tuple[str, int, str]:
    if entry.owned_m is None:
        return "–", entry.skeins, "metres owned not known"
    short = f"no: buy {entry.buy} more" if entry.buy else "no: a piece is longer than a skein"
    return f"{entry.owned_m:.1f}", entry.skeins, "yes" if entry.enough else short


def _shared(report: Report) -> str:
    longest = report.longest_strand_mm
    if longest is None or longest.after_sharing >= longest.before_sharing:
        return ""
    return (
        f"Strands of one thread share the tying: the longest takes {longest.after_sharing / 1000:.1f} m "
        f"instead of {longest.before_sharing / 1000:.1f} m."
    )
