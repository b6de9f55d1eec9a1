"""How like their pictures bands come out: one motif, 24 strands, both orders, three and four threads.

    python -m benchmarks.likeness [FOLDER OF PICTURES] [--out benchmarks]

Without a folder the drawings of ``benchmarks.drawings`` are taken. Writes a table (RESULTS-likeness.md) and a
sheet of the bands beside their pictures (likeness.png). The eye that judges is ``pipeline.verdict.likeness``.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from benchmarks.drawings import draw_all
from pipeline.colour import encoded
from pipeline.drawer.stash import builtin_stash
from pipeline.literals import WORKED, Worked
from pipeline.order.asked import Band, Drawer, PictureSource, Request, Tying
from pipeline.plan import Plan, plan
from pipeline.verdict.likeness import shown_light

COUNTS = (4, 3)
CELL = 7
"""Pixels to a cell's side on the sheet."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One band: its picture, what it was planned with, the plan and the processor time it took."""

    picture: Path
    worked: Worked
    threads: int
    made: Plan
    seconds: float


def trial(picture: Path, worked: Worked, threads: int) -> Trial:
    """Plan one motif on 24 strands as the figures are defined: whole picture, no selvedge, no rows added."""
    begun = time.process_time()
    made = plan(
        Request(
            PictureSource(picture, trim=False),
            Band(strands=24, worked=worked, fill="none", selvedge=0),
            Drawer(builtin_stash(), colours=threads),
            Tying(switching_rows=0),
        ),
        further=False,
    )
    return Trial(picture, worked, threads, made, time.process_time() - begun)


def table(trials: list[Trial], of: str) -> str:
    """The means as a table in Markdown, and every band below it."""
    lines = [f"# Likeness of bands to {of}", ""]
    head = "worked | CIEDE2000 | HyAB | SSIM | made | hand-overs | s |"
    lines += [
        "| threads | worked | CIEDE2000 | HyAB | SSIM | made | hand-overs | s |",
        "|---|---|" + "---|" * 6,
    ]
    for count in COUNTS:
        for worked in (*WORKED, "both"):
            some = [t for t in trials if t.threads == count and worked in (t.worked, "both")]
            lines.append(f"| {count} | {worked} | " + " | ".join(_figures(some)) + " |")
    lines += ["", f"| picture | threads | {head}"]
    lines += ["|---|---|---|" + "---|" * 6]
    for t in trials:
        lines.append(f"| {t.picture.stem} | {t.threads} | {t.worked} | " + " | ".join(_figures([t])) + " |")
    return "\n".join(lines) + "\n"


def _figures(trials: list[Trial]) -> list[str]:
    seen = [t.made.likeness for t in trials]
    made = np.mean([100 * t.made.verdict.made / t.made.verdict.cells for t in trials])
    return [
        f"{np.mean([s.ciede2000 for s in seen if s]):.2f}",
        f"{np.mean([s.hyab for s in seen if s]):.2f}",
        f"{np.mean([s.ssim for s in seen if s]):.3f}",
        f"{made:.1f} %",
        f"{np.mean([t.made.verdict.hand_overs for t in trials]):.0f}",
        f"{np.mean([t.seconds for t in trials]):.1f}",
    ]


def sheet(trials: list[Trial]) -> Image.Image:
    """Each picture beside its bands of four threads, row-worked and diagonal-worked."""
    tiles = []
    for picture in dict.fromkeys(t.picture for t in trials):
        tiles.append(Image.open(picture).convert("RGB").resize((24 * CELL, 24 * CELL)))
        tiles += [_drawn(t.made) for t in trials if t.picture == picture and t.threads == COUNTS[0]]
    wide, high = (max(tile.size[i] for tile in tiles) + CELL for i in (0, 1))
    page = Image.new("RGB", (6 * wide, -(-len(tiles) // 6) * high), "#d8d8d8")
    for i, tile in enumerate(tiles):
        page.paste(tile, (i % 6 * wide, i // 6 * high))
    return page


def _drawn(made: Plan) -> Image.Image:
    light = shown_light(made.pattern)
    hole = np.isnan(light[..., 0])
    shifted = np.roll(light, 1, axis=1)
    light = np.where(hole[..., None], np.where(np.isnan(shifted), np.nanmean(light, (0, 1)), shifted), light)
    large = np.kron(encoded(light), np.ones((CELL, CELL, 1), dtype=np.uint8))
    return Image.fromarray(large)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        pictures = sorted(asked.folder.glob("*.png")) if asked.folder else draw_all(Path(place))
        trials = [trial(p, worked, count) for count in COUNTS for p in pictures for worked in WORKED]
        of = f"{len(pictures)} drawings" + ("" if asked.folder else " of our own")
        name = "likeness" if not asked.folder else f"likeness-{asked.folder.name}"
        asked.out.mkdir(exist_ok=True)
        (asked.out / f"RESULTS-{name}.md").write_text(table(trials, of), encoding="utf-8")
        sheet(trials).save(asked.out / f"{name}.png", optimize=True)
        print(table(trials, of))


if __name__ == "__main__":
    main()
