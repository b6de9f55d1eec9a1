"""Runs one case in this process and says what it broke, if anything.

The contract of every command: exit code 0 or 2, nothing on standard error or exactly one line of plain
characters, no traceback, a result whole or absent, files that are not its own untouched, bounded time and
memory.
"""

from __future__ import annotations

import os
import pty
import re
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import cli.main
from pipeline.band.reading import read_pattern
from pipeline.errors import HitchgridError
from pipeline.files.folder import write_result
from tests.fuzz.cases import OUT, Case
from tests.fuzz.corpus import PLAN
from tests.fuzz.mutate import GROUP

SECONDS = 20.0
"""Processor time that the heaviest input may take."""
MEGABYTES = 2500
OWN_CODES = re.compile(r"\x1b\[(?:[0-9;]*m|\?25[lh]|\?1049[lh]|[0-9]*[ABCDGHJK])")
NEEDED = ("pattern.json", "report.json", "cut-list.csv", "instructions.txt", "sheet.pdf", "worksheet.html")


@dataclass(frozen=True, slots=True)
class Finding:
    """What a case did: ``broken`` is empty where the contract held."""

    kind: str
    code: int | None
    seconds: float
    peak_mb: float
    broken: str
    words: tuple[str, ...]


class TooLong(BaseException):
    """Raised by the alarm."""


def prepare() -> None:
    """Make this process cheap to run cases in: no waiting for the disk, the parser made once."""
    os.fsync = lambda handle: None  # type: ignore[assignment]
    cli.main.app = GROUP  # type: ignore[assignment]
    os.environ["COLUMNS"] = "100"
    plan = ("plan", "--letters", "I", "--strands", "8", "--rows", "8", *PLAN, "--out", OUT)
    run_case(Case("warm-up", plan), seconds=600)  # what is compiled once is not the first input's fault


def run_case(case: Case, seconds: float = SECONDS) -> Finding:
    """Run a case in a folder of its own and judge it."""
    with tempfile.TemporaryDirectory(prefix="hitchgrid-fuzz-") as name:
        folder = Path(name) / "here"
        folder.mkdir()
        for file, content in case.files.items():
            _lay(folder / file, content, case.around.odd.get(file, ""), Path(name))
        _surround(folder / OUT, case)
        before = {file: (folder / file).read_bytes() for file in case.kept}
        around = _listing(folder)
        _reset_peak()
        began = time.process_time() + _children()
        mask = os.umask(case.around.mask)
        try:
            with _inside(folder), _captured(Path(name), terminal=case.around.terminal) as said:
                code, fault = _run(case.words, seconds)
        finally:
            os.umask(mask)
        spent = time.process_time() + _children() - began
        peak = _peak_mb()
        broken = fault or _said(code, *said) or _written(case, code, folder, before, around)
        broken = broken or _lost(folder, case)
    if not broken and spent > seconds:
        broken = f"took {spent:.1f} s"
    if not broken and peak > MEGABYTES:
        broken = f"took {peak:.0f} MB"
    return Finding(case.kind, code, spent, peak, broken, case.words)


def _lay(path: Path, content: bytes, odd: str, elsewhere: Path) -> None:
    if odd == "pipe":
        os.mkfifo(path)
    elif odd == "folder":
        path.mkdir()
    elif odd == "circle":
        path.symlink_to(path)
    elif odd == "link":
        (elsewhere / "home").mkdir(exist_ok=True)
        (elsewhere / "home" / path.name).write_bytes(content)
        path.symlink_to(elsewhere / "home" / path.name)
    else:
        path.write_bytes(content)
        if odd == "locked":
            path.chmod(0)


def _surround(out: Path, case: Case) -> None:
    if case.around.former:
        write_result(out, {"pattern.json": "{}", "chart.png": b"former", "cut-list.csv": "position"})
    for name, content in case.around.mine.items():
        out.mkdir(exist_ok=True)
        (out / name).write_bytes(content)


def _lost(folder: Path, case: Case) -> str:
    there = [path.read_bytes() for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
    gone = [name for name, content in case.around.mine.items() if content not in there]
    return f"lost {gone}" if gone else ""


def _run(words: tuple[str, ...], seconds: float) -> tuple[int | None, str]:
    def ring(number: int, frame: object) -> None:
        raise TooLong

    signal.signal(signal.SIGPROF, ring)
    signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)  # processor time: a busy machine is no fault
    signal.setitimer(signal.ITIMER_REAL, 10 * seconds)  # waiting for ever is one
    try:
        cli.main.run(words)
    except SystemExit as stop:
        return (stop.code if isinstance(stop.code, int) else 1 if stop.code else 0), ""
    except TooLong:
        return None, f"still running: {_where()}"
    except BaseException:
        return 1, f"traceback: {_where()}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
    return 0, ""


