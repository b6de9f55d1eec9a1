"""SVG drawings: what is drawn, and everything that is refused before or while drawing."""

from __future__ import annotations

import resource
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from time import sleep

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.motif import confined, svg
from pipeline.motif.confined import ask
from pipeline.motif.picture import load_grid, load_picture
from pipeline.motif.raster import decode
from pipeline.motif.svg import render_svg

HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 40 20">'
)
RECT = '<rect x="10" y="5" width="20" height="10" fill="#c8202c"/>'


def drawing(body: str, head: str = HEAD) -> bytes:
    return f"{head}{body}</svg>".encode()


def refused(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        render_svg(data, "x.svg")
    assert caught.value.hint
    assert "\n" not in caught.value.message


def test_shapes_land_where_they_are_drawn() -> None:
    rgba = render_svg(drawing(RECT), "x.svg")
    assert rgba.shape == (600, 1200, 4)
    expected = np.zeros((600, 1200), bool)
    expected[150:450, 300:900] = True
    assert ((rgba[..., 3] == 255) == expected).all()
    assert (rgba[expected][:, :3] == (200, 32, 44)).all()


def test_an_svg_is_a_picture_but_not_a_grid(tmp_path: Path) -> None:
    (tmp_path / "x.png").write_bytes(b'<?xml version="1.0"?>\n' + drawing(RECT))
    read = load_picture(tmp_path / "x.png", background="#1b2a59")
    assert read.rgb.shape == (300, 600, 3)
    assert read.ground == (27, 42, 89)
    with pytest.raises(InputError, match="no pixels"):
        load_grid(tmp_path / "x.png")


def test_gradients_uses_clips_and_styles_within_the_drawing() -> None:
    body = (
        '<style>.a { fill: url(#g) }</style><defs><linearGradient id="g"><stop offset="0" stop-color="#000"/>'
        '<stop offset="1" stop-color="#fff"/></linearGradient><clipPath id="c"><rect width="40" height="10"/>'
        '</clipPath><rect id="r" class="a" width="40" height="20"/></defs>'
        '<use xlink:href="#r" clip-path="url(#c)"/>'
    )
    rgba = render_svg(drawing(body), "x.svg")
    assert (rgba[:299, :, 3] == 255).all()
    assert (rgba[301:, :, 3] == 0).all()
    assert rgba[10, 50, 0] < 40 < 215 < rgba[10, 1150, 0]


@pytest.mark.parametrize(
    ("head", "size"),
    [
        ('width="30mm" height="60mm"', (1200, 598)),  # counted in whole pixels of 1/96 inch first
        ('viewBox="-5,-5 10 30"', (1200, 400)),
        ('width="100%" height="100%" viewBox="0 0 8 4"', (600, 1200)),
        ('width="1e8" height="1"', (1, 1200)),
        ("", (600, 1200)),  # none given: as large as what is drawn
    ],
)
def test_the_size_follows_the_shape(head: str, size: tuple[int, int]) -> None:
    data = drawing(RECT, f'<svg xmlns="http://www.w3.org/2000/svg" {head}>')
    assert render_svg(data, "x.svg").shape[:2] == size


@pytest.mark.parametrize("head", ['width="0" height="5"', 'width="-3" height="5"'])
def test_sizes_of_nothing(head: str) -> None:
    refused(drawing(RECT, f'<svg xmlns="http://www.w3.org/2000/svg" {head}>'), "cannot be drawn")


OUTSIDE = [
    '<use href="other.svg#a"/>',
    '<use xlink:href="file:///etc/hostname#a"/>',
    '<rect width="9" height="9" fill="url(file:///etc/hostname)"/>',
    '<rect width="9" height="9" style="fill: URL( \'http://127.0.0.1/x\' )"/>',
    '<rect width="9" height="9" filter="url(other.svg#f)"/>',
    '<rect width="9" height="9" fill="url(#a) url(data:text/plain,x)"/>',
    "<style>rect { fill: url(http://127.0.0.1/) }</style>",
    '<linearGradient id="a" href="http://127.0.0.1/"/>',
    '<a href="http://127.0.0.1/"><rect width="9" height="9"/></a>',
    '<rect width="9" height="9" src="x.png"/>',
]


@pytest.mark.parametrize("body", OUTSIDE)
def test_references_that_leave_the_drawing(body: str) -> None:
    refused(drawing(body), "outside the drawing")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('<image href="/etc/hostname"/>', "embedded picture"),
        ('<image href="data:image/png;base64,AAAA"/>', "embedded picture"),
        ('<filter id="f"><feImage href="#a"/></filter>', "embedded picture"),
        ("<text>RC</text>", "fonts"),
        ("<script>1</script>", "script"),
        ("<foreignObject/>", "foreign object"),
        ("<style>@import 'x.css';</style>", "imports"),
        ("<style>@font-face { font-family: x }</style>", "imports another or a font"),
        (r"<style>rect { fill: u\72l(x) }</style>", "escaped"),
        ('<rect fill="url(#a"/>', "does not end"),
        ('<g xml:base="http://127.0.0.1/"/>', "base address"),
        ("<?xml-stylesheet href='x.css'?>", "processing instruction"),
    ],
)
def test_what_is_never_drawn(body: str, words: str) -> None:
    refused(drawing(body), words)


