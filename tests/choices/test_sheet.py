"""The sheet of bands: what is in its files, and what the command leaves behind."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import html5lib
import pytest
from PIL import Image

from cli.main import run
from pipeline.band.reading import read_pattern
from pipeline.choices.offers import Asked, Choice
from pipeline.choices.planning import plan_choice
from pipeline.choices.sheet import card_of, sheet
from pipeline.drawer.stash import parse_stash
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request, Tying
from pipeline.routing import Budget, Ease
from tests.writers.pages import check_page, tags_of

ROOT = Path(__file__).parents[2]
KEYS = {
    "key", "folder", "threads", "worked", "strands", "ease", "made", "cells", "likeness", "hand_overs",
    "switching_rows", "hours", "longest_mm", "command",
}  # fmt: skip
QUICK = ("--effort", "0.01", "--jobs", "1", "--strands", "10", "-q")


@pytest.fixture(scope="module")
def choices() -> list[Choice]:
    drawer = Drawer(parse_stash(b"name,colour,metres\nb>tar,#101010,8\nchalk,#f4f1e8,0.5\n", "d.csv"))
    along = Asked("along", Request(LetterSource("I"), Band(strands=8, rows=12), drawer, Tying()))
    across = Asked("across", along.request._replace(artwork=LetterSource("I", direction="across")))
    return [plan_choice(asked, Budget(0.01)) for asked in (along, across)]


def test_the_page_shows_every_band_with_its_figures_and_command(choices: list[Choice]) -> None:
    page = sheet("quay <script>", choices, 5)["choices.html"]
    assert isinstance(page, str)
    check_page(page, links=("along/band.png", "across/band.png"))
    cards = [attributes for tag, attributes in tags_of(page) if tag == "article"]
    assert {card["data-choice"] for card in cards} == {"along", "across"}
    assert {card["data-state"] for card in cards} == {"ready"}
    assert page.count("data:image/webp;base64,") == 2
    words = " ".join(html5lib.parse(page).itertext()).split()
    text = " ".join(words)
    for said in ("hitchgrid plan --letters I", "buy 1 skein", "Difficulty", "b>tar", "quay <script>"):
        assert said in text


def test_bands_that_differ_are_headed_so_and_name_threads_that_stayed_out(choices: list[Choice]) -> None:
    """A card says how many threads of those allowed its band uses; folder and command say these."""
    drawer = replace(choices[0].asked.request.drawer, colours=4)
    picture = PictureSource(ROOT / "sample_images" / "buoy.png")
    asked = Request(picture, Band(strands=8, rows=12), drawer, Tying(ease=Ease.PLAIN))
    eases = [asked._replace(tying=Tying(ease=ease)) for ease in Ease]
    cards = [card_of(replace(choices[0], asked=Asked("one", request))) for request in eases]
    assert [card.heading for card in cards] == [
        f"2 of 4 threads allowed, row-worked, 8 strands{said}"
        for said in (", no hand-overs", "", ", any hand-overs")
    ]
    assert all("--colours 4" in card.command for card in cards)


def test_while_bands_are_planned_the_page_loads_itself_again_and_leads_nowhere(choices: list[Choice]) -> None:
    files = sheet("quay", choices[:1], 1, waiting=3)
    page = files["choices.html"]
    assert isinstance(page, str) and list(files) == ["choices.html"]
    check_page(page)
    assert any(attributes.get("http-equiv") == "refresh" for _, attributes in tags_of(page))
    assert "3 more bands" in page


def test_the_picture_holds_all_bands(choices: list[Choice]) -> None:
    one, two = (sheet("quay", some, 2)["choices.png"] for some in (choices[:1], choices))
    assert isinstance(one, bytes) and isinstance(two, bytes)
    few, all_ = (Image.open(BytesIO(data)) for data in (one, two))
    assert all_.width * all_.height > few.width * few.height


def test_the_command_writes_a_sheet_a_list_and_a_folder_for_each(tmp_path: Path) -> None:
    out = tmp_path / "choices"
    with pytest.raises(SystemExit) as stop:
        run(("choices", "--letters", "I", "--out", str(out), *QUICK))
    assert stop.value.code == 0
    listed = json.loads((out / "choices.json").read_text())
    assert listed and all(set(entry) == KEYS for entry in listed)
    for entry in listed:
        folder = out / entry["folder"]
        pattern = read_pattern(folder / "pattern.json")
        report = json.loads((folder / "report.json").read_text())
        assert len(pattern.strands) == entry["strands"]
        assert (report["made"], report["cells"]) == (entry["made"], entry["cells"])
        assert (folder / "band.png").read_bytes()[:4] == b"\x89PNG"
    assert 'http-equiv="refresh"' not in (out / "choices.html").read_text()
    names = {path.name for path in out.iterdir()}
    assert names == {
        "choices.html",
        "choices.png",
        "choices.json",
        "written.json",
        *(e["folder"] for e in listed),
    }


def test_an_existing_sheet_needs_replace_and_other_files_are_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    for words in ((), ("--replace",)):
        with pytest.raises(SystemExit) as stop:
            run(("choices", "--letters", "I", "--out", str(tmp_path), *QUICK, *words))
        assert stop.value.code == 2 and "notes.txt" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


STRUCK = """
import os, signal, sys
import pipeline.choices.planning

plan = pipeline.choices.planning.plan_choice
def struck(asked, budget):
    made = plan(asked, budget)
    os.kill(os.getpid(), signal.SIGINT)
    return made

pipeline.choices.planning.plan_choice = struck
from cli.main import run
run(sys.argv[1:])
"""


def test_ctrl_c_ends_with_the_bands_that_are_there(tmp_path: Path) -> None:
    out = tmp_path / "choices"
    words = ("choices", "--letters", "I", "--out", str(out), *QUICK)
    done = subprocess.run(
        [sys.executable, "-c", STRUCK, *words], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert len(json.loads((out / "choices.json").read_text())) == 1


def test_workers_leave_ctrl_c_to_the_process_that_waits() -> None:
    code = (
        "import multiprocessing, signal; from pipeline.processes import _prepare;"
        "_prepare(multiprocessing.get_context('spawn').Event());"
        "assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN"
    )
    before = signal.getsignal(signal.SIGINT)
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)
    assert signal.getsignal(signal.SIGINT) is before
