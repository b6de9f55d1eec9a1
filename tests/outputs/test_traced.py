"""What a plan asks of the system, seen from outside with strace: no socket, and no file that nobody named."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from PIL import Image

ROOT = Path(__file__).parents[2]
HITCHGRID = "from cli.entry import run; run()"
OPENED = re.compile(r'\b(?:open|openat|openat2|creat)\((?:AT_FDCWD, )?"((?:[^"\\]|\\.)*)"[^=]*= (-?\d+)')
REACHED = re.compile(r"\b(?:connect|bind|sendto|sendmsg)\(.*(?:AF_INET|AF_INET6|AF_NETLINK)")
SYSTEM = ("/proc/", "/sys/", "/dev/", "/etc/", "/usr/", "/lib", "/bin/", "/opt/")
pytestmark = pytest.mark.skipif(shutil.which("strace") is None, reason="no strace here")


def traced(folder: Path, *words: str) -> tuple[set[str], list[str]]:
    """Run the command; return what it and its children opened, and calls that reach another machine."""
    log = folder.parent / "trace"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder.parent / "home")}
    for key in ("XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
        environment.pop(key, None)
    done = subprocess.run(
        ["strace", "-f", "-qq", "-s", "4096", "-e", "trace=network,open,openat,openat2,creat", "-o", str(log),
         sys.executable, "-c", HITCHGRID, *words],
        cwd=folder, env={**environment, "OMP_NUM_THREADS": "1"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if "PTRACE" in done.stderr or "attach" in done.stderr:
        pytest.skip("strace may not trace here")
    assert done.returncode == 0, done.stderr
    lines = log.read_text(errors="replace").splitlines()
    opened = {match[1] for line in lines if (match := OPENED.search(line)) and int(match[2]) >= 0}
    absolute = {str(Path(os.path.normpath(folder / name))) for name in opened}
    return absolute, [line for line in lines if REACHED.search(line) or "socket(AF_INET" in line]


@pytest.mark.parametrize("source", ["flag.png", "flag.svg"])
def test_a_plan_opens_no_socket_and_reads_nothing_unnamed(tmp_path: Path, source: str) -> None:
    folder, home = tmp_path / "here", tmp_path / "home"
    for place in (folder, home):
        place.mkdir()
        for name in ("secret.txt", "stash.csv", "report.json", "written.json", "notes.png", ".netrc"):
            (place / name).write_text("nobody named me")
    picture = Image.new("RGB", (6, 4), "#1b2a59")
    picture.paste((224, 96, 74), (2, 0, 4, 4))
    picture.save(folder / "flag.png")
    drawn = '<path d="M0 0h3v4H0z" fill="#1b2a59"/>'
    (folder / "flag.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 6 4">{drawn}</svg>'
    )
    threads = ("navy,#1b2a59,90", "chalk,#ffffff,90", "coral,#e0604a,90")
    (folder / "mine.csv").write_text("\n".join(("name,colour,metres", *threads, "")))
    shape = ("--grid",) if source == "flag.png" else ("--strands", "6", "--rows", "4")
    words = ("plan", source, *shape, "--stash", "mine.csv", "--no-advice", "--effort", "0.01", "-q")
    opened, reached = traced(folder, *words, "--out", "band")
    assert reached == []
    named = {str(folder / name) for name in (source, "mine.csv")}
    assert named <= opened
    code = {*sysconfig.get_paths().values(), sys.prefix, sys.base_prefix, *filter(None, sys.path), str(ROOT)}
    known = (*(str(Path(path).resolve()) for path in code), *SYSTEM, str(home / ".cache"))
    places = (str(folder / "band"), str(folder / ".band-"))
    unnamed = {
        path
        for path in opened - named - {str(folder), str(tmp_path)}
        if not path.startswith(places) and not str(Path(path).resolve()).startswith(known)
    }
    assert {path for path in unnamed if Path(path).is_file() or path.startswith(str(tmp_path))} == set()
