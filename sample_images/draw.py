"""Draws the sample pictures of this folder: ``python sample_images/draw.py``.

Every picture is drawn four times as large as it is saved and then averaged, so edges are smooth; no
chance and no font of the machine is involved, so the same Pillow gives the same files.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from math import cos, pi, sin
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

HERE = Path(__file__).parent
WIDE = 480  # pixels; a band of 25 strands has 24 cells across, 20 pixels each
FINE = 4

Point = tuple[float, float]


def _palette() -> dict[str, str]:
    with (HERE.parent / "pipeline" / "drawer" / "palette.csv").open(encoding="utf-8") as file:
        return {row["name"]: row["colour"] for row in csv.DictReader(file)}


INK = _palette()
NAVY, CHALK, RED, YELLOW = INK["navy"], INK["chalk"], INK["signal red"], INK["signal yellow"]
BLUE, ORANGE, GREEN, TAR = INK["signal blue"], INK["lifebuoy"], INK["starboard"], INK["tar"]
SEA, FOAM, OAR = INK["open water"], INK["shallows"], INK["varnished oar"]


class Sheet:
    """A canvas in saved pixels; shapes take points (x, y) from the top left."""

    def __init__(self, height: int, ground: str | None, wide: int = WIDE) -> None:
        size = (wide * FINE, height * FINE)
        self.image = Image.new("RGBA", size, ground or (255, 255, 255, 0))
        self.pen = ImageDraw.Draw(self.image)

    def shape(self, points: list[Point], colour: str) -> None:
        self.pen.polygon([(x * FINE, y * FINE) for x, y in points], fill=colour)

    def box(self, left: float, top: float, right: float, bottom: float, colour: str) -> None:
        self.shape([(left, top), (right, top), (right, bottom), (left, bottom)], colour)

    def disc(self, x: float, y: float, radius: float, colour: str | tuple[int, ...]) -> None:
        edges = [(x - radius) * FINE, (y - radius) * FINE, (x + radius) * FINE, (y + radius) * FINE]
        self.pen.ellipse(edges, fill=colour)

    def stroke(self, points: list[Point], width: float, colour: str) -> None:
        """A line with round corners and ends."""
        self.pen.line([(x * FINE, y * FINE) for x, y in points], fill=colour, width=round(width * FINE))
        for x, y in points:
            self.disc(x, y, width / 2, colour)

    def saved(self) -> Image.Image:
        return self.image.reduce(FINE)


def star(x: float, y: float, radius: float, points: int = 5, inner: float = 0.42) -> list[Point]:
    angles = [pi * i / points - pi / 2 for i in range(2 * points)]
    return [
        (x + cos(a) * radius * (inner if i % 2 else 1), y + sin(a) * radius * (inner if i % 2 else 1))
        for i, a in enumerate(angles)
    ]


def pennant() -> Image.Image:
    """The club's pennant hangs from its pole: four colours."""
    sheet = Sheet(800, NAVY)

    def across(top: float, bottom: float, colour: str) -> None:
        def half(y: float) -> float:
            return 190 * (770 - y) / (770 - 56)

        a, b = half(top), half(bottom)
        sheet.shape([(240 - a, top), (240 + a, top), (240 + b, bottom), (240 - b, bottom)], colour)

    across(56, 770, RED)
    across(330, 400, CHALK)
    across(470, 540, CHALK)
    sheet.shape(star(240, 205, 88), CHALK)
    sheet.stroke([(30, 44), (450, 44)], 26, OAR)
    return sheet.saved()


