"""The preview: the band as it will look, knot by knot in light and shade, straight and on a wrist."""

from __future__ import annotations

import math
from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter
from scipy.ndimage import map_coordinates

from pipeline.knots import Tied, Worked
from pipeline.pattern import Pattern
from pipeline.replay import RowReplay, replay
from pipeline.writers.drawing import fitted, font, printable
from pipeline.writers.ink import SOFT, rgb
from pipeline.writers.weave import Cloth, Floats, tube

PAGE = "#f2f0ea"
TIE_SHOWN_MM = 42.0
"""Longest part of a tie that the preview shows."""
TAPER_MM = 11.0
MAX_CLOTH_PIXELS = 9_000_000
_FINE = 2


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The straight band as a picture: rgba (height, width, 4) float 0 to 1, and where the knots are."""

    rgba: Floats
    px_per_mm: float
    knotted: tuple[float, float]
    """First and last pixel row of the knotted part."""


def _row_height(pattern: Pattern, worked: Worked, row: RowReplay) -> float:
    """Height of a row in millimetres: from the gauge by who ties where it says so."""
    gauge = pattern.gauge_of(worked)
    if worked == "diagonal" or gauge.leader_tied is None or gauge.base_tied is None or not row.steps:
        return gauge.row_pitch_mm
    rising = _rising(row)
    by_leader = sum(step.tied.knot.left_ties == rising for step in row.steps)
    total = by_leader * gauge.leader_tied.along_mm + (len(row.steps) - by_leader) * gauge.base_tied.along_mm
    return total / len(row.steps)


def _rising(row: RowReplay) -> bool:
    return len(row.steps) < 2 or row.steps[0].tied.position < row.steps[-1].tied.position


def size_mm(pattern: Pattern) -> tuple[float, float]:
    """Width and knotted length of the band in millimetres, by its gauge."""
    widths = [_width(pattern, section.worked) for section in pattern.sections] or [0.0]
    length = sum(
        _row_height(pattern, section.worked, row)
        for row, (_, _, section, _) in zip(replay(pattern), pattern.rows(), strict=True)
    )
    return max(widths), length


def _width(pattern: Pattern, worked: Worked) -> float:
    strands = len(pattern.strands)
    return pattern.gauge_of(worked).strand_pitch_mm * (strands if worked == "diagonal" else strands - 1)


def band(pattern: Pattern, *, px_per_mm: float = 9.0, lengthwise: bool = False) -> Band:
    """Draw the straight band with its tapers and ties (shown up to TIE_SHOWN_MM long)."""
    wide, long = size_mm(pattern)
    tie_top = min(pattern.ends.start.tail_mm, TIE_SHOWN_MM)
    tie_end = min(pattern.ends.finish.tail_mm, TIE_SHOWN_MM)
    total, across = long + tie_top + tie_end + 4, wide + 6
    scale = min(px_per_mm * _FINE, math.sqrt(MAX_CLOTH_PIXELS / (total * across)))
    cloth = Cloth(math.ceil(total * scale), math.ceil(across * scale))
    middle = across * scale / 2
    top = (2 + tie_top) * scale
    _tie(
        cloth,
        pattern,
        range(len(pattern.strands)),
        pattern.strands,
        wide,
        middle,
        top,
        -tie_top * scale,
        scale,
    )
    y = top
    order: tuple[int, ...] = tuple(range(len(pattern.strands)))
    threads: tuple[int, ...] = tuple(pattern.strands)
    for row, (_, _, section, _) in zip(replay(pattern), pattern.rows(), strict=True):
        tall = _row_height(pattern, section.worked, row) * scale
        left = middle - _width(pattern, section.worked) * scale / 2
        pitch = pattern.gauge_of(section.worked).strand_pitch_mm * scale
        if section.worked == "rows":
            _straight_row(cloth, row, left, y, pitch, tall)
        else:
            _diagonal_row(cloth, row, threads, left, y, pitch, tall)
        y += tall
        order, threads = row.order, row.threads
    _tie(cloth, pattern, order, threads, wide, middle, y, tie_end * scale, scale)
    light = (0.42, -0.55, 0.72) if lengthwise else (-0.42, -0.55, 0.72)
    fine = cloth.lit([thread.colour for thread in pattern.threads], light)
    return Band(_halved(fine), scale / _FINE, (top / _FINE, y / _FINE))


def _halved(fine: Floats) -> Floats:
    """Average 2 × 2 pixels, colours weighted by coverage."""
    tall, wide = fine.shape[0] // 2 * 2, fine.shape[1] // 2 * 2
    blocks = fine[:tall, :wide].reshape(tall // 2, 2, wide // 2, 2, 4)
    cover = blocks[..., 3:]
    total = cover.sum((1, 3))
    out = np.empty((tall // 2, wide // 2, 4), np.float32)
    out[..., :3] = (blocks[..., :3] * cover).sum((1, 3)) / np.maximum(total, 1e-6)
    out[..., 3:] = total / 4
    return out


def _grain(row: int, position: int) -> float:
    """A small fixed unevenness of brightness, so that knots do not look printed."""
    mixed = (row * 2654435761 + position * 40503 + 12345) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 15)) * 2246822519) & 0xFFFFFFFF
    return 0.955 + 0.09 * ((mixed >> 8) & 0xFFFF) / 0xFFFF


def _wraps(
    cloth: Cloth, tied: Tied, shown: int, x: float, y: float, first: tuple[float, float],
    second: tuple[float, float], apart: tuple[float, float], radius: float, tone: float,
) -> None:  # fmt: skip
    """Two wraps about (x, y), half of ``apart`` before and after it."""
    for sign, (dx, dy) in ((-1, first), (1, second)):
        stamp = tube(round(dx, 1), round(dy, 1), round(radius, 1), 1.7)
        cloth.lay(stamp, x + sign * apart[0] / 2, y + sign * apart[1] / 2, shown, tone)


def _straight_row(cloth: Cloth, row: RowReplay, left: float, y: float, pitch: float, tall: float) -> None:
    """Knots side by side: wraps lie flat where the leader ties, and stand where a base strand ties."""
    rising = _rising(row)
    for step in row.steps:
        tied = step.tied
        x, mid = left + (tied.position + 0.5) * pitch, y + tall / 2
        turn = 1 if tied.knot.left_ties else -1
        tone = _grain(step.row, tied.position)
        if tied.knot.left_ties == rising:
            run, fall, radius = 0.74 * pitch, 0.16 * tall * turn, 0.29 * tall
            again = (run, fall if tied.knot.swaps else -fall)
            _wraps(cloth, tied, step.shown, x, mid, (run, fall), again, (0, 0.47 * tall), radius, tone)
        else:
            run, fall, radius = 0.16 * pitch * turn, 0.74 * tall, 0.29 * pitch
            again = (run if tied.knot.swaps else -run, fall)
            _wraps(cloth, tied, step.shown, x, mid, (run, fall), again, (0.47 * pitch, 0), radius, tone)
    if row.steps:  # the leader shows a little where it comes round the edge
        first = row.steps[0]
        leads_left = rising
        leader = first.shown if first.tied.knot.left_ties == leads_left else first.hidden
        edge = left + (first.tied.position + (0 if rising else 1)) * pitch
        cloth.lay(tube(0.0, round(0.5 * tall, 1), round(0.22 * tall, 1), 1.0), edge, y + 0.08 * tall, leader)


def _diagonal_row(
    cloth: Cloth, row: RowReplay, threads: tuple[int, ...], left: float, y: float, pitch: float, tall: float
) -> None:
    """Knots on the quincunx: wraps lean as the tying strand goes, across the core."""
    busy = set()
    for step in row.steps:
        tied = step.tied
        busy |= {tied.position, tied.position + 1}
        x, mid = left + (tied.position + 1) * pitch, y + tall / 2
        turn = 1 if tied.knot.left_ties else -1
        run, fall = 0.92 * pitch * turn, 1.02 * tall
        radius = 0.30 * math.hypot(pitch, tall)
        again = (run if tied.knot.swaps else -run, fall)
        apart = (-0.62 * pitch * turn, 0.62 * tall)
        if not tied.knot.swaps:
            apart = (0.0, 0.95 * tall)
            run, fall, again = 1.15 * pitch * turn, 0.55 * tall, (-1.15 * pitch * turn, 0.55 * tall)
        _wraps(
            cloth,
            tied,
            step.shown,
            x,
            mid,
            (run, fall),
            again,
            apart,
            radius,
            _grain(step.row, tied.position),
        )
    for p in range(len(threads)):
        if p not in busy:
            inward = 0.12 * pitch if p == 0 else -0.12 * pitch if p == len(threads) - 1 else 0.0
            stamp = tube(0.0, round(1.7 * tall, 1), round(0.3 * pitch, 1), 2.0)
            cloth.lay(stamp, left + (p + 0.5) * pitch + inward, y + tall / 2, threads[p], 0.9)


def _tie(
    cloth: Cloth, pattern: Pattern, order: range | tuple[int, ...], threads: tuple[int, ...], wide_mm: float,
    middle: float, edge: float, reach: float, scale: float,
) -> None:  # fmt: skip
    """Strands that run together in a taper, a three-part braid and a loose end; ``reach`` is signed."""
    length = abs(reach)
    if length < 2 * scale:
        return
    n, sign = len(threads), 1 if reach > 0 else -1
    taper, loose = min(TAPER_MM * scale, length * 0.45), min(9 * scale, length * 0.25)
    diameter = float(np.mean([pattern.threads[t].diameter_mm for t in threads])) * scale
    radius = max(1.0, 0.42 * diameter * 0.9)
    # The three parts of the braid, each a bundle of a third of the strands, two deep.
    bundle = radius * 1.15 * math.sqrt(n / 3)
    swing, wave = 1.25 * bundle, 6.4 * bundle
    run = np.arange(0.0, length, 2.0)
    into = np.clip(run / taper, 0, 1)
    into = into * into * (3 - 2 * into)
    free = np.clip((run - (length - loose)) / max(loose, 1.0), 0, 1)
    for p, thread in enumerate(threads):
        part, place = p * 3 // n, (p * 3 % n) / n - 0.5 if n > 3 else 0.0
        phase = 2 * math.pi * (np.maximum(run - taper * 0.7, 0) / wave) + part * 2 * math.pi / 3
        braided = swing * np.sin(phase) + 1.7 * bundle * place
        spread = (p + 0.5 - n / 2) * wide_mm * scale / n
        fringe = ((p * 7919) % 13 - 6) / 6 * bundle * 1.9 * free**1.5
        x = middle + (1 - into) * spread + into * braided + fringe
        lift = into * bundle * 0.8 * np.cos(2 * phase) + ((p * 31) % 5) * 0.12 * radius
        shorter = 1 - 0.05 * ((p * 5) % 7) / 6
        keep = run <= length * shorter
        points = np.stack([x, edge + sign * run], axis=1)[keep]
        cloth.lay_strand(points, radius, thread, lift[keep])
    knot_y = edge + sign * (length - loose)
    for i in range(3):  # a strand tied round the braid's end
        stamp = tube(
            round(2.3 * bundle, 1), round(0.3 * radius, 1), round(radius * 1.1, 1), 4.0, 2.2 * bundle
        )
        cloth.lay(stamp, middle, knot_y + (i - 1) * 1.7 * radius, threads[order.index(order[0])])


# --- on a wrist -------------------------------------------------------------------------------------


def worn(straight: Band, *, zoom: float = 1.0, tilt: float = 0.32) -> NDArray[np.float32]:
    """The knotted part around a level wrist: (height, width, 4) float 0 to 1, seen a little from the side."""
    first, last = straight.knotted
    girth = max(last - first, 40 * straight.px_per_mm) * 1.04
    radius = girth / (2 * math.pi)
    thick = 0.9 * straight.px_per_mm
    wide = straight.rgba.shape[1]
    half_h = int((radius + thick) * zoom) + 3
    half_w = int((wide * 0.5 + radius * tilt * 0.5 + 12 * straight.px_per_mm) * zoom)
    y, x = np.mgrid[-half_h : half_h + 1, -half_w : half_w + 1].astype(np.float64) / zoom
    out = np.zeros((*y.shape, 4), np.float32)
    roll = np.clip(y / radius, -1, 1)
    shade = _around(roll)
    linen = np.array(rgb("#d9cbb8"), np.float64) / 255
    inside = np.abs(y) <= radius
    out[..., :3] = linen * shade[..., None]
    fade = np.clip((half_w / zoom - np.abs(x)) / (10 * straight.px_per_mm), 0, 1)
    out[..., 3] = inside * fade * fade * (3 - 2 * fade)
    depth = np.sqrt(np.clip(1 - (y / (radius + thick)) ** 2, 0, 1))
    sideways = (x - (radius + thick) * (depth - 0.5) * tilt) / math.cos(math.asin(min(tilt, 0.9)))
    along = (first + last) / 2 + radius * np.arcsin(np.clip(y / (radius + thick), -1, 1))
    grid = np.stack([along, sideways + (wide - 1) / 2])
    layers = [map_coordinates(straight.rgba[..., c], grid, order=1, cval=0.0) for c in range(4)]
    seen = np.clip(layers[3], 0, 1) * (np.abs(y) <= radius + thick)
    cast = np.roll(seen, (round(1.2 * thick * zoom), round(1.0 * thick * zoom)), (0, 1))
    dark = (
        np.asarray(
            Image.fromarray((cast * 255).astype(np.uint8)).filter(
                ImageFilter.GaussianBlur(1.3 * thick * zoom)
            ),
            np.float32,
        )
        / 255
    )
    out[..., :3] *= (1 - 0.5 * dark)[..., None]
    around = _around(np.clip(y / (radius + thick), -1, 1))
    for c in range(3):
        out[..., c] = out[..., c] * (1 - seen) + layers[c] * around * 1.04 * seen
    out[..., 3] = np.maximum(out[..., 3], seen)
    return np.clip(out, 0, 1)


def _around(down: NDArray[np.float64]) -> NDArray[np.float64]:
    """Brightness around a roll; ``down`` is −1 at its upper and 1 at its lower outline."""
    facing = np.sqrt(np.clip(1 - down**2, 0, 1))
    lit = np.clip(-0.5 * down + 0.87 * facing, 0, 1)
    return np.asarray(0.36 + 0.66 * lit, np.float64)


# --- the picture ------------------------------------------------------------------------------------


def preview_pictures(
    pattern: Pattern, source: NDArray[np.uint8] | None = None, *, lengthwise: bool = False
) -> tuple[Image.Image, Image.Image, Image.Image | None]:
    """The straight band, the band on a wrist, and the source picture at the band's size, as cut-outs."""
    straight = band(pattern, px_per_mm=8.0, lengthwise=lengthwise)
    flat = _image(straight.rgba)
    girth = straight.knotted[1] - straight.knotted[0]
    zoom = max(1.0, min(1.7, flat.height / (2.4 * max(1.0, girth / math.pi))))
    original = None if source is None else _source(source, flat, straight, lengthwise)
    return flat, _image(worn(straight, zoom=zoom)), original


