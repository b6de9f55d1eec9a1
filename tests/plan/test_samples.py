"""Every sample picture, in both orders, from file to files; the report is checked by a replay of its own.

The replay here reads nothing but the JSON text and knows the four knots from the format's description; the
colour error is recomputed with colour-science, a general reference library.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
from PIL import Image

from pipeline.band.pattern import render
from pipeline.band.reading import parse_pattern
from pipeline.bundle import TIMINGS, band_files
from pipeline.drawer.stash import builtin_stash, read_stash
from pipeline.instructions.compare import compare
from pipeline.instructions.text import write_instructions
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request, Tying
from pipeline.plan import Plan, plan
from pipeline.report import report_of
from pipeline.routing import Budget, Ease
from pipeline.writers.original import Original

SAMPLES = Path(__file__).parents[2] / "sample_images"
PICTURES = sorted(p for p in SAMPLES.iterdir() if p.suffix in (".png", ".svg") and p.stem != "cells")
QUICK = Budget(effort=0.02)


def replayed(text: str) -> dict[str, Any]:
    """Tie a pattern file knot by knot and count what its report has to say."""
    band = json.loads(text)
    threads = [np.array([int(t["colour"][i : i + 2], 16) for i in (1, 3, 5)]) for t in band["threads"]]
    lab = [
        colour.XYZ_to_Lab(
            colour.sRGB_to_XYZ(rgb / 255),
            colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"],
        )
        for rgb in threads
    ]
    hanging = list(band["strands"])
    cells = made = hand_overs = same = switching = 0
    error = 0.0
    unmade = []
    for s, section in enumerate(band["sections"]):
        switching += len(section["rows"]) if section["kind"] == "switching" else 0
        for r, row in enumerate(section["rows"]):
            for k, ((p, knot), wanted) in enumerate(zip(row["knots"], row["wanted"], strict=True)):
                left, right = hanging[p], hanging[p + 1]
                shown = left if knot in ("forward", "forward-backward") else right
                if knot in ("forward", "backward"):
                    hanging[p], hanging[p + 1] = right, left
                elif section["worked"] == "rows":
                    hand_overs += left != right
                    same += left == right
                if wanted is None:
                    continue
                cells += 1
                serves = shown == wanted or shown in (row["either"][k] if "either" in row else [])
                made += serves
                if "costs" in row:
                    assert min(row["costs"][k]) == row["costs"][k][wanted] == 0
                    error += row["costs"][k][shown]
                elif shown != wanted:
                    error += float(colour.delta_E(lab[wanted], lab[shown], method="CIE 2000"))
                if not serves:
                    unmade.append((s, r, k, wanted, shown))
    return {
        "cells": cells,
        "made": made,
        "unmade": cells - made,
        "colour_error": error,
        "hand_overs": hand_overs,
        "same_thread_hand_overs": same,
        "switching_rows": switching,
        "unmade_cells": unmade,
    }


def agrees(made: Plan) -> dict[str, Any]:
    """Check a plan's report against the replay of its pattern file, and that its instructions tie the band;
    return the report.
    """
    assert compare(write_instructions(made.pattern, made.cuts), made.pattern) == []
    text = render(made.pattern)
    assert render(parse_pattern(text)) == text
    report: dict[str, Any] = json.loads(report_of(made).json_text())
    counted = replayed(text)
    assert [
        (c["section"], c["row"], c["knot"], c["wanted"], c["shown"]) for c in report["unmade_cells"]
    ] == counted.pop("unmade_cells")
    error = counted.pop("colour_error")
    assert math.isclose(report["colour_error"], error, rel_tol=1e-3, abs_tol=1e-3)
    assert {key: report[key] for key in counted} == counted
    assert report["lower_bound"] <= report["colour_error"] + 1e-4
    assert report["proved_best"] == (report["colour_error"] - report["lower_bound"] <= 1e-3)
    return report


def test_there_are_samples_enough() -> None:
    assert len(PICTURES) >= 8


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
@pytest.mark.parametrize("path", PICTURES, ids=lambda path: path.stem)
def test_every_sample_in_both_orders(path: Path, worked: str) -> None:
    stash = read_stash(SAMPLES / "club_stash.csv")
    band = Band(strands=14, worked=worked, rows=20)  # type: ignore[arg-type]
    made = plan(Request(PictureSource(path), band, Drawer(stash)), budget=QUICK, further=False)
    report = agrees(made)
    assert report["cells"] == sum(len(row.knots) for _, _, _, row in made.pattern.rows())
    assert report["made"] > report["cells"] / 2
    assert {thread.name for thread in made.design.threads} <= set(stash.names)


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_two_thread_letters_are_made_completely(worked: str) -> None:
    band = Band(strands=17, worked=worked, wrist_mm=165.0)  # type: ignore[arg-type]
    made = plan(Request(LetterSource("RC"), band, Drawer(builtin_stash())), budget=QUICK, further=False)
    report = agrees(made)
    assert report["unmade"] == 0
    assert report["proved_best"]
    assert report["hand_overs"] == 0 or worked == "diagonal"


def test_switching_rows_joins_and_bounds_are_accounted_for() -> None:
    stash = read_stash(SAMPLES / "club_stash.csv")
    names = ("navy", "chalk", "signal red")
    tying = Tying(ease=Ease.FULL, switching_rows=6, at_most={"chalk": 2, "signal red": 2})
    band = Band(strands=12, worked="diagonal", rows=18)
    asked = Request(PictureSource(SAMPLES / "pennant.png"), band, Drawer(stash, names), tying)
    made = plan(asked, budget=QUICK, further=False)
    report = agrees(made)
    assert report["switching_rows"] <= 6
    counts = [made.pattern.threads[t].name for t in made.pattern.strands]
    assert counts.count("chalk") <= 2 and counts.count("signal red") <= 2
    errors = [point["colour_error"] for point in report["trade_off"]]
    assert errors == sorted(errors, reverse=True)
    assert report["trade_off"][0]["switching_rows"] == 0


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_left_handed_plans_show_the_same_picture_from_the_right_edge(worked: str) -> None:
    artwork, drawer = PictureSource(SAMPLES / "pennant.png"), Drawer(builtin_stash(), ("navy", "chalk"))
    band = Band(strands=13, worked=worked, rows=16)  # type: ignore[arg-type]
    right = plan(Request(artwork, band, drawer), budget=QUICK, further=False)
    left = plan(Request(artwork, replace(band, left_handed=True), drawer), budget=QUICK, further=False)
    agrees(left)
    assert left.verdict.complete
    rows = [dict(zip((p for p, _ in r.knots), r.wanted, strict=True)) for *_, r in left.pattern.rows()]
    assert all(left.design.wanted[r, p] == thread for r, row in enumerate(rows) for p, thread in row.items())
    assert (left.design.wanted == right.design.wanted).all()
    if worked == "rows":
        assert left.pattern.sections[0].rows[0].knots[0][0] == 11


def test_the_same_plan_gives_the_same_bytes() -> None:
    def files() -> dict[str, bytes | str]:
        made = plan(
            Request(PictureSource(SAMPLES / "buoy.png"), Band(strands=12, rows=14), Drawer(builtin_stash())),
            budget=QUICK,
        )
        original = Original(made.design.picture)
        return band_files(made.pattern, made.cuts, report_of(made), skeins=made.skeins, original=original)

    first = files()
    assert TIMINGS not in first
    assert files() == first
    assert set(first) >= {
        "pattern.json", "report.json", "report.html", "cut-list.csv", "chart.png", "preview.png",
        "instructions.txt", "worksheet.html", "sheet.pdf",
    }  # fmt: skip


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_the_narrowest_band(worked: str, tmp_path: Path) -> None:
    """Two strands: diagonal-worked, every other row has no pair to tie."""
    grid = np.array([[27, 42, 89]] * 5 + [[246, 243, 234]], dtype=np.uint8)[:, None]
    Image.fromarray(grid).save(tmp_path / "two.png")
    band = Band(worked=worked)  # type: ignore[arg-type]
    asked = Request(PictureSource(tmp_path / "two.png", grid=True), band, Drawer(builtin_stash()))
    made = plan(asked, budget=QUICK)
    report = agrees(made)
    assert report["made"] == report["cells"] == (6 if worked == "rows" else 3)
