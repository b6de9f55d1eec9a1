"""Runs one case in this process and says what it broke, if anything.

The contract of every command: exit code 0 or 2, nothing on standard error or exactly one line of plain
characters, no traceback, a result whole or absent, files that are not its own untouched, bounded time and
memory.
"""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import cli.main
from pipeline.band.pattern import read_pattern
from pipeline.errors import HitchgridError
from tests.fuzz.cases import OUT, Case
from tests.fuzz.corpus import PLAN
from tests.fuzz.mutate import GROUP

SECONDS = 20.0
"""Processor time that the heaviest input may take."""
MEGABYTES = 2500
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
            (folder / file).write_bytes(content)
        before = {file: (folder / file).read_bytes() for file in case.kept}
        around = _listing(folder)
        _reset_peak()
        began = time.process_time() + _children()
        with _inside(folder), _captured(Path(name)) as said:
            code, fault = _run(case.words, seconds)
        spent = time.process_time() + _children() - began
        peak = _peak_mb()
        broken = fault or _said(code, *said) or _written(case, code, folder, before, around)
    if not broken and spent > seconds:
        broken = f"took {spent:.1f} s"
    if not broken and peak > MEGABYTES:
        broken = f"took {peak:.0f} MB"
    return Finding(case.kind, code, spent, peak, broken, case.words)


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
    strange = {c for c in (out + err).decode(errors="replace") if not (c.isprintable() or c in "\n\u00a0")}
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
def _captured(folder: Path) -> Iterator[list[bytes]]:
    """Catch standard output and error of this process and of its children and libraries."""
    said: list[bytes] = []
    paths = [folder / "stdout", folder / "stderr"]
    kept = [os.dup(1), os.dup(2)]
    streams = sys.stdout, sys.stderr
    for handle, path in enumerate(paths, start=1):
        file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, handle)
        os.close(file)
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
        said.extend(path.read_bytes() for path in paths)


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