def preview(
    pattern: Pattern, source: NDArray[np.uint8] | None = None, *, lengthwise: bool = False
) -> Image.Image:
    """The straight band and the worn band on one picture, with the source picture beside them if given.

    ``source``: (height, width, 3) sRGB. ``lengthwise`` turns all a quarter so that the band runs from left
    to right, for letters that read along it.
    """
    flat, wrist, original = preview_pictures(pattern, source, lengthwise=lengthwise)
    wide, long = size_mm(pattern)
    pictures = [(flat, f"straight, {wide:.0f} × {long:.0f} mm knotted"), (wrist, "on the wrist")]
    if lengthwise:
        pictures = [(image.transpose(Image.Transpose.ROTATE_90), words) for image, words in pictures]
    if original is not None:
        pictures.insert(0, (original, "the picture"))
    return _mounted(pictures, printable(pattern.title), stacked=lengthwise)


def preview_png(
    pattern: Pattern, source: NDArray[np.uint8] | None = None, *, lengthwise: bool = False
) -> bytes:
    """The preview as a PNG; see :func:`preview`."""
    out = BytesIO()
    preview(pattern, source, lengthwise=lengthwise).save(out, "PNG")
    return out.getvalue()


def preview_terminal(pattern: Pattern) -> NDArray[np.uint8]:
    """The knots' colours as (rows, cells, 3) sRGB for a console; diagonal knots fill two cells."""
    strands = len(pattern.strands)
    palette = np.array([rgb(thread.colour) for thread in pattern.threads], np.uint8)
    lines: list[NDArray[np.uint8]] = []
    threads: tuple[int, ...] = pattern.strands
    for row, (_, _, section, _) in zip(replay(pattern), pattern.rows(), strict=True):
        diagonal = section.worked == "diagonal"
        line = np.array(threads if diagonal else threads[:-1], np.int64)
        for step in row.steps:
            line[step.tied.position : step.tied.position + (2 if diagonal else 1)] = step.shown
        full = line if len(line) == strands else np.append(line, line[-1])
        lines.append(palette[full])
        threads = row.threads
    return np.array(lines, np.uint8).reshape(-1, strands, 3)


