"""The preview: the band as it will look, knot by knot in light and shade, straight and on a wrist."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.files.channels import printable
from pipeline.materials.fit import size_mm
from pipeline.writers.bandpicture import BandPicture, band
from pipeline.writers.drawing import PNG_LEVEL, fitted, font, saved
from pipeline.writers.ink import INK, SOFT, rgb
from pipeline.writers.original import UNKNOWN, Original
from pipeline.writers.weave import Floats

PAGE = "#f2f0ea"
"""Ground of the picture."""
LONGEST_PIXELS = 5000.0
"""Length of the knotted band in the picture, at most: the picture of a worn band grows with its square."""


# --- on a wrist -------------------------------------------------------------------------------------


def worn(straight: BandPicture, *, zoom: float = 1.0, tilt: float = 0.32) -> NDArray[np.float32]:
    """The knotted part around a level wrist: (height, width, 4) float 0 to 1, seen a little from the side."""
    first, last = straight.knotted
    girth = max(last - first, 40 * straight.px_per_mm) * 1.04
    radius = girth / (2 * math.pi)
    thick = 0.9 * straight.px_per_mm
    wide = straight.rgba.shape[1]
    half_h = int((radius + thick) * zoom) + 3
    half_w = int((wide * 0.5 + radius * tilt * 0.5 + 9 * straight.px_per_mm) * zoom)
    y = np.arange(-half_h, half_h + 1, dtype=np.float32)[:, None] / np.float32(zoom)
    x = np.arange(-half_w, half_w + 1, dtype=np.float32) / np.float32(zoom)
    out = np.empty((len(y), len(x), 4), np.float32)
    linen = np.array(rgb("#d9cbb8"), np.float32) / 255
    out[..., :3] = linen * _around(np.clip(y / radius, -1, 1))[..., None]
    fade = np.clip((half_w / zoom - np.abs(x)) / (6 * straight.px_per_mm), 0, 1)
    out[..., 3] = (np.abs(y) <= radius) * (fade * fade * (3 - 2 * fade))
    outer = radius + thick
    turn = np.clip(y / outer, -1, 1)
    lean = outer * (np.sqrt(1 - turn**2) - 0.5) * tilt
    layers = _sampled(
        straight.rgba,
        (first + last) / 2 + radius * np.arcsin(turn),
        (x - lean) / math.cos(math.asin(min(tilt, 0.9))) + (wide - 1) / 2,
    )
    seen = np.clip(layers[..., 3], 0, 1) * (np.abs(y) <= outer)
    cast = np.roll(seen, (round(1.2 * thick * zoom), round(1.0 * thick * zoom)), (0, 1))
    soft = Image.fromarray((cast * 255).astype(np.uint8)).filter(ImageFilter.GaussianBlur(1.3 * thick * zoom))
    under = (1 - 0.5 * np.asarray(soft, np.float32) / 255) * (1 - seen)
    over = _around(turn) * np.float32(1.04) * seen
    out[..., :3] = out[..., :3] * under[..., None] + layers[..., :3] * over[..., None]
    out[..., 3] = np.maximum(out[..., 3], seen)
    return np.clip(out, 0, 1, out=out)


def _sampled(rgba: Floats, down: Floats, right: Floats) -> Floats:
    """The picture between its pixels, (height, width, 4), at ``down`` (height, 1) and ``right`` (height,
    width); nothing outside it.
    """

    def parts(at: Floats, size: int) -> tuple[NDArray[np.intp], Floats]:
        low = np.clip(np.floor(at), 0, size - 2).astype(np.intp)
        return low, np.clip(at - low, 0, 1).astype(np.float32)[..., None]

    tall, wide = rgba.shape[:2]
    inside = (down >= 0) & (down <= tall - 1) & (right >= 0) & (right <= wide - 1)
    (row, lower), (column, later) = parts(down, tall), parts(right, wide)
    lines = rgba[row[:, 0]] * (1 - lower) + rgba[row[:, 0] + 1] * lower
    each = np.arange(len(down))[:, None]
    here: Floats = lines[each, column]
    here += (lines[each, column + 1] - here) * later
    here[~inside] = 0
    return here


def _around(down: Floats) -> Floats:
    """Brightness around a roll; ``down`` is −1 at its upper and 1 at its lower outline."""
    facing = np.sqrt(np.clip(1 - down**2, 0, 1))
    lit: Floats = np.clip(-0.5 * down + 0.87 * facing, 0, 1)
    return np.asarray(0.60 + 0.43 * lit, np.float32)


# --- the picture ------------------------------------------------------------------------------------


def preview_pictures(
    pattern: Pattern, original: Original = UNKNOWN
) -> tuple[Image.Image, Image.Image, Image.Image | None]:
    """The straight band, the band on a wrist, and the original at the band's size, as cut-outs."""
    flat, wrist, knotted_px = _cut_outs(pattern, original.lengthwise)
    return flat, wrist, _source(original, flat.width, knotted_px)


