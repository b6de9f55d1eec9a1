"""The sheet of bands to choose from, as a page and as a picture: each as it will look, with its figures."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO

from markupsafe import Markup
from PIL import Image, ImageDraw

from pipeline.files.channels import printable
from pipeline.writers.drawing import fitted, font, saved
from pipeline.writers.ink import SOFT
from pipeline.writers.pages import page
from pipeline.writers.preview import PAGE, place_cut_out

CSS_PX_PER_MM = 2.8
"""Scale of the bands on a screen; on paper they have their true size."""
SHEET_PX_PER_MM = 6.0


@dataclass(frozen=True, slots=True)
class Takes:
    """What a band takes of one thread: its name, ``#rrggbb``, and words such as "12.4 m"."""

    thread: str
    colour: str
    words: str


@dataclass(frozen=True, slots=True)
class Card:
    """One band on the sheet.

    ``picture``: PNG of the straight band on a clear ground, ``size_mm`` what it measures across and down;
    ``likeness``: in words; ``best``: what it is best in among those shown; ``facts``: names and values;
    ``folder``: where its pattern lies, "" while it is not written yet.
    """

    key: str
    heading: str
    picture: bytes
    size_mm: tuple[float, float]
    likeness: str
    best: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    takes: tuple[Takes, ...]
    command: str
    folder: str = ""

    @property
    def lying(self) -> bool:
        return self.size_mm[0] > self.size_mm[1]


def choices_html(
    title: str, cards: Sequence[Card], words: str, *, source: bytes | None = None, waiting: int = 0
) -> str:
    """The page; ``words`` say what was planned and ``source`` is a PNG of the picture it is made from.

    While ``waiting`` bands are under way the page loads itself again.

    >>> "No band yet" in choices_html("pennant", (), "Planning.", waiting=3)
    True
    """
    groups = _groups(cards)
    numbers = {card.key: number for number, card in enumerate((c for g in groups for c in g), 1)}
    css = []
    for card in cards:
        number = numbers[card.key]
        across = card.size_mm[0]
        css.append(f".b{number} img {{ width: {across * CSS_PX_PER_MM:.0f}px; }}\n")
        css.append(f"@media print {{ .b{number} img {{ width: {across:.1f}mm; }} }}\n")
    colours = list(dict.fromkeys(take.colour for card in cards for take in card.takes))
    css += [f".t{i} {{ --thread: {colour}; }}\n" for i, colour in enumerate(colours, 1)]
    return page(
        "choices.html",
        styles=("page.css", "choices.css"),
        css="".join(css),
        title=printable(title) or "Bands",
        words=words,
        waiting=waiting,
        cards=cards,
        source=source,
        numbers=numbers,
        groups=groups,
        colour_class={colour: f"t{i}" for i, colour in enumerate(colours, 1)},
        image=_embedded,
    )


def _groups(cards: Sequence[Card]) -> list[list[Card]]:
    """Bands that hang and bands that lie, those first that have the first card."""
    groups = [[card for card in cards if card.lying is way] for way in (False, True)]
    return sorted((group for group in groups if group), key=lambda group: cards.index(group[0]))


@lru_cache(maxsize=64)
def _embedded(picture: bytes) -> Markup:
    """The picture as the address of an image: WebP, a tenth of the PNG's bytes."""
    webp = saved(Image.open(BytesIO(picture)), "WEBP", quality=88, method=4)
    return Markup("data:image/webp;base64," + base64.b64encode(webp).decode())  # letters and digits


# ---------------------------------------------------------------- the picture

EDGE, GAP, COLUMN, LINE = 64, 44, 420, 30
"""Margins, the gap between cards, the width of the words of a card and the height of a line, in pixels."""


def choices_png(title: str, cards: Sequence[Card], words: str, *, source: bytes | None = None) -> bytes:
    r"""The sheet as a PNG: every band at the same scale, its words beside it; the arguments are the page's.

    >>> choices_png("pennant", (), "Nothing.")[:4]
    b'\x89PNG'
    """
    ordered = [card for group in _groups(cards) for card in group]
    drawn = [_source(source)] if source is not None else []
    drawn += [_card(number, card) for number, card in enumerate(ordered, 1)]
    rows = _rows(drawn)
    width = max([900, *(sum(c.width for c in row) + GAP * (len(row) - 1) for row in rows)]) + 2 * EDGE
    height = 2 * EDGE + 120 + sum(max(c.height for c in row) + GAP for row in rows)
    sheet = Image.new("RGB", (width, height), PAGE)
    pen = ImageDraw.Draw(sheet)
    heading = fitted(f"Bands to choose from: {printable(title)}", 40, width - 2 * EDGE, bold=True)
    pen.text((EDGE, EDGE), heading, font=font(40, True), fill="#17212b", anchor="lt")
    pen.text(
        (EDGE, EDGE + 58), fitted(words, 22, width - 2 * EDGE), font=font(22, False), fill=SOFT, anchor="lt"
    )
    top = EDGE + 120
    for row in rows:
        left = EDGE
        for card in row:
            sheet.paste(card, (left, top))
            left += card.width + GAP
        top += max(card.height for card in row) + GAP
    return saved(sheet)