def _image(rgba: Floats) -> Image.Image:
    return Image.fromarray((np.clip(rgba, 0, 1) * 255 + 0.5).astype(np.uint8), "RGBA")


def _source(source: NDArray[np.uint8], flat: Image.Image, straight: Band, lengthwise: bool) -> Image.Image:
    image = Image.fromarray(np.ascontiguousarray(source[..., :3])).convert("RGBA")
    tall = straight.knotted[1] - straight.knotted[0]
    most_w, most_h = (tall, flat.width * 2.0) if lengthwise else (flat.width * 2.0, tall)
    factor = min(most_w / image.width, most_h / image.height)
    size = max(1, round(image.width * factor)), max(1, round(image.height * factor))
    enlarging = factor > 3
    return image.resize(size, Image.Resampling.NEAREST if enlarging else Image.Resampling.LANCZOS)


def _mounted(pictures: list[tuple[Image.Image, str]], title: str, *, stacked: bool) -> Image.Image:
    gap, edge, caption, heading = 56, 64, 44, 84
    if stacked:
        width = max(image.width for image, _ in pictures) + 2 * edge
        height = sum(image.height + caption + gap for image, _ in pictures) - gap + heading + 2 * edge
    else:
        width = sum(max(image.width, 200) + gap for image, _ in pictures) - gap + 2 * edge
        height = max(image.height for image, _ in pictures) + caption + heading + 2 * edge
    width = max(width, 640)
    page = Image.new("RGB", (width, height), PAGE)
    pen = ImageDraw.Draw(page)
    pen.text(
        (edge, edge),
        fitted(title, 34, width - 2 * edge, bold=True),
        font=font(34, True),
        fill="#17212b",
        anchor="lt",
    )
    x, y = edge, edge + heading
    tallest = max(image.height for image, _ in pictures)
    for image, words in pictures:
        slot = max(image.width, 200)
        left = (width - image.width) // 2 if stacked else x + (slot - image.width) // 2
        top = y if stacked else y + (tallest - image.height) // 2
        _place(page, image, left, top)
        below = (left + image.width // 2, (top + image.height if stacked else y + tallest) + 16)
        pen.text(below, words, font=font(20, False), fill=SOFT, anchor="mt")
        if stacked:
            y += image.height + caption + gap
        else:
            x += slot + gap
    return page


def _place(page: Image.Image, image: Image.Image, left: int, top: int) -> None:
    """Paste a cut-out with a soft shadow under it."""
    pad = 30
    shadow = Image.new("L", (image.width + 2 * pad, image.height + 2 * pad), 0)
    shadow.paste(image.getchannel("A").point(lambda a: a * 0.38), (pad, pad))
    shadow = shadow.filter(ImageFilter.GaussianBlur(9))
    page.paste(Image.new("RGB", shadow.size, "#4a4238"), (left - pad + 5, top - pad + 9), shadow)
    page.paste(image, (left, top), image)
