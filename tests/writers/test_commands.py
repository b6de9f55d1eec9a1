"""``hitchgrid draw`` and ``hitchgrid show`` as a user calls them."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from cli import draw, show
from pipeline.band.pattern import read_pattern, render
from pipeline.errors import InputError, OutputError
from pipeline.report import report_of_pattern
from pipeline.verdict.feasibility import check
from tests.writers.bands import chequers, pennant, tiny

app = typer.Typer()
app.command("draw")(draw.command)
app.command("show")(show.command)


def run(*arguments: str) -> str:
    result = CliRunner().invoke(app, list(arguments), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def band(tmp_path: Path) -> Path:
    path = tmp_path / "pattern.json"
    path.write_text(render(tiny()), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("chart.png", b"\x89PNG"), ("preview.png", b"\x89PNG"), ("band.svg", b"<?xml"),
        ("sheet.pdf", b"%PDF"), ("chart.pdf", b"%PDF"), ("worksheet.html", b"<!DOCTYPE html>"),
        ("report.html", b"<!DOCTYPE html>"), ("instructions.txt", b"Tiny band"),
        ("cut-list.csv", b"position,thread"),
    ],
)  # fmt: skip
def test_draw_writes_each_output(name: str, begins: bytes, band: Path, tmp_path: Path) -> None:
    run("draw", str(band), "--to", str(tmp_path / name))
    assert (tmp_path / name).read_bytes().startswith(begins)


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("x.png", "chart"), ("my-preview.PNG", "preview"), ("x.pdf", "sheet"), ("chart-a4.pdf", "chart"),
        ("x.html", "worksheet"), ("report.html", "report"), ("worksheet.html", "worksheet"),
    ],
)  # fmt: skip
def test_the_name_tells_what_is_drawn(name: str, what: str) -> None:
    assert draw.choose(Path(name), None).value == what


def test_what_cannot_be_drawn_is_refused(band: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no ending"):
        run("draw", str(band), "--to", str(tmp_path / "band.docx"))
    with pytest.raises(InputError, match=r"a preview cannot be a \.svg"):
        run("draw", str(band), "--to", str(tmp_path / "a.svg"), "--what", "preview")
    (tmp_path / "a.svg").write_text("mine")
    with pytest.raises(OutputError, match="exists"):
        run("draw", str(band), "--to", str(tmp_path / "a.svg"))
    run("draw", str(band), "--to", str(tmp_path / "a.svg"), "--replace")
    assert (tmp_path / "a.svg").read_text().startswith("<?xml")


def test_the_report_beside_the_pattern_is_used_if_it_is_whole_and_for_it(band: Path, tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    pattern = read_pattern(band)
    report = report_of_pattern(pattern, check(pattern), notes=("of this band",))
    foreign = report_of_pattern(pennant(), check(pennant()), notes=("of another band",)).json_text()
    for text, told in (
        (report.json_text(), ""),
        (foreign, "report.json is the report of another band"),
        (report.json_text()[:200], "not JSON"),
        (report.json_text().replace('"wanted": ', '"wanted": -'), "unmade_cells[0].wanted is wrong"),
    ):
        (tmp_path / "report.json").write_text(text)
        said = CliRunner().invoke(app, ["draw", str(band), "--to", str(page), "--replace"]).stderr
        assert told in said and said.count("\n") == bool(told)
        assert ("of this band" in page.read_text()) == (not told)
        assert "of another band" not in page.read_text()


def test_left_handed_chart_is_another_chart(band: Path, tmp_path: Path) -> None:
    run("draw", str(band), "--to", str(tmp_path / "a.svg"))
    run("draw", str(band), "--to", str(tmp_path / "b.svg"), "--left-handed")
    assert (tmp_path / "a.svg").read_text() != (tmp_path / "b.svg").read_text()


def test_show_prints_one_row_or_all(tmp_path: Path) -> None:
    path = tmp_path / "pattern.json"
    path.write_text(render(pennant()), encoding="utf-8")
    one = run("show", str(path), "--row", "2")
    assert one.startswith("Row 2 of 8 · picture, row-worked")
    assert "then ties over the next (column 4)" in " ".join(one.split())
    assert "deep water" in one and "sailcloth" in one
    every = run("show", str(path))
    assert [f"Row {r} of 8" in every for r in range(1, 10)] == [True] * 8 + [False]
    path.write_text(render(chequers("diagonal")), encoding="utf-8")
    assert "Row 6 of 6 · plain, diagonal-worked" in run("show", str(path), "--row", "6")


def test_show_refuses_rows_that_are_not_there(band: Path) -> None:
    with pytest.raises(InputError, match="Choose a row from 1 to 4"):
        run("show", str(band), "--row", "5")


def test_show_pages_with_keys_in_a_terminal(tmp_path: Path) -> None:
    """A pseudo-terminal: two rows on, one back, to the end, and out."""
    pty = pytest.importorskip("pty")
    import os
    import select
    import subprocess
    import sys
    import time

    path = tmp_path / "pattern.json"
    path.write_text(render(pennant()), encoding="utf-8")
    ours, theirs = pty.openpty()
    code = f"from pathlib import Path; from cli.show import command; command(Path({str(path)!r}))"
    child = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm"},
    )
    os.close(theirs)
    seen = b""

    def wait_for(words: bytes) -> None:
        nonlocal seen
        seen, until = b"", time.monotonic() + 20
        while words not in seen and time.monotonic() < until:
            if select.select([ours], [], [], 0.2)[0]:
                seen += os.read(ours, 65536)
        assert words in seen, seen[-2000:]

    wait_for(b"Row 1")
    for key, words in (
        (b"\r", b"Row 2"),
        (b"\x1b[B", b"Row 3"),
        (b"\x1b[A", b"Row 2"),
        (b"\x1b[F", b"Row 8"),
    ):
        os.write(ours, key)
        wait_for(words)
    os.write(ours, b"q")
    assert child.wait(timeout=20) == 0
    os.close(ours)
