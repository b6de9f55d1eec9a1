"""A band that cannot be finished is refused at once, with the size that can be."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from cli.main import run
from pipeline.band.example import two_rows
from pipeline.band.knots import Worked
from pipeline.band.pattern import render
from pipeline.design.design import design
from pipeline.design.model import Design
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import ImpossibleError
from pipeline.instructions.steps import steps
from pipeline.order.asked import Band, Drawer, PictureSource, Request
from pipeline.order.means import available_bytes, refuse_beyond_files, refuse_beyond_means
from pipeline.plan import plan
from pipeline.routing import Budget


@pytest.mark.parametrize("strands", [2, 24, 400])
@pytest.mark.parametrize("seconds", [0.6, 5.0, 60.0])
def test_the_size_that_is_offered_can_be_done_and_one_row_more_cannot(strands: int, seconds: float) -> None:
    def finishing_s(places: int) -> float:
        return 0.5 + 0.0012 * places

    rows = int((seconds - 0.5) / 0.0012 / strands) + 1
    with pytest.raises(ImpossibleError) as caught:
        refuse_beyond_means(rows, strands, seconds=seconds, finishing_s=finishing_s, memory=10**12)
    offered = re.match(r"(\d+) rows", caught.value.hint)
    if offered is None:
        assert caught.value.hint.startswith("Not even one")
    else:
        assert int(offered[1]) == rows - 1
        refuse_beyond_means(rows - 1, strands, seconds=seconds, finishing_s=finishing_s, memory=10**12)


def test_memory_is_looked_at_too() -> None:
    with pytest.raises(ImpossibleError, match=r"the 1\.0 GB of memory there are\. 312 rows of"):
        refuse_beyond_means(5000, 400, memory=10**9)
    with pytest.raises(
        ImpossibleError, match=r"the 80 MB of memory there are\. Not even one row can be done"
    ):
        refuse_beyond_means(5000, 400, memory=80_000_000)
    refuse_beyond_means(100, 24, memory=10**9)
    there = available_bytes()
    assert there is None or 0 < there < 2**60


def test_the_largest_band_in_a_short_time_is_refused_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.effect_noise((40, 100), 90).save(tmp_path / "noise.png")
    words = ("plan", str(tmp_path / "noise.png"), "--fit", "stretch", "--strands", "400", "--rows", "5000")
    began = time.process_time()
    with pytest.raises(SystemExit) as stop:
        run((*words, "--time-limit", "30", "--out", str(tmp_path / "band")))
    assert stop.value.code == 2
    assert re.search(r"5000 rows of 400 strands .* \d+ rows of so many", capsys.readouterr().err)
    assert time.process_time() - began < 10  # ten minutes, before
    assert not (tmp_path / "band").exists()


def test_where_drawing_took_the_time_the_rows_that_can_be_done_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Image.effect_noise((40, 100), 90).save(tmp_path / "noise.png")
    asked = Request(
        PictureSource(tmp_path / "noise.png", fit="stretch"),
        Band(strands=10, rows=50),
        Drawer(builtin_stash()),
    )
    clock = [0.0]

    def slow(*words: Any) -> Design:
        clock[0] += 40.0
        return design(*words)

    monkeypatch.setattr("pipeline.plan.design", slow)
    monkeypatch.setattr("pipeline.plan.time.monotonic", lambda: clock[0])
    with pytest.raises(ImpossibleError) as caught:  # 40 s drawn and 20 s to come, of 30 s and the grace
        plan(asked, budget=Budget(deadline=30.0), finishing_s=lambda places: 0.04 * places)
    assert caught.value.hint.startswith("27 rows")


@pytest.mark.parametrize(("deadline", "drawn_again"), [(70.0, False), (130.0, True)])
def test_advice_begins_no_drawing_that_would_end_late(
    deadline: float, drawn_again: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Drawing took 40 s; with 30 s left none is begun again, with 90 s two are."""
    Image.effect_noise((40, 100), 90).save(tmp_path / "noise.png")
    noise = PictureSource(tmp_path / "noise.png", fit="stretch")
    clock, drawings = [0.0], []

    def slow(*words: Any) -> Design:
        clock[0] += 40.0
        drawings.append(clock[0])
        return design(*words)

    for module in ("plan", "advice.changes"):
        monkeypatch.setattr(f"pipeline.{module}.design", slow)
    for name in ("monotonic", "perf_counter"):
        monkeypatch.setattr(f"pipeline.plan.time.{name}", lambda: clock[0])
    asked = Request(noise, Band(strands=10, rows=20), Drawer(builtin_stash()))
    made = plan(asked, budget=Budget(effort=0.01, deadline=deadline))
    assert made.advice is not None and made.advice.untried
    assert drawings == ([40.0, 80.0, 120.0] if drawn_again else [40.0])


