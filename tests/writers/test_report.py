"""The report as JSON: all keys that others rely on, numbers of the checker, no certificate rounded up."""

from __future__ import annotations

import json

import pytest

from pipeline.advice.advise import Advice, Change, ChangeKind, EaseLine, Suggestion
from pipeline.band.pattern import Pattern
from pipeline.design.assemble import to_pattern
from pipeline.routing import Ease
from pipeline.verdict.feasibility import Feasibility, check
from pipeline.verdict.reasons import reasons
from pipeline.writers.report import report_json
from tests.verdict.bands import ENDS, GAUGE, THREADS, plain_replay, random_band

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
    pattern = to_pattern(*random_band(7, "rows"), THREADS, GAUGE, ENDS, "harbour pennant", ground=0)
    return pattern, check(pattern)


def test_the_report_tells_what_a_replay_finds(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    why = reasons(pattern, found, lower_bound=0.0)
    text = report_json(pattern, found, lower_bound=0.0, reasons=why)
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
    assert text == report_json(pattern, found, lower_bound=0.0, reasons=why)


def test_bounds_are_never_rounded_up(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    loose = json.loads(report_json(pattern, found, lower_bound=1.23459))
    assert loose["lower_bound"] == 1.2345 and not loose["proved_best"] and loose["gap_per_cent"] > 0
    tight = json.loads(report_json(pattern, found, lower_bound=found.colour_error))
    assert tight["lower_bound"] == tight["colour_error"] and tight["proved_best"]
    assert tight["gap_per_cent"] == 0


def test_suggestions_eases_and_further_keys(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    suggestion = Suggestion(Change(ChangeKind.STRANDS, 2), "15 strands", "3 mm wider", 20, 19, 1.0, 0.0, 2)
    advice = Advice((suggestion,), (), (), 1.0)
    line = EaseLine(Ease.PLAIN, 12.0, 3.0, 10, 0)
    report = json.loads(
        report_json(
            pattern, found, lower_bound=0.0, advice=advice, eases=(line,), further={"knots": {"tied": 3}}
        )
    )
    (told,) = report["suggestions"]
    assert (told["change"], told["made"], told["colour_error"]) == ("15 strands", 19, 1.0)
    assert report["eases"][0]["hand_overs"] == 0 and report["knots"] == {"tied": 3}


def test_mismatches_are_refused(band: tuple[Pattern, Feasibility]) -> None:
    pattern, found = band
    why = reasons(pattern, found, lower_bound=0.0)
    with pytest.raises(ValueError, match="reasons for"):
        report_json(pattern, found, lower_bound=0.0, reasons=why[1:])
    with pytest.raises(ValueError, match="already"):
        report_json(pattern, found, lower_bound=0.0, further={"made": 3})
