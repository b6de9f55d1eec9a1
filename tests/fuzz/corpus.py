"""Files that the fuzzer starts from: small sound ones to damage, and large or lying ones as they are."""

from __future__ import annotations

import gzip
import io
import json
import struct
import zlib
from collections.abc import Callable, Mapping
from functools import cache

from PIL import Image

from pipeline.band.pattern import render
from pipeline.instructions.text import write_instructions
from pipeline.materials.lengths import cut_list
from tests.patterns import random_pattern

NAVY, CORAL = (27, 42, 89), (224, 96, 74)
PLAN = ("--effort", "0.01", "--no-advice", "-q")
"""Flags that keep a plan short."""


def _picture(mode: str = "RGB", size: tuple[int, int] = (6, 4)) -> Image.Image:
    image = Image.new("RGB", size, NAVY)
    image.paste(CORAL, (size[0] // 3, 0, 2 * size[0] // 3, size[1]))
    return image.convert(mode)


def _saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 6 4"><title>quay</title>
<defs><linearGradient id="g"><stop offset="0" stop-color="#1b2a59"/></linearGradient></defs>
<rect width="6" height="4" fill="url(#g)"/><path d="M2 0h2v4H2z" fill="#e0604a" transform="rotate(0)"/>
<text x="1" y="3" font-size="2">RC</text></svg>"""
STASH = (
    b"name,colour,metres,preset,skein_m\nnavy,#1b2a59,40,,8\nchalk,#f4f1e8,12.5,pearl cotton 5,\n"
    b'"coral, bright",#e0604a,20,,\n'
)
GPL = b"GIMP Palette\nName: quay\nColumns: 3\n#\n27 42 89 navy\n244 241 232 chalk\n224 96 74 coral\n"
ORDERS = (
    b"title,letters,picture,strands,rows,wrist,threads,copies\n"
    b"Bow,I,,8,8,,,2\nFlag,,flag.png,7,4,,navy;chalk,1\n"
)


@cache
def pictures() -> Mapping[str, bytes]:
    """Small sound pictures by file name."""
    frames = [_picture(), _picture("L").convert("RGB")]
    return {
        "flag.png": _saved(_picture(), "PNG"),
        "flag-alpha.png": _saved(_picture("RGBA"), "PNG"),
        "flag-palette.png": _saved(_picture("P"), "PNG"),
        "flag-deep.png": _saved(Image.new("I;16", (6, 4), 40_000), "PNG"),
        "flag.jpg": _saved(_picture(), "JPEG"),
        "flag-cmyk.jpg": _saved(_picture("CMYK"), "JPEG"),
        "flag.gif": _saved(frames[0], "GIF", save_all=True, append_images=frames[1:]),
        "flag.bmp": _saved(_picture(), "BMP"),
        "flag.tif": _saved(_picture(), "TIFF"),
        "flag-packed.tif": _saved(_picture(), "TIFF", compression="tiff_lzw"),
        "flag.webp": _saved(_picture(), "WEBP", lossless=True),
        "flag.svg": SVG,
    }


@cache
def patterns() -> tuple[bytes, ...]:
    """Sound pattern files of both working orders."""
    return tuple(render(random_pattern(seed)).encode() for seed in range(12))


@cache
def instructions() -> tuple[bytes, ...]:
    """The instructions of :func:`patterns`."""
    made = []
    for seed in range(6):
        pattern = random_pattern(seed)
        made.append(write_instructions(pattern, cut_list(pattern)).encode())
    return tuple(made)


def _png(width: int, height: int, body: bytes, *, depth: int = 8, colour: int = 2) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def _frames(count: int) -> bytes:
    frames = [Image.new("L", (8, 8), i % 250) for i in range(count)]
    return _saved(frames[0], "GIF", save_all=True, append_images=frames[1:])


def _laughs() -> bytes:
    entities = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10 if i else "ha"}">' for i in range(12))
    return f'<!DOCTYPE svg [{entities}]><svg xmlns="http://www.w3.org/2000/svg"><text>&l11;</text></svg>'.encode()


def _uses(depth: int) -> bytes:
    body = '<g id="u0"><rect width="1" height="1"/></g>'
    for i in range(1, depth):
        body += f'<g id="u{i}">' + f'<use href="#u{i - 1}"/>' * 10 + "</g>"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><defs>{body}</defs>'
        f'<use href="#u{depth - 1}"/></svg>'
    ).encode()


def _svg(inside: str, view: str = "0 0 9 9") -> bytes:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}">{inside}</svg>'.encode()


def _wide(width: int, height: int) -> bytes:
    return _saved(Image.new("1", (width, height)), "PNG")


HOSTILE_PICTURES: Mapping[str, Callable[[], bytes]] = {
    "empty.png": lambda: b"",
    "one-pixel.png": lambda: _saved(_picture(size=(1, 1)), "PNG"),
    "one-column.png": lambda: _wide(1, 100_000),
    "one-row.png": lambda: _wide(100_000, 1),
    "bomb.png": lambda: _png(60_000, 60_000, zlib.compress(bytes(1_000_000), 9)),
    "bomb-claims.png": lambda: _png(2**31 - 1, 2**31 - 1, b""),
    "bomb-no-size.png": lambda: _png(0, 0, b""),
    "bomb-zeros.png": lambda: _png(8000, 8000, zlib.compress(bytes(8000 * 24_001), 1)),
    "bomb.gif": lambda: _frames(3000),
    "bomb-claims.gif": lambda: (
        b"GIF89a\xff\xff\xff\xff\xf7\x00\x00" + bytes(768) + b",\0\0\0\0\xff\xff\xff\xff\0\x08"
    ),
    "bomb-claims.bmp": lambda: (
        b"BM" + struct.pack("<IHHIIiiHHIIiiII", 54, 0, 0, 54, 40, 2**30, 2**30, 1, 24, 0, 0, 0, 0, 0, 0)
    ),
    "laughs.svg": _laughs,
    "uses.svg": lambda: _uses(12),
    "deep.svg": lambda: _svg("<g>" * 50_000 + "</g>" * 50_000),
    "huge-view.svg": lambda: _svg('<rect width="1" height="1"/>', "0 0 1e30 1e30"),
    "nan-view.svg": lambda: _svg('<rect width="nan" height="inf"/>', "nan nan inf -1"),
    "no-size.svg": lambda: _svg("", "0 0 0 0"),
    "thin.svg": lambda: _svg('<rect width="1" height="1"/>', "0 0 1 100000"),
    "blur.svg": lambda: _svg(
        '<filter id="f"><feGaussianBlur stdDeviation="1e9"/></filter>'
        '<rect width="9" height="9" filter="url(#f)"/>'
    ),
    "pattern.svg": lambda: _svg(
        '<pattern id="p" width="1e-9" height="1e-9" patternUnits="userSpaceOnUse">'
        '<rect width="1" height="1"/></pattern><rect width="9" height="9" fill="url(#p)"/>'
    ),
    "fetch.svg": lambda: _svg('<image href="file:///etc/hostname" width="9" height="9"/>'),
    "script.svg": lambda: _svg("<script>while(1);</script>"),
    "data.svg": lambda: _svg('<image width="9" height="9" href="data:image/png;base64,AAAA"/>'),
    "many-shapes.svg": lambda: _svg('<rect width="1" height="1"/>' * 200_000),
    "long-path.svg": lambda: _svg(f'<path d="M0 0{"L9 9L0 9" * 200_000}"/>'),
    "packed.svg": lambda: gzip.compress(_svg(" " * 50_000_000)),
    "mislabelled.jpg": lambda: pictures()["flag.png"],
    "mislabelled.svg": lambda: pictures()["flag.gif"],
    "mislabelled.png": lambda: SVG,
    "a-font.png": lambda: b"\0\1\0\0" + bytes(400),
    "a-page.pdf": lambda: b"%PDF-1.7\n1 0 obj <<>> endobj",
    "postscript.eps": lambda: b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(x) run",
    "noise.bin": lambda: bytes(i * 37 % 251 for i in range(5000)),
}


def _deep(depth: int) -> bytes:
    return b'{"format": "hitchgrid-pattern", "version": 1, "title": ' + b"[" * depth + b"]" * depth + b"}"


def _sized(strands: int, rows: int, *, kind: str = "plain") -> bytes:
    """A legal pattern of any size, written without our own writer."""
    rising = [[p, "forward"] for p in range(strands - 1)]
    both = [json.dumps({"knots": k, "wanted": [None] * (strands - 1)}) for k in (rising, rising[::-1])]
    body = json.loads(patterns()[0]) | {"strands": [0] * strands, "sections": [], "joins": []}
    body.pop("ground", None)
    text = json.dumps(body)
    section = (
        f'{{"kind": "{kind}", "worked": "rows", "rows": [{",".join(both[r % 2] for r in range(rows))}]}}'
    )
    return text.replace('"sections": []', f'"sections": [{section}]').encode()


def _mixed(strands: int, rows: int) -> bytes:
    """Every kind of knot in turn, over strands of three threads in turn."""
    body = json.loads(_sized(strands, rows))
    kinds = ("forward", "backward", "forward-backward", "backward-forward")
    body["threads"] = [{"name": f"t{i}", "colour": f"#{i}0{i}0{i}0", "diameter_mm": 0.71} for i in range(3)]
    body["strands"] = [i % 3 for i in range(strands)]
    for r, row in enumerate(body["sections"][0]["rows"]):
        row["knots"] = [[p, kinds[(p + r) % 4]] for p, _ in row["knots"]]
    return json.dumps(body).encode()


def _many_sections(count: int) -> bytes:
    body = json.loads(_sized(4, 1))
    body["sections"] *= count
    return json.dumps(body).encode()


def _many_threads(count: int) -> bytes:
    body = json.loads(_sized(4, 2))
    body["threads"] = [{"name": f"t{i}", "colour": "#102030", "diameter_mm": 0.71} for i in range(count)]
    return json.dumps(body).encode()


HOSTILE_PATTERNS: Mapping[str, Callable[[], bytes]] = {
    "empty.json": lambda: b"",
    "deep-10000.json": lambda: _deep(10_000),
    "deep-100000.json": lambda: _deep(100_000),
    "hundred-megabytes.json": lambda: (
        b'{"format": "hitchgrid-pattern", "title": "' + b"a" * 100_000_000 + b'"}'
    ),
    "long-title.json": lambda: patterns()[0].replace(b"quay", b"quay " * 1_000_000, 1),
    "one-strand.json": lambda: _sized(1, 2),
    "no-strands.json": lambda: _sized(1, 1).replace(b'"strands": [0]', b'"strands": []'),
    "no-rows.json": lambda: _sized(6, 0),
    "wide.json": lambda: _sized(400, 30),
    "wide-mixed.json": lambda: _mixed(400, 3),
    "too-wide.json": lambda: _sized(10_000, 20),
    "long.json": lambda: _sized(4, 5_000),
    "longest.json": lambda: _sized(3, 10_000),
    "too-long.json": lambda: _sized(3, 100_000),
    "large.json": lambda: _sized(60, 600),
    "many-sections.json": lambda: _many_sections(20_000),
    "many-threads.json": lambda: _many_threads(20_000),
    "huge-number.json": lambda: _sized(6, 4).replace(b'"version": 1', b'"version": 1' + b"0" * 5000),
    "huge-position.json": lambda: _sized(6, 4).replace(b"[[0,", b"[[" + b"9" * 400 + b",", 1),
    "nan.json": lambda: _sized(6, 4).replace(b'"tail_mm": 100.0', b'"tail_mm": NaN', 1),
    "bidi.json": lambda: _sized(6, 4).replace(b"quay", "‮quay\\u0000\\u001b[31m".encode(), 1),
    "surrogate.json": lambda: _sized(6, 4).replace(b"quay", b"\\ud800 quay", 1),
    "markup.json": lambda: _sized(6, 4).replace(
        b"quay", b"</script><script>alert(1)</script>[bold]<b>&amp;", 1
    ),
    "noise.json": lambda: bytes(i * 37 % 251 for i in range(5000)),
    "utf16.json": lambda: patterns()[0].decode().encode("utf-16"),
    "bom.json": lambda: b"\xef\xbb\xbf" + patterns()[0],
    "twice.json": lambda: patterns()[0] + patterns()[0],
}


def _threads(count: int) -> bytes:
    lines = (f"thread {i},#{i % 0xFFFFFF:06x},{i % 50}" for i in range(count))
    return ("name,colour,metres\n" + "\n".join(lines) + "\n").encode()


HOSTILE_STASHES: Mapping[str, Callable[[], bytes]] = {
    "empty.csv": lambda: b"",
    "header.csv": lambda: b"name,colour,metres\n",
    "huge.csv": lambda: _threads(200_000),
    "many.csv": lambda: _threads(1_900),
    "duplicates.csv": lambda: b"name,colour,metres\nnavy,#1b2a59,1\nnavy,#1b2a58,2\n NAVY ,#1b2a57,3\n",
    "formula.csv": lambda: b"name,colour,metres\n\"=cmd|' /C calc'!A0\",#1b2a59,=1+1\n",
    "formula-name.csv": lambda: b'name,colour,metres\n"=HYPERLINK(""x"")",#1b2a59,40\n@sum,#f4f1e8,40\n',
    "nan.csv": lambda: b"name,colour,metres\nnavy,#1b2a59,nan\n",
    "inf.csv": lambda: b"name,colour,metres\nnavy,#1b2a59,inf\n",
    "huge-metres.csv": lambda: (
        b"name,colour,metres\nnavy,#1b2a59,1e308\nchalk,#ffffff,9" + b"9" * 400 + b"\n"
    ),
    "minus.csv": lambda: b"name,colour,metres\nnavy,#1b2a59,-4\n",
    "control.csv": lambda: "name,colour,metres\n\x1b[31mred\x07,#ff0000,4\n‮evan,#000080,4\n".encode(),
    "long-name.csv": lambda: b"name,colour,metres\n" + b"n" * 300_000 + b",#1b2a59,4\n",
    "nul.csv": lambda: b"name,colour,metres\nna\0vy,#1b2a59,4\n",
    "quote.csv": lambda: b'name,colour,metres\n"navy,#1b2a59,4\n' + b"x\n" * 1000,
    "markup.csv": lambda: (
        b"name,colour,metres\n<script>alert(1)</script>,#1b2a59,40\n[bold]x[/],#f4f1e8,40\n"
    ),
    "utf16.csv": lambda: STASH.decode().encode("utf-16"),
    "empty.gpl": lambda: b"GIMP Palette\n",
    "huge.gpl": lambda: b"GIMP Palette\n" + b"".join(b"%d 0 0 c%d\n" % (i % 256, i) for i in range(200_000)),
    "out-of-range.gpl": lambda: b"GIMP Palette\n999 -1 nan red\n",
    "one-line.gpl": lambda: b"GIMP Palette" + b" 1" * 500_000,
}
HOSTILE_ORDERS: Mapping[str, Callable[[], bytes]] = {
    "empty.csv": lambda: b"",
    "header.csv": lambda: b"letters,strands\n",
    "huge.csv": lambda: b"letters,strands\n" + b"A,8\n" * 300_000,
    "formula.csv": lambda: b'title,letters,strands,rows\n"=HYPERLINK(""http://x"")",I,8,8\n',
    "climbing.csv": lambda: (
        b"title,letters,strands,rows\n../../../climb,I,8,8\n/etc/passwd,I,8,8\n..,I,8,8\n"
    ),
    "climbing-picture.csv": lambda: b"picture,strands\n../../../../etc/passwd,7\n/dev/zero,7\n.,7\n",
    "control.csv": lambda: "title,letters,strands,rows\n‮a\x1b[31m\x07,I,8,8\n".encode(),
    "nul.csv": lambda: b"title,picture\n\0,\0\n",
    "numbers.csv": lambda: "letters,strands,rows,copies\nI,nan,inf,-1\nI,1e9,0x10,²\nI,٣,٤,5\n".encode(),
    "zero-copies.csv": lambda: b"letters,strands,rows,copies\nI,8,8,0\n",
    "same-titles.csv": lambda: b"title,letters,strands,rows\na,I,8,8\na,I,8,8\n",
    "quote.csv": lambda: b'letters,strands\n"A,8\nB,8\n',
    "long-cell.csv": lambda: b"letters,strands\n" + b"A" * 200_000 + b",8\n",
    "latin.csv": lambda: b"letters,strands\n\xd6,8\n",
    "wide.csv": lambda: b",".join([b"letters"] * 50_000) + b"\n",
    "twice-a-column.csv": lambda: b"letters,letters,strands,rows\nA,B,8,8\n",
}
HOSTILE_TEXTS: Mapping[str, Callable[[], bytes]] = {
    "empty.txt": lambda: b"",
    "noise.txt": lambda: bytes(i * 37 % 251 for i in range(5000)),
    "long.txt": lambda: instructions()[0] * 3000,
    "line.txt": lambda: b"forward " * 2_000_000,
    "repeat.txt": lambda: instructions()[0].replace(b"2", b"9" * 40),
    "nul.txt": lambda: b"\0" * 100_000,
}
