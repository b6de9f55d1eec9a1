"""A disk that fills up, or a folder that vanishes, in mid-writing: one sentence, nothing by halves."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FAULTS = """
import errno, os, shutil, sys, traceback
import ctypes, filecmp  # nothing may be imported after the count begins
from pathlib import Path
from pipeline.errors import OutputError
from pipeline.files.folder import write_result
from pipeline.files.single import write_file

what, place = sys.argv[1], Path(sys.argv[2])
KINDS = ("open", "os.mkdir", "os.rename", "os.link", "os.chmod")
FIRST, SECOND = {"pattern.json": "first"}, {"pattern.json": "second", "report.json": "two"}
OWN = {"notes.txt": "mine", "photo.png": "mine too"}
seen, limit = 0, None

def fault(event, arguments):
    global seen
    if limit is None or event not in KINDS:
        return
    if event == "open" and not (isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)):
        return
    seen += 1
    if what == "full" and seen >= limit:  # from here on nothing can be written
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    if what == "gone" and seen == limit:  # another program takes the folder away
        seen += 1000
        os.rename(parent, place / "away")

sys.addaudithook(fault)
outcomes = set()
for step in range(1, 60):
    parent = place / str(step)
    shutil.rmtree(place / "away", ignore_errors=True)
    write_result(parent / "band", FIRST)
    for name, text in OWN.items():
        (parent / "band" / name).write_text(text)
    write_file(parent / "stash.csv", "first")
    seen, limit = 0, step
    try:
        if step % 2:
            write_result(parent / "band", SECOND, replace=True)
        else:
            write_file(parent / "stash.csv", "second", replace=True)
        said = ""
    except OutputError as error:
        said = str(error)
    limit = None
    hidden = [p for p in parent.rglob(".*")] if parent.exists() else []
    assert not hidden, (step, hidden)  # what was being written may only go along with a folder taken away
    held, own = {}, {}
    for where in (place / "away", parent):
        band = where / "band"
        if band.exists():
            held = {p.name: p.read_text() for p in band.iterdir() if p.name != "written.json"}
            own |= {name: held.pop(name) for name in OWN if name in held}
            assert held in (FIRST, SECOND), (step, held)
        if (where / "stash.csv").exists():
            stash = (where / "stash.csv").read_text()
            assert stash in ("first", "second"), (step, stash)
    assert own == OWN, step
    assert said or held == SECOND or stash == "second", step
    if said:
        assert held == FIRST and stash == "first", step
    if what == "full":
        assert not said or "No space left" in said, said
    outcomes.add((step % 2, bool(said)))
print(sorted(outcomes))
"""
HITCHGRID = "import sys; from cli.main import run; run(sys.argv[1:])"


def run(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        words,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder), "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("what", ["full", "gone"])
def test_trouble_at_every_step_of_writing(tmp_path: Path, what: str) -> None:
    """The 1st, 2nd, 3rd … operation that writes is the one at which it happens."""
    script = tmp_path / "faults.py"
    script.write_text(FAULTS)
    (tmp_path / "place").mkdir()
    done = run([sys.executable, str(script), what, str(tmp_path / "place")], tmp_path)
    assert done.returncode == 0, done.stderr
    # both a result and a single file have been refused, and have gone through when the trouble came too late
    assert done.stdout.strip() == "[(0, False), (0, True), (1, False), (1, True)]"


def test_a_real_disk_that_is_full(tmp_path: Path) -> None:
    """A file system of 64 kB in memory; the result needs more."""
    inside = ["unshare", "--user", "--map-root-user", "--mount"]
    mount = "mount -t tmpfs -o size=64k none full"
    (tmp_path / "full").mkdir()
    if not shutil.which("unshare") or run([*inside, "bash", "-c", mount], tmp_path).returncode:
        pytest.skip("no file system can be made here")
    script = f'{mount} && "$@"; echo "exit $?: $(ls -A full)"'
    words = ("plan", "--letters", "I", "--strands", "8", "--rows", "8", "--no-advice", "--effort", "0.01")
    done = run(
        [
            *inside,
            "bash",
            "-c",
            script,
            "bash",
            sys.executable,
            "-c",
            HITCHGRID,
            *words,
            "-q",
            "--out",
            "full/band",
        ],
        tmp_path,
    )
    assert done.stdout == "exit 2: \n"
    assert done.stderr.startswith("hitchgrid: cannot write") and done.stderr.count("\n") == 1
