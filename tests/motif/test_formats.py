"""Every kind of raster file that Pillow can make is read back as the same colours."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from pipeline.errors import InputError
from pipeline.motif.picture import load_grid, load_picture

QUARTERS = np.zeros((8, 6, 3), np.uint8)
QUARTERS[:4, :3] = (200, 30, 40)
QUARTERS[:4, 3:] = (240, 240, 230)
QUARTERS[4:, :3] = (20, 40, 90)
QUARTERS[4:, 3:] = (250, 200, 40)


def saved(folder: Path, name: str, image: Image.Image, **options: object) -> Path:
    path = folder / name
    image.save(path, **options)  # type: ignore[arg-type]
    return path


@pytest.mark.parametrize("name", ["a.png", "a.gif", "a.bmp", "a.tif"])
def test_lossless_formats_give_the_stored_pixels(tmp_path: Path, name: str) -> None:
    path = saved(tmp_path, name, Image.fromarray(QUARTERS))
    assert (load_grid(path) == QUARTERS).all()


def test_lossless_webp_gives_the_stored_pixels(tmp_path: Path) -> None:
    assert (load_grid(saved(tmp_path, "a.webp", Image.fromarray(QUARTERS), lossless=True)) == QUARTERS).all()


@pytest.mark.parametrize("name", ["a.jpg", "a.webp"])
def test_lossy_formats_come_close(tmp_path: Path, name: str) -> None:
    big = QUARTERS.repeat(16, axis=0).repeat(16, axis=1)
    options = {"subsampling": 0} if name.endswith("jpg") else {}
    read = load_picture(saved(tmp_path, name, Image.fromarray(big), quality=95, **options), trim=False).rgb
    assert read.shape == big.shape
    middles = np.abs(read[8::16, 8::16].astype(int) - QUARTERS)
    assert middles.max() <= 12


def test_the_content_decides_and_not_the_name(tmp_path: Path) -> None:
    path = saved(tmp_path, "a.png", Image.fromarray(QUARTERS))
    assert (load_grid(path.rename(tmp_path / "a.jpg")) == QUARTERS).all()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
def test_camera_orientation(tmp_path: Path, orientation: int, name: str) -> None:
    """The eight values as in the Exif standard (CIPA DC-008, tag 0x0112): where row 0 and column 0 are."""
    upright = QUARTERS.repeat(8, axis=0).repeat(8, axis=1)
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),  # shown after a quarter turn clockwise
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"quality": 95, "subsampling": 0} if name.endswith("jpg") else {}
    path = saved(tmp_path, name, Image.fromarray(np.ascontiguousarray(stored)), exif=exif, **options)
    read = load_picture(path, trim=False).rgb
    assert read.shape == upright.shape
    assert np.abs(read[4::8, 4::8].astype(int) - QUARTERS).max() <= 6


def test_palette_grey_and_black_and_white(tmp_path: Path) -> None:
    palette = Image.fromarray(QUARTERS).convert("P", palette=Image.Palette.ADAPTIVE, colors=4)
    assert (load_grid(saved(tmp_path, "p.png", palette)) == QUARTERS).all()
    grey = Image.fromarray(np.arange(48, dtype=np.uint8).reshape(8, 6) * 5)
    assert (load_grid(saved(tmp_path, "g.png", grey))[..., 1] == np.asarray(grey)).all()
    bits = Image.fromarray(np.asarray(grey) > 100)
    assert (load_grid(saved(tmp_path, "b.png", bits))[..., 2] == np.asarray(bits) * 255).all()


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_sixteen_bits_are_scaled_and_not_clipped(tmp_path: Path, name: str) -> None:
    levels = np.array([[0, 257, 12850], [32896, 65278, 65535]], np.uint16)
    assert load_grid(saved(tmp_path, name, Image.fromarray(levels)))[..., 0].tolist() == [
        [0, 1, 50],
        [128, 254, 255],
    ]


def test_dark_sixteen_bits_stay_dark(tmp_path: Path) -> None:
    levels = np.full((3, 3), 200, np.uint16)  # under 1/327 of the range
    assert load_grid(saved(tmp_path, "a.png", Image.fromarray(levels))).max() == 1


@pytest.mark.parametrize("top", [1.0, 255.0, 65535.0])
def test_floating_tiff_is_scaled_from_the_range_it_uses(tmp_path: Path, top: float) -> None:
    levels = (np.array([[0.0, 0.2], [0.6, 1.0]]) * top).astype(np.float32)
    read = load_grid(saved(tmp_path, "a.tif", Image.fromarray(levels)))
    assert read[..., 0].tolist() == [[0, 51], [153, 255]]


@pytest.mark.parametrize("planes", ["contig", "separate"])
def test_floating_colour_tiff(tmp_path: Path, planes: str) -> None:
    """A kind that Pillow does not open, written by tifffile."""
    samples = QUARTERS.astype(np.float32) / 255
    stored = samples if planes == "contig" else np.moveaxis(samples, -1, 0)
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric="rgb", planarconfig=planes)
    assert (load_grid(tmp_path / "a.tif") == QUARTERS).all()


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers_are_refused(tmp_path: Path, bad: float) -> None:
    levels = np.array([[0.0, bad]], np.float32)
    with pytest.raises(InputError, match="not numbers"):
        load_grid(saved(tmp_path, "a.tif", Image.fromarray(levels)))


@pytest.mark.parametrize("name", ["a.jpg", "a.tif"])
def test_cmyk(tmp_path: Path, name: str) -> None:
    big = Image.fromarray(QUARTERS.repeat(16, axis=0).repeat(16, axis=1)).convert("CMYK")
    read = load_picture(saved(tmp_path, name, big), trim=False).rgb
    assert np.abs(read[8::16, 8::16].astype(int) - QUARTERS).max() <= 12


def profile_with_red_and_green_changed_over() -> bytes:
    """A small ICC profile (ICC.1:2001-04 layout): gamma 2.2, sRGB's primaries with two of them swapped.

    The primaries are sRGB's, adapted to D50 by Bradford, as B. Lindbloom's tables give them.
    """

    def xyz(*values: float) -> bytes:
        return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in values))

    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(2.2 * 256)) + b"\0\0"
    words = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"test\0" + b"\0" * 79
    tags = {
        b"desc": words,
        b"cprt": b"text\0\0\0\0free\0\0\0\0",
        b"wtpt": xyz(0.9642, 1.0, 0.8249),
        b"rXYZ": xyz(0.3850649, 0.7168786, 0.0971045),
        b"gXYZ": xyz(0.4360747, 0.2225045, 0.0139322),
        b"bXYZ": xyz(0.1430804, 0.0606169, 0.7141733),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body, start = b"", b"", 132 + 12 * len(tags)
    for name, content in tags.items():
        content += b"\0" * (-len(content) % 4)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"none", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28 + xyz(0.9642, 1.0, 0.8249)[8:]
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "P"])
def test_a_colour_profile_is_applied_to_pictures_but_not_to_grids(tmp_path: Path, mode: str) -> None:
    image = Image.fromarray(QUARTERS).convert(mode, palette=Image.Palette.ADAPTIVE)
    path = saved(tmp_path, "odd.png", image, icc_profile=profile_with_red_and_green_changed_over())
    assert (load_grid(path) == QUARTERS).all()
    swapped = QUARTERS[..., [1, 0, 2]].astype(int)
    # Gamma 2.2 is not quite sRGB's curve: a few levels, more in the dark.
    assert np.abs(load_picture(path, trim=False).rgb - swapped).max() <= 12


@pytest.mark.parametrize("profile", [b"", b"junk", b"\0" * 200, b"LAB"])
def test_a_profile_that_does_not_fit_is_left_aside(tmp_path: Path, profile: bytes) -> None:
    if profile == b"LAB":
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    path = saved(tmp_path, "odd.png", Image.fromarray(QUARTERS), icc_profile=profile)
    assert (load_picture(path, trim=False).rgb == QUARTERS).all()


def test_only_the_first_frame_and_page(tmp_path: Path) -> None:
    first, second = Image.fromarray(QUARTERS), Image.fromarray(QUARTERS[::-1, ::-1].copy())
    for name in ("a.gif", "a.png", "a.tif"):
        path = saved(tmp_path, name, first, save_all=True, append_images=[second] * 3)
        assert (load_grid(path) == QUARTERS).all(), name
    path = saved(tmp_path, "a.webp", first, save_all=True, append_images=[second] * 3, lossless=True)
    assert (load_grid(path) == QUARTERS).all()


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P"])
def test_transparency_shows_the_background(tmp_path: Path, mode: str) -> None:
    image = Image.new("RGBA", (6, 6), (80, 80, 80, 255))
    image.paste((0, 0, 0, 0), (0, 0, 6, 2))
    if mode == "P":
        image = Image.new("P", (6, 6), 1)
        image.putpalette([9, 9, 9, 80, 80, 80])
        image.paste(0, (0, 0, 6, 2))
        image.info["transparency"] = 0
    path = saved(tmp_path, "a.png", image.convert(mode))
    read = load_picture(path, background="#1b2a59", trim=False)
    assert read.rgb[0, 0].tolist() == [27, 42, 89]
    assert read.rgb[5, 5].tolist() == [80, 80, 80]
    assert read.ground == (27, 42, 89)
    assert load_grid(path, background="#ff0000")[0, 0].tolist() == [255, 0, 0]


def test_half_transparent_pixels_as_pillow_lays_them(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    image = Image.fromarray(rng.integers(0, 256, (20, 20, 4), dtype=np.uint8))
    ground = Image.new("RGBA", (20, 20), (40, 90, 200, 255))
    expected = np.asarray(Image.alpha_composite(ground, image))[..., :3]
    read = load_grid(saved(tmp_path, "a.png", image), background="#285ac8")
    assert np.abs(read.astype(int) - expected).max() <= 1  # Pillow rounds twice


def test_a_white_picture_on_a_transparent_ground_gets_black_under_it(tmp_path: Path) -> None:
    for level, ground in ((250, (0, 0, 0)), (60, (255, 255, 255))):
        image = Image.new("RGBA", (9, 9), (0, 0, 0, 0))
        image.paste((level, level, level, 255), (3, 3, 6, 6))
        read = load_picture(saved(tmp_path, "a.png", image))
        assert read.ground == ground
        assert read.rgb.shape == (3, 3, 3)


def test_opening_is_quiet_about_odd_but_readable_files(tmp_path: Path) -> None:
    """Pillow warns about palette transparency given in bytes; a maker has no use for that."""
    image = Image.new("P", (4, 4))
    image.putpalette([9, 9, 9, 80, 80, 80])
    data = io.BytesIO()
    image.save(data, "PNG", transparency=bytes([0, 255]))
    (tmp_path / "a.png").write_bytes(data.getvalue())
    assert load_picture(tmp_path / "a.png").ground == (255, 255, 255)
