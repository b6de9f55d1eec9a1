"""A drawing as a list of primitives, and three thin back ends: SVG, PNG and PDF.

Whoever draws builds one :class:`Drawing`; the back ends decide nothing, so the three outputs agree.
Lengths are millimetres on paper, x to the right, y down; a text stands on its baseline.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

from PIL import Image, ImageDraw, ImageFont

from pipeline.files.channels import printable, xml
from pipeline.writers.ink import PAPER, rgb

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

FONT_FILES = {False: Path(__file__).with_name("sans.ttf"), True: Path(__file__).with_name("sans-bold.ttf")}
PDF_FONTS = {False: "HitchgridSans", True: "HitchgridSans-Bold"}
FONT_STACK = "'DejaVu Sans', Verdana, Arial, sans-serif"
POINTS_PER_MM = 72 / 25.4
MAX_PIXELS = 40_000_000
"""A PNG is drawn smaller rather than beyond this."""
PNG_LEVEL = 2
"""How hard PNGs are packed: half the time of the usual level, about a third more bytes."""
_SMOOTH = 2
_STRIP = 512


@dataclass(frozen=True, slots=True)
class Polygon:
    """A closed shape; ``fill`` and ``stroke`` are ``#rrggbb`` or None."""

    points: tuple[Point, ...]
    fill: str | None
    stroke: str | None = None
    width_mm: float = 0.25


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line, dashed if asked."""

    start: Point
    end: Point
    stroke: str
    width_mm: float = 0.25
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text standing on the baseline at ``at``."""

    at: Point
    text: str
    size_mm: float
    fill: str
    anchor: Anchor = "start"
    bold: bool = False


Shape = Polygon | Line | Text


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes in the order they are painted, on paper of a size, with a title for those who cannot see it."""

    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]
    title: str
    description: str = ""


def box(x: float, y: float, width: float, height: float) -> tuple[Point, ...]:
    """Corners of a rectangle."""
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def moved(shapes: Iterable[Shape], dx: float, dy: float) -> list[Shape]:
    """Return the same shapes elsewhere."""

    def at(p: Point) -> Point:
        return p[0] + dx, p[1] + dy

    out: list[Shape] = []
    for shape in shapes:
        if isinstance(shape, Polygon):
            points = tuple([(x + dx, y + dy) for x, y in shape.points])
            out.append(Polygon(points, shape.fill, shape.stroke, shape.width_mm))
        elif isinstance(shape, Line):
            out.append(Line(at(shape.start), at(shape.end), shape.stroke, shape.width_mm, shape.dashed))
        else:
            text, size = shape.text, shape.size_mm
            out.append(Text(at(shape.at), text, size, shape.fill, shape.anchor, shape.bold))
    return out


# --- type -------------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def font(size_px: int, bold: bool) -> ImageFont.FreeTypeFont:
    """The sans font at a size in pixels."""
    return ImageFont.truetype(FONT_FILES[bold], size_px, layout_engine=ImageFont.Layout.BASIC)


def text_width(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Width of a line of text in millimetres."""
    return float(font(200, bold).getlength(text)) * size_mm / 200


def fitted(text: str, size_mm: float, width_mm: float, *, bold: bool = False) -> str:
    """The text, cut with an ellipsis where it is wider than ``width_mm``."""
    if text_width(text, size_mm, bold=bold) <= width_mm:
        return text
    # The widest beginning that fits, found by halving: a longer beginning is never narrower.
    keep = bisect_right(
        range(len(text)), width_mm, key=lambda n: text_width(text[:n] + "…", size_mm, bold=bold)
    )
    return text[: max(0, keep - 1)].rstrip() + "…"


# --- SVG --------------------------------------------------------------------------------------------


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def svg(drawing: Drawing) -> str:
    """The drawing as an SVG document of its own."""
    w, h = _n(drawing.width_mm), _n(drawing.height_mm)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}"'
        f' role="img" font-family="{FONT_STACK}">',
    ]
    return "\n".join([*lines, *_svg_body(drawing), "</svg>"]) + "\n"


def inline_svg(drawing: Drawing, css_class: str = "drawing") -> str:
    """The drawing as an SVG element to stand inside HTML; it scales with the page."""
    w, h = _n(drawing.width_mm), _n(drawing.height_mm)
    head = f'<svg class="{css_class}" viewBox="0 0 {w} {h}" role="img" font-family="{FONT_STACK}">'
    return "\n".join([head, *_svg_body(drawing), "</svg>"])


def _svg_body(drawing: Drawing) -> list[str]:
    lines = [f"<title>{xml(drawing.title)}</title>"]
    if drawing.description:
        lines.append(f"<desc>{xml(drawing.description)}</desc>")
    size = f'width="{_n(drawing.width_mm)}" height="{_n(drawing.height_mm)}"'
    lines.append(f'<rect {size} fill="{PAPER}"/>')
    return lines + [_svg_shape(shape) for shape in drawing.shapes]


