"""The report's page: what it says for each verdict, every unmade cell at its place, hostile texts."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from hypothesis import given, settings

from pipeline.band.pattern import Pattern
from pipeline.materials.lengths import cut_list
from pipeline.report import Report, certificate, report_of_pattern, verdict
from pipeline.report.model import UnmadeCell
from pipeline.verdict.feasibility import check
from pipeline.writers.bandmap import band_map
from pipeline.writers.drawing import Polygon
from pipeline.writers.ink import SIGNAL
from pipeline.writers.report_page import report_html
from tests.patterns import patterns, random_pattern
from tests.writers.bands import HOSTILE, pennant, tiny
from tests.writers.pages import check_page, tags_of


def report_of(pattern: Pattern, why: str | None = "conflict", **more: Any) -> Report:
    found = check(pattern)
    cause = None if why is None else {"kind": why}
    cells = tuple(
        UnmadeCell(
            section=c.section, row=c.row, knot=c.knot, position=c.position, wanted=c.wanted, shown=c.shown,
            delta_e=c.delta_e, reason="because of the tide", why=cause,
        )
        for c in found.unmade
    )  # fmt: skip
    bare = report_of_pattern(pattern, found, lower_bound=0.5 * found.colour_error)
    return Report(**{**bare.model_dump(exclude_unset=True), "unmade_cells": cells, **more})


def said(page: str) -> str:
    body = page.partition("<main>")[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


FULL: dict[str, Any] = {
    "suggestions": [
        {"change": "9 strands instead of 8", "cells": 56, "made": 56, "colour_error": 0.0,
         "price": "2 mm wider"}
    ],
    "trade_off": [
        {"switching_rows": 0, "made": 50, "colour_error": 40.0},
        {"switching_rows": 4, "made": 56, "colour_error": 0.0},
    ],
    "joins_trade_off": [{"joins": n, "made": 50 + n, "colour_error": 40.0 - n} for n in (0, 2)],
    "eases": [{"ease": "plain", "made": 40, "colour_error": 90.0, "lower_bound": 0.0, "hand_overs": 0}],
    "threads_became": [{"colour": "#123456", "thread": 0, "delta_e": 3.21, "cells": 20}],
    "skeins": [
        {"thread": 0, "needed_m": 12.0, "owned_m": 8.0, "skeins": 2, "buy": 1, "enough": False},
        {"thread": 1, "needed_m": 3.0, "owned_m": None, "skeins": 1, "buy": 0, "enough": True},
    ],
    "tried_without_gain": [{"change": "mirrored", "cells": 56, "made": 50, "colour_error": 40.0}],
    "longest_strand_mm": {"before_sharing": 18000.0, "after_sharing": 2300.0, "bound": 2000.0},
    "hours": [2.5, 3.0],
    "notes": ["fog and sailcloth are hard to tell apart"],
}  # fmt: skip


@settings(max_examples=15)
@given(patterns(max_strands=6, max_rows=4))
def test_page_is_valid_and_closed(pattern: Pattern) -> None:
    check_page(report_html(report_of(pattern), pattern, cuts=cut_list(pattern)))


def test_everything_known_is_told() -> None:
    page = report_html(report_of(pennant(), **FULL), pennant(), cuts=cut_list(pennant()))
    check_page(page)
    text = said(page)
    for words in (
        "Every one of the 56 cells", "Proved best", "9 strands instead of 8", "2 mm wider", "56 of 56",
        "With more switching rows", "changes at the edges only", "#123456", "3.2", "no: buy 1 more",
        "metres owned not known", "Tried without gain: mirrored", "as planned",
        "2.3 m instead of 18.0 m", "2.5–3", "fog and sailcloth", "Cut list", "Not for children under 3",
    ):  # fmt: skip
        assert words in text, words


def test_what_is_not_known_is_left_out() -> None:
    text = said(report_html(report_of(pennant()), pennant()))
    for heading in ("What would help", "switching rows", "Cut list", "drawer", "became", "another thread"):
        assert heading not in text


def test_each_unmade_cell_is_named_from_one_and_marked_on_the_map() -> None:
    pattern = random_pattern(11, strands=5, rows=6, threads=4, worked="rows", sections=1, joins=0)
    report = report_of(pattern)
    text = said(report_html(report, pattern))
    assert len(report.unmade_cells) > 3
    for cell in report.unmade_cells:
        position = pattern.sections[0].rows[cell.row].knots[cell.knot][0] + 1
        row = re.search(rf"row {cell.row + 1}: ([0-9–, ]+)", text)
        assert row is not None
        numbers = {
            n
            for rows in re.findall(rf"row {cell.row + 1}: ([0-9–, ]+)", text)
            for part in rows.split(",")
            if part.strip()
            for n in range(int(part.split("–")[0]), int(part.split("–")[-1]) + 1)
        }
        assert position in numbers
    marks = [s for s in band_map(pattern).shapes if isinstance(s, Polygon) and s.stroke == SIGNAL]
    assert len(marks) == len(report.unmade_cells)
    assert "It would cost more elsewhere" in text and "because of the tide" in text


@pytest.mark.parametrize(
    ("why", "heading"),
    [
        ("absent", "No such thread"),
        ("far", "too far away"),
        ("conflict", "cost more elsewhere"),
        (None, "Not made"),
    ],
)
def test_reasons_are_grouped_under_words(why: str | None, heading: str) -> None:
    assert heading in said(report_html(report_of(tiny(), why), tiny()))


def test_verdict_and_certificate_are_honest() -> None:
    nearly = Report(cells=10_000, made=9_999, unmade=1, colour_error=5.0)
    assert verdict(nearly).startswith("9999 of 10000 cells")
    assert "99.9 %" in verdict(nearly), "never rounded up to all"
    assert "no picture" in verdict(Report(cells=0, made=0, unmade=0, colour_error=0.0))
    assert "is not known" in certificate(nearly)
    close = nearly.model_copy(update={"lower_bound": 4.4, "gap_per_cent": 11.9})
    assert "more than 12 %" in certificate(close), "never rounded down"
    late = nearly.model_copy(update={"lower_bound": 1.0, "stopped": "time"})
    assert "time limit" in certificate(late)
    assert "Proved best" in certificate(nearly.model_copy(update={"proved_best": True}))


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_texts_stay_text(text: str) -> None:
    band = tiny(text)
    report = report_of(band, notes=[text], suggestions=[{**FULL["suggestions"][0], "change": text}])
    page = report_html(report, band)
    check_page(page)
    assert not [tag for tag, _ in tags_of(page) if tag in ("img", "script", "b")]


def test_same_input_same_bytes() -> None:
    report = report_of(tiny(), **FULL)
    assert report_html(report, tiny()) == report_html(report, tiny())
