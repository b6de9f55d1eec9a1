"""The preview: right proportions, the right colours in the right places, every kind of end."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.typing import NDArray
from PIL import Image

from pipeline.band.pattern import End, Ends, Gauge, KnotLength, Pattern
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.literals import END_STYLES, FOLDED_STYLES, TAIL_STYLES, EndStyle
from pipeline.materials.fit import size_mm
from pipeline.writers.bandpicture import band
from pipeline.writers.ink import rgb
from pipeline.writers.original import Original
from pipeline.writers.preview import preview, preview_png, preview_terminal, worn
from pipeline.writers.weave import Cloth, tube
from tests.patterns import patterns, random_pattern
from tests.writers.bands import GAUGE, HOSTILE, chequers, pennant, tiny


def with_start(pattern: Pattern, style: EndStyle) -> Pattern:
    pairs = tuple((p, p + 1) for p in range(0, len(pattern.strands) - 1, 2))
    folded = style in FOLDED_STYLES
    start = End(style=style, tail_mm=80, folded=pairs if folded else (), loop_mm=60 if folded else None)
    return pattern.model_copy(update={"ends": Ends(start=start, finish=End(style="straight", tail_mm=60))})


def shown_colours(pattern: Pattern) -> NDArray[np.int_]:
    """Thread that shows in each cell of a row-worked band, (rows, cells)."""
    grid = [[0] * (len(pattern.strands) - 1) for _ in replay(pattern)]
    for r, row in enumerate(replay(pattern)):
        for step in row.steps:
            grid[r][step.tied.position] = step.shown
    return np.array(grid)


def test_band_has_the_size_that_the_gauge_says() -> None:
    pattern = pennant(3)
    assert size_mm(pattern) == pytest.approx((7 * GAUGE.strand_pitch_mm, 24 * GAUGE.row_pitch_mm))
    straight = band(pattern, px_per_mm=10)
    first, last = straight.knotted
    assert last - first == pytest.approx(24 * GAUGE.row_pitch_mm * straight.px_per_mm, abs=1)
    cover = straight.rgba[int(first) + 5 : int(last) - 5, :, 3] > 0.5
    widths = cover.sum(1)
    assert np.median(widths) == pytest.approx(7 * GAUGE.strand_pitch_mm * straight.px_per_mm, rel=0.08)


def test_rows_that_the_leader_ties_are_as_low_as_the_gauge_says() -> None:
    flat = KnotLength(across_mm=2.1, along_mm=1.0)
    tall = KnotLength(across_mm=1.4, along_mm=2.0)
    gauge = Gauge(
        strand_pitch_mm=1.6, row_pitch_mm=1.5, tie_mm=9, core_mm=2, leader_tied=flat, base_tied=tall
    )
    pattern = pennant().model_copy(update={"gauge": gauge})
    by_leader = [sum(c == "#" for c in line) for line in (".......", "...#...", "..##...", ".###...")]
    expected = sum((n * 1.0 + (7 - n) * 2.0) / 7 for n in [*by_leader, 1, 5, 3, 0])
    assert size_mm(pattern)[1] == pytest.approx(expected)


def test_cells_of_no_thread_are_refused() -> None:
    thin = KnotLength(across_mm=1.4, along_mm=1e-6)
    gauge = GAUGE.model_copy(update={"leader_tied": thin, "base_tied": thin})
    with pytest.raises(InputError, match="cannot be drawn as knots"):
        band(pennant().model_copy(update={"gauge": gauge}))


@pytest.mark.parametrize("worked", ["rows", "diagonal"])
def test_each_knot_shows_its_thread(worked: str) -> None:
    """The mean colour about the middle of every knot is nearest to the thread that shows there."""
    pattern = chequers(worked, rows=10)  # type: ignore[arg-type]
    straight = band(pattern, px_per_mm=16)
    gauge = pattern.gauge_of(pattern.sections[0].worked)
    palette = np.array([rgb(t.colour) for t in pattern.threads], float) / 255
    hue = palette / palette.sum(1, keepdims=True)
    scale, top = straight.px_per_mm, straight.knotted[0]
    middle = straight.rgba.shape[1] / 2
    wide = gauge.strand_pitch_mm * (len(pattern.strands) - (worked == "rows"))
    right = total = 0
    for r, row in enumerate(replay(pattern)):
        for step in row.steps:
            across = (
                step.tied.position + (0.5 if worked == "rows" else 1)
            ) * gauge.strand_pitch_mm - wide / 2
            x, y = middle + across * scale, top + (r + 0.5) * gauge.row_pitch_mm * scale
            reach = 0.3 * gauge.row_pitch_mm * scale
            patch = straight.rgba[int(y - reach) : int(y + reach), int(x - reach) : int(x + reach), :3]
            seen = patch.reshape(-1, 3).mean(0)
            far = np.abs(seen / seen.sum() - hue).sum(1) + 0.3 * np.abs(seen - palette).mean(1)
            right += int(far.argmin() == step.shown)
            total += 1
    assert right == total > 20


@pytest.mark.parametrize("style", END_STYLES)
def test_every_start_is_drawn_above_the_knots(style: EndStyle) -> None:
    straight = band(with_start(pennant(), style), px_per_mm=6)
    above = straight.rgba[: int(straight.knotted[0]), :, 3]
    assert above.sum() > 100
    rows = np.flatnonzero(above.sum(1))
    assert rows.max() >= int(straight.knotted[0]) - 2, "it hangs together with the band"


@settings(max_examples=12)
@given(patterns(max_strands=7, max_rows=4))
def test_any_pattern_can_be_previewed(pattern: Pattern) -> None:
    image = preview(pattern)
    assert np.asarray(image).std() > 1
    assert preview_terminal(pattern).shape[1:] == (len(pattern.strands), 3)


def test_terminal_rows_show_the_knots() -> None:
    pattern = pennant()
    palette = np.array([rgb(t.colour) for t in pattern.threads])
    assert (preview_terminal(pattern)[:, :7] == palette[shown_colours(pattern)]).all()


def test_worn_band_is_as_high_as_the_wrist_is_thick() -> None:
    pattern = pennant(12)
    straight = band(pattern, px_per_mm=5)
    picture = worn(straight)
    girth = (straight.knotted[1] - straight.knotted[0]) * 1.04
    assert picture.shape[0] == pytest.approx(girth / np.pi, rel=0.1)
    middle = picture[picture.shape[0] // 2]
    assert (middle[:, 3] > 0.9).sum() > 7 * GAUGE.strand_pitch_mm * straight.px_per_mm


def test_source_stands_beside_the_band_and_letters_lie_along() -> None:
    source = np.zeros((16, 7, 3), np.uint8)
    source[:, :, 1] = 255
    alone, beside = preview(pennant(2)), preview(pennant(2), Original(source))
    assert beside.width > alone.width
    green = np.all(np.asarray(beside) == (0, 255, 0), axis=2)
    assert green.sum() > 500
    along = preview(pennant(6), Original(lengthwise=True))
    assert along.width > along.height * 0.8


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_are_drawn(title: str) -> None:
    assert Image.open(io.BytesIO(preview_png(tiny(title)))).format == "PNG"


def test_same_pattern_same_bytes() -> None:
    pattern = random_pattern(5, strands=6, rows=6)
    assert preview_png(pattern) == preview_png(pattern)


def test_the_higher_cord_covers_the_lower_whatever_the_order() -> None:
    low, high = tube(12.0, 0.0, 4.0), tube(0.0, 12.0, 4.0, raised=3.0)
    one, other = Cloth(30, 30), Cloth(30, 30)
    one.lay(low, 15, 15, 0)
    one.lay(high, 15, 15, 1)
    other.lay(high, 15, 15, 1)
    other.lay(low, 15, 15, 0)
    colours, light = ("#ff0000", "#0000ff"), (0.0, 0.0, 1.0)
    first, second = one.lit(colours, light), other.lit(colours, light)
    assert (first == second).all()
    assert first[15, 15, 2] > first[15, 15, 0], "blue lies on top"


@pytest.mark.parametrize("style", TAIL_STYLES)
def test_a_taper_narrows_at_forty_five_degrees(style: str) -> None:
    """Half way along the taper the band is half as wide, at its end no wider than the gathered tails."""
    plain = chequers("rows", strands=20)
    wide = size_mm(plain)[0]
    taper = wide / 2
    end = End(style=style, tail_mm=100, taper=(10, 10), taper_mm=taper)  # type: ignore[arg-type]
    pattern = plain.model_copy(update={"ends": Ends(start=plain.ends.start, finish=end)})
    drawn = band(pattern, px_per_mm=12)

    def width(mm: float) -> float:
        at = round(drawn.knotted[1] + mm * drawn.px_per_mm)
        rows = drawn.rgba[at - 2 : at + 3, :, 3].max(axis=0) > 0.5
        inside = np.flatnonzero(rows)
        return float(inside[-1] - inside[0] + 1) / drawn.px_per_mm

    assert width(0.5 * taper) == pytest.approx(0.5 * wide, abs=0.2 * wide)
    assert width(0.2 * taper) > width(0.5 * taper) > width(0.9 * taper)
    assert width(1.2 * taper) < 0.4 * wide
