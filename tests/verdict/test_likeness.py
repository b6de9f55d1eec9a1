"""The eye that judges likeness, against values worked by hand and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.band.example import two_rows
from pipeline.band.pattern import render
from pipeline.band.reading import parse_pattern
from pipeline.colour import lab, linear, parse_hex
from pipeline.verdict.likeness import Likeness, likeness, shown_light


def test_the_same_picture_is_the_same() -> None:
    found = likeness(two_rows(), shown_light(two_rows()))
    assert (found.ciede2000, found.hyab) == (0.0, 0.0)
    assert found.words == "very close"


def test_a_plain_band_before_a_plain_picture_is_off_by_the_two_colours() -> None:
    """Blurring leaves plain areas as they are, so the mean is the difference of the two colours."""
    pattern = two_rows()
    one = parse_pattern(render(pattern.model_copy(update={"strands": (0, 0, 0, 0)})))
    want = np.broadcast_to(linear((10, 200, 30)), (2, 3, 3))
    a, b = lab(np.array((10, 200, 30), np.uint8)), lab(np.array(parse_hex(one.threads[0].colour), np.uint8))
    by_hand = abs(a[0] - b[0]) + np.hypot(a[1] - b[1], a[2] - b[2])
    assert likeness(one, want).hyab == pytest.approx(float(by_hand), abs=1e-6)


def test_another_size_is_refused_and_words_follow_the_figure() -> None:
    with pytest.raises(ValueError, match="picture of"):
        likeness(two_rows(), np.zeros((3, 3, 3)))
    assert [Likeness(0, hyab, 0).words for hyab in (3, 12, 20, 40)] == [
        "very close",
        "close",
        "recognisable",
        "loose",
    ]
