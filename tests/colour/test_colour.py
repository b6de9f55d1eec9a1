"""Colour arithmetic against published values and a second library."""

from __future__ import annotations

import csv
from pathlib import Path

import colour as science  # colour-science, a second implementation
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.colour import (
    contrast,
    delta_e,
    delta_e_lab,
    delta_e_table,
    encoded,
    hex_of,
    lab,
    linear,
    luminance,
    parse_hex,
)
from pipeline.errors import InputError

PAIRS = Path(__file__).parent / "sharma_wu_dalal_2005.csv"
BYTES = st.tuples(*[st.integers(0, 255)] * 3)


def test_ciede2000_of_the_34_published_pairs() -> None:
    """Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula", Color Res. Appl. 30 (2005), table 1."""
    with PAIRS.open(encoding="utf-8") as file:
        rows = np.array([[float(cell) for cell in row] for row in list(csv.reader(file))[1:]])
    assert rows.shape == (34, 7)
    assert (rows[0, 6], rows[-1, 6]) == (2.0425, 0.9082)
    np.testing.assert_allclose(delta_e_lab(rows[:, :3], rows[:, 3:6]), rows[:, 6], atol=5e-5)
    np.testing.assert_allclose(delta_e_lab(rows[:, 3:6], rows[:, :3]), rows[:, 6], atol=5e-5)


def test_lab_agrees_with_colour_science() -> None:
    """The matrices are rounded differently, which moves a* of strong colours by 0.023 at most (measured)."""
    rgb = np.random.default_rng(5).integers(0, 256, (2000, 3)).astype(np.uint8)
    xyz = science.sRGB_to_XYZ(rgb / 255.0)
    white = science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    np.testing.assert_allclose(lab(rgb), science.XYZ_to_Lab(xyz, white), atol=0.03)


def test_difference_agrees_with_colour_science() -> None:
    a, b = np.random.default_rng(6).integers(0, 256, (2, 2000, 3)).astype(np.uint8)
    expected = science.difference.delta_E_CIE2000(lab(a), lab(b))
    np.testing.assert_allclose(delta_e(a, b), expected, atol=1e-6)


def test_linear_light_agrees_with_colour_science() -> None:
    """IEC 61966-2-1, through colour-science."""
    levels = np.arange(256)
    np.testing.assert_allclose(linear(levels), science.models.eotf_sRGB(levels / 255), atol=1e-12)
    assert np.array_equal(encoded(linear(levels)), levels)


def test_half_of_black_and_white_is_188() -> None:
    """0.5 in linear light is 0.7354 encoded (IEC 61966-2-1), which is byte 188; 128 is the usual mistake."""
    assert encoded([0.5]).tolist() == [188]


def test_contrast_of_published_examples() -> None:
    """Value from WCAG 2.2, SC 1.4.3: #767676 on white is the lightest grey that reaches 4.5."""
    white = (255, 255, 255)
    assert contrast(parse_hex("#767676"), white) >= 4.5 > contrast(parse_hex("#777777"), white)
    assert float(contrast(white, (0, 0, 0))) == pytest.approx(21.0)
    assert luminance(white) == pytest.approx(1.0)


@given(BYTES, BYTES)
def test_difference_is_symmetric_and_zero_only_for_equals(a: tuple[int, ...], b: tuple[int, ...]) -> None:
    there, back = float(delta_e(a, b)), float(delta_e(b, a))
    assert there == pytest.approx(back, abs=1e-9)
    assert (there == 0) == (a == b)


def test_the_table_is_the_differences_one_by_one() -> None:
    a, b = np.random.default_rng(7).integers(0, 256, (2, 40, 3)).astype(np.uint8)
    np.testing.assert_allclose(delta_e_table(a, b), delta_e(a[:, None], b[None]))


@given(BYTES)
def test_hex_is_read_back(colour: tuple[int, ...]) -> None:
    assert parse_hex(hex_of(colour)) == colour
    assert parse_hex(hex_of(colour).upper()[1:]) == colour


@pytest.mark.parametrize("text", ["", "#", "#12345", "#1234567", "navy", "#12345g", "#１２３４５６", "=1+1"])
def test_what_is_no_colour_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="is not a colour"):
        parse_hex(text)
