"""Runs one case in this process and says what it broke, if anything.

The contract of every command: exit code 0 or 2, nothing on standard error or exactly one line of plain
characters, no traceback, a result whole or absent, files that are not its own untouched, bounded time and
memory.
"""

from __future__ import annotations

import os
import pickle
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import cli.main
from pipeline.band.reading import read_pattern
from pipeline.errors import HitchgridError
from tests.fuzz.around import OUT, Around, Case
from tests.fuzz.corpus import PLAN
from tests.fuzz.mutate import GROUP
from tests.fuzz.stage import Shown, inside, lay_out, shown, streams

SECONDS = 20.0
"""Processor time that the heaviest input may take."""
MEGABYTES = 2500
OWN_CODES = re.compile(r"\x1b\[(?:[0-9;]*m|\?25[lh]|\?1049[lh]|[0-9]*[ABCDGHJK])")
NEEDED = ("pattern.json", "report.json", "cut-list.csv", "instructions.txt", "sheet.pdf", "worksheet.html")
OF_A_CHOICE = ("pattern.json", "report.json", "band.png")


@dataclass(frozen=True, slots=True)
class Finding:
    """What a case did: ``broken`` is empty where the contract held."""

    kind: str
    code: int | None
    seconds: float
    peak_mb: float
    broken: str
    words: tuple[str, ...]
    around: tuple[str, ...] = ()
    """The channels that were out of the common."""


class TooLong(BaseException):
    """Raised by the alarm."""


def prepare() -> None:
    """Make this process cheap to run cases in: no waiting for the disk, the parser made once."""
    os.fsync = lambda handle: None  # type: ignore[assignment]
    cli.main.app = GROUP  # type: ignore[assignment]
    os.environ["COLUMNS"] = "100"
    plan = ("plan", "--letters", "I", "--strands", "8", "--rows", "8", *PLAN, "--out", OUT)
    run_case(Case("warm-up", plan), seconds=600)  # what is compiled once is not the first input's fault


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run of a command ended, and what it said."""

    code: int | None
    fault: str
    out: bytes
    err: bytes


def run_case(case: Case, seconds: float = SECONDS) -> Finding:
    """Run a case in a folder of its own and judge it."""
    with tempfile.TemporaryDirectory(prefix="hitchgrid-fuzz-") as name:
        folder = Path(name) / "here"
        folder.mkdir()
        lay_out(case, folder)
        before = shown(folder)
        _reset_peak()
        began = time.process_time() + _children()
        with inside(folder, case.around):
            other = _start_beside(case, Path(name), seconds) if case.around.beside else 0
            ended = [_ended(case, Path(name) / "said", seconds)]
            ended += [_wait_for(other, Path(name), 20 * seconds)] if other else []
        spent = time.process_time() + _children() - began
        peak = _peak_mb()
        broken = next(filter(None, (e.fault or _said(e, case.around) for e in ended)), "")
        broken = broken or _written(case, ended, folder, before) or _results(case, ended, folder / OUT)
    if not broken and spent > seconds * len(ended):
        broken = f"took {spent:.1f} s"
    if not broken and peak > MEGABYTES:
        broken = f"took {peak:.0f} MB"
    return Finding(case.kind, ended[0].code, spent, peak, broken, case.words, case.around.said)


def _ended(case: Case, place: Path, seconds: float) -> Ended:
    with streams(place, case.around) as said:
        code, fault = _run(case.words, seconds)
    return Ended(code, fault, *said)


def _start_beside(case: Case, place: Path, seconds: float) -> int:
    """Run the same command a second time, in a process that is not waited for; return its number."""
    process = os.fork()
    if process:
        return process
    try:
        (place / "other.pickle").write_bytes(pickle.dumps(_ended(case, place / "other", seconds)))
    finally:
        os._exit(0)


def _wait_for(process: int, place: Path, seconds: float) -> Ended:
    until = time.monotonic() + seconds
    while not os.waitpid(process, os.WNOHANG)[0]:
        if time.monotonic() > until:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            return Ended(None, "the run beside it hangs", b"", b"")
        time.sleep(0.005)
    try:
        ended: Ended = pickle.loads((place / "other.pickle").read_bytes())
    except (OSError, EOFError, pickle.UnpicklingError):
        return Ended(None, "the run beside it died", b"", b"")
    return ended


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


def _said(ended: Ended, around: Around) -> str:
    code, err = ended.code, ended.err
    if around.gone and (code != 2 or b"the folder you are in is gone" not in err):
        return f"exit code {code} where its folder is gone: {err[:200]!r}"
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
    out, err_text = (data.decode(around.coding, "replace") for data in (ended.out, err))
    text = OWN_CODES.sub("", out).replace("\r\n", "\n") + err_text
    strange = {c for c in text if not (c.isprintable() or c in "\n\u00a0")}
    if strange:
        return f"unprintable {sorted(strange)!r} in the terminal"
    return ""


def _written(case: Case, ended: list[Ended], folder: Path, before: Shown) -> str:
    beside = {path.name for path in folder.parent.iterdir()} - {
        "here",
        "home",
        "said",
        "other",
        "other.pickle",
    }
    if beside:
        return f"wrote outside: {sorted(beside)[:3]}"
    if case.around.gone:
        return "made the folder again" if folder.exists() else ""
    after = shown(folder)
    command = case.words[0] if case.words else ""
    if all(e.code == 2 for e in ended) and command != "batch" and after != before:
        return f"refused and changed {sorted(dict(after.items() ^ before.items()))[:3]}"
    lists = [Path(word).as_posix() for word in case.words[1:2] if command == "stash"]
    touched = {name for name, content in before.items() if after.get(name, "gone") != content}
    touched = {name for name in touched if name not in lists and not name.startswith(OUT)}
    if touched:
        return f"changed {sorted(touched)[:3]}"
    hidden = [name for name in after.keys() - before.keys() if "/." in f"/{name}"]
    if hidden:
        return f"left {hidden[0]}"
    there = set(after.values())
    lost = [name for name, content in case.around.mine.items() if content not in there]
    return f"lost {lost}" if lost else ""


def _results(case: Case, ended: list[Ended], out: Path) -> str:
    """What is wrong with the results that are there, if anything."""
    command = case.words[0] if case.words else ""
    done = OUT in case.words and any(e.code == 0 and not e.out for e in ended)  # help is not silent
    if command in ("plan", "blocks") and done:
        return _whole(out)
    if command in ("batch", "choices") and out.is_dir():
        needed = NEEDED if command == "batch" else OF_A_CHOICE
        bands = [entry for entry in out.iterdir() if (entry / "pattern.json").exists()]
        return next(filter(None, (_whole(band, needed) for band in bands)), "")
    return ""


def _whole(result: Path, needed: tuple[str, ...] = NEEDED) -> str:
    missing = [name for name in needed if not (result / name).is_file() or not (result / name).stat().st_size]
    if missing:
        return f"a result without {missing}"
    try:
        read_pattern(result / "pattern.json")
    except HitchgridError as error:
        return f"wrote a pattern that is refused: {error}"
    return ""


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
