"""Orders a minute with one and two workers: ``python -m benchmarks.batch``; prints a table.

The list is made here: bands of 12 to 18 strands with letters or a sample picture, all different, so that no
order can be taken from another. The first, untimed list warms what is compiled or read once.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
import time
from pathlib import Path

import joblib

from pipeline.batch.listing import Line
from pipeline.batch.work import Shop, run_lines
from pipeline.drawer.stash import read_stash
from pipeline.order.request import parse

SAMPLES = Path(__file__).parent.parent / "sample_images"
PICTURES = ("pennant.png", "buoy.png", "signal_hoist.png", "life_ring.png")
LETTERS = ("RC", "PIER", "BOW", "IV")
WARMING = 4
"""Orders planned first, so that workers have started and compiled."""


def lines(count: int) -> list[Line]:
    """``count`` different orders of usual size."""
    made = []
    for i in range(count):
        artwork = ("picture", PICTURES[i // 2 % 4]) if i % 2 else ("letters", LETTERS[i // 2 % 4])
        cells = (artwork, ("title", f"order {i}"), ("strands", str(12 + i % 7)), ("rows", str(60 + i)))
        made.append(Line(i + 2, parse(dict(cells), base=SAMPLES), cells))
    return made


def busy_s() -> float:
    """Seconds of all cores that anything has used since the machine started (Linux; else 0)."""
    try:
        user, nice, system, *_ = Path("/proc/stat").read_text().split()[1:]
    except OSError:
        return 0.0
    return (int(user) + int(nice) + int(system)) / os.sysconf("SC_CLK_TCK")


def own_s() -> float:
    """Seconds of cores that this process and its living children have used."""
    tree = subprocess.run(
        ["ps", "-o", "cputimes=", "-p", str(os.getpid()), "--ppid", str(os.getpid())],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return sum(map(float, tree.stdout.split()))


def measure(jobs: int, count: int, effort: float) -> tuple[float, float, float]:
    """Seconds for ``count`` orders, the workers warm, processor seconds, and the cores that others used."""
    stash = read_stash(SAMPLES / "club_stash.csv")
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop(Path(folder), stash, effort)
        everything = lines(WARMING + count)
        list(run_lines(everything[:WARMING], shop, jobs=jobs))
        busy, own = busy_s(), own_s()
        began = time.perf_counter()
        outcomes = list(run_lines(everything[WARMING:], shop, jobs=jobs))
        seconds = time.perf_counter() - began
        worked = own_s() - own
        others = max(0.0, (busy_s() - busy) - worked) / seconds
    failed = [outcome.error for outcome in outcomes if not outcome.done]
    if failed:
        raise SystemExit(f"an order failed: {failed[0]}")
    return seconds, worked, others


def main() -> None:
    """Measure and print."""
    count, effort = int(os.environ.get("ORDERS", "16")), float(os.environ.get("EFFORT", "0.2"))
    print(
        f"{count} orders of 12 to 18 strands, {60 + WARMING} to {59 + WARMING + count} rows, "
        f"effort {effort}, {joblib.cpu_count()} cores"
    )
    print("| workers | seconds | orders a minute | processor seconds each | cores used by others |")
    print("|---:|---:|---:|---:|---:|")
    for jobs in (1, 2):
        seconds, worked, others = measure(jobs, count, effort)
        rate, each = 60 * count / seconds, worked / count
        print(f"| {jobs} | {seconds:.1f} | {rate:.1f} | {each:.2f} | {others:.2f} |", flush=True)


if __name__ == "__main__":
    main()
