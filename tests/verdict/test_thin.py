"""Thin strokes are looked for in the finished band: whole, broken and lost ones are told apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pipeline.band.pattern import Join, Pattern
from pipeline.colour import lab
from pipeline.design.features import Feature
from pipeline.drawer.stash import builtin_stash
from pipeline.literals import WORKED, Worked
from pipeline.order.asked import Band, Drawer, PictureSource, Request
from pipeline.plan import Plan, plan
from pipeline.report import report_of
from pipeline.report.words import likeness, thin_parts
from pipeline.verdict.feasibility import check
from pipeline.verdict.thin import unseen
from tests.drawings import CHALK, NAVY, Sheet

GOLD = (208, 152, 60)
GOLD_THREAD = {"name": "gold", "colour": "#d0983c"}
RED_THREAD = {"name": "red", "colour": "#c8202c"}


def planned(folder: Path, sheet: Sheet, worked: Worked = "rows", strands: int = 16) -> Plan:
    file = folder / "drawing.png"
    Image.fromarray(sheet.rgb()).save(file)
    band = Band(strands=strands, worked=worked, selvedge=0)
    return plan(
        Request(PictureSource(file, trim=False), band, Drawer(builtin_stash(), colours=2)), further=False
    )


def stroke(rows: int, cell: float) -> Feature:
    """A navy stroke on chalk, straight down."""
    down = np.arange(0, rows, 0.125) + 0.0625
    own, beside = (
        np.repeat(lab(np.array([ink], dtype=np.uint8)), len(down), axis=0) for ink in (NAVY, CHALK)
    )
    return Feature(np.stack([down, np.full(len(down), cell)], axis=-1), own, beside)


def ground_alone(pattern: Pattern, ground: str = "chalk") -> Pattern:
    """The same band hung in the ground's thread alone."""
    only = [thread.name for thread in pattern.threads].index(ground)
    return pattern.model_copy(update={"strands": (only,) * len(pattern.strands)})


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("at", [150.0, 155.0])
def test_a_mast_in_two_threads_is_whole_and_without_its_thread_lost(
    tmp_path: Path, worked: Worked, at: float
) -> None:
    """At 155 the mast runs along the border of cells."""
    made = planned(tmp_path, Sheet(300, 300).line([at, 40, at, 260], 8, NAVY), worked, strands=31)
    assert made.thin == ()
    assert made.design.features is not None
    features, copies = made.design.features.found, made.design.copies
    assert len(features) == 1 and copies == [(0, 0)]
    (lost,) = unseen(ground_alone(made.pattern), features, copies)
    assert (lost.state, lost.seen, made.pattern.threads[lost.thread or 0].name) == ("lost", 0.0, "navy")


def test_a_gap_is_told_with_its_place(tmp_path: Path) -> None:
    made = planned(tmp_path, Sheet(300, 300).box([150, 0, 170, 300], NAVY))
    rows = sum(len(section.rows) for section in made.pattern.sections)
    assert unseen(made.pattern, [stroke(rows, 8.0)], [(0, 0)]) == ()
    longer = stroke(rows, 8.0)
    away = np.where(longer.places[:, 0] < 3, 4.0, 0.0)  # its first rows lie where the band is chalk
    moved = replace(longer, places=longer.places + np.stack([np.zeros_like(away), away], axis=-1))
    (broken,) = unseen(made.pattern, [moved], [(0, 0)])
    assert (broken.what, broken.state, broken.rows, broken.positions) == (
        "stroke",
        "broken",
        (0, 2),
        (12, 12),
    )
    assert broken.seen == pytest.approx((rows - 3) / rows)


def test_each_copy_counts_and_the_worst_is_told(tmp_path: Path) -> None:
    made = planned(tmp_path, Sheet(300, 300).box([150, 0, 170, 300], NAVY))
    (lost,) = unseen(made.pattern, [stroke(3, 8.0)], [(0, 0), (4, -5), (8, 0)])
    assert (lost.state, lost.rows, lost.positions) == ("lost", (4, 6), (3, 3))


def test_the_report_says_what_is_lost_and_what_is_worth_trying(tmp_path: Path) -> None:
    made = planned(tmp_path, Sheet(300, 300).line([150, 40, 150, 260], 8, NAVY))
    assert made.design.features is not None
    alone = ground_alone(made.pattern)
    lost = replace(made, thin=unseen(alone, made.design.features.found, made.design.copies))
    report = report_of(lost)
    first, last = thin_parts(report)
    assert first.startswith("A stroke of the picture, in navy, is lost: rows ")
    assert last == "Worth trying: more --strands or the picture drawn bolder there."
    assert likeness(report).endswith(", but without thin parts of it.")
    assert thin_parts(report_of(made)) == []


def test_the_thread_that_is_nearest_is_named_not_the_first_that_stands_out(tmp_path: Path) -> None:
    made = planned(tmp_path, Sheet(300, 300).box([150, 0, 170, 300], NAVY))
    chalk = next(thread for thread in made.pattern.threads if thread.name == "chalk")
    red, gold = (chalk.model_copy(update=named) for named in (RED_THREAD, GOLD_THREAD))
    golden = stroke(3, 3.0)
    golden = replace(golden, own=np.repeat(lab(np.array([GOLD], dtype=np.uint8)), len(golden.own), axis=0))
    for threads in ((chalk, red, gold), (gold, red, chalk)):
        pattern = ground_alone(made.pattern.model_copy(update={"threads": threads}))
        (lost,) = unseen(pattern, [golden], [(0, 0)])
        assert lost.thread is not None and threads[lost.thread].name == "gold"


def test_the_threads_that_the_band_lacks_are_named_beside_how_it_looks(tmp_path: Path) -> None:
    made = planned(tmp_path, Sheet(300, 300).box([140, 0, 180, 300], NAVY))
    alone = ground_alone(made.pattern)
    report = report_of(replace(made, pattern=alone, verdict=check(alone)))
    assert [report.threads[thread] for thread in report.lacking_threads] == ["navy"]
    assert likeness(report).endswith(", but without its navy.")
    assert report_of(made).lacking_threads == ()
    navy = report.lacking_threads[0]
    joined = alone.model_copy(update={"joins": (Join(section=0, row=0, knot=0, thread=navy),)})
    assert report_of(replace(made, pattern=joined, verdict=check(joined))).lacking_threads == ()
