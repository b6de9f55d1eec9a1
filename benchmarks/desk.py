"""How soon the desk answers, and what it takes of the machine: ``python -m benchmarks.desk``.

A desk of its own is started in an empty home with warm compiled loops. Times are wall times on whatever else
the machine does, so its load is told too. What was measured is written to ``benchmarks/DESK.md``.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.desk.conftest import ROOT, Running, start, until
from tests.desk.test_guard import flag, resident

MOTIF = ROOT / "sample_images" / "pennant.png"


def timed(what: str, lines: list[str], do: Callable[[], object]) -> None:
    began = time.monotonic()
    do()
    lines.append(f"| {what} | {time.monotonic() - began:.1f} s |")
    print(lines[-1], flush=True)


def ready(desk: Running, bench: str) -> int:
    return desk.ask("GET", f"{bench}/panel/sheet")[2].count(b'data-state="ready"')


def measure() -> str:
    lines = ["| what | measured |", "|---|---|"]
    with tempfile.TemporaryDirectory() as place:
        began = time.monotonic()
        desk = start(Path(place) / "home")
        lines.append(f"| until the address is printed | {time.monotonic() - began:.1f} s |")
        bench = desk.enter()
        desk.ask("POST", f"{bench}/ask", {"sample": "buoy"})  # waits until the tasks are warm
        desk.ask("POST", f"{bench}/stop")
        began = time.monotonic()
        desk.ask("POST", f"{bench}/motif?name=pennant.png", MOTIF.read_bytes())
        for count, what in ((1, "first band drawn"), (4, "four bands drawn")):
            until(lambda count=count: ready(desk, bench) >= count, 600)
            lines.append(f"| {what} after the picture was sent | {time.monotonic() - began:.1f} s |")
        until(lambda: b"waiting" not in desk.ask("GET", f"{bench}/panel/sheet")[2], 600)
        lines.append(f"| all {ready(desk, bench)} bands drawn | {time.monotonic() - began:.1f} s |")
        key = (
            desk.ask("GET", f"{bench}/panel/sheet")[2]
            .partition(b'data-choice="')[2]
            .partition(b'"')[0]
            .decode()
        )

        def shown() -> bytes:
            return desk.ask("GET", f"{bench}/panel/band")[2]

        def planned() -> bool:
            return b'data-state="ready"' in shown()

        desk.ask("POST", f"{bench}/choose", {"key": key})
        timed("the chosen band planned thoroughly", lines, lambda: until(planned, 600))
        desk.ask("POST", f"{bench}/touch", {"cells": "[[5, 5]]", "thread": "navy"})
        timed("planned again after a cell was touched", lines, lambda: until(planned, 600))
        timed("all files written and packed", lines, lambda: desk.ask("GET", f"{bench}/archive"))
        before = resident(desk.process.pid)
        heavy = flag(600) + bytes(2_000_000)
        with ThreadPoolExecutor(100) as pool:

            def all_at_once() -> None:
                list(pool.map(lambda _: desk.ask("POST", f"{bench}/motif?name=f.png", heavy), range(100)))

            timed("a hundred uploads of 2 MB at once, all answered", lines, all_at_once)
        after = resident(desk.process.pid)
        lines.append(
            f"| memory of the server, before and after | {before / 1000:.0f}, {after / 1000:.0f} MB |"
        )
        desk.stop()
    return "\n".join(lines)


if __name__ == "__main__":
    load, cores = os.getloadavg()[0], os.cpu_count()
    table = measure()
    told = (
        f"Measured by `python -m benchmarks.desk` on {cores} cores; other work kept {load:.1f} of them busy."
    )
    text = f"# The desk\n\n{told}\n\n{table}\n"
    (Path(__file__).parent / "DESK.md").write_text(text, encoding="utf-8")
    print(table)
