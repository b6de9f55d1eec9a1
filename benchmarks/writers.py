"""CPU seconds and size of every output: ``python -m benchmarks.writers``.

A lettered band in row work and a photo-like picture in both orders, 25 strands for a wrist of 165 mm, planned
with little effort. Outputs are written once before they are measured, so that imports do not count.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.band.knots import Worked
from pipeline.bundle import band_files
from pipeline.drawer.stash import builtin_stash
from pipeline.order.asked import Artwork, Band, Drawer, LetterSource, PictureSource, Request
from pipeline.plan import Plan, plan
from pipeline.report import report_of
from pipeline.routing import Budget

SAMPLES = Path(__file__).parents[1] / "sample_images"
BANDS: tuple[tuple[Artwork, Worked], ...] = (
    (LetterSource("HARBOUR"), "rows"),
    (PictureSource(SAMPLES / "lighthouse_dusk.png"), "rows"),
    (PictureSource(SAMPLES / "lighthouse_dusk.png"), "diagonal"),
)


def measured(made: Plan) -> Iterator[tuple[str, float, int]]:
    """Yield the name, CPU seconds and bytes of every file of a plan."""
    report = report_of(made)
    other = made.pattern.model_copy(update={"title": "warming up"})  # nothing kept from it helps
    band_files(other, made.cuts, report, skeins=made.skeins)
    names: list[str] = []
    clocks: list[float] = []

    def stage(name: str) -> None:
        names.append(name.removeprefix("writing "))
        clocks.append(time.process_time())

    files = band_files(made.pattern, made.cuts, report, skeins=made.skeins, stage=stage)
    clocks.append(time.process_time())
    for i, name in enumerate(names):
        content = files[name]
        size = len(content.encode() if isinstance(content, str) else content)
        yield name, clocks[i + 1] - clocks[i], size


if __name__ == "__main__":
    print("| band | file | CPU s | kB |\n|---|---|---|---|")
    for artwork, worked in BANDS:
        band = Band(strands=25, worked=worked, wrist_mm=165.0)
        asked = Request(artwork, band, Drawer(builtin_stash()))
        plan_made = plan(asked, budget=Budget(effort=0.1), further=False)
        for file, seconds, size in measured(plan_made):
            print(f"| {artwork.title}, {worked} | {file} | {seconds:.2f} | {size / 1000:.0f} |", flush=True)
