"""What goes on around a command: closed streams, a folder that is gone or fills up, Ctrl-C at any moment."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from PIL import Image

from pipeline.band.pattern import render
from tests.materials.bands import lettering

ROOT = Path(__file__).parents[2]
ENTRY = "import os; from cli.entry import run; os.write(1, b'up') if os.environ.get('UP') else 0; run()"
PLAN = ("plan", "flag.png", "--grid", "--no-advice", "--effort", "0.01")


def start(
    folder: Path, *words: str, shell: str = "", up: str = "", **options: object
) -> subprocess.Popen[bytes]:
    """Start the command in ``folder``; with ``UP`` it says so on its output when Python runs."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "HOME": str(folder),
        "OMP_NUM_THREADS": "1",
        "UP": up,
    }
    return subprocess.Popen(
        ["bash", "-c", f'exec "$@" {shell}', "bash", sys.executable, "-c", ENTRY, *words],
        **{"cwd": folder, "env": environment, "stdout": -1, "stderr": -1, "stdin": -3, **options},  # type: ignore
    )


def end(run: subprocess.Popen[bytes]) -> tuple[int, str]:
    said = run.communicate(timeout=300)[1].decode()
    assert "Traceback" not in said, said
    return run.returncode, said


@pytest.fixture
def place(tmp_path: Path) -> Path:
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(tmp_path / "flag.png")
    (tmp_path / "p.json").write_text(render(lettering(strands=13, rows=20)))
    (tmp_path / "s.csv").write_text("name,colour,metres\nharbour blue,#1b2a59,400\nchalk,#f4f1e8,200\n")
    return tmp_path


def test_a_closed_input_is_an_unanswered_question(place: Path) -> None:
    before = (place / "s.csv").read_bytes()
    code, said = end(start(place, "stash", "s.csv", "--book", "p.json", shell="<&-"))
    assert code == 2 and said.count("\n") == 1 and "nothing was written" in said
    assert (place / "s.csv").read_bytes() == before


def test_nothing_printed_ends_in_a_file_when_the_output_is_closed(place: Path) -> None:
    """A file opened where standard output was would be written over by what is printed."""
    code, _ = end(start(place, "stash", "s.csv", "--book", "p.json", "--yes", shell="<&- >&- 2>&-"))
    assert code == 0
    assert (place / "s.csv").read_text().startswith("name,colour,metres\nharbour blue,#1b2a59,3")
    assert (place / "s.csv").read_text().count("\n") == 3
    assert end(start(place, *PLAN, "--out", "band", shell=">&-"))[0] == 0
    assert (place / "band" / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    "words", [(*PLAN, "--out", "band"), ("stash",), ("check", "p.json"), ("batch", "o.csv")]
)
def test_a_working_folder_that_is_gone(place: Path, words: tuple[str, ...]) -> None:
    (place / "gone").mkdir()
    script = f'cd {place / "gone"} && rmdir {place / "gone"} && exec "$@"'
    run = subprocess.run(
        ["bash", "-c", script, "bash", sys.executable, "-c", ENTRY, *words],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 2 and run.stderr.count("\n") == 1, run.stderr
    assert run.stderr.startswith("hitchgrid: the folder you are in is gone")


SOMEBODY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
"""Runs a command as a user who owns nothing; for the superuser, who may write everywhere."""


def test_a_folder_that_may_not_be_written_to(place: Path) -> None:
    others = SOMEBODY if os.geteuid() == 0 else ()
    with tempfile.TemporaryDirectory() as folder:  # pytest's own folders are closed to other users
        here = Path(folder)
        shutil.copytree(place, here, dirs_exist_ok=True)
        before = {path.name: path.read_bytes() for path in here.iterdir()}
        here.chmod(0o555)
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": folder, "OMP_NUM_THREADS": "1"}

        def run(*words: str) -> subprocess.CompletedProcess[str]:
            command = [*others, sys.executable, "-B", "-c", *words]
            return subprocess.run(
                command, cwd=here, env=environment, capture_output=True, text=True, check=False
            )

        if others and (not shutil.which(others[0]) or run("import cli.main").returncode):
            pytest.skip("no other user can run this Python")
        for words in ((*PLAN, "--out", "band"), ("stash", "s.csv", "--book", "p.json", "--yes")):
            done = run(ENTRY, *words)
            assert done.returncode == 2 and done.stderr.count("\n") == 1, done.stderr
            assert done.stderr.startswith("hitchgrid: cannot write"), done.stderr
        assert {path.name: path.read_bytes() for path in here.iterdir()} == before


@pytest.mark.parametrize("seconds", [0.02, 0.4, 1.2, 3.0])
@pytest.mark.parametrize(
    "words",
    [
        ("plan", "flag.png", "--strands", "20", "--rows", "60", "--effort", "1", "--out", "band"),
        ("batch", "o.csv", "--jobs", "2", "--effort", "1", "--out", "made"),
        ("choices", "flag.png", "--jobs", "2", "--wrist", "16cm", "--out", "made"),
        ("stash", "s.csv", "--pick"),
    ],
)
def test_ctrl_c_ends_with_one_sentence(place: Path, words: tuple[str, ...], seconds: float) -> None:
    """Sent to every process of the command, as a terminal does."""
    (place / "o.csv").write_text("letters,strands,rows\nI,12,40\nL,12,40\nT,12,40\n")
    before = {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()}
    run = start(place, *words, start_new_session=True, stdin=subprocess.PIPE, up="1")
    assert run.stdout is not None and run.stdout.read(2) == b"up"
    time.sleep(seconds)
    for _ in range(2):  # the first may ask for the best so far
        if run.poll() is None:
            os.killpg(run.pid, signal.SIGINT)
            time.sleep(0.2)
    code, said = end(run)
    lines = [line for line in said.splitlines() if line and "finishing with the best" not in line]
    if code:
        assert code in (130, 2) and len(lines) == 1 and lines[0].startswith("hitchgrid: "), said
    else:
        assert not lines, said
    assert {name: (place / name).read_bytes() for name in before} == before
    assert not [path.name for path in place.iterdir() if path.name.startswith(".") and path.name != ".cache"]
