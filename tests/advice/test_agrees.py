"""Nothing in a report contradicts itself: random pictures, planned with all that is looked for further."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pipeline.drawer.stash import builtin_stash
from pipeline.literals import EASE_OF
from pipeline.order.asked import Band, Drawer, PictureSource, Request, Tying
from pipeline.plan import plan
from pipeline.report import Report, certificate, report_of, verdict
from pipeline.routing import Budget, Ease

COLOURS = ("#1b2a59", "#f4f1e8", "#c8202c", "#e0b040")
SEEDS = range(6)


def planned(seed: int, folder: Path, jobs: int = 1) -> Report:
    """The report of a random picture of blots, in either order, at any ease, with or without further rows."""
    rng = np.random.default_rng(seed)
    blots = rng.integers(0, len(COLOURS), (7, 6)).repeat(8, axis=0).repeat(8, axis=1)
    palette = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in COLOURS], np.uint8)
    path = folder / f"{seed}.png"
    Image.fromarray(palette[blots]).save(path)
    ease = tuple(Ease)[seed % 3]
    made = plan(
        Request(
            PictureSource(path, trim=False),
            Band(strands=9, rows=14, worked="diagonal" if seed % 4 == 3 else "rows", fill="none"),
            Drawer(builtin_stash(), colours=3),
            Tying(ease=ease, switching_rows=4 * (seed % 2)),
        ),
        budget=Budget(0.3, seed, jobs=jobs),
    )
    return report_of(made)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_was_computed_is_what_is_said(seed: int, tmp_path: Path) -> None:
    report = planned(seed, tmp_path)
    assert report.made + report.unmade == report.cells and len(report.unmade_cells) == report.unmade
    assert report.lower_bound <= report.colour_error
    assert report.proved_best == ("Proved best" in certificate(report))
    assert str(report.made) in verdict(report) or not report.unmade

    given = {line.ease: line for line in report.eases}
    errors = [line.colour_error for line in report.eases]
    assert errors == sorted(errors, reverse=True), "more hand-overs never make it worse"
    assert all(line.lower_bound <= line.colour_error for line in report.eases)
    present = given.get(tuple(Ease)[seed % 3].value)
    if present is not None and not report.switching_rows:
        assert (present.made, present.colour_error) == (report.made, report.colour_error)

    told = (*report.suggestions, *report.tried_without_gain)
    assert len({entry.change for entry in told}) == len(told), "nothing is said twice"
    for entry in told:
        assert entry.made <= entry.cells
        ease = next((e for word, e in EASE_OF.items() if word in entry.change), None)
        if entry.kind == "ease":
            assert ease is not None
            line = given[ease]
            assert (entry.made, entry.colour_error) == (line.made, line.colour_error)
    curve = [point.colour_error for point in report.trade_off]
    assert curve == sorted(curve, reverse=True)
    if report.trade_off and not report.joins:
        assert report.trade_off[-1].colour_error == pytest.approx(report.colour_error, abs=0.01)


def test_two_processes_say_what_one_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.plan.LONG_S", 0.0)
    assert planned(1, tmp_path, jobs=2) == planned(1, tmp_path)
