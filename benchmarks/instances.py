"""The shared cases as routing problems, built the way the product builds them.

A case is a picture with one pixel a cell and the threads that it was reduced to. A cell at row r, left
position p reads pixel (p, r); a pixel wants the nearest thread; showing another one costs the CIEDE2000
difference between the two (scikit-image, sRGB, D65).
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.io import imread
from skimage.transform import resize

from pipeline.band.knots import Worked
from pipeline.band.network import network, picture_rows
from pipeline.routing.question import Ease, Question

CASES = Path(__file__).parent / "cases"
SAMPLES = Path(__file__).parents[1] / "sample_images"


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """``wanted``: (rows, strands−1) thread of each cell; ``difference``: (threads, threads) ΔE00."""

    name: str
    wanted: np.ndarray
    difference: np.ndarray


def names() -> tuple[str, ...]:
    """The shared cases in the order of their index."""
    return tuple(json.loads((CASES / "index.json").read_text()))


def load(name: str) -> Case:
    """Read one case and check it against the index."""
    said = json.loads((CASES / "index.json").read_text())[name]
    with (CASES / f"{name}.csv").open(newline="") as file:
        colours = [row["colour"] for row in csv.DictReader(file)]
    threads = np.array(
        [[int(colour[i : i + 2], 16) for i in (1, 3, 5)] for colour in colours], dtype=np.uint8
    )
    pixels = imread(CASES / f"{name}.png")[..., :3]
    assert pixels.shape[:2] == (said["rows"], said["strands"] - 1) and len(threads) == said["threads"]
    of_threads = rgb2lab(threads[None])[0]
    wanted = deltaE_ciede2000(rgb2lab(pixels)[:, :, None], of_threads[None, None]).argmin(axis=2)
    difference = deltaE_ciede2000(of_threads[:, None], of_threads[None])
    np.fill_diagonal(difference, 0.0)
    return Case(name, wanted, difference)


def hills(rows: int, cells: int, threads: int, seed: int = 0) -> Case:
    """A made-up picture for the growth series: smooth random hills, cut into bands of equal area.

    The threads are greys of equal steps in lightness.
    """
    rng = np.random.default_rng(seed)
    down, across = np.mgrid[0:rows, 0:cells].astype(float)
    height = np.zeros((rows, cells))
    for _ in range(24):
        turn, wave, phase = rng.uniform(0, np.pi), rng.uniform(8, 30), rng.uniform(0, 2 * np.pi)
        height += np.sin((down * np.cos(turn) + across * np.sin(turn)) * 2 * np.pi / wave + phase)
    levels = np.quantile(height, np.arange(1, threads) / threads)
    wanted = np.searchsorted(levels, height)
    greys = np.zeros((threads, 3))
    greys[:, 0] = np.linspace(10, 95, threads)
    difference = deltaE_ciede2000(greys[:, None], greys[None])
    np.fill_diagonal(difference, 0.0)
    return Case(f"hills_{cells + 1}x{rows}x{threads}", wanted, difference)


def problem(case: Case, worked: Worked, ease: Ease = Ease.FULL) -> Question:
    """The routing problem of a case: free starts, no bounds."""
    rows, cells = case.wanted.shape
    net = network(cells + 1, picture_rows(cells + 1, rows, worked))
    costs = case.difference[case.wanted[net.row, net.position]]
    k = len(case.difference)
    return Question(net, costs, (None,) * (cells + 1), (None,) * k, (), ease.allowance(net))


def soft(name: str, worked: Worked, ease: Ease, strands: int = 24, threads: int = 4) -> Question:
    """A sample picture taken in at one colour a cell, its costs measured from there.

    Cells are means over their area in CIELAB; the threads are the means of ``threads`` groups of cells of
    equal lightness. Showing a thread costs its CIEDE2000 difference from the cell, less that of the nearest.
    """
    picture = imread(SAMPLES / f"{name}.png")
    shown = picture[..., :3] / 255.0
    if picture.shape[2] == 4:
        solid = picture[..., 3:] / 255.0
        shown = shown * solid + 1.0 - solid
    cells = strands - 1
    rows = max(12, round(cells * shown.shape[0] / shown.shape[1]))
    seen = resize(rgb2lab(shown), (rows, cells), anti_aliasing=True)
    levels = np.quantile(seen[..., 0], np.arange(1, threads) / threads)
    group = np.searchsorted(levels, seen[..., 0])
    of_threads = np.array([seen[group == t].mean(axis=0) for t in range(threads) if (group == t).any()])
    net = network(strands, picture_rows(strands, rows, worked))
    costs = deltaE_ciede2000(seen[net.row, net.position][:, None], of_threads[None])
    costs = costs - costs.min(axis=1, keepdims=True)
    return Question(net, costs, (None,) * strands, (None,) * len(of_threads), (), ease.allowance(net))
