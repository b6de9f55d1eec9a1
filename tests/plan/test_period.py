"""A motif that repeats is planned once: every repeat is tied by the same knots and shows the same picture."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pipeline.band.knots import WORKED, Worked
from pipeline.band.replay import replay
from pipeline.design.placing import layout
from pipeline.drawer.stash import builtin_stash
from pipeline.order.asked import Band, Drawer, PictureSource, Request, Tying
from pipeline.plan import Plan, plan
from pipeline.report.make import report_of
from pipeline.routing import Budget, Ease
from pipeline.routing.extra import EARNED

SAMPLES = Path(__file__).parents[2] / "sample_images"


def planned(worked: Worked, wrist_mm: float, tying: Tying = Tying()) -> Plan:
    band = Band(strands=13, worked=worked, wrist_mm=wrist_mm, fill="repeat")
    drawer = Drawer(builtin_stash(), colours=3)
    picture = PictureSource(SAMPLES / "buoy.png")
    return plan(Request(picture, band, drawer, tying), budget=Budget(effort=0.02), further=False)


@pytest.mark.parametrize("worked", WORKED)
@pytest.mark.parametrize("ease", list(Ease))
def test_every_repeat_is_tied_alike(worked: Worked, ease: Ease) -> None:
    made = planned(worked, 160, Tying(ease=ease))
    repeat = made.design.repeat
    assert repeat is not None and made.period == repeat.rows and repeat.times >= 2
    assert report_of(made).period == repeat.rows
    rows = [row for section in made.pattern.sections for row in section.rows]
    shown = [[step.shown for step in row.steps] for row in replay(made.pattern)]
    for r in range(repeat.first, repeat.stop - repeat.rows):
        assert rows[r].knots == rows[r + repeat.rows].knots
        assert rows[r].wanted == rows[r + repeat.rows].wanted
        assert shown[r] == shown[r + repeat.rows]
    assert made.lower_bound <= made.verdict.colour_error + 1e-6
    assert made.fit is not None and len(rows) <= made.fit.rows


def test_a_starting_order_that_is_given_is_not_bound_to_come_back() -> None:
    made = planned("rows", 160)
    order = (made.design.threads[0].name, *("*" for _ in range(12)))
    given = planned("rows", 160, Tying(start_order=tuple(None if n == "*" else n for n in order)))
    assert given.period is None


@pytest.mark.parametrize("worked", WORKED)
def test_motifs_lie_whole_and_apart_and_their_rows_repeat(worked: Worked) -> None:
    step = 2 if worked == "diagonal" else 1
    for motif in range(1, 24):
        for rows in range(motif, 100):
            starts, repeat = layout(motif, rows, worked)
            assert len(starts) == max(1, rows // (motif + motif % step))
            assert starts[0] >= 0 and starts[-1] + motif <= rows
            assert all(start % step == 0 for start in starts)
            assert all(b - a >= motif for a, b in pairwise(starts))
            if repeat is None:
                continue
            cells = np.zeros(rows, dtype=int)
            for start in starts:
                cells[start : start + motif] = np.arange(1, motif + 1)
            assert repeat.rows % 2 == 0 and repeat.times >= 2 and repeat.stop <= rows
            again = cells[repeat.first : repeat.stop].reshape(repeat.times, repeat.rows)
            assert (again == again[0]).all()


@pytest.mark.parametrize("worked", WORKED)
def test_switching_rows_are_counted_and_never_go_beyond_the_wrist(worked: Worked) -> None:
    band = Band(strands=13, worked=worked, wrist_mm=150, fill="centre")
    drawer = Drawer(builtin_stash(), colours=4)
    picture = PictureSource(SAMPLES / "oar_crest.png")
    for fill in ("centre", "repeat"):
        made = plan(
            Request(picture, replace(band, fill=fill), drawer, Tying(switching_rows=24)),
            budget=Budget(effort=0.3), further=False,
        )  # fmt: skip
        rows = [row for section in made.pattern.sections for row in section.rows]
        assert made.fit is not None and len(rows) <= made.fit.rows
        assert made.verdict.switching_rows == len(rows) - made.design.kinds.shape[0] <= 24
        asked = sum(want is not None for row in rows for want in row.wanted)
        assert made.verdict.cells == asked
        errors = [point.colour_error for point in made.trade_off]
        assert made.trade_off[0].switching_rows == 0 and errors == sorted(errors, reverse=True)


def test_without_a_number_rows_are_added_only_where_they_earn_their_keep() -> None:
    made = planned("diagonal", 160, Tying(switching_rows=None))
    for fewer, more in pairwise(made.trade_off):
        gained, rows = (
            fewer.colour_error - more.colour_error,
            more.switching_rows - fewer.switching_rows,
        )
        assert gained >= EARNED * rows
