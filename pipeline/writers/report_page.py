"""The report as a page that a person reads: the verdict first, then why, and what would help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from markupsafe import Markup

from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable
from pipeline.instructions.text import CAUTIONS
from pipeline.instructions.words import span
from pipeline.materials.fit import size_mm
from pipeline.materials.lengths import Cut, pieces
from pipeline.writers.bandmap import band_map
from pipeline.writers.cutting import cut_lines
from pipeline.writers.drawing import inline_svg
from pipeline.writers.pages import page, thread_css

MOST_LINES = 20
"""Lines of a table of unmade cells; the rest is in report.json."""

_WHY = {
    "absent": ("No such thread in the band", "No strand of the wanted thread hangs in this band."),
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


def report_html(report: Mapping[str, Any], pattern: Pattern, *, cuts: Sequence[Cut] = ()) -> str:
    """The report page. ``report`` is the content of report.json; keys that are absent are left out.

    Rendered where present, besides the documented keys: ``threads_became`` (list of ``{"colour", "thread",
    "delta_e", "cells"}``), ``skeins`` (list of ``{"thread", "needed_m", "owned_m", "skeins", "buy",
    "enough"}``), ``hours`` (``[low, high]``), ``notes`` (sentences).

    >>> from pipeline.band.example import two_rows
    >>> "two rows" in report_html({"cells": 6, "made": 5}, two_rows())
    True
    """
    wide, long = size_mm(pattern)
    rows = sum(len(section.rows) for section in pattern.sections)
    drawing = band_map(pattern)
    unmade = int(report.get("cells", 0)) - int(report.get("made", 0))
    tables = [table for make in _TABLES if (table := make(report, pattern, cuts)) is not None]
    return page(
        "report.html",
        styles=("page.css", "report.css"),
        css=thread_css(pattern.threads),
        title=printable(pattern.title) or "Band",
        facts=f"{len(pattern.strands)} strands, {rows} rows, about {wide:.0f} × {long:.0f} mm knotted",
        verdict=verdict(report),
        certificate=certificate(report),
        whole=unmade == 0,
        figures=list(_figures(report, pattern)),
        map=Markup(inline_svg(drawing)),
        map_words=_map_words(pattern, unmade),
        threads=[thread.name for thread in pattern.threads],
        notes=[str(note) for note in (*(report.get("fit") or {}).get("said", ()), *report.get("notes", []))],
        reasons=list(_reasons(report, pattern)),
        tables=tables,
        cautions=CAUTIONS,
    )


def verdict(report: Mapping[str, Any]) -> str:
    """One sentence: what share of the picture this band makes.

    >>> verdict({"cells": 40, "made": 39})
    '39 of 40 cells can be tied as the picture wants (97.5 %); 1 shows another thread.'
    """
    cells, made = int(report.get("cells", 0)), int(report.get("made", 0))
    if not cells:
        return "This band asks for no picture: whatever its knots show is right."
    if made == cells:
        return f"Every one of the {cells} cells can be tied as the picture wants."
    unmade = cells - made
    share = min(99.9, 100 * made / cells)
    show = "shows" if unmade == 1 else "show"
    tied = f"{made} of {cells} cells can be tied as the picture wants ({share:.1f} %)"
    return f"{tied}; {unmade} {show} another thread."


def certificate(report: Mapping[str, Any]) -> str:
    """How good that is, as far as it was proved, in one or two sentences; "" where nothing was asked.

    >>> certificate({"colour_error": 50.0, "lower_bound": 40.0})
    'The colour error is 50.0; no band under the same rules gets below 40.0, so at most 20.0 % can be saved.'
    """
    error, bound = float(report.get("colour_error", 0.0)), float(report.get("lower_bound", 0.0))
    if report.get("cells") == 0:
        return ""
    if report.get("proved_best") or error == 0:
        return (
            "Proved best: with these threads, this number of strands and rows, and these rules for "
            "hand-overs, no band comes closer to the picture."
        )
    stopped = {
        "time": " The search ended at its time limit; more time may do better.",
        "interrupt": " The search was ended by hand; more time may do better.",
    }.get(str(report.get("stopped", "done")), "")
    if bound <= 0:
        return f"The colour error is {error:.1f}; how far that is from the best is not known.{stopped}"
    gap = 100 * (error - bound) / error
    return (
        f"The colour error is {error:.1f}; no band under the same rules gets below {bound:.1f}, "
        f"so at most {gap:.1f} % can be saved.{stopped}"
    )


def _figures(report: Mapping[str, Any], pattern: Pattern) -> Iterator[tuple[str, str]]:
    names = {
        "colour_error": "Colour error",
        "switching_rows": "Switching rows",
        "hand_overs": "Hand-overs",
        "same_thread_hand_overs": "Hand-overs, one thread",
        "joins": "Joins",
        "thread_changes": "Thread changes",
    }
    for key, name in names.items():
        value = report.get(key)
        if value is not None and (value or key in ("colour_error", "hand_overs")):
            yield name, f"{value:.1f}" if isinstance(value, float) else f"{value}"
    yield "Knots", f"{sum(len(row.knots) for _, _, _, row in pattern.rows())}"
    hours = report.get("hours")
    if isinstance(hours, Sequence) and len(hours) == 2:
        yield "Hours of tying", f"{hours[0]:g}–{hours[1]:g}"
    elif isinstance(hours, (int, float)):
        yield "Hours of tying", f"{hours:g}"


def _map_words(pattern: Pattern, unmade: int) -> str:
    words = "The band lies on its side: row 1 on the left, position 1 below."
    if any(section.kind == "switching" for section in pattern.sections):
        words += " A bar on top marks switching rows."
    if unmade:
        words += " A framed cell shows another thread than the picture wants; the wanted colour is inside."
    return words


def _reasons(report: Mapping[str, Any], pattern: Pattern) -> Iterator[dict[str, Any]]:
    before = [0]
    for section in pattern.sections:
        before.append(before[-1] + len(section.rows))

    def kind(cell: Mapping[str, Any]) -> str:
        why = cell.get("why")
        found = str(why.get("kind", "")) if isinstance(why, Mapping) else ""
        return found if found in _WHY else ""

    cells = list(report.get("unmade_cells", []))
    for found in sorted({kind(cell) for cell in cells}, key=list(_WHY).index):
        mine = [cell for cell in cells if kind(cell) == found]
        lines: dict[tuple[Any, ...], list[tuple[int, int]]] = {}
        for cell in mine:
            knots = pattern.sections[cell["section"]].rows[cell["row"]].knots
            place = before[cell["section"]] + cell["row"] + 1, knots[cell["knot"]][0] + 1
            key = (cell["wanted"], cell["shown"], f"{cell['delta_e']:.1f}", str(cell.get("reason", "")))
            lines.setdefault(key, []).append(place)
        heading, words = _WHY[found]
        ordered = sorted(lines.items(), key=lambda item: (-len(item[1]), item[1]))
        yield {
            "heading": heading,
            "words": words,
            "count": f"{len(mine)} cell{'' if len(mine) == 1 else 's'}",
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
        runs: list[list[int]] = []
        for _, position in group:
            if runs and position == runs[-1][1] + 1:
                runs[-1][1] = position
            else:
                runs.append([position, position])
        parts.append(f"row {row}: {', '.join(span(a, b) for a, b in runs)}")
    return "; ".join(parts)


Table = dict[str, Any]


def _table(heading: str, words: str, columns: list[str], rows: list[list[Any]], numbers: set[int]) -> Table:
    return {"heading": heading, "words": words, "columns": columns, "rows": rows, "numbers": numbers}


def _became(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = [
        [
            {"patch": entry["colour"]},
            _thread(pattern, entry["thread"]),
            f"{entry.get('delta_e', 0.0):.1f}",
            entry.get("cells", ""),
        ]
        for entry in report.get("threads_became", [])
        if _is_colour(entry.get("colour"))
    ]
    if not rows:
        return None
    words = "Off by is CIEDE2000: 1 can just be seen side by side, 10 is plainly another colour."
    return _table(
        "What each colour became", words, ["In the picture", "On the band", "Off by", "Cells"], rows, {2, 3}
    )


def _is_colour(value: Any) -> bool:
    return isinstance(value, str) and len(value) == 7 and set(value[1:]) <= set("0123456789abcdef")


def _thread(pattern: Pattern, thread: Any) -> Any:
    if isinstance(thread, int) and 0 <= thread < len(pattern.threads):
        return {"thread": thread, "name": pattern.threads[thread].name}
    names = [t.name for t in pattern.threads]
    return {"thread": names.index(thread), "name": thread} if thread in names else str(thread)


def _suggestions(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = [
        [entry["change"], _of(entry, report), f"{entry['colour_error']:.1f}", entry.get("price", "")]
        for entry in report.get("suggestions", [])
    ]
    idle = [str(entry["change"]) for entry in report.get("tried_without_gain", [])]
    if not rows and not idle:
        return None
    words = "Each was tried by planning again, with less effort than the band itself; best first."
    if idle:
        words += f" Tried without gain: {'; '.join(idle)}."
    return _table(
        "What would help", words, ["Change", "Cells made", "Colour error", "It costs"], rows, {1, 2}
    )


def _of(entry: Mapping[str, Any], report: Mapping[str, Any]) -> str:
    return f"{entry['made']} of {entry.get('cells') or report.get('cells', '?')}"


def _trade_off(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = [
        [entry["switching_rows"], _of(entry, report), f"{entry['colour_error']:.1f}"]
        for entry in report.get("trade_off", [])
    ]
    if len(rows) < 2:
        return None
    words = "Switching rows move strands between parts of the picture and lengthen the band."
    return _table(
        "With more switching rows", words, ["Rows added", "Cells made", "Colour error"], rows, {0, 1, 2}
    )


def _joins(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = [
        [entry["joins"], _of(entry, report), f"{entry['colour_error']:.1f}"]
        for entry in report.get("joins_trade_off", [])
    ]
    if len(rows) < 2:
        return None
    words = "A strand can go on in another thread at a join; each join has two tails to hide."
    return _table(
        "With thread changes at joins", words, ["Joins", "Cells made", "Colour error"], rows, {0, 1, 2}
    )


_EASES = {
    "plain": "plain: the leader changes at the edges only",
    "light": "light: at most one hand-over in a row",
    "full": "full: any number of hand-overs",
}


def _eases(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = [
        [
            _EASES.get(entry["ease"], entry["ease"]),
            _of(entry, report),
            f"{entry['colour_error']:.1f}",
            entry["hand_overs"],
        ]
        for entry in report.get("eases", [])
    ]
    if not rows:
        return None
    words = "How many hand-overs a row may have, each planned for itself."
    return _table("Hand-overs", words, ["Ease", "Cells made", "Colour error", "Hand-overs"], rows, {1, 2, 3})


def _skeins(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    rows = []
    for entry in report.get("skeins", []):
        owned, buy = entry.get("owned_m"), entry.get("buy", 0)
        if owned is None:
            enough = "metres owned not known"
        elif entry.get("enough"):
            enough = "yes"
        else:
            enough = f"no: buy {buy} more" if buy else "no: a piece is longer than a skein"
        rows.append(
            [
                _thread(pattern, entry.get("thread")),
                f"{entry.get('needed_m', 0.0):.1f}",
                "–" if owned is None else f"{owned:.1f}",
                entry.get("skeins", ""),
                enough,
            ]
        )
    if not rows:
        return None
    return _table(
        "Does the drawer hold enough?", "", ["Thread", "Needed, m", "Owned, m", "Skeins to cut", "Enough"],
        rows, {1, 2, 3},
    )  # fmt: skip


def _use(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    if not cuts:
        return None
    metres: dict[int, float] = {}
    longest: dict[int, float] = {}
    for piece in pieces(pattern, tuple(cuts)):
        metres[piece.thread] = metres.get(piece.thread, 0.0) + piece.length_mm / 1000
        longest[piece.thread] = max(longest.get(piece.thread, 0.0), piece.length_mm / 1000)
    rows = [
        [
            _thread(pattern, thread),
            pattern.strands.count(thread),
            f"{metres[thread]:.1f}",
            f"{longest[thread]:.2f}",
            sum(cut.tied for cut in cuts if cut.thread == thread),
        ]
        for thread in sorted(metres)
    ]
    return _table(
        "Thread use",
        _shared(report),
        ["Thread", "Strands", "Metres to cut", "Longest piece, m", "Knots tied"],
        rows,
        {1, 2, 3, 4},
    )


def _shared(report: Mapping[str, Any]) -> str:
    longest = report.get("longest_strand_mm")
    if not isinstance(longest, Mapping) or not {"before_sharing", "after_sharing"} <= set(longest):
        return ""
    before, after = longest["before_sharing"] / 1000, longest["after_sharing"] / 1000
    if after >= before:
        return ""
    return (
        f"Strands of one thread share the tying: the longest takes {after:.1f} m instead of {before:.1f} m."
    )


def _cuts(report: Mapping[str, Any], pattern: Pattern, cuts: Sequence[Cut]) -> Table | None:
    if not cuts:
        return None
    lines = list(cut_lines(pattern, cuts))
    total = sum(line.metres for line in lines)
    rows = [
        [line.strands, _thread(pattern, line.thread), line.length, line.tied or "", line.carried or ""]
        for line in lines
    ]
    return _table(
        "Cut list",
        f"In order of the positions at the start; {total:.1f} m in all, margin included.",
        ["Strand", "Thread", "Cut", "Knots tied", "Knots carried"],
        rows,
        {3, 4},
    )


_TABLES = (_became, _suggestions, _trade_off, _joins, _eases, _use, _skeins, _cuts)
