"""The report as JSON: all keys that others rely on, numbers of the checker, no certificate rounded up."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import pytest

from pipeline.band.pattern import Pattern
from pipeline.errors import InputError
from pipeline.report import Report, read_report, report_of_pattern
from pipeline.report.model import EaseGiven, GroupUse, Suggested
from pipeline.verdict.feasibility import Feasibility, check
from pipeline.verdict.reasons import reasons
from tests.verdict.bands import assembled, plain_replay, random_band

PROMISED = [
    "cells",
    "made",
    "unmade",
    "colour_error",
    "lower_bound",
    "proved_best",
    "switching_rows",
    "hand_overs",
    "same_thread_hand_overs",
    "joins",
    "unmade_cells",
    "suggestions",
    "trade_off",
]


@pytest.fixture
def band() -> tuple[Pattern, Feasibility]:
    pattern = assembled(*random_band(7, "rows"), ground=0)
    return pattern, check(pattern)


def test_the_report_tells_what_a_replay_finds(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    why = reasons(pattern, found, lower_bound=0.0)
    report_of = partial(report_of_pattern, pattern, found, reasons=why)
    text = report_of().json_text()
    report = json.loads(text)
    assert set(PROMISED) <= set(report)
    seen = [k for k in plain_replay(pattern.model_dump(mode="json")) if k["wanted"] is not None]
    wrong = [k for k in seen if k["wanted"] != k["shown"]]
    assert (report["cells"], report["unmade"], report["made"]) == (
        len(seen),
        len(wrong),
        len(seen) - len(wrong),
    )
    assert wrong and [(c["section"], c["row"], c["knot"]) for c in report["unmade_cells"]] == [
        k["place"] for k in wrong
    ]
    for cell, knot in zip(report["unmade_cells"], wrong, strict=True):
        assert (cell["wanted"], cell["shown"]) == (knot["wanted"], knot["shown"])
        assert cell["delta_e"] > 0 and cell["reason"].endswith(".")
    assert report["colour_error"] == pytest.approx(
        sum(c["delta_e"] for c in report["unmade_cells"]), abs=1e-2
    )
    assert text == report_of().json_text()


def test_bounds_are_never_rounded_up(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    loose = report_of_pattern(pattern, found, lower_bound=1.23459)
    assert loose.lower_bound == 1.2345 and not loose.proved_best and loose.gap_per_cent > 0
    tight = report_of_pattern(pattern, found, lower_bound=found.colour_error)
    assert tight.lower_bound == tight.colour_error and tight.proved_best
    assert tight.gap_per_cent == 0


def test_what_is_not_looked_for_is_not_told(band: tuple[Pattern, Feasibility]) -> None:
    bare = json.loads(report_of_pattern(*band).json_text())
    assert bare["suggestions"] == [] and "hours" not in bare and "fit" not in bare
    suggested = Suggested(change="15 strands", price="3 mm wider", cells=20, made=19, colour_error=1.00004)
    line = EaseGiven(ease="plain", made=10, colour_error=12.0, lower_bound=3.0, hand_overs=0)
    group = GroupUse(thread=0, strands=2, tied_per_strand=3.5)
    assert suggested.sentence == "15 strands: 19 of 20 cells are made (95.0 %). It costs: 3 mm wider."
    more = report_of_pattern(*band, suggestions=(suggested,), eases=(line,), groups=(group,))
    told = json.loads(more.json_text())
    assert told["suggestions"][0]["change"] == "15 strands" and told["suggestions"][0]["colour_error"] == 1.0
    assert told["eases"][0]["hand_overs"] == 0 and told["groups"][0]["tied_per_strand"] == 3.5


def test_a_report_read_back_is_the_same(band: tuple[Pattern, Feasibility], tmp_path: Path) -> None:
    pattern, found = band
    path = tmp_path / "report.json"
    report = report_of_pattern(pattern, found, reasons=reasons(pattern, found, lower_bound=0.0))
    path.write_text(report.json_text(), encoding="utf-8")
    assert read_report(path, pattern, found) == report


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[]", "no report of a band"),
        ("{}", "cells is wrong"),
        ('{"cells": 6', "not JSON"),
        ('{"cells": 1, "made": 1, "unmade": 0, "colour_error": 0}', "of another band"),
        ('{"cells": 2, "made": 9, "unmade": 0, "colour_error": 0}', "no report of a band"),
        ('{"cells": 1, "made": 1, "unmade": 0, "colour_error": Infinity}', "line 1"),
        ('{"cells": 1, "made": 1, "unmade": 0, "colour_error": 0, "hours": "many"}', "hours is wrong"),
    ],
)
def test_a_damaged_or_foreign_report_is_refused_in_a_sentence(
    text: str, said: str, band: tuple[Pattern, Feasibility], tmp_path: Path
) -> None:
    path = tmp_path / "report.json"
    path.write_text(text)
    with pytest.raises(InputError, match=said) as refusal:
        read_report(path, *band)
    assert "report.json" in refusal.value.message and "\n" not in str(refusal.value)


def test_mismatches_are_refused(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    why = reasons(pattern, found, lower_bound=0.0)
    with pytest.raises(ValueError, match="reasons for"):
        report_of_pattern(pattern, found, reasons=why[1:])
    with pytest.raises(ValueError, match="are not 9 cells"):
        Report(cells=9, made=5, unmade=3, colour_error=1.0)
    with pytest.raises(ValueError, match="above the colour error"):
        Report(cells=9, made=8, unmade=1, colour_error=1.0, lower_bound=2.0)