def _oar(sheet: Sheet, foot: Point, tip: Point, blade: str, edge: str) -> None:
    """A shaft from foot to tip with a spoon of about a third of its length at the tip."""
    along = np.array(tip) - np.array(foot)
    length = float(np.hypot(*along))
    ahead = along / length
    aside = np.array([-ahead[1], ahead[0]])

    def at(share: float, off: float) -> Point:
        x, y = np.array(foot) + ahead * share * length + aside * off
        return float(x), float(y)

    sheet.stroke([foot, at(0.8, 0)], 24, OAR)
    outline = [
        (0.62, 12),
        (0.70, 40),
        (0.97, 44),
        (1.0, 30),
        (1.0, -30),
        (0.97, -44),
        (0.70, -40),
        (0.62, -12),
    ]
    sheet.shape([at(share, off) for share, off in outline], blade)
    sheet.shape([at(0.86, 43), at(0.97, 44), at(1.0, 30), at(1.0, -30), at(0.97, -44), at(0.86, -43)], edge)


def oar_crest() -> Image.Image:
    """Two crossed oars behind a shield with waves."""
    sheet = Sheet(720, CHALK)
    _oar(sheet, (60, 670), (410, 50), RED, NAVY)
    _oar(sheet, (420, 670), (70, 50), RED, NAVY)
    side = [(98 + 142 * (1 - cos(a)), 400 + 190 * sin(a)) for a in np.linspace(0, pi / 2, 24)]
    shield = [(98, 220), (382, 220), *[(480 - x, y) for x, y in side], *reversed(side)]
    sheet.shape(shield, NAVY)
    inner = [(240 + (x - 240) * 0.84, 392 + (y - 392) * 0.86) for x, y in shield]
    sheet.shape(inner, CHALK)
    sheet.shape([(x, max(y, 380)) for x, y in inner], NAVY)
    for level in (430, 500):
        wave = [(float(x), level + 14 * sin(2 * pi * (x - 121) / 79.5)) for x in range(100, 384, 4)]
        half = [(x, y) for x, y in wave if 140 + (level - 430) * 0.45 <= x <= 340 - (level - 430) * 0.45]
        sheet.stroke(half, 24, CHALK)
    sheet.shape(star(240, 310, 62, points=4, inner=0.3), RED)
    return sheet.saved()


def buoy() -> Image.Image:
    """A striped buoy on the harbour water."""
    sheet = Sheet(760, INK["fair weather"])
    sheet.box(226, 70, 254, 210, TAR)
    sheet.shape([(240, 20), (300, 78), (240, 136), (180, 78)], YELLOW)
    body = [(196, 200), (284, 200), (372, 640), (108, 640)]

    def width(y: float) -> Point:
        share = (y - 200) / 440
        return 196 - 88 * share, 284 + 88 * share

    for index, top in enumerate(range(200, 640, 88)):
        (a, b), (c, d) = width(top), width(top + 88)
        sheet.shape([(a, top), (b, top), (d, top + 88), (c, top + 88)], RED if index % 2 == 0 else CHALK)
    sheet.stroke([body[0], body[3]], 10, TAR)
    sheet.stroke([body[1], body[2]], 10, TAR)
    for level, colour in ((590, CHALK), (612, SEA)):
        crest = [(float(x), level + 22 * sin(2 * pi * x / 240)) for x in range(0, 484, 4)]
        sheet.shape([*crest, (484, 760), (0, 760)], colour)
    for level in (676, 728):
        crest = [(float(x), level + 16 * sin(2 * pi * (x + 70) / 240)) for x in range(60, 424, 4)]
        sheet.stroke(crest, 18, FOAM)
    return sheet.saved()


def wave_border() -> Image.Image:
    """Bands of waves that join end to end, so the picture repeats along the band."""
    sheet = Sheet(480, NAVY)
    for level in range(-480, 560, 240):
        for drop, colour, shift in ((0, CHALK, 0), (40, FOAM, 0), (90, SEA, 60), (150, NAVY, 120)):
            crest = [
                (float(x), level + drop + 38 * sin(2 * pi * (x + shift) / 240)) for x in range(-4, 488, 4)
            ]
            sheet.shape([*crest, (484, 960), (-4, 960)], colour)
    return sheet.saved()