def test_dtds_and_entities() -> None:
    refused(b"<!DOCTYPE svg>" + drawing(RECT), "DTD")
    laughs = "".join(f'<!ENTITY a{i + 1} "{f"&a{i};" * 10}">' for i in range(9))
    refused(f'<!DOCTYPE svg [<!ENTITY a0 "ha">{laughs}]>'.encode() + drawing("<desc>&a9;</desc>"), "DTD")
    outside = b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    refused(outside + drawing("<desc>&x;</desc>"), "DTD")
    refused(drawing("<desc>&x;</desc>"), "not a whole SVG")


def test_depth_and_number_of_elements() -> None:
    deep = svg.MOST_DEPTH - 1
    assert render_svg(drawing("<g>" * (deep - 1) + RECT + "</g>" * (deep - 1)), "x.svg").any()
    refused(drawing("<g>" * deep + RECT + "</g>" * deep), "deep")
    refused(drawing("<g>" * 100_000 + "</g>" * 100_000), "deep")
    refused(drawing("<g/>" * (svg.MOST_ELEMENTS + 1)), "elements")
    refused(b" " * (svg.MOST_SVG_BYTES + 1), "megabytes")


def levels(tag: str, inner: str, copies: int, count: int) -> str:
    """Elements l0, l1 … each holding so many copies of ``inner`` that refer to the one before."""
    first = f'<{tag} id="l0">{RECT}</{tag}>'
    return first + "".join(
        f'<{tag} id="l{i + 1}">' + inner.replace("LAST", f"#l{i}") * copies + f"</{tag}>"
        for i in range(count)
    )


def test_uses_that_multiply() -> None:
    refused(drawing(levels("g", '<use href="LAST"/>', 10, 8)), "repeats itself")


def test_masks_that_multiply() -> None:
    refused(drawing(levels("mask", '<rect mask="url(LAST)"/>', 20, 6)), "repeats itself")


@pytest.mark.parametrize(
    "body", ['<g id="a"><use href="#a"/></g>', '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>']
)
def test_circles_of_references(body: str) -> None:
    refused(drawing(body), "circle")


@pytest.mark.parametrize(
    "data", [b"<", b"<svg", b"<html><body/></html>", b"<svg xmlns='x'><a></b></svg>", b"<a/>"]
)
def test_what_is_not_svg(data: bytes) -> None:
    refused(data, "not a whole SVG|not an SVG")