@lru_cache(maxsize=1)
def _cut_outs(pattern: Pattern, lengthwise: bool) -> tuple[Image.Image, Image.Image, float]:
    """The straight and the worn band, and the knotted length in pixels; kept for the next output."""
    length_mm = max(1.0, size_mm(pattern)[1])
    straight = band(pattern, px_per_mm=min(7.0, LONGEST_PIXELS / length_mm), lengthwise=lengthwise)
    flat = _image(straight.rgba)
    length = straight.knotted[1] - straight.knotted[0]
    zoom = max(1.0, min(1.7, flat.height / (2.4 * max(1.0, length / math.pi))))
    return flat, _image(worn(straight, zoom=zoom)), length


def preview(pattern: Pattern, original: Original = UNKNOWN) -> Image.Image:
    """The straight band and the worn band on one picture, with the original beside them if it is known."""
    flat, wrist, source = preview_pictures(pattern, original)
    wide, long = size_mm(pattern)
    pictures = [(flat, f"straight, {wide:.0f} × {long:.0f} mm knotted"), (wrist, "on the wrist")]
    if original.lengthwise:
        pictures = [(image.transpose(Image.Transpose.ROTATE_90), words) for image, words in pictures]
    if source is not None:
        pictures.insert(0, (source, "the picture"))
    return _mounted(pictures, printable(pattern.title), stacked=original.lengthwise)


def preview_png(pattern: Pattern, original: Original = UNKNOWN) -> bytes:
    r"""The preview as a PNG; see :func:`preview`.

    >>> from pipeline.band.example import two_rows
    >>> preview_png(two_rows())[:4]
    b'\x89PNG'
    """
    return saved(preview(pattern, original), compress_level=PNG_LEVEL)


CHOSEN_PX_PER_MM = 6.0
"""Scale of a band among others to choose from: knots of eight pixels still show their slant."""


ENDS_MM = 9.0
"""What such a band shows of its ends."""


def band_png(pattern: Pattern, *, px_per_mm: float = CHOSEN_PX_PER_MM, lengthwise: bool = False) -> bytes:
    r"""The straight band on a clear ground, as a PNG, its ends cut short; ``lengthwise``: on its side.

    >>> from pipeline.band.example import two_rows
    >>> band_png(two_rows())[:4]
    b'\x89PNG'
    """
    straight = band(pattern, px_per_mm=px_per_mm, lengthwise=lengthwise)
    first, last = straight.knotted
    ends = ENDS_MM * straight.px_per_mm
    image = _image(straight.rgba[max(0, round(first - ends)) : round(last + ends)])
    if lengthwise:
        image = image.transpose(Image.Transpose.ROTATE_90)
    return saved(image, compress_level=PNG_LEVEL)


