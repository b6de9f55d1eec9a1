"""Drawings of our own that are hard to tie: thin rings, small eyes, symmetric crests, lossy files, shading.

python -m benchmarks.drawings FOLDER
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

SIDE = 480
CHALK, NAVY, RED, YELLOW, BLUE, TAR = "#f6f3ea", "#1b2a59", "#c8202c", "#f6cc30", "#2e74b5", "#17181c"


def _sheet(ground: str = CHALK) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", (SIDE, SIDE), ground)
    return image, ImageDraw.Draw(image)


def lifebuoy() -> Image.Image:
    """Two thin rings, less than a cell wide, and four bars across them."""
    image, pen = _sheet()
    pen.ellipse([40, 40, 440, 440], outline=RED, width=16)
    pen.ellipse([130, 130, 350, 350], outline=RED, width=12)
    for box in ([220, 40, 260, 142], [220, 338, 260, 440], [40, 220, 142, 260], [338, 220, 440, 260]):
        pen.rectangle(box, fill=NAVY)
    return image


def gull() -> Image.Image:
    """A round head with two eyes of less than a cell and a beak."""
    image, pen = _sheet(BLUE)
    pen.ellipse([60, 60, 420, 420], fill=CHALK)
    for x in (180, 300):
        pen.ellipse([x - 13, 180, x + 13, 206], fill=TAR)
    pen.polygon([(205, 270), (275, 270), (240, 330)], fill=YELLOW)
    return image


def crest() -> Image.Image:
    """A shield, symmetric about its middle, with crossed oars and three stars of small size."""
    image, pen = _sheet()
    pen.polygon([(60, 50), (420, 50), (420, 280), (240, 440), (60, 280)], fill=NAVY)
    pen.line([(110, 350), (370, 100)], fill=YELLOW, width=18)
    pen.line([(370, 350), (110, 100)], fill=YELLOW, width=18)
    for x, y in ((240, 120), (130, 225), (350, 225)):
        pen.ellipse([x - 16, y - 16, x + 16, y + 16], fill=RED)
    return image


def sloop() -> Image.Image:
    """A hull, a mast half a cell wide and two sails."""
    image, pen = _sheet("#cfe3f0")
    pen.polygon([(60, 360), (420, 360), (360, 430), (120, 430)], fill=RED)
    pen.rectangle([234, 30, 243, 360], fill=TAR)
    pen.polygon([(250, 50), (250, 340), (400, 340)], fill=CHALK)
    pen.polygon([(226, 90), (226, 340), (110, 340)], fill=YELLOW)
    return image


def badge() -> Image.Image:
    """A club badge saved as a poor JPEG."""
    image, pen = _sheet("#ffffff")
    pen.ellipse([20, 20, 460, 460], fill=NAVY)
    pen.ellipse([60, 60, 420, 420], fill=CHALK)
    pen.polygon([(120, 300), (240, 110), (360, 300)], fill=BLUE)
    pen.rectangle([120, 310, 360, 350], fill=RED)
    file = io.BytesIO()
    image.filter(ImageFilter.GaussianBlur(1.5)).save(file, "JPEG", quality=25)
    return Image.open(file).convert("RGB")


def dusk() -> Image.Image:
    """A sky shaded from yellow to navy, and a dark headland."""
    y = np.linspace(0, 1, SIDE)[:, None, None]
    top, low = (np.array(tuple(bytes.fromhex(c[1:])), float) for c in (NAVY, YELLOW))
    image = Image.fromarray(np.broadcast_to(top * (1 - y) + low * y, (SIDE, SIDE, 3)).astype(np.uint8))
    pen = ImageDraw.Draw(image)
    pen.polygon([(0, 480), (0, 360), (140, 300), (260, 380), (480, 330), (480, 480)], fill=TAR)
    pen.ellipse([300, 250, 380, 330], fill=RED)
    return image


DRAWINGS: tuple[Callable[[], Image.Image], ...] = (lifebuoy, gull, crest, sloop, badge, dusk)


def draw_all(folder: Path) -> list[Path]:
    """Write every drawing as a PNG into ``folder``; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{draw.__name__}.png" for draw in DRAWINGS]
    for path, draw in zip(paths, DRAWINGS, strict=True):
        draw().save(path)
    return paths


if __name__ == "__main__":
    draw_all(Path(sys.argv[1]))
