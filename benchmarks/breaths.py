"""How many breaths bands take, against the plain row-by-row list: ``python -m benchmarks.breaths``.

Every sample picture on 17 strands in both orders, routed with little effort, letters, and three bands of
blocks. A breath is what is said at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

from pipeline.band.knots import WORKED
from pipeline.band.pattern import Pattern
from pipeline.blocks.plan import Blocks, plan_blocks
from pipeline.blocks.words import parse_groups, parse_moves
from pipeline.drawer.stash import builtin_stash, read_stash
from pipeline.instructions.fold import breaths
from pipeline.instructions.steps import steps
from pipeline.order.asked import Artwork, Band, Drawer, LetterSource, PictureSource, Request
from pipeline.plan import plan
from pipeline.routing import Budget

SAMPLES = Path(__file__).parents[1] / "sample_images"
BLOCKS = (
    ("navy 5, chalk 2", "1-2 left"),
    ("navy 4, chalk 3, coral 4", None),
    ("navy 3, chalk 3, coral 3, pebble 3, tar 3", "1-2 left and 4-5 right, 2-3 left, 3-4 right"),
)


def bands() -> Iterator[tuple[str, Pattern]]:
    """Yield names and patterns of the bands that are counted."""
    stash = read_stash(SAMPLES / "club_stash.csv")
    pictures = sorted(p for p in SAMPLES.iterdir() if p.suffix == ".png" and p.stem != "cells")
    artworks: list[Artwork] = [LetterSource("RC"), *(PictureSource(path) for path in pictures)]
    for artwork in artworks:
        for worked in WORKED:
            made = plan(
                Request(artwork, Band(strands=17, worked=worked, wrist_mm=165.0), Drawer(stash)),
                budget=Budget(effort=0.1),
                further=False,
            )
            yield f"{artwork.title}, {worked}", made.pattern
    for groups, switch in BLOCKS:
        named = parse_groups(groups)
        moves = None if switch is None else parse_moves(switch, len(named))
        band = Band(worked="diagonal", wrist_mm=165.0)
        yield groups, plan_blocks(Blocks(named, moves), builtin_stash(), band).pattern


def counted(pattern: Pattern) -> tuple[int, int]:
    """Breaths of the plain row-by-row list, and of the text as written.

    Finding a row or a strand is one, and so is each run of equal knots, "the same with …" and a
    repeat. The plain list says every row, in runs of equal knots that neighbour each other.
    """
    plain = 0
    for _, _, section, row in pattern.rows():
        knots = row.knots if section.worked == "rows" else tuple(sorted(row.knots))
        reach = 1 if section.worked == "rows" else 2
        plain += bool(knots)
        for i, (position, knot) in enumerate(knots):
            follows = i > 0 and abs(position - knots[i - 1][0]) == reach and knot == knots[i - 1][1]
            plain += not follows
    sections = groupby(steps(pattern), key=lambda step: step.section)
    return plain, sum(breaths(list(said)) for _, said in sections)


if __name__ == "__main__":
    print("| band | knots | plain list | as written |\n|---|---|---|---|")
    for name, pattern in bands():
        plain, written = counted(pattern)
        knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
        print(f"| {name} | {knots} | {plain} | {written} |", flush=True)
