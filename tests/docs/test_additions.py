"""What a contributor is told about additions is true, and an output that is added is told everywhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cli.draw import OUTPUTS
from pipeline.band.example import two_rows
from pipeline.bundle import band_files
from pipeline.materials.lengths import cut_list
from pipeline.report import report_of_pattern
from pipeline.verdict.feasibility import check

ROOT = Path(__file__).parents[2]
CODE = {".py", ".html", ".css", ".js"}


def named(word: str, path: Path) -> bool:
    return re.search(rf"\b{word}\b", path.read_text(encoding="utf-8")) is not None


@pytest.mark.parametrize("example", ["braid", "cut-list"])
def test_the_files_of_an_addition_are_those_of_the_example(example: str) -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    row = next(line for line in page.splitlines() if line.startswith("| ") and f"(`{example}`)" in line)
    told = set(re.findall(r"`([^`]+)`", row)) - {example}
    modules = [p for room in ("pipeline", "cli") for p in (ROOT / room).rglob("*.*") if p.suffix in CODE]
    code = {str(path.relative_to(ROOT)) for path in modules if named(example, path)}
    assert {name for name in told if not name.endswith(".md")} == code
    assert all(named(example, ROOT / name) for name in told)


def test_every_file_of_a_result_is_told_of_and_can_be_drawn_again() -> None:
    band = two_rows()
    files = band_files(band, cut_list(band), report_of_pattern(band, check(band)))
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    table = page.partition("## What is in a result")[2].partition("##")[0]
    assert set(re.findall(r"`([a-z-]+\.[a-z]+)`", table)) == files.keys()
    drawn = {f"{what}{ending}" for ending, can in OUTPUTS.items() for what in can}
    assert files.keys() - drawn == {"pattern.json", "report.json"}, "the two that everything is drawn from"
