"""Results appear whole or not at all, and a former result is never harmed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.errors import OutputError
from pipeline.files import folder
from pipeline.files.collection import claimed
from pipeline.files.folder import check_target, folder_name, write_result
from pipeline.files.single import ChangedError, edit_file, write_file

FIRST = {"pattern.json": "first", "report.json": "one", "chart.png": b"\x89first"}
SECOND = {"pattern.json": "second", "report.json": "two"}
OWN = {
    "My notes.md": b"loosen row 12",
    "notes.txt": b"ask the cox",
    "stash.csv": b"name,colour,metres\nnavy,#1b2a59,8\n",
    "photo.png": b"\x89a photo",
    "my-design.json": b"{}",
    "photos/one.jpg": b"jpg",
    "photos/deep/two.jpg": b"jpg too",
}
"""A maker's own files, some by names such as results have."""


def read(folder: Path) -> dict[str, bytes]:
    """The files of a result without its manifest."""
    found = {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}
    found.pop("written.json", None)
    return found


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


def lay(folder: Path, files: dict[str, bytes] = OWN) -> None:
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def whole(folder: Path) -> dict[str, bytes]:
    """Every file in the folder and below by its path."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_makers_own_files_stay(tmp_path: Path) -> None:
    band = tmp_path / "band"
    write_result(band, FIRST)
    lay(band)
    (band / "photos" / "today").symlink_to("one.jpg")
    os.mkfifo(band / "pipe")
    assert write_result(band, SECOND, replace=True) == []
    found = whole(band)
    found.pop("written.json")
    assert (band / "photos" / "today").is_symlink() and (band / "pipe").is_fifo()
    found.pop("photos/today")
    assert found == {**OWN, **as_bytes(SECOND)}
    assert [p.name for p in tmp_path.iterdir()] == ["band"]


def test_what_the_maker_changed_or_laid_in_the_way_is_kept_and_said(tmp_path: Path) -> None:
    band = tmp_path / "band"
    write_result(band, {"pattern.json": "1", "chart.png": "1", "gone.txt": "1"})
    (band / "chart.png").write_text("painted over")
    (band / "gone.txt").write_text("with my remarks")
    (band / "sheet.pdf").write_text("scanned with pencil marks")
    (band / "chart-kept.png").write_text("an older one")
    said = write_result(band, {"pattern.json": "2", "chart.png": "2", "sheet.pdf": "2"}, replace=True)
    assert said == [
        "chart.png was changed since it was written; it is kept as chart-kept-2.png.",
        "sheet.pdf was in the way; it is kept as sheet-kept.pdf.",
    ]
    assert {name: text.decode() for name, text in read(band).items()} == {
        "pattern.json": "2",
        "chart.png": "2",
        "sheet.pdf": "2",
        "chart-kept.png": "an older one",
        "chart-kept-2.png": "painted over",
        "sheet-kept.pdf": "scanned with pencil marks",
        "gone.txt": "with my remarks",
    }


@pytest.mark.parametrize("manifest", [None, b"", b"[]", b'{"format": "other"}', b"[" * 9999])
def test_a_folder_without_our_manifest_is_the_makers(tmp_path: Path, manifest: bytes | None) -> None:
    lay(tmp_path / "band", {"pattern.json": b"mine", "report.json": b"mine"})
    if manifest is not None:
        (tmp_path / "band" / "written.json").write_bytes(manifest)
    before = whole(tmp_path)
    with pytest.raises(OutputError, match="did not write"):
        write_result(tmp_path / "band", FIRST, replace=True)
    assert whole(tmp_path) == before


def test_files_that_appear_while_the_folders_are_exchanged_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    band = tmp_path / "band"
    write_result(band, FIRST)
    lay(band)

    def exchange_late(one: Path, other: Path) -> bool:
        (band / "late.txt").write_text("came late")
        (band / "notes.txt").unlink()
        (band / "notes.txt").write_text("saved again")
        (band / "photos" / "late.jpg").write_text("another")
        (band / "report.json").write_text("changed at the last moment")
        return folder.lock_exchange(one, other)

    monkeypatch.setattr(folder, "lock_exchange", folder.exchange, raising=False)
    monkeypatch.setattr(folder, "exchange", exchange_late)
    said = write_result(band, SECOND, replace=True)
    found = whole(band)
    assert found["late.txt"] == b"came late"
    assert found["photos/late.jpg"] == b"another"
    assert b"saved again" in found.values() and b"ask the cox" in found.values()
    assert found["report-kept.json"] == b"changed at the last moment" and len(said) == 2
    assert {name: found[name] for name in SECOND} == as_bytes(SECOND)
    assert [p.name for p in tmp_path.iterdir()] == ["band"]


def test_inputs_are_never_outputs(tmp_path: Path) -> None:
    band = tmp_path / "band"
    write_result(band, FIRST)
    (tmp_path / "link.png").symlink_to(band / "chart.png")
    for read_too in (band / "chart.png", tmp_path / "link.png"):
        with pytest.raises(OutputError, match="what this run reads"):
            write_result(band, SECOND, replace=True, inputs=[None, read_too])
        with pytest.raises(OutputError, match="what this run reads"):
            write_file(band / "chart.png", "new", replace=True, inputs=[read_too])
    assert read(band) == as_bytes(FIRST)


def test_the_slower_of_two_runs_is_told(tmp_path: Path) -> None:
    band = tmp_path / "band"
    seen = check_target(band, replace=True)
    write_result(band, FIRST)
    with pytest.raises(OutputError, match="another run wrote"):
        write_result(band, SECOND, replace=True, since=seen)
    with pytest.raises(OutputError, match="already holds a result"):
        write_result(band, SECOND)
    assert read(band) == as_bytes(FIRST)
    assert [p.name for p in tmp_path.iterdir()] == ["band"]


def test_many_runs_into_one_new_folder_at_once(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from pipeline.files.folder import write_result\n"
        "write_result(Path('band'), {f'{n}.txt': sys.argv[1] for n in range(40)})"
    )
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", script, str(n)], cwd=tmp_path, env=environment, stderr=subprocess.PIPE
        )
        for n in range(4)
    ]
    ends = [(run.communicate()[1], run.returncode) for run in runs]
    assert sum(code == 0 for _, code in ends) == 1
    assert all(b"already holds a result" in said for said, code in ends if code)
    assert len(read(tmp_path / "band")) == 40 and len(set(read(tmp_path / "band").values())) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["band"]


def test_the_folder_one_is_in_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "band").mkdir()
    monkeypatch.chdir(tmp_path / "band")
    with pytest.raises(OutputError, match="the folder you are in"):
        write_result(Path(), FIRST)


@pytest.mark.parametrize("mask", [0o022, 0o077, 0o002])
def test_the_umask_holds(tmp_path: Path, mask: int) -> None:
    before = os.umask(mask)
    try:
        write_result(tmp_path / "band", FIRST)
        write_file(tmp_path / "chart.svg", "<svg/>")
    finally:
        os.umask(before)
    for path in (*(tmp_path / "band").iterdir(), tmp_path / "chart.svg"):
        assert path.stat().st_mode & 0o777 == 0o666 & ~mask
    assert (tmp_path / "band").stat().st_mode & 0o777 == 0o777 & ~mask


def test_an_edit_keeps_link_rights_and_every_backup(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    real = tmp_path / "far" / "drawer.csv"
    real.write_bytes(b"1")
    real.chmod(0o640)
    link = tmp_path / "stash.csv"
    link.symlink_to(real)
    assert edit_file(link, b"2", expected=b"1") == real.with_name("drawer.csv.before")
    assert edit_file(link, b"3", expected=b"2") == real.with_name("drawer.csv.before-2")
    with pytest.raises(ChangedError, match="changed meanwhile"):
        edit_file(link, b"4", expected=b"2")
    assert link.is_symlink() and real.stat().st_mode & 0o777 == 0o640
    assert whole(tmp_path / "far") == {
        "drawer.csv": b"3",
        "drawer.csv.before": b"1",
        "drawer.csv.before-2": b"2",
    }


@pytest.mark.parametrize("kind", ["fifo", "folder", "circle", "nowhere", "device"])
def test_what_is_no_plain_file_is_never_written_over(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "x.svg"
    if kind == "fifo":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to({"circle": path, "nowhere": "gone", "device": "/dev/null"}[kind])
    before = path.lstat().st_mode
    with pytest.raises(OutputError, match=r"cannot write|not a plain file|leads nowhere"):
        write_file(path, "<svg/>", replace=True)
    assert path.lstat().st_mode == before and [p.name for p in tmp_path.iterdir()] == ["x.svg"]


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
import ctypes, filecmp, shutil  # nothing may be imported after the count begins
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
    for limit in range(1, 600):
        parent = tmp_path / str(limit)
        write_result(parent / "band", FIRST)
        lay(parent / "band")
        (parent / "band" / "chart.png").write_bytes(b"painted over")
        done = subprocess.run(
            [sys.executable, str(script), str(limit), str(parent / "band")],
            check=False,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        )
        found = read(parent / "band")
        found = {name: found[name] for name in ("pattern.json", "report.json")}
        assert found in ({n: as_bytes(FIRST)[n] for n in found}, as_bytes(SECOND)), f"killed at {limit}"
        seen.add(found == as_bytes(SECOND))
        write_result(parent / "band", SECOND, replace=True)  # settles what was left behind
        kept = whole(parent / "band")
        assert OWN.items() <= kept.items() and b"painted over" in kept.values(), f"killed at {limit}"
        assert [path.name for path in parent.iterdir()] == ["band"]
        if done.returncode == 0:
            break
        assert done.returncode == 9
    else:
        pytest.fail("the write never got through")
    assert limit > 10
    assert seen == {False, True}


@pytest.mark.parametrize("name", ["\0", "a/\0/b", "\ud800", "n" * 300, "n/" * 3000, "file/x", "circle/x"])
def test_a_folder_that_cannot_be_is_refused_before_anything_is_planned(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    with pytest.raises(OutputError):
        check_target(tmp_path / name, replace=False)
    with pytest.raises(OutputError), claimed(tmp_path / name, (), ()):
        pass
    assert {path.name for path in tmp_path.iterdir()} == {"file", "circle"}