def _where() -> str:
    kind, error, trace = sys.exc_info()
    steps = traceback.extract_tb(trace)
    ours = [s for s in steps if "/pipeline/" in s.filename or "/cli/" in s.filename]
    places = " < ".join(f"{Path(s.filename).name}:{s.lineno} {s.name}" for s in ours[::-1][:4])
    return f"{kind.__name__ if kind else ''}: {str(error)[:160]} ({places})"


def _said(code: int | None, out: bytes, err: bytes) -> str:
    if code not in (0, 2):
        return f"exit code {code}: {err[:200]!r}"
    if code == 0 and err:
        return f"said on standard error, exit 0: {err[:200]!r}"
    if code == 2 and (err.count(b"\n") != 1 or not err.startswith(b"hitchgrid: ")):
        return f"not one line: {err[:300]!r}"
    if b"a fault of hitchgrid" in err:
        return f"a fault in an order: {err[:300]!r}"
    if code == 2 and len(err) > 2000:
        return f"a sentence of {len(err)} bytes: {err[:100]!r}"
    shown = OWN_CODES.sub("", out.decode(errors="replace")).replace("\r\n", "\n") + err.decode(
        errors="replace"
    )
    strange = {c for c in shown if not (c.isprintable() or c in "\n\u00a0")}
    if strange:
        return f"unprintable {sorted(strange)!r} in the terminal"
    return ""


def _written(case: Case, code: int | None, folder: Path, before: dict[str, bytes], around: set[str]) -> str:
    parent = _listing(folder.parent) - {"here", "stdout", "stderr", "home"}
    if parent:
        return f"wrote outside: {sorted(parent)[:3]}"
    made = _listing(folder) - around
    hidden = [name for name in made if name.startswith(".")]
    if hidden:
        return f"left {hidden[0]}"
    command = case.words[0] if case.words else ""
    if code == 2:
        for name, content in before.items():
            if not (folder / name).exists() or (folder / name).read_bytes() != content:
                return f"refused and changed {name}"
        if command != "batch" and made:
            return f"refused and wrote {sorted(made)[:3]}"
    if command in ("plan", "blocks") and code == 0 and OUT in made:
        return _whole(folder / OUT)
    if command == "batch" and OUT in made:
        for entry in (folder / OUT).iterdir():
            if entry.name.startswith("."):
                return f"left {entry.name}"
            if entry.is_dir() and (fault := _whole(entry)):
                return fault
    return ""


def _whole(result: Path) -> str:
    missing = [name for name in NEEDED if not (result / name).is_file() or not (result / name).stat().st_size]
    if missing:
        return f"a result without {missing}"
    try:
        read_pattern(result / "pattern.json")
    except HitchgridError as error:
        return f"wrote a pattern that is refused: {error}"
    return ""


def _listing(folder: Path) -> set[str]:
    return {entry.name for entry in folder.iterdir()}


@contextmanager
def _inside(folder: Path) -> Iterator[None]:
    former = Path.cwd()
    home = {key: os.environ.get(key) for key in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME")}
    os.environ["HOME"] = str(folder.parent / "home")
    for key in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        os.environ.pop(key, None)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(former)
        for key, value in home.items():
            os.environ.pop(key, None) if value is None else os.environ.__setitem__(key, value)
        shutil.rmtree(folder.parent / "home", ignore_errors=True)


@contextmanager
def _captured(folder: Path, *, terminal: bool = False) -> Iterator[list[bytes]]:
    """Catch standard output and error of this process and of its children and libraries.

    With ``terminal`` standard output is a pseudo-terminal.
    """
    said: list[bytes] = []
    paths = [folder / "stdout", folder / "stderr"]
    kept = [os.dup(1), os.dup(2)]
    streams = sys.stdout, sys.stderr
    for handle, path in enumerate(paths, start=1):
        file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, handle)
        os.close(file)
    seen: list[bytes] = []
    reader = None
    if terminal:
        ours, theirs = pty.openpty()
        os.dup2(theirs, 1)
        os.close(theirs)
        reader = threading.Thread(target=_drain, args=(ours, seen), daemon=True)
        reader.start()
    sys.stdout = os.fdopen(os.dup(1), "w", encoding="utf-8", newline="\n")
    sys.stderr = os.fdopen(os.dup(2), "w", encoding="utf-8", newline="\n")
    try:
        yield said
    finally:
        for stream in (sys.stdout, sys.stderr):
            with suppress(ValueError, OSError):
                stream.close()
        sys.stdout, sys.stderr = streams
        for handle, former in enumerate(kept, start=1):
            os.dup2(former, handle)
            os.close(former)
        if reader is not None:
            reader.join(10)
            paths[0].write_bytes(b"".join(seen))
        said.extend(path.read_bytes() for path in paths)


def _drain(handle: int, seen: list[bytes]) -> None:
    with suppress(OSError):  # the other side is closed
        while part := os.read(handle, 65536):
            seen.append(part)
    os.close(handle)


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _reset_peak() -> None:
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def _peak_mb() -> float:
    """Largest resident size since :func:`_reset_peak`, where the system tells."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