def boat_number() -> Image.Image:
    """Number 27 on a bow plate."""
    sheet = Sheet(900, BLUE)
    sheet.disc(240, 240, 214, CHALK)
    sheet.disc(240, 660, 214, CHALK)
    sheet.box(26, 240, 454, 660, CHALK)
    bowl = [(240 + 84 * cos(a), 190 + 84 * sin(a)) for a in np.linspace(-pi * 1.05, pi * 0.2, 30)]
    sheet.stroke([*bowl, (162, 384), (330, 384)], 50, TAR)
    sheet.stroke([(152, 526), (328, 526), (220, 790)], 50, TAR)
    sheet.box(86, 442, 394, 466, RED)
    return sheet.saved()


def monogram() -> Image.Image:
    """H and R share a stem inside a rope ring."""
    sheet = Sheet(620, NAVY)
    sheet.pen.ellipse([16 * FINE, 16 * FINE, 464 * FINE, 604 * FINE], fill=YELLOW)
    sheet.pen.ellipse([48 * FINE, 48 * FINE, 432 * FINE, 572 * FINE], fill=NAVY)
    sheet.box(112, 150, 160, 470, CHALK)
    sheet.box(112, 288, 240, 336, CHALK)
    sheet.pen.ellipse([228 * FINE, 150 * FINE, 376 * FINE, 336 * FINE], fill=CHALK)
    sheet.pen.ellipse([260 * FINE, 198 * FINE, 328 * FINE, 288 * FINE], fill=NAVY)
    sheet.box(220, 150, 296, 198, CHALK)
    sheet.box(220, 288, 296, 336, CHALK)
    sheet.box(268, 198, 300, 288, NAVY)
    sheet.shape([(280, 330), (334, 318), (384, 470), (328, 470)], CHALK)
    sheet.box(220, 150, 268, 470, CHALK)
    return sheet.saved()


def signal_hoist() -> Image.Image:
    """A hoist of made-up flags in five hard colours; meant to be difficult."""
    sheet = Sheet(1200, CHALK)
    step = 240
    for number, (left, right) in enumerate(
        [(RED, YELLOW), (BLUE, CHALK), (YELLOW, TAR), (CHALK, RED), (BLUE, YELLOW)]
    ):
        top = number * step
        sheet.box(0, top, 480, top + step, left)
        if number == 0:
            sheet.shape([(0, top), (480, top), (0, top + step)], right)
        elif number == 1:
            sheet.box(160, top, 320, top + step, right)
            sheet.box(0, top + 80, 480, top + 160, right)
        elif number == 2:
            for row in range(3):
                for column in range(6):
                    if (row + column) % 2:
                        sheet.box(column * 80, top + row * 80, column * 80 + 80, top + row * 80 + 80, right)
        elif number == 3:
            sheet.shape([(240, top + 10), (470, top + 120), (240, top + 230), (10, top + 120)], right)
            sheet.disc(240, top + 120, 50, TAR)
        else:
            for x in range(-240, 480, 160):
                sheet.shape([(x, top + step), (x + 80, top + step), (x + 320, top), (x + 240, top)], right)
    return sheet.saved()


