"""Results appear whole or not at all, and a former result is never harmed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.errors import OutputError
from pipeline.files.folder import check_target, folder_name, write_result
from pipeline.files.single import write_file

FIRST = {"pattern.json": "first", "report.json": "one", "chart.png": b"\x89first"}
SECOND = {"pattern.json": "second", "report.json": "two"}


def read(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


def as_bytes(files: dict[str, str | bytes]) -> dict[str, bytes]:
    return {name: c.encode() if isinstance(c, str) else c for name, c in sorted(files.items())}


def test_a_result_is_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    write_result(tmp_path / "a" / "band", FIRST)
    assert read(tmp_path / "a" / "band") == as_bytes(FIRST)
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["band"]


def test_a_former_result_is_refused_and_replaced_only_when_asked(tmp_path: Path) -> None:
    write_result(tmp_path / "band", FIRST)
    with pytest.raises(OutputError, match=r"already holds a result.*--replace"):
        write_result(tmp_path / "band", SECOND)
    assert read(tmp_path / "band") == as_bytes(FIRST)
    write_result(tmp_path / "band", SECOND, replace=True)
    assert read(tmp_path / "band") == as_bytes(SECOND)
    assert [p.name for p in tmp_path.iterdir()] == ["band"]


def test_a_makers_own_notes_stay(tmp_path: Path) -> None:
    write_result(tmp_path / "band", FIRST)
    (tmp_path / "band" / "My notes.md").write_text("loosen row 12")
    (tmp_path / "band" / "photos").mkdir()
    (tmp_path / "band" / "photos" / "one.jpg").write_bytes(b"jpg")
    write_result(tmp_path / "band", SECOND, replace=True)
    assert (tmp_path / "band" / "My notes.md").read_text() == "loosen row 12"
    assert (tmp_path / "band" / "photos" / "one.jpg").read_bytes() == b"jpg"


@pytest.mark.parametrize("prepare", ["file", "link", "other files"])
def test_targets_that_are_no_result_folder_are_refused(tmp_path: Path, prepare: str) -> None:
    target = tmp_path / "band"
    if prepare == "file":
        target.write_text("a letter")
    elif prepare == "link":
        (tmp_path / "real").mkdir()
        target.symlink_to(tmp_path / "real")
    else:
        target.mkdir()
        (target / "thesis.txt").write_text("years of work")
    before = target.read_text() if prepare == "file" else sorted(p.name for p in target.iterdir())
    for replace in (False, True):
        with pytest.raises(OutputError, match="--out"):
            write_result(target, FIRST, replace=replace)
    assert (target.read_text() if prepare == "file" else sorted(p.name for p in target.iterdir())) == before


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "band").mkdir()
    write_result(tmp_path / "band", FIRST)
    assert read(tmp_path / "band") == as_bytes(FIRST)


def test_a_parent_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter").write_text("")
    with pytest.raises(OutputError, match="cannot write"):
        check_target(tmp_path / "letter" / "band", replace=False)


@pytest.mark.parametrize("name", ["../escape.json", "/etc/x", ".hidden", "a/b"])
def test_names_that_leave_the_folder_are_a_fault(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="plain file name"):
        write_result(tmp_path / "band", {name: ""})
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "title", ["../../etc/passwd", "", "★★★", "a" * 500, "CON\x00\u202e", "/", "Ölzeug & Co"]
)
def test_folder_names_stay_in_their_parent(title: str) -> None:
    name = folder_name(title)
    assert name == Path(name).name
    assert name not in ("", ".", "..")
    assert len(name) <= 60
    assert name.isascii()


def test_a_single_file_is_written_whole(tmp_path: Path) -> None:
    write_file(tmp_path / "chart.svg", "<svg/>")
    with pytest.raises(OutputError, match=r"exists.*--replace"):
        write_file(tmp_path / "chart.svg", "<new/>")
    write_file(tmp_path / "chart.svg", "<new/>", replace=True)
    assert (tmp_path / "chart.svg").read_text() == "<new/>"
    assert [p.name for p in tmp_path.iterdir()] == ["chart.svg"]


KILLED = """
import os, sys
from pathlib import Path
from pipeline.files.folder import write_result
import shutil, tempfile, ctypes  # nothing may be imported after the count begins
limit, target, seen = int(sys.argv[1]), Path(sys.argv[2]), 0
KINDS = ("open", "os.", "shutil.", "tempfile.", "ctypes.")
def count(event, arguments):
    global seen
    if event.startswith(KINDS):
        seen += 1
        if seen == limit:
            os._exit(9)
sys.addaudithook(count)
write_result(target, {"pattern.json": "second", "report.json": "two"}, replace=True)
"""


def test_killed_at_every_file_operation_one_whole_result_is_there(tmp_path: Path) -> None:
    """The process dies at its 1st, 2nd, 3rd … operation on files, until it gets through."""
    script = tmp_path / "killed.py"
    script.write_text(KILLED)
    seen = set()
    for limit in range(1, 400):
        parent = tmp_path / str(limit)
        write_result(parent / "band", FIRST)
        done = subprocess.run(
            [sys.executable, str(script), str(limit), str(parent / "band")],
            check=False,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        )
        found = read(parent / "band")
        assert found in (as_bytes(FIRST), as_bytes(SECOND)), f"killed at operation {limit}"
        seen.add(found == as_bytes(SECOND))
        if done.returncode == 0:
            break
        assert done.returncode == 9
    else:
        pytest.fail("the write never got through")
    assert limit > 10
    assert seen == {False, True}
