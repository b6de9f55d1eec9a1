"""Run the fuzzer: ``python -m tests.fuzz --count 10000 --seed 0``; exit code 1 if anything was broken.

Cases run in worker processes (``--jobs``), many one after another; if one brings its worker down, that is a
finding and a new worker goes on with the next. ``--only 1234`` runs one case again and shows its findings.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import os
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from queue import SimpleQueue
from typing import Any

MEMORY = 6_000_000_000
"""Address space of a worker, so that a case that asks for more fails by itself."""


STUCK_S = 600
"""After so long a worker ends itself: a case, or two at once, that answers to no alarm."""


def main() -> int:
    """Parse the flags, run, and print the summary."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--start", type=int, default=0, help="number of the first case")
    parser.add_argument("--only", type=int, help="run this case alone")
    parser.add_argument("--jobs", type=int, default=2, help="cases at the same time")
    parser.add_argument("--worker", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    first, last = (
        (given.only, given.only + 1) if given.only is not None else (given.start, given.start + given.count)
    )
    if given.worker:
        return _work(given.seed, range(first, last, given.jobs))
    began = time.monotonic()
    found = []
    for finding in _all_findings(given.seed, range(first, last), min(given.jobs, last - first)):
        found.append(finding)
        if finding["broken"]:
            print(f"  {finding['number']}: {_shown(finding['words'])}\n      {finding['broken']}", flush=True)
        if len(found) % 500 == 0:
            print(f"{len(found)} run, {time.monotonic() - began:.0f} s", flush=True)
    return _summary(found, time.monotonic() - began)


def _work(seed: int, numbers: range) -> int:
    import resource

    from tests.fuzz.cases import drawn, fixed
    from tests.fuzz.judge import prepare, run_case

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    prepare()
    always = fixed()
    with os.fdopen(os.dup(1), "w") as report:
        for number in numbers:
            print(json.dumps({"begun": number}), file=report, flush=True)
            case = always[number]() if number < len(always) else drawn(seed, number)
            faulthandler.dump_traceback_later(STUCK_S, exit=True)  # where no alarm is heard
            finding = run_case(case)
            faulthandler.cancel_dump_traceback_later()
            row = {key: getattr(finding, key) for key in finding.__slots__}
            print(json.dumps({"number": number, **row}), file=report, flush=True)
    return 0


def _all_findings(seed: int, numbers: range, jobs: int) -> Iterator[dict[str, Any]]:
    """What workers find side by side, each in every so manieth case."""
    found: SimpleQueue[dict[str, Any] | None] = SimpleQueue()

    def feed(mine: range) -> None:
        for finding in _findings(seed, mine):
            found.put(finding)
        found.put(None)

    for job in range(jobs):
        threading.Thread(target=feed, args=(numbers[job::jobs],), daemon=True).start()
    while jobs:
        finding = found.get()
        if finding is None:
            jobs -= 1
        else:
            yield finding


def _findings(seed: int, numbers: range) -> Iterator[dict[str, Any]]:
    while numbers:
        words = ["--worker", "--seed", str(seed), "--jobs", str(numbers.step), "--start", str(numbers[0])]
        words += ["--count", str(numbers[-1] + 1 - numbers[0])]
        worker = subprocess.Popen(
            [sys.executable, "-m", "tests.fuzz", *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONWARNINGS": "default"},
        )
        begun = numbers[0]
        assert worker.stdout is not None
        for line in worker.stdout:
            row = json.loads(line)
            begun = row.get("begun", begun)
            if "number" in row:
                yield row
                numbers = numbers[1:]
        code = worker.wait()
        if numbers:
            fault = f"the process ended with {code}"
            yield {
                "number": begun,
                "kind": "?",
                "code": code,
                "seconds": 0.0,
                "peak_mb": 0.0,
                "broken": fault,
                "words": [],
                "around": [],
            }
            numbers = numbers[1:]


def _shown(words: list[str]) -> str:
    return " ".join(repr(w[:60])[1:-1] or "''" for w in words)


def _summary(found: list[dict[str, Any]], seconds: float) -> int:
    broken = [f for f in found if f["broken"]]
    print(f"\n{len(found)} inputs in {seconds:.0f} s, {len(broken)} broken")
    print(f"{'kind':<10}{'inputs':>8}{'exit 0':>8}{'exit 2':>8}{'median s':>10}{'most s':>8}{'most MB':>9}")
    for kind, count in sorted(Counter(f["kind"] for f in found).items()):
        mine = [f for f in found if f["kind"] == kind]
        spent = sorted(f["seconds"] for f in mine)
        codes = Counter(f["code"] for f in mine)
        most = max(f["peak_mb"] for f in mine)
        print(
            f"{kind:<10}{count:>8}{codes[0]:>8}{codes[2]:>8}"
            f"{spent[len(spent) // 2]:>10.3f}{spent[-1]:>8.2f}{most:>9.0f}"
        )
    print("out of the common around it:")
    for channel, count in Counter(word for f in found for word in f["around"]).most_common():
        mine = [f["code"] for f in found if channel in f["around"]]
        print(f"  {channel}: {count}, of which {mine.count(0)} went through")
    quick = sum(f["seconds"] < 0.5 for f in found)
    print(f"{100 * quick / max(1, len(found)):.1f} % took less than half a second of processor time")
    print("slowest:")
    for f in sorted(found, key=lambda f: -f["seconds"])[:5]:
        print(f"  {f['seconds']:.2f} s  {f['number']}: {_shown(f['words'])}")
    print("largest:")
    for f in sorted(found, key=lambda f: -f["peak_mb"])[:5]:
        print(f"  {f['peak_mb']:.0f} MB  {f['number']}: {_shown(f['words'])}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