MOST_ACROSS = 3200
SOURCE_PX = 340


def _source(picture: bytes) -> Image.Image:
    """The picture that the bands are made from, with its name below."""
    image = Image.open(BytesIO(picture)).convert("RGB")
    image.thumbnail((SOURCE_PX, 3 * SOURCE_PX), Image.Resampling.LANCZOS)
    made = Image.new("RGB", (max(image.width, 180), image.height + 16 + LINE), PAGE)
    made.paste(image, (0, 0))
    _write(made, [("the picture", 20, False, SOFT, None)], 0, image.height + 16)
    return made


def _rows(cards: Sequence[Image.Image]) -> list[list[Image.Image]]:
    """Cards side by side as long as they fit, in their order."""
    rows: list[list[Image.Image]] = []
    left = MOST_ACROSS + 1
    for card in cards:
        if left + card.width > MOST_ACROSS:
            rows.append([])
            left = 0
        rows[-1].append(card)
        left += card.width + GAP
    return rows


def _card(number: int, card: Card) -> Image.Image:
    """One card on the sheet's ground: the band, and its words to the right of it or below."""
    band = Image.open(BytesIO(card.picture)).convert("RGBA")
    factor = SHEET_PX_PER_MM * card.size_mm[0] / band.width
    size = max(1, round(band.width * factor)), max(1, round(band.height * factor))
    if size != band.size:
        band = band.resize(size, Image.Resampling.LANCZOS)
    lines = _lines(number, card)
    tall = len(lines) * LINE
    if card.lying:
        made = Image.new("RGB", (max(band.width, COLUMN), band.height + 24 + tall), PAGE)
        place_cut_out(made, band, 0, 0)
        _write(made, lines, 0, band.height + 24)
    else:
        made = Image.new("RGB", (band.width + 28 + COLUMN, max(band.height, tall)), PAGE)
        place_cut_out(made, band, 0, 0)
        _write(made, lines, band.width + 28, 0)
    return made


Line = tuple[str, int, bool, str, str | None]
"""Text, size, whether bold, its colour, and the colour of a swatch before it."""


def _lines(number: int, card: Card) -> list[Line]:
    found: list[Line] = [(f"{number}. {card.heading}", 24, True, "#17212b", None)]
    found.append((card.likeness, 21, True, "#14466b", None))
    if card.best:
        found.append((f"Of all these the {' and '.join(card.best)}.", 20, False, "#17212b", None))
    found += [(f"{name}: {value}", 20, False, "#17212b", None) for name, value in card.facts]
    found += [(f"{take.thread}: {take.words}", 20, False, "#17212b", take.colour) for take in card.takes]
    found += [(part, 15, False, SOFT, None) for part in _wrapped(card.command, 15, COLUMN)]
    return [
        line
        for text, size, bold, ink, swatch in found
        for line in (
            (part, size, bold, ink, swatch if i == 0 else None)
            for i, part in enumerate(_wrapped(text, size, COLUMN - (44 if swatch else 0), bold))
        )
    ]


def _wrapped(text: str, size: int, width: float, bold: bool = False) -> list[str]:
    """Text in lines no wider than ``width``; a single word that is wider is cut short."""
    face, lines = font(size, bold), [""]
    for word in printable(text).split():
        longer = f"{lines[-1]} {word}".strip()
        if face.getlength(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(fitted(word, size, width, bold=bold))
    return [line for line in lines if line] or [""]


def _write(image: Image.Image, lines: Sequence[Line], left: int, top: int) -> None:
    pen = ImageDraw.Draw(image)
    for text, size, bold, ink, swatch in lines:
        x = left
        if swatch is not None:
            corners = [(x + 6, top + 2), (x + 38, top + 2), (x + 32, top + 22), (x, top + 22)]
            pen.polygon(corners, fill=swatch, outline="#17212b", width=2)
            x += 46
        pen.text((x, top), text, font=font(size, bold), fill=ink, anchor="lt")
        top += LINE