@pytest.mark.parametrize(("worked", "rows"), [("rows", 127), ("diagonal", 255)])
def test_a_band_that_cannot_be_charted_and_told_is_refused_before_it_is_drawn(
    worked: Worked, rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 400 strands 50,000 knots can be told in words: 125 rows of 399, or twice as many of half."""
    Image.effect_noise((40, 100), 90).save(tmp_path / "noise.png")
    noise = PictureSource(tmp_path / "noise.png", fit="stretch")
    monkeypatch.setattr("pipeline.plan.design", None)  # not asked
    with pytest.raises(ImpossibleError, match=r"cannot be drawn and told") as caught:
        plan(Request(noise, Band(strands=400, rows=rows, worked=worked), Drawer(builtin_stash())))
    fit = 125 if worked == "rows" else 250
    assert caught.value.hint == f"Some {fit} of its {rows} rows can be done."
    refuse_beyond_files(fit, 125 * 399, 400)


def test_a_sheet_of_more_knots_than_a_chart_shows_is_refused_before_anything_is_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "pattern.json").write_text(render(two_rows()), encoding="utf-8")
    monkeypatch.setattr("pipeline.order.means.MOST_CHART_KNOTS", 4)
    monkeypatch.setattr("cli.draw._draw", None)  # not asked
    with pytest.raises(SystemExit) as stop:
        run(("draw", str(tmp_path / "pattern.json"), "--to", str(tmp_path / "sheet.pdf")))
    assert stop.value.code == 2
    assert re.search(r"knots cannot be drawn, 4 is the most.* of its 2 rows can", capsys.readouterr().err)
    assert not (tmp_path / "sheet.pdf").exists()


@pytest.mark.parametrize(
    "name", ["sheet.pdf", "handout.pdf", "worksheet.html", "instructions.txt", "spoken.txt"]
)
def test_words_for_too_many_knots_are_refused_before_anything_is_drawn(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "pattern.json").write_text(render(two_rows()), encoding="utf-8")
    monkeypatch.setattr("pipeline.order.means.MOST_SAID", 20)
    monkeypatch.setattr("cli.draw._draw", None)  # not asked
    with pytest.raises(SystemExit) as stop:
        run(("draw", str(tmp_path / "pattern.json"), "--to", str(tmp_path / name)))
    assert stop.value.code == 2
    assert re.search(r"too many to be put into words.* of its 2 rows can", capsys.readouterr().err)
    assert [path.name for path in tmp_path.iterdir()] == ["pattern.json"]


def test_instructions_of_too_many_knots_tell_the_rows_that_can_be_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    band = two_rows()
    knots = sum(len(row.knots) for section in band.sections for row in section.rows)
    monkeypatch.setattr("pipeline.order.means.MOST_SAID", knots * len(band.strands) - 1)
    with pytest.raises(ImpossibleError, match=r"too many to be put into words") as caught:
        steps(band)
    assert caught.value.hint == "Some 1 of its 2 rows can be done."
