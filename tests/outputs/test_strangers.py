"""A folder that a stranger filled: what lies there is not run because somebody works in it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMMAND = "from cli.entry import run\nif __name__ == '__main__':\n    run()\n"
RUN = "from pathlib import Path; Path({mark!r}).touch()"


def ran(folder: Path, code: str, *words: str) -> str:
    """Run a script in ``folder`` that lies elsewhere, as the installed command does."""
    script = folder.parent / f"{folder.name}-script"
    script.write_text(code)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder)}
    environment.pop("PYTHONSAFEPATH", None)
    done = subprocess.run(
        [sys.executable, str(script), *words],
        cwd=folder, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_processes_import_nothing_from_the_folder(tmp_path: Path) -> None:
    """A process begins with modules of Python's own, which files of their names would stand before."""
    mark = tmp_path / "ran"
    for name in ("multiprocessing", "socket", "selectors", "struct", "numpy", "json", "pipeline"):
        (tmp_path / f"{name}.py").write_text(RUN.format(mark=str(mark)))
    few = ("--letters", "I", "--strands", "9", "--wrist", "12cm", "--effort", "0.01")
    ran(tmp_path, COMMAND, "choices", *few, "--jobs", "2", "--out", "made")
    assert (tmp_path / "made" / "choices.html").exists() and not mark.exists()


def test_settings_of_libraries_in_the_home_folder_are_not_run(tmp_path: Path) -> None:
    for name in (".reportlab_mods", ".reportlab_settings"):
        (tmp_path / name).write_text(RUN.format(mark=str(tmp_path / "ran")))
    ran(tmp_path, COMMAND, "plan", "--letters", "I", "--rows", "12", "--no-advice", "--out", "made")
    assert (tmp_path / "made" / "sheet.pdf").exists() and not (tmp_path / "ran").exists()


def test_compiled_loops_are_not_taken_from_the_folder(tmp_path: Path) -> None:
    """Numba's settings say where compiled code is kept, which it unpickles: whoever writes there, runs."""
    pytest.importorskip("yaml")
    (tmp_path / ".numba_config.yaml").write_text("cache_dir: taken\n")
    look = "import pipeline.routing.loops.strips; from numba.core import config; config.reload_config(); "
    first = "from pipeline.routing.warm import fingerprint; fingerprint(); "
    for before in ("", first):
        assert ran(tmp_path, before + look + "print(config.CACHE_DIR)") == "\n"
    assert "yaml" in ran(tmp_path, look + "import yaml; print(yaml.__name__)")