def lighthouse_dusk() -> Image.Image:
    """A lighthouse at dusk: smooth shades in sky, light and sea."""
    height = 1000
    rows, columns = np.mgrid[0:height, 0:WIDE].astype(float)
    stops = [0, 240, 430, 560, 640]
    shades = np.array([[24, 30, 74], [86, 58, 122], [196, 92, 104], [246, 160, 92], [255, 206, 128]], float)
    sky = np.dstack([np.interp(rows, stops, shades[:, channel]) for channel in range(3)])
    lamp = np.array([252, 236, 168], float)
    distance = np.hypot(columns - 262, (rows - 238) * 1.0)
    glow = np.clip(1 - distance / 210, 0, 1) ** 2
    beam = np.abs(rows - 238 + (columns - 262) * 0.16)
    ray = np.clip(1 - beam / (14 + (262 - columns).clip(0) * 0.16), 0, 1) * (columns < 262) * 0.65
    share = np.maximum(glow, ray)[..., None]
    picture = sky * (1 - share) + lamp * share
    depth = ((rows - 640) / 360).clip(0, 1)[..., None]
    sea = np.array([206, 128, 104]) * (1 - depth) ** 1.6 + np.array([16, 34, 66]) * (1 - (1 - depth) ** 1.6)
    glitter = np.exp(-(((columns - 130) / (34 + depth[..., 0] * 60)) ** 2)) * (1 - depth[..., 0]) * 0.75
    ripple = 0.5 + 0.5 * np.sin(rows / (5 + depth[..., 0] * 9) + np.sin(columns / 37) * 1.5)
    sea = sea + (lamp - sea) * (glitter * ripple)[..., None]
    picture = np.where((rows < 640)[..., None], picture, sea)
    base = Image.fromarray(np.rint(picture).clip(0, 255).astype(np.uint8)).convert("RGBA")
    sheet = Sheet(height, None)
    sheet.shape(
        [(196, 660), (120, 720), (60, 800), (0, 830), (0, 1000), (480, 1000), (480, 640), (380, 636)],
        "#1d1a2c",
    )
    tower = Sheet(height, None)
    tower.shape([(228, 290), (296, 290), (334, 672), (190, 672)], "#ece4d8")
    for top, bottom in ((350, 420), (500, 580)):
        a, b = 228 - 38 * (top - 290) / 382, 296 + 38 * (top - 290) / 382
        c, d = 228 - 38 * (bottom - 290) / 382, 296 + 38 * (bottom - 290) / 382
        tower.shape([(a, top), (b, top), (d, bottom), (c, bottom)], "#b8323a")
    tower.box(212, 272, 312, 292, "#2a2436")
    tower.box(236, 206, 288, 272, "#ffedb0")
    tower.shape([(226, 208), (298, 208), (262, 160)], "#b8323a")
    side = np.asarray(tower.saved()).astype(float)
    shade = np.clip(1.05 - (columns - 200) / 190, 0.35, 1.0)[..., None]
    lit = np.where((rows > 290)[..., None], side[..., :3] * shade, side[..., :3])
    tower_image = Image.fromarray(np.dstack([lit, side[..., 3]]).clip(0, 255).astype(np.uint8))
    base.alpha_composite(sheet.saved())
    base.alpha_composite(tower_image)
    return base


def life_ring() -> Image.Image:
    """A life ring on a transparent ground."""
    sheet = Sheet(480, None)
    sheet.disc(240, 240, 232, NAVY)
    sheet.disc(240, 240, 212, "#ffffff")
    for turn in range(4):
        start = turn * 90 + 22
        edges = [28 * FINE, 28 * FINE, 452 * FINE, 452 * FINE]
        sheet.pen.pieslice(edges, start, start + 46, fill=ORANGE)
    sheet.disc(240, 240, 116, NAVY)
    sheet.disc(240, 240, 96, (255, 255, 255, 0))
    return sheet.saved()


def cells() -> Image.Image:
    """One pixel a cell, for ``--grid``: diamonds and chevrons for 17 strands."""
    rows, columns = np.mgrid[0:48, 0:16]
    across = np.abs(columns - 7.5) + 0.5
    along = np.abs((rows % 16) - 7.5) + 0.5
    ring = across + along
    grid = np.zeros((48, 16, 3), np.uint8)
    for least, colour in ((0, NAVY), (5, CHALK), (8, RED), (10, NAVY), (12, YELLOW), (14, NAVY)):
        grid[ring >= least] = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return Image.fromarray(grid)


PICTURES: dict[str, Callable[[], Image.Image]] = {
    "pennant": pennant,
    "oar_crest": oar_crest,
    "buoy": buoy,
    "wave_border": wave_border,
    "boat_number": boat_number,
    "monogram": monogram,
    "signal_hoist": signal_hoist,
    "lighthouse_dusk": lighthouse_dusk,
    "life_ring": life_ring,
    "cells": cells,
}


def main() -> None:
    for name, draw in PICTURES.items():
        picture = draw()
        if name != "life_ring":
            picture = picture.convert("RGB")
        picture.save(HERE / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