def test_other_encodings() -> None:
    text = f'<?xml version="1.0" encoding="utf-16"?>{HEAD}{RECT}</svg>'
    assert render_svg(text.encode("utf-16"), "x.svg").any()
    latin = f'<?xml version="1.0" encoding="iso-8859-1"?>{HEAD}<desc>é</desc>{RECT}</svg>'
    assert render_svg(latin.encode("latin-1"), "x.svg").any()
    assert render_svg(b"\xef\xbb\xbf" + drawing(RECT), "x.svg").any()
    for name in ("zip", "no-such", "ascii"):
        head = f'<?xml version="1.0" encoding="{name}"?>'.encode()
        refused(head + drawing("<desc>é</desc>"), "encoding")
    refused(drawing(RECT) + b"\xff", "encoding")


def test_the_text_looked_through_is_the_text_drawn() -> None:
    """A harmless reading of the bytes in one encoding must not hide another in the next."""
    hidden = (
        '<?xml version="1.0" encoding="utf-7"?>'
        + HEAD
        + "+ADw-image href=+ACI-/etc/hostname+ACI-/+AD4-</svg>"
    )
    refused(hidden.encode(), "encoding")


def test_drawing_that_takes_too_long_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg, "ask", lambda worker, task, data: ask(__name__, task, data))
    monkeypatch.setattr(confined, "TIMEOUT_S", 3)
    refused(drawing(RECT), "too long")


def prepare() -> None:
    """This module is a worker, too, whose work never ends."""


def work(task: dict[str, str], data: bytes) -> tuple[dict[str, str], bytes]:
    sleep(600)
    return {}, b""


def test_drawing_that_needs_too_much_memory_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg, "_SIDE", 40_000)
    refused(drawing(RECT), "cannot be drawn")


def test_the_drawing_process_cannot_open_files(tmp_path: Path) -> None:
    """Even an embedded picture that the guard had missed stays unread: files cannot be opened there."""
    (tmp_path / "secret.svg").write_bytes(drawing('<rect width="40" height="20" fill="#00ff00"/>'))
    body = drawing(f'<image width="40" height="20" href="{tmp_path / "secret.svg"}"/>').decode()
    for kept in ("", "confined._confine(); "):
        code = f"import sys, resvg_py; from pipeline.motif import confined; {kept}"
        code += (
            "sys.stdout.buffer.write(bytes(resvg_py.svg_to_bytes("
            "svg_string=sys.stdin.read(), width=40, height=20, skip_system_fonts=True)))"
        )
        png = subprocess.run(
            [sys.executable, "-c", code], input=body.encode(), capture_output=True, check=True
        )
        assert decode(png.stdout, "x")[..., 1].any() == (not kept)


@pytest.mark.parametrize(
    "body",
    [
        f'<rect width="1" height="1" style="fill:{"url(" * 1_000_000}"/>',
        f'<rect width="1" height="1" fill="url({" " * 2_000}"/>',
        f'<rect width="1" height="1" fill="{"url" + " " * 2_000}"/>' * 400,
        f'<rect width="1" height="1" fill="{"url( " * 2_000}#a)"/>',
        f'<rect width="1" height="1" style="fill:{"url(#a)" * 400_000}"/>',
        "<style>" + "url(#a) " * 400_000 + "</style>",
        "<g>" * 59 + "</g>" * 59 + "<a/>" * 19_000,
        '<rect width="1" height="1" ' + " ".join(f'a{i}="1"' for i in range(50_000)) + "/>",
    ],
)
def test_whatever_a_drawing_holds_it_is_read_in_time_linear_in_its_size(body: str) -> None:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with suppress(InputError):
        render_svg(drawing(body), "x.svg")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert after.ru_utime - before.ru_utime < confined.SECONDS


@pytest.mark.parametrize("encoding", ["punycode", "idna", "utf-7", "rot13", "zlib", "undefined", "x" * 39])
def test_odd_encodings_are_not_tried(encoding: str) -> None:
    refused(f'<?xml version="1.0" encoding="{encoding}"?>{"a-" * 200_000}'.encode(), "encoding")


@settings(max_examples=15)
@given(st.binary(max_size=120))
def test_any_bytes_after_a_bracket(data: bytes) -> None:
    try:
        render_svg(b"<" + data, "x.svg")
    except InputError as error:
        assert error.hint
