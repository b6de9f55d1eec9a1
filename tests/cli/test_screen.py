"""What a maker reads in the terminal: words, and colours only where there are some."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from cli.console import progress
from pipeline.report import Report, looks
from pipeline.report.model import LikenessFound
from pipeline.report.words import LOOKS
from pipeline.verdict.likeness import WORDS

ROOT = Path(__file__).parents[2]
HITCHGRID = "import sys; from cli.main import run; run(sys.argv[1:])"


@pytest.fixture(scope="module")
def band(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("screen") / "band"
    words = ("plan", "sample_images/pennant.png", "--strands", "9", "--effort", "0.01", "--no-advice")
    shown(*words, "--out", str(folder))
    return folder


def shown(*words: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", HITCHGRID, *words],
        cwd=ROOT,
        env={**os.environ, "OMP_NUM_THREADS": "1", "TERM": "xterm-256color", **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def test_the_band_is_drawn_only_where_colours_are_seen(band: Path) -> None:
    words = ("check", str(band / "pattern.json"))
    assert "▀" not in shown(*words)
    assert "▀" in shown(*words, FORCE_COLOR="1")
    assert "▀" not in shown(*words, FORCE_COLOR="1", NO_COLOR="1")


def test_a_plan_is_summed_up_in_words(band: Path) -> None:
    words = ("plan", "sample_images/pennant.png", "--strands", "9", "--effort", "0.01", "--no-advice")
    said = " ".join(shown(*words, "--replace", "--out", str(band)).split())
    report = json.loads((band / "report.json").read_text())
    assert LOOKS[report["likeness"]["words"]].removesuffix(".") in said
    assert "No wrist was given" in said and "room at the wrist" in said and "knotted" in said
    for word in ("colour error", "bound", "CIEDE", "ease"):
        assert word not in said
    assert "▀" not in said


def test_every_word_for_likeness_has_its_sentence() -> None:
    words = {*(word for _, word in WORDS), "loose"}
    assert set(LOOKS) == words
    for word in words:
        found = LikenessFound(ciede2000=1.0, hyab=2.0, ssim=0.5, words=word)
        assert looks(Report(cells=1, made=1, unmade=0, colour_error=0, likeness=found)) == [LOOKS[word]]
    assert looks(Report(cells=1, made=1, unmade=0, colour_error=0)) == []


@pytest.mark.parametrize(
    ("first", "cost", "bound", "said"),
    [
        (0.0, float("inf"), 0.0, "looking for a first band"),
        (100.0, 100.0, 0.0, "looking for a closer band"),
        (100.0, 40.0, 0.0, "60 % closer than at first"),
        (100.0, 0.0, 0.0, "as close as can be"),
    ],
)
def test_progress_is_told_in_words(first: float, cost: float, bound: float, said: str) -> None:
    assert progress(first, cost, bound) == said
