"""Files that are not what they seem: one sentence each, and no memory or time spent on them."""

from __future__ import annotations

import contextlib
import logging
import os
import struct
import zlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.errors import InputError
from pipeline.motif import picture
from pipeline.motif.picture import load_grid, load_picture
from pipeline.motif.raster import MOST_PIXELS


def refused(path: Path, words: str) -> InputError:
    """Both ways of reading refuse the file with one sentence and something to try."""
    for read in (load_picture, load_grid):
        with pytest.raises(InputError, match=words) as caught:
            read(path)
        assert "\n" not in caught.value.message
        assert caught.value.message.endswith(".")
        assert caught.value.hint
        assert str(path.parent) not in caught.value.message
    return caught.value


def picture_bytes(kind: str, size: tuple[int, int] = (60, 40)) -> bytes:
    rng = np.random.default_rng(2)
    out = BytesIO()
    Image.fromarray(rng.integers(0, 256, (*size[::-1], 3), dtype=np.uint8)).save(out, kind)
    return out.getvalue()


def png_of_size(width: int, height: int, data: bytes = b"") -> bytes:
    """A PNG that claims a size and has whatever data."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", data or zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "no file"),
        (lambda p: p.mkdir(), "folder"),
        (lambda p: p.write_bytes(b""), "empty"),
        (lambda p: p.write_text("Dear rowers, see you at the boat house."), "not a picture"),
        (lambda p: p.write_bytes(bytes(range(256)) * 40), "not a picture"),
        (lambda p: p.write_bytes(b"%PDF-1.7 a document"), "not a picture"),
        (lambda p: p.write_bytes(b"II*\0" + b"\0" * 40), "damaged"),
        (os.mkfifo, "not a plain file"),
        (lambda p: p.symlink_to("/dev/zero"), "not a plain file"),
        (lambda p: p.symlink_to(p), "cannot open"),
    ],
)
def test_what_is_no_picture(tmp_path: Path, make: Callable[[Path], object], words: str) -> None:
    make(tmp_path / "x.png")
    refused(tmp_path / "x.png", words)


def test_names_that_cannot_be(tmp_path: Path) -> None:
    refused(tmp_path / "a\0b.png", "no file name")
    error = refused(tmp_path / ("long" * 200), "cannot open")
    assert len(error.message) < 150
    error = refused(tmp_path / "a\x1b[31mred\u202e.png", "no file a.\\[31mred..png")


def test_a_file_too_large_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "x.png").open("wb") as file:
        file.truncate(picture.PICTURE.most_bytes + 1)  # sparse: no disk is used
    refused(tmp_path / "x.png", "larger than")


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "GIF", "BMP", "TIFF"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_truncated_files(tmp_path: Path, kind: str, share: float) -> None:
    data = picture_bytes(kind)
    (tmp_path / "x").write_bytes(data[: int(len(data) * share)])
    refused(tmp_path / "x", "damaged|not a picture")


@pytest.mark.parametrize(
    "size", [(60_000, 60_000), (2**31 - 1, 2**31 - 1), (MOST_PIXELS + 1, 1), (9_000_000, 1)]
)
def test_pixel_bombs_are_refused_before_decoding(tmp_path: Path, size: tuple[int, int]) -> None:
    (tmp_path / "x.png").write_bytes(png_of_size(*size))
    refused(tmp_path / "x.png", "more than|far more|such a shape")


def test_a_bomb_of_another_kind(tmp_path: Path) -> None:
    gif = bytearray(picture_bytes("GIF"))
    gif[6:10] = struct.pack("<HH", 65535, 65535)
    (tmp_path / "x.gif").write_bytes(gif)
    refused(tmp_path / "x.gif", "more than|far more")
    bmp = bytearray(picture_bytes("BMP"))
    bmp[18:26] = struct.pack("<ii", 100_000, 100_000)
    (tmp_path / "x.bmp").write_bytes(bmp)
    refused(tmp_path / "x.bmp", "more than|far more")


def test_text_that_unpacks_to_much_more(tmp_path: Path) -> None:
    """Compressed text chunks of a PNG are bounded by Pillow; what it raises is our one error."""
    data = picture_bytes("PNG")
    body = b"note\0\0" + zlib.compress(b" " * 80_000_000)
    chunk = struct.pack(">I", len(body)) + b"zTXt" + body + struct.pack(">I", zlib.crc32(b"zTXt" + body))
    (tmp_path / "x.png").write_bytes(data[:33] + chunk + data[33:])
    try:
        read = load_picture(tmp_path / "x.png", trim=False)
    except InputError as error:
        assert "damaged" in error.message
    else:
        assert read.rgb.shape == (40, 60, 3)


def test_damaged_tiffs_write_nothing_to_the_terminal(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither libtiff nor the logs of Pillow and tifffile, where nobody has set up logging."""
    monkeypatch.setattr(logging.root, "handlers", [])
    rng = np.random.default_rng(3)
    for kind in ("tiff_lzw", "tiff_deflate", "jpeg"):
        out = BytesIO()
        Image.fromarray(rng.integers(0, 256, (40, 60, 3), dtype=np.uint8)).save(out, "TIFF", compression=kind)
        for _ in range(20):
            data = bytearray(out.getvalue())
            for place in rng.integers(8, len(data), 30):
                data[place] ^= int(rng.integers(1, 256))
            (tmp_path / "x.tif").write_bytes(data)
            with contextlib.suppress(InputError):
                load_picture(tmp_path / "x.tif")
    data = bytearray(picture_bytes("TIFF"))
    tag = data.index(struct.pack("<HH", 277, 3))  # more samples a pixel than there are
    data[tag + 4 : tag + 12] = struct.pack("<IHH", 1, 46877, 0)
    (tmp_path / "x.tif").write_bytes(data)
    refused(tmp_path / "x.tif", "damaged|not a picture")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("background", ["red", "#12345", "", "#12345g", "#1234567"])
def test_backgrounds_that_are_no_colour(tmp_path: Path, background: str) -> None:
    (tmp_path / "x.png").write_bytes(picture_bytes("PNG"))
    for read in (load_picture, load_grid):
        with pytest.raises(InputError, match="colour"):
            read(tmp_path / "x.png", background=background)


KINDS = {kind: picture_bytes(kind, (12, 9)) for kind in ("PNG", "JPEG", "WEBP", "GIF", "BMP", "TIFF")}


@given(st.sampled_from(sorted(KINDS)), st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=12))
def test_damaged_bytes_give_a_picture_or_one_error(
    tmp_path_factory: pytest.TempPathFactory, kind: str, changes: list[tuple[float, int]]
) -> None:
    data = bytearray(KINDS[kind])
    for place, value in changes:
        data[int(place * (len(data) - 1))] = value
    path = tmp_path_factory.getbasetemp() / "damaged"
    path.write_bytes(data)
    try:
        read = load_picture(path)
    except InputError as error:
        assert error.hint
    else:
        assert read.rgb.dtype == np.uint8
        assert read.rgb.size


@given(st.binary(min_size=1, max_size=300))
def test_any_bytes_give_a_picture_or_one_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes"
    path.write_bytes(data)
    try:
        load_picture(path)
    except InputError as error:
        assert error.hint