def _svg_shape(shape: Shape) -> str:
    if isinstance(shape, Polygon):
        points = " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points)
        stroke = f' stroke="{shape.stroke}" stroke-width="{_n(shape.width_mm)}"' if shape.stroke else ""
        join = ' stroke-linejoin="round"' if shape.stroke else ""
        return f'<polygon points="{points}" fill="{shape.fill or "none"}"{stroke}{join}/>'
    if isinstance(shape, Line):
        (x1, y1), (x2, y2) = shape.start, shape.end
        dash = (
            f' stroke-dasharray="{_n(4 * shape.width_mm)} {_n(3 * shape.width_mm)}"' if shape.dashed else ""
        )
        return (
            f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"'
            f' stroke="{shape.stroke}" stroke-width="{_n(shape.width_mm)}"{dash}/>'
        )
    weight = ' font-weight="700"' if shape.bold else ""
    anchor = f' text-anchor="{shape.anchor}"' if shape.anchor != "start" else ""
    return (
        f'<text x="{_n(shape.at[0])}" y="{_n(shape.at[1])}" font-size="{_n(shape.size_mm)}"'
        f' fill="{shape.fill}"{anchor}{weight}>{xml(shape.text)}</text>'
    )


# --- PNG --------------------------------------------------------------------------------------------


def png(drawing: Drawing, *, px_per_mm: float = 8.0) -> bytes:
    """The drawing as a PNG; smaller than asked where it would pass MAX_PIXELS."""
    area = max(drawing.width_mm * drawing.height_mm, 1e-9)
    scale = min(px_per_mm, (MAX_PIXELS / area) ** 0.5)
    return saved(raster(drawing, scale), compress_level=PNG_LEVEL, dpi=(scale * 25.4, scale * 25.4))


def saved(image: Image.Image, kind: str = "PNG", **how: Any) -> bytes:
    """The bytes of a picture's file."""
    out = BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def raster(drawing: Drawing, px_per_mm: float) -> Image.Image:
    """The drawing as an RGB picture, painted strip by strip at twice the size and averaged."""
    width = max(1, round(drawing.width_mm * px_per_mm))
    height = max(1, round(drawing.height_mm * px_per_mm))
    image = Image.new("RGB", (width, height), PAPER)
    extents = [_extent(shape, px_per_mm) for shape in drawing.shapes]
    for top in range(0, height, _STRIP):
        bottom = min(height, top + _STRIP)
        strip = Image.new("RGB", (width * _SMOOTH, (bottom - top) * _SMOOTH), PAPER)
        pen = ImageDraw.Draw(strip)
        for shape, (low, high) in zip(drawing.shapes, extents, strict=True):
            if high >= top and low <= bottom:
                _paint(pen, shape, px_per_mm * _SMOOTH, top * _SMOOTH)
        image.paste(strip.reduce(_SMOOTH), (0, top))
    return image


def _extent(shape: Shape, scale: float) -> tuple[float, float]:
    if isinstance(shape, Text):
        return (shape.at[1] - 1.5 * shape.size_mm) * scale, (shape.at[1] + 0.5 * shape.size_mm) * scale
    ys = [y for _, y in (shape.points if isinstance(shape, Polygon) else (shape.start, shape.end))]
    return (min(ys) - shape.width_mm) * scale, (max(ys) + shape.width_mm) * scale


def _paint(pen: ImageDraw.ImageDraw, shape: Shape, scale: float, top: int) -> None:
    def px(p: Point) -> Point:
        return p[0] * scale, p[1] * scale - top

    if isinstance(shape, Polygon):
        points = [px(p) for p in shape.points]
        if shape.fill:
            pen.polygon(points, fill=shape.fill)
        if shape.stroke:
            wide = max(1, round(shape.width_mm * scale))
            pen.line([*points, points[0], points[1]], fill=shape.stroke, width=wide, joint="curve")
    elif isinstance(shape, Line):
        wide = max(1, round(shape.width_mm * scale))
        for a, b in _dashes(shape):
            pen.line([px(a), px(b)], fill=shape.stroke, width=wide)
    elif shape.text:
        mask, left, up = _mask(
            printable(shape.text), max(1, round(shape.size_mm * scale)), shape.bold, shape.anchor
        )
        x, y = px(shape.at)
        pen.bitmap((round(x) + left, round(y) + up), mask, fill=shape.fill)


@lru_cache(maxsize=2048)
def _mask(text: str, size_px: int, bold: bool, anchor: Anchor) -> tuple[Image.Image, int, int]:
    """A line of text as coverage, and where its corner lies from the point it is anchored at, in pixels.

    A chart says the same few numbers thousands of times.
    """
    face, at = font(size_px, bold), {"start": "ls", "middle": "ms", "end": "rs"}[anchor]
    left, up, right, down = (round(edge) for edge in face.getbbox(text, anchor=at))
    mask = Image.new("L", (max(1, right - left), max(1, down - up)), 0)
    ImageDraw.Draw(mask).text((-left, -up), text, font=face, fill=255, anchor=at)
    return mask, left, up


