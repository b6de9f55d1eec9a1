"""Edits of a list of threads: the cell that is meant, and not a byte more."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.main import run
from pipeline.band.pattern import render
from pipeline.drawer.ledger import _rows, with_changed, with_metres, with_threads
from pipeline.drawer.stash import parse_stash, read_stash, thread_of
from pipeline.errors import InputError
from tests.materials.bands import lettering

ODD = (
    "\ufeffnotes;Name;COLOR;meters;\r\n"
    "\r\n"
    '"gift; of ""Ada""";"navy";#1b2a59;"12,5";\r\n'
    ";;;;\r\n"
    "  loose skein ;cafe\u0301\u00a0au  lait ;#a07050; 8 ;\r\n"
    "last;chalk;#ffffff"
)
"""As a spreadsheet of another country leaves it: marks, quotes, blanks, a short row, an accent in parts."""


def test_metres_change_and_nothing_else() -> None:
    made = with_metres(ODD.encode(), "odd.csv", {"navy": 3.25, "caf\u00e9 au lait": 0.0, "chalk": 7})
    assert made.decode() == ODD.replace('"12,5"', "3,25").replace("; 8 ;", "; 0;").replace(
        "#ffffff", "#ffffff;7"
    )
    assert [t.metres for t in parse_stash(made, "odd.csv").threads] == [3.25, 0.0, 7.0]


def test_a_changed_thread_fills_up_a_row_that_ends_early() -> None:
    made = with_changed(ODD.encode(), "odd.csv", thread_of("chalk", "#f4f1e8", 6.5))
    assert made.decode() == ODD.replace("#ffffff", "#f4f1e8;6,5")


def test_threads_are_added_in_the_lists_own_manner() -> None:
    new = [thread_of("tar, old", "#111111", 2.5, preset="pearl cotton 5"), thread_of("coral", "#e0604a")]
    made = with_threads(ODD.encode(), "odd.csv", new)
    text = made.decode()
    assert text.startswith(ODD.split("\r\n")[0] + ";preset;skein_m\r\n")
    assert ODD.split("\r\n", 1)[1] in text and text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    assert parse_stash(made, "odd.csv").threads[-2:] == tuple(new)
    assert parse_stash(made, "odd.csv").threads[:3] == parse_stash(ODD.encode(), "odd.csv").threads


def test_a_palette_stays_a_palette() -> None:
    palette = b"GIMP Palette\r\nName: quay\r\n#\r\n 27  42  89\tnavy"
    made = with_threads(palette, "quay.gpl", [thread_of("coral", "#e0604a", 8)])
    assert made == palette + b"\r\n224  96  74\tcoral\r\n"


def test_a_thread_that_is_not_listed_is_said() -> None:
    with pytest.raises(InputError, match="no thread 'rope'"):
        with_metres(b"name,colour,metres\nnavy,#1b2a59,8\n", "d.csv", {"rope": 1.0})


@given(
    st.lists(st.lists(st.text('ab \u00e9",;\n\r\t', max_size=6), min_size=2, max_size=4), max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]),
)
def test_cells_are_those_of_the_csv_module(rows: list[list[str]], delimiter: str, quoting: int) -> None:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, quoting=quoting).writerows(rows)
    text = out.getvalue()
    try:
        expected = list(
            csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
        )
    except csv.Error:  # a blank before a quote means another thing to the reader than to the writer
        return
    found = _rows(text, delimiter)
    assert [[cell.text for cell in row] for row in found] == [r for r in expected if any(map(str.strip, r))]


def test_a_list_that_changed_while_the_question_waited_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    band, drawer = tmp_path / "pattern.json", tmp_path / "drawer.csv"
    band.write_text(render(lettering(strands=13, rows=20)))
    drawer.write_text("name,colour,metres\nharbour blue,#1b2a59,40\nchalk,#f4f1e8,20\n")
    edited = "name,colour,metres\nharbour blue,#1b2a59,99\nchalk,#f4f1e8,20\n"

    def edit_and_agree(question: str) -> bool:
        drawer.write_text(edited)
        return True

    monkeypatch.setattr("typer.confirm", edit_and_agree)
    with pytest.raises(SystemExit) as stop:
        run(("stash", str(drawer), "--book", str(band)))
    assert stop.value.code == 2 and "was changed meanwhile" in capsys.readouterr().err
    assert drawer.read_text() == edited
    assert {path.name for path in tmp_path.iterdir()} == {"pattern.json", "drawer.csv"}


def test_bookings_at_once_all_count_or_are_told(tmp_path: Path) -> None:
    band, drawer = tmp_path / "pattern.json", tmp_path / "drawer.csv"
    band.write_text(render(lettering(strands=13, rows=20)))
    drawer.write_text("name,colour,metres\nharbour blue,#1b2a59,400\nchalk,#f4f1e8,200\n")
    words = ("stash", str(drawer), "--book", str(band), "--yes")
    script = "import sys; from cli.main import run; run(sys.argv[1:])"
    runs = [
        subprocess.Popen([sys.executable, "-c", script, *words], stdout=-3, stderr=subprocess.PIPE)
        for _ in range(4)
    ]
    ends = [(run.communicate()[1], run.returncode) for run in runs]
    through = sum(code == 0 for _, code in ends)
    assert through and all(b"changed meanwhile" in said for said, code in ends if code)
    backups = [read_stash(path).threads[0].metres for path in tmp_path.glob("drawer.csv.before*")]
    assert len(set(backups)) == len(backups) == through
    each = 400 - max((m for m in backups if m is not None and m < 400), default=400)
    left = read_stash(drawer).threads[0].metres
    assert left is not None and left < 400
    assert through == 1 or left == pytest.approx(400 - each * through)
