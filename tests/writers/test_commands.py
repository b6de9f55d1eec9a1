"""``hitchgrid draw`` and ``hitchgrid show`` as a user calls them."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest
import typer
from typer.testing import CliRunner

from cli import draw, show
from pipeline.band.handed import for_left_hand
from pipeline.band.pattern import render
from pipeline.band.reading import read_pattern
from pipeline.band.replay import replay
from pipeline.errors import InputError, OutputError
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import cut_list, cut_list_csv
from pipeline.report import report_of_pattern
from pipeline.verdict.feasibility import check
from pipeline.writers.chart import chart_svg
from pipeline.writers.preview import preview_png
from pipeline.writers.worksheet import worksheet_html
from tests.writers.bands import PENNANT, chequers, pennant, tiny

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


def test_left_handed_means_one_thing_in_every_output(tmp_path: Path) -> None:
    """Rows begin at the right edge, and the finished band shows the picture the right way round."""
    band, path = pennant(), tmp_path / "pattern.json"
    path.write_text(render(band), encoding="utf-8")
    left = for_left_hand(band)
    cuts = cut_list(left)
    made = {}
    outputs = "chart.svg preview.png sheet.pdf worksheet.html instructions.txt cut-list.csv"
    for name in outputs.split():
        run("draw", str(path), "--to", str(tmp_path / name), "--left-handed")
        made[name] = (tmp_path / name).read_bytes()
    assert made["preview.png"] == preview_png(band)  # the band as it is picked up
    assert made["chart.svg"].decode() == chart_svg(left)
    assert made["worksheet.html"].decode() == worksheet_html(left)
    assert made["instructions.txt"].decode() == write_instructions(left, cuts)
    assert made["cut-list.csv"].decode() == cut_list_csv(left, cuts)
    assert "Row 1, right to left" in made["instructions.txt"].decode()
    words = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made["sheet.pdf"])).pages)
    assert "Row 1, right to left" in words
    shown = [[s.shown for s in sorted(r.steps, key=lambda s: s.tied.position)] for r in replay(left)]
    picture = [[0 if cell == "#" else 1 for cell in line] for line in PENNANT]
    assert [row[::-1] for row in shown[::-1]][: len(picture)] == picture
    run("draw", str(path), "--to", str(tmp_path / "report.html"), "--left-handed")
    assert "Every one of the 56 cells" in (tmp_path / "report.html").read_text()
    path.write_text(render(left), encoding="utf-8")  # a band that begins at the right stays as it is
    run("draw", str(path), "--to", str(tmp_path / "again.svg"), "--left-handed")
    assert (tmp_path / "again.svg").read_text() == chart_svg(left)


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
    by_step = run("show", str(path), "--row", "6")
    assert re.match(r"Step \d+ of \d+ · plain, diagonal-worked · chart rows \d–6", by_step)
    third = " ".join(run("show", str(path), "--step", "3").split())
    assert third.startswith("Step 3 of") and "take the strand" in third and "Shows:" in third
    with pytest.raises(InputError, match="no step 99"):
        run("show", str(path), "--step", "99")


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