def preview_terminal(pattern: Pattern) -> NDArray[np.uint8]:
    """The knots' colours as (rows, cells, 3) sRGB for a console; diagonal knots fill two cells.

    >>> from pipeline.band.example import two_rows
    >>> preview_terminal(two_rows())[:, :3].tolist()[0]  # the first row, all navy
    [[27, 42, 89], [27, 42, 89], [27, 42, 89]]
    """
    strands = len(pattern.strands)
    palette = np.array([rgb(thread.colour) for thread in pattern.threads], np.uint8)
    lines: list[NDArray[np.uint8]] = []
    for row, (_, _, section, _) in zip(replay(pattern), pattern.rows(), strict=True):
        square = section.working.square
        line = np.array(row.before, np.int64)
        for step in row.steps:
            line[step.tied.position : step.tied.position + (1 if square else 2)] = step.shown
        if square:
            line[-1] = line[-2]
        lines.append(palette[line])
    return np.array(lines, np.uint8).reshape(-1, strands, 3)


def _image(rgba: Floats) -> Image.Image:
    return Image.fromarray((np.clip(rgba, 0, 1) * 255 + 0.5).astype(np.uint8), "RGBA")


def _source(original: Original, band_px: int, knotted_px: float) -> Image.Image | None:
    """The original as long as the knotted part, or twice as wide as the band where it is wide."""
    if original.picture is None:
        return None
    image = Image.fromarray(np.ascontiguousarray(original.picture[..., :3])).convert("RGBA")
    most_w, most_h = (knotted_px, 2.0 * band_px) if original.lengthwise else (2.0 * band_px, knotted_px)
    factor = min(most_w / image.width, most_h / image.height)
    size = max(1, round(image.width * factor)), max(1, round(image.height * factor))
    return image.resize(size, Image.Resampling.NEAREST if factor > 3 else Image.Resampling.LANCZOS)


def _mounted(pictures: list[tuple[Image.Image, str]], title: str, *, stacked: bool) -> Image.Image:
    gap, edge, caption, heading = 56, 64, 44, 84
    face = font(20, False)
    slots = [max(image.width, round(face.getlength(words))) for image, words in pictures]
    if stacked:
        width = max(slots) + 2 * edge
        height = sum(image.height + caption + gap for image, _ in pictures) - gap + heading + 2 * edge
    else:
        width = sum(slots) + gap * (len(slots) - 1) + 2 * edge
        height = max(image.height for image, _ in pictures) + caption + heading + 2 * edge
    width = max(width, 640)
    page = Image.new("RGB", (width, height), PAGE)
    pen = ImageDraw.Draw(page)
    heading_words = fitted(title, 34, width - 2 * edge, bold=True)
    pen.text((edge, edge), heading_words, font=font(34, True), fill=INK, anchor="lt")
    x, y = edge, edge + heading
    tallest = max(image.height for image, _ in pictures)
    for (image, words), slot in zip(pictures, slots, strict=True):
        left = (width - image.width) // 2 if stacked else x + (slot - image.width) // 2
        top = y if stacked else y + (tallest - image.height) // 2
        place_cut_out(page, image, left, top)
        below = (left + image.width // 2, (top + image.height if stacked else y + tallest) + 16)
        pen.text(below, words, font=face, fill=SOFT, anchor="mt")
        if stacked:
            y += image.height + caption + gap
        else:
            x += slot + gap
    return page


def place_cut_out(page: Image.Image, image: Image.Image, left: int, top: int) -> None:
    """Paste a cut-out with a soft shadow under it."""
    pad = 30
    shadow = Image.new("L", (image.width + 2 * pad, image.height + 2 * pad), 0)
    shadow.paste(image.getchannel("A").point(lambda a: a * 0.38), (pad, pad))
    shadow = shadow.filter(ImageFilter.GaussianBlur(9))
    page.paste(Image.new("RGB", shadow.size, "#4a4238"), (left - pad + 5, top - pad + 9), shadow)
    page.paste(image, (left, top), image)
