"""How long the thread plan takes: sharing, joins and cutting, on bands of lettering led by the ground.

Run: python -m benchmarks.materials
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import TypeVar

from pipeline.materials.cutting import cut_skeins
from pipeline.materials.gain import compare
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import cut_list
from pipeline.materials.sharing import share
from tests.materials.bands import lettering

BANDS = ((24, 118, 6), (41, 150, 3), (60, 200, 2))
"""Strands, rows, and every which base strand is of the ground."""
T = TypeVar("T")


def timed(work: Callable[[], T]) -> tuple[float, T]:
    """Seconds that ``work`` took, and what it made."""
    began = time.perf_counter()
    made = work()
    return time.perf_counter() - began, made


def main() -> None:
    """Print a table of seconds, and the longest strand before and after."""
    print("strands rows level   share  joins   cuts   longest before, after, bound (m)")
    for strands, rows, every in BANDS:
        band = lettering(strands=strands, rows=rows, ground_bases=range(0, strands, every))
        for level in ("rows", "full"):
            sharing, shared = timed(lambda band=band, level=level: share(band, level))
            joining, joined = timed(lambda shared=shared: place_joins(shared))
            cutting, _ = timed(lambda joined=joined: cut_list(joined))
            told = compare(band, shared)
            longest = (told.longest_before_mm, told.longest_after_mm, told.bound_mm)
            print(
                f"{strands:7} {rows:4} {level:5} {sharing:7.2f} {joining:6.2f} {cutting:6.2f}   "
                + ", ".join(f"{mm / 1000:.2f}" for mm in longest)
            )
    rng = random.Random(1)
    for count in (10, 24, 40):
        pieces = [rng.randint(40, 250) for _ in range(count)]
        seconds, plan = timed(lambda pieces=pieces: cut_skeins(pieces, [350], more_cm=800))
        print(f"{count} pieces from skeins of 8 m: {seconds:.2f} s, {len(plan.skeins)} skeins")
    textbook = [45] * 97 + [36] * 610 + [31] * 395 + [14] * 211
    seconds, plan = timed(lambda: cut_skeins(textbook, [], more_cm=100))
    print(f"textbook cutting stock, {len(textbook)} pieces: {seconds:.2f} s, {len(plan.skeins)} skeins")


if __name__ == "__main__":
    main()
