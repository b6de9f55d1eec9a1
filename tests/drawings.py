"""Pictures drawn for the tests, larger first and then smoothed, as drawing programs do."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageDraw

CHALK, NAVY, RED, YELLOW = (246, 243, 234), (27, 42, 89), (200, 32, 44), (246, 204, 48)
SMOOTH = 4


class Sheet:
    """A sheet of ``width`` by ``height`` pixels; coordinates are pixels, strokes may be thinner than one."""

    def __init__(self, width: int, height: int, ground: tuple[int, int, int] = CHALK) -> None:
        self.size = (width, height)
        self.image = Image.new("RGB", (width * SMOOTH, height * SMOOTH), ground)
        self.pen = ImageDraw.Draw(self.image)

    def disc(self, x: float, y: float, radius: float, ink: tuple[int, int, int]) -> Sheet:
        box = [SMOOTH * side for side in (x - radius, y - radius, x + radius, y + radius)]
        self.pen.ellipse(box, fill=ink)
        return self

    def ring(self, x: float, y: float, radius: float, wide: float, ink: tuple[int, int, int]) -> Sheet:
        box = [SMOOTH * side for side in (x - radius, y - radius, x + radius, y + radius)]
        self.pen.ellipse(box, outline=ink, width=round(SMOOTH * wide))
        return self

    def line(self, ends: list[float], wide: float, ink: tuple[int, int, int]) -> Sheet:
        self.pen.line([SMOOTH * part for part in ends], fill=ink, width=round(SMOOTH * wide))
        return self

    def box(self, sides: list[float], ink: tuple[int, int, int]) -> Sheet:
        left, top, right, bottom = (SMOOTH * part for part in sides)
        self.pen.rectangle([left, top, right - 1, bottom - 1], fill=ink)
        return self

    def rgb(self) -> np.ndarray:
        return np.asarray(self.image.resize(self.size, Image.Resampling.LANCZOS)).copy()


def as_jpeg(rgb: np.ndarray, quality: int) -> np.ndarray:
    file = io.BytesIO()
    Image.fromarray(rgb).save(file, "JPEG", quality=quality)
    return np.asarray(Image.open(file).convert("RGB")).copy()


def pennant() -> np.ndarray:
    """Four colours, a ring, a disc and two strokes."""
    sheet = Sheet(240, 320).ring(120, 110, 90, 6, NAVY).disc(120, 110, 30, YELLOW)
    return sheet.line([40, 300, 200, 210], 3, RED).line([20, 230, 220, 310], 4, NAVY).rgb()


def ball() -> np.ndarray:
    """A disc shaded from light to dark."""
    y, x = np.mgrid[:300, :300]
    far = np.hypot(x - 150, y - 150)
    grey = np.where(far < 120, 200 - far, 240).astype(np.uint8)
    return np.stack([grey] * 3, axis=-1)
