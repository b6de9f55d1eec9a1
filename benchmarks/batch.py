"""Orders a minute with one and two workers: ``python -m benchmarks.batch``; prints a table.

The list is made here: bands of 12 to 18 strands with letters or a sample picture, all different, so that no
order can be taken from another. The first, untimed list warms what is compiled or read once.
"""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import joblib

from pipeline.batch import Order, Shop, run_orders
from pipeline.drawer.stash import read_stash

SAMPLES = Path(__file__).parent.parent / "sample_images"
PICTURES = ("pennant.png", "buoy.png", "signal_hoist.png", "life_ring.png")
LETTERS = ("RC", "PIER", "BOW", "IV")


def orders(count: int) -> list[Order]:
    """``count`` different orders of usual size."""
    made = []
    for i in range(count):
        name = PICTURES[i // 2 % 4] if i % 2 else None
        made.append(
            Order(
                line=i + 2,
                title=f"order {i}",
                letters=None if name else LETTERS[i // 2 % 4],
                picture=name,
                strands=12 + i % 7,
                rows=60 + i,
            )
        )
    return made


def measure(jobs: int, count: int, effort: float) -> float:
    """Seconds for ``count`` orders, the workers warm."""
    stash = read_stash(SAMPLES / "club_stash.csv")
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop(SAMPLES, Path(folder), stash, 165.0, effort)
        list(run_orders(orders(2 * jobs), shop, jobs=jobs))
        began = time.perf_counter()
        outcomes = list(run_orders(orders(count + 2 * jobs)[2 * jobs :], shop, jobs=jobs))
        seconds = time.perf_counter() - began
    failed = [outcome.error for outcome in outcomes if not outcome.done]
    if failed:
        raise SystemExit(f"an order failed: {failed[0]}")
    return seconds


def main() -> None:
    """Measure and print."""
    count, effort = int(os.environ.get("ORDERS", "16")), float(os.environ.get("EFFORT", "0.2"))
    print(
        f"{count} orders of 12 to 18 strands, 60 to {60 + count} rows, effort {effort}, "
        f"{joblib.cpu_count()} cores"
    )
    print(f"load of the machine before: {os.getloadavg()[0]:.1f}")
    print("| workers | seconds | orders a minute |\n|---:|---:|---:|")
    for jobs in (1, 2):
        seconds = measure(jobs, count, effort)
        print(f"| {jobs} | {seconds:.1f} | {60 * count / seconds:.1f} |", flush=True)


if __name__ == "__main__":
    main()
