"""What whole commands cost: ``python -m benchmarks.commands [--before FOLDER] [NAME …]``.

Each command runs as a maker runs it, in processes of its own and an empty folder; processor seconds are those
of all its processes, memory that of the largest. ``--before`` is another version of the program, measured by
turns with this one, so that both meet the same neighbours on the machine. Writes
``benchmarks/RESULTS-commands.md``. Linux.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.measure import machine

ROOT = Path(__file__).parents[1]
RESULTS = Path(__file__).with_name("RESULTS-commands.md")
SAMPLES = ROOT / "sample_images"
ORDERS = "orders.csv"
CREST = ("plan", str(SAMPLES / "oar_crest.png"), "--out", "out")
MOTIF = (*CREST, "--strands", "24", "--rows", "118", "--colours", "4", "--no-advice")
COMMANDS = {
    "help": ("--help",),
    "motif, cold": MOTIF,
    "motif": MOTIF,
    "letters": ("plan", "--letters", "RC", "--out", "out"),
    "wrist with advice": (*CREST, "--wrist", "16cm"),
    "demo": ("plan", str(SAMPLES / "boat_number.png"), "--hand-overs", "any", "--out", "out"),
    "20 small orders, 2 jobs": ("batch", ORDERS, "--out", "out", "--effort", "0.2", "--jobs", "2"),
    "choices": ("choices", str(SAMPLES / "pennant.png"), "--wrist", "16cm", "--out", "out"),
}
"""``cold`` begins without any compiled loop."""
DRAFT = "A first draft is drawn"
_BECOME_SUBREAPER = 36  # Linux: prctl(2), so that we hear what orphaned workers have used


@dataclass(frozen=True, slots=True)
class Run:
    """Seconds by the clock and of processors, the largest process in MiB, and when a first draft was told."""

    wall_s: float
    cpu_s: float
    peak_mib: float
    draft_s: float | None
    stages: Mapping[str, float]


def orders() -> str:
    """Twenty different bands of 12 to 18 strands, letters and pictures in turn."""
    pictures = ("pennant.png", "buoy.png", "signal_hoist.png", "life_ring.png")
    lines = ["title,letters,picture,strands,rows"]
    for i in range(20):
        letters = "" if i % 2 else ("RC", "PIER", "BOW", "IV")[i // 2 % 4]
        picture = str(SAMPLES / pictures[i // 2 % 4]) if i % 2 else ""
        lines.append(f"order {i},{letters},{picture},{12 + i % 7},{60 + i}")
    return "\n".join(lines) + "\n"


def run(root: Path, words: Sequence[str], cache: Path) -> Run:
    """Run a command of the program in ``root`` with compiled loops kept in ``cache``."""
    code = f"import sys; sys.path.insert(0, {str(root)!r}); from cli.entry import run; run()"
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / ORDERS).write_text(orders(), encoding="utf-8")
        began, cpu, peak, draft = time.monotonic(), 0.0, 0, None
        process = subprocess.Popen(
            [sys.executable, "-c", code, *words],
            cwd=place, env={**os.environ, "NUMBA_CACHE_DIR": str(cache), "PYTHONPATH": str(root)},
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stderr is not None
        said = []
        for line in process.stderr:
            said.append(line)
            draft = time.monotonic() - began if line.startswith(DRAFT) else draft
        while True:  # the command, and whatever it leaves behind
            try:
                ended, status, used = os.wait4(-1, 0)
            except ChildProcessError:
                break
            cpu, peak = cpu + used.ru_utime + used.ru_stime, max(peak, used.ru_maxrss)
            if ended == process.pid:
                process.returncode, wall = status, time.monotonic() - began
        if process.returncode:
            raise SystemExit(f"{' '.join(words)} failed: {''.join(said)}")
        timings = Path(place) / "out" / "timings.json"
        stages = json.loads(timings.read_text()) if timings.exists() else {}
    return Run(wall, cpu, peak / 1024, draft, stages)


def measured(names: Sequence[str], roots: Sequence[Path], times: int) -> dict[str, list[Run]]:
    """Of each command and each version the run that took the processors least."""
    found: dict[str, list[Run]] = {}
    with tempfile.TemporaryDirectory() as caches:
        for root in roots:  # compiles what is warm from here on
            run(root, COMMANDS["demo"], Path(caches) / str(roots.index(root)))
        for name in names:
            runs: list[list[Run]] = [[] for _ in roots]
            for i in range(1 if "cold" in name else times):
                for number, root in enumerate(roots):
                    cache = Path(caches) / (f"{name} {number} {i}" if "cold" in name else str(number))
                    runs[number].append(run(root, COMMANDS[name], cache))
            found[name] = [min(each, key=lambda one: one.cpu_s) for each in runs]
            print(name, *found[name], sep="\n  ", flush=True)
    return found


def told(found: Mapping[str, Sequence[Run]], load: float) -> str:
    """The results as a page."""
    facts = machine()
    lines = [
        "# What whole commands cost\n",
        f"Measured by `python -m benchmarks.commands` on {facts['cores']} cores of {facts['processor']}, "
        f"Python {facts['python']}. {load:.0f} processes wanted these cores on average: where that is more "
        "than there are, seconds by the clock say little, and\nthose of processors are rather too high. "
        "Where a version before was measured too, by turns, its figure comes first.\n",
        "| command | processor s | ratio | clock s | peak MiB | first draft told after, s |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for name, runs in found.items():
        cpu, wall, peak = (
            " → ".join(f"{getattr(one, what):{form}}" for one in runs)
            for what, form in (("cpu_s", ".2f"), ("wall_s", ".1f"), ("peak_mib", ".0f"))
        )
        draft, ratio = runs[-1].draft_s, f"{runs[-1].cpu_s / runs[0].cpu_s:.2f}" if len(runs) > 1 else ""
        lines.append(
            f"| {name} | {cpu} | {ratio} | {wall} | {peak} | {'' if draft is None else f'{draft:.1f}'} |"
        )
    lines += ["\nSeconds by the clock of each stage; what is not said here is starting and writing files.\n"]
    names = dict.fromkeys(stage for runs in found.values() for stage in runs[-1].stages)
    lines += ["| command | " + " | ".join(names) + " |", "|---|" + "---:|" * len(names)]
    for name, runs in found.items():
        if runs[-1].stages:
            cells = (f"{runs[-1].stages.get(stage, 0):.2f}" for stage in names)
            lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", choices=[*COMMANDS, []], metavar="NAME")
    parser.add_argument("--before", type=Path)
    parser.add_argument("--times", type=int, default=3)
    asked = parser.parse_args()
    ctypes.CDLL(None).prctl(_BECOME_SUBREAPER, 1, 0, 0, 0)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # makers keep what Python compiles
    roots = [root.absolute() for root in (asked.before, ROOT) if root is not None]
    found = measured(asked.names or list(COMMANDS), roots, asked.times)
    RESULTS.write_text(told(found, os.getloadavg()[2]), encoding="utf-8")


if __name__ == "__main__":
    main()