def _dashes(line: Line) -> list[tuple[Point, Point]]:
    if not line.dashed:
        return [(line.start, line.end)]
    (x1, y1), (x2, y2) = line.start, line.end
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    on, period = 4 * line.width_mm, 7 * line.width_mm
    parts = []
    for i in range(int(length // period) + 1):
        a, b = i * period / length, min(1.0, (i * period + on) / length)
        parts.append(((x1 + a * (x2 - x1), y1 + a * (y2 - y1)), (x1 + b * (x2 - x1), y1 + b * (y2 - y1))))
    return parts


# --- PDF --------------------------------------------------------------------------------------------


def register_fonts() -> None:
    """Make the two fonts known to reportlab (once), and let it write streams as plain bytes."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0  # base-85 text would be slower and a quarter larger
    for bold, name in PDF_FONTS.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(FONT_FILES[bold])))


def paint_pdf(canvas: Any, drawing: Drawing, left_pt: float, top_pt: float, scale: float = 1.0) -> None:
    """Paint the drawing on a reportlab canvas with its top left corner at (left, top) in points."""
    register_fonts()
    canvas.saveState()
    canvas.translate(left_pt, top_pt)
    canvas.scale(scale * POINTS_PER_MM, scale * POINTS_PER_MM)
    canvas.setLineJoin(1)
    # Written as operators of PDF: a canvas takes ten times as long to say the same.
    canvas.addLiteral("\n".join(_operators(drawing.shapes, canvas)))
    canvas.restoreState()


@lru_cache(maxsize=4096)
def _pdf_width(text: str, bold: bool) -> float:
    """Width of a line in a font of size 1."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, PDF_FONTS[bold], 1.0))


@lru_cache(maxsize=512)
def _pdf_numbers(colour: str) -> str:
    return " ".join(f"{channel / 255:.4g}" for channel in rgb(colour))


def _operators(shapes: Iterable[Shape], canvas: Any) -> Iterator[str]:
    """Operators of the PDF language (ISO 32000-1, 8.4, 8.5, 9.4) that paint shapes on a page of a canvas."""
    pen: tuple[str | None, float, bool] = None, 0.0, False
    ink = face = None
    glyphs: dict[tuple[str, bool], list[tuple[str, str]]] = {}
    for shape in shapes:
        if not isinstance(shape, Line) and shape.fill and ink != shape.fill:
            ink = shape.fill
            yield f"{_pdf_numbers(ink)} rg"
        if isinstance(shape, Text):
            said = printable(shape.text), shape.bold
            if said not in glyphs:
                glyphs[said] = _glyphs(*said, canvas)
            back = {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor]
            x = shape.at[0] - (back * _pdf_width(*said) * shape.size_mm if back else 0.0)
            yield f"BT {x:.3f} {-shape.at[1]:.3f} Td"
            for name, codes in glyphs[said]:
                if face != (name, shape.size_mm):
                    face = name, shape.size_mm
                    yield f"{name} {shape.size_mm:.4g} Tf"
                yield f"({codes}) Tj"
            yield "ET"
            continue
        dashed = isinstance(shape, Line) and shape.dashed
        if shape.stroke and pen != (shape.stroke, shape.width_mm, dashed):
            pen = shape.stroke, shape.width_mm, dashed
            dash = f"{4 * shape.width_mm:.4g} {3 * shape.width_mm:.4g}" if dashed else ""
            yield f"{_pdf_numbers(shape.stroke)} RG {shape.width_mm:.4g} w [{dash}] 0 d"
        if isinstance(shape, Line):
            (x, y), (x1, y1) = shape.start, shape.end
            yield f"{x:.3f} {-y:.3f} m {x1:.3f} {-y1:.3f} l S"
            continue
        (x, y), *others = shape.points
        path = " ".join([f"{px:.3f} {-py:.3f} l" for px, py in others])
        yield f"{x:.3f} {-y:.3f} m {path} {_PAINT[bool(shape.fill), bool(shape.stroke)]}"


def _glyphs(text: str, bold: bool, canvas: Any) -> list[tuple[str, str]]:
    """A line of text as the document of the canvas encodes it: parts of a font and the codes in each."""
    from reportlab.pdfbase.pdfmetrics import getFont

    face, document = getFont(PDF_FONTS[bold]), canvas._doc
    return [
        (face.getSubsetInternalName(part, document), canvas._escape(codes))
        for part, codes in face.splitString(text, document)
    ]


_PAINT = {(True, True): "b", (True, False): "f", (False, True): "s", (False, False): "n"}
"""Fill and stroke, fill, stroke, or neither; each closes the path."""
