"""Gauge and fit against figures from outside, and swatches that were made up to be fitted."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.band.pattern import Ends, KnotLength
from pipeline.drawer.stash import diameter_mm
from pipeline.errors import ImpossibleError, InputError
from pipeline.limits import USUAL_ROOM_MM
from pipeline.materials.ends import make_end
from pipeline.materials.fit import GAP_MM, SIZES, fit_rows, size_named
from pipeline.materials.gauge import (
    Strand,
    Swatch,
    find_gauge,
    fit_gauge,
    margin_of,
    preset_gauge,
    save_gauge,
    saved,
    saved_gauges,
)
from pipeline.materials.lengths import cut_list
from tests.materials.bands import PLAIN_ENDS, lettering
from tests.patterns import random_pattern


def test_peirce_diameter():
    """From outside: d = √(4·v·tex / (1000·π)) mm with v = 1.1 cm³/g (Peirce 1937)."""
    for tex in (200, 240, 333, 800):
        assert diameter_mm(tex) == pytest.approx(math.sqrt(4 * 1.1 * tex / (1000 * math.pi)), rel=0.003)


def test_band_width_of_floss():
    """From outside: a craft handout gives a quarter inch for five strands in diagonal work."""
    assert 5 * preset_gauge("six-strand embroidery cotton", "diagonal").strand_pitch_mm == pytest.approx(
        25.4 / 4, rel=0.03
    )


def test_rules_of_thumb():
    """From outside, macramé guides: a cord that always ties takes 5–6 times, a core about 2 times the
    finished length, an average cord 3.5–4 times; bracketed here at 2–6 for diagonal work with floss.

    The leader of row work is beyond any such rule; its bases take about 2 times with their tails.
    """
    band = random_pattern(5, strands=8, rows=160, threads=2, worked="diagonal", sections=1, joins=0)
    finished = 160 * band.gauge_of("diagonal").row_pitch_mm
    used = [cut.used_mm - 200 for cut in cut_list(band)]
    assert 2 <= sum(used) / len(used) / finished <= 6
    rows = lettering(letters=False)
    length = 100 * rows.gauge_of("rows").row_pitch_mm
    average = sum(cut.used_mm - 200 for cut in cut_list(rows)) / 24 / length
    assert 6 <= average <= 8  # derived: row work averages about 7
    base = cut_list(rows)[12]
    assert base.tied == 0
    assert 1 <= (base.used_mm - 200) / (100 * rows.gauge_of("rows").row_pitch_mm) <= 2


def test_habit_of_cutting_a_chevron():
    """From outside: craft handouts cut 5 strands of a wrist band at 76 cm and 10 at 114 cm by habit."""
    for strands, habit_cm in ((5, 76), (10, 114)):
        gauge = preset_gauge("six-strand embroidery cotton", "diagonal")
        rows = fit_rows(165, gauge).rows
        band = random_pattern(
            1, strands=strands, rows=rows, threads=2, worked="diagonal", sections=1, joins=0
        )
        cuts = cut_list(band)
        mean_cm = sum(cut.length_mm for cut in cuts) / len(cuts) / 10
        assert habit_cm / 2 <= mean_cm <= habit_cm * 2


def test_wrists_are_those_of_the_survey():
    """From outside: ANSUR II (NATICK/TR-15/007), wrist circumference, 5th, 50th and 95th percentiles."""
    women = [size_named(f"women-{s}").wrist_mm for s in ("small", "medium", "large")]
    men = [size_named(f"men-{s}").wrist_mm for s in ("small", "medium", "large")]
    assert women == [142, 154, 168]
    assert men == [162, 176, 191]
    assert [size_named(f"adult-{s}").wrist_mm for s in ("small", "medium", "large")] == [142, 165, 191]
    assert all(size.source for size in SIZES)
    assert size_named("giant") is None


def test_percentiles_agree_with_mean_and_spread():
    """From outside: the survey's means and deviations (175.9 ± 9.0 and 154.8 ± 7.8) and the normal law."""
    for mean, spread, name in ((175.9, 9.0, "men"), (154.8, 7.8, "women")):
        for size, z in (("small", -1.645), ("medium", 0.0), ("large", 1.645)):
            assert size_named(f"{name}-{size}").wrist_mm == pytest.approx(mean + z * spread, abs=1.5)


def test_fit_adds_up():
    gauge = preset_gauge(0.71, "rows")
    fit = fit_rows(165, gauge, ends=PLAIN_ENDS)
    assert fit.knotted_mm == 165 + USUAL_ROOM_MM - GAP_MM
    assert fit.rows == round(fit.knotted_mm / gauge.row_pitch_mm) == 118
    tapered = make_end("braid", (0,) * 24, gauge, at_start=False, taper=True)
    shorter = fit_rows(165, gauge, ends=Ends(start=PLAIN_ENDS.start, finish=tapered))
    assert shorter.knotted_mm == pytest.approx(fit.knotted_mm - tapered.taper_mm)
    shaped = gauge.model_copy(
        update={
            "leader_tied": KnotLength(across_mm=2.1, along_mm=1.4),
            "base_tied": KnotLength(across_mm=1.4, along_mm=2.2),
        }
    )
    assert fit_rows(165, shaped).rows == round((165 + USUAL_ROOM_MM - GAP_MM) / 1.8)
    with pytest.raises(InputError, match="not a wrist"):
        fit_rows(5, gauge)
    with pytest.raises(ImpossibleError, match="nothing to knot"):
        wide = make_end("tie", (0,) * 300, gauge, at_start=False, taper=True)
        fit_rows(165, gauge, ends=Ends(start=PLAIN_ENDS.start, finish=wide))


@given(st.floats(4, 20), st.floats(0.5, 3), st.integers(0, 2**32 - 1))
def test_a_swatch_gives_back_the_hand_that_made_it(tie, core, seed):
    """Strands whose use follows the model exactly are fitted exactly, with no error left."""
    rng = np.random.default_rng(seed)
    used = tuple(
        Strand(int(a), int(b), float(a * tie + b * core))
        for a, b in zip(rng.integers(20, 60, 4), rng.integers(0, 60, 4), strict=True)
    )
    measured = fit_gauge([Swatch(10, 40, 18.0, 60.0, used)], "rows", "mine")
    if measured.tie_error_mm is not None and measured.core_error_mm < 1e-3:
        assert measured.gauge.tie_mm == pytest.approx(tie, abs=0.05)
    assert measured.gauge.strand_pitch_mm == pytest.approx(1.8)
    assert measured.gauge.row_pitch_mm == pytest.approx(1.5)


def test_errors_are_those_of_linear_regression():
    """Standard errors against numpy's own covariance (polyfit of a line has two parameters as well)."""
    knots = np.array([[40, 10], [10, 40], [25, 25], [30, 12]])
    mm = knots @ np.array([9.0, 1.6]) + np.array([3.0, -2.0, 1.5, -2.5])
    used = tuple(Strand(int(a), int(b), float(u)) for (a, b), u in zip(knots, mm, strict=True))
    measured = fit_gauge([Swatch(10, 40, 18.0, 60.0, used)], "rows", "mine")
    solution, residual, *_ = np.linalg.lstsq(knots.astype(float), mm, rcond=None)
    covariance = np.linalg.inv(knots.T @ knots) * residual[0] / 2
    assert (measured.gauge.tie_mm, measured.gauge.core_mm) == pytest.approx(tuple(solution), abs=1e-3)
    assert (measured.tie_error_mm, measured.core_error_mm) == pytest.approx(np.sqrt(np.diag(covariance)))


def test_one_strand_scales_the_model():
    measured = fit_gauge([Swatch(10, 40, 18.0, 60.0, (Strand(40, 0, 370.0),))], "rows", "mine")
    assert measured.gauge.tie_mm == 9.25
    assert measured.gauge.core_mm == pytest.approx(9.25 * 2.25 / 12.72, rel=1e-3)
    assert measured.tie_error_mm is None
    assert margin_of([measured.gauge]) == 0.10
    assert margin_of([preset_gauge(0.71, "rows")]) == 0.25


def test_nonsense_is_refused():
    with pytest.raises(InputError, match="do not go with"):
        fit_gauge([Swatch(10, 40, 18.0, 60.0, (Strand(40, 0, 37000.0),))], "rows", "mine")
    with pytest.raises(InputError, match="no thread use"):
        fit_gauge([Swatch(10, 40, 18.0, 60.0)], "rows", "mine")
    with pytest.raises(InputError, match="not a kind of thread"):
        preset_gauge("spider silk", "rows")
    with pytest.raises(InputError, match="cannot be knotted"):
        preset_gauge(900.0, "rows")


def test_gauges_are_saved_under_their_names(tmp_path):
    path = tmp_path / "deep" / "gauges.json"
    assert saved_gauges(path) == {}
    for worked, tie in (("rows", 370.0), ("diagonal", 350.0)):
        measured = fit_gauge([Swatch(10, 40, 18.0, 60.0, (Strand(40, 0, tie),))], worked, "winter")
        save_gauge(measured, worked, path)
    assert find_gauge("winter", "diagonal", path).tie_mm == 8.75
    assert saved(path)["winter"]["diagonal"] == measured
    with pytest.raises(InputError, match=r"Saved: winter \(rows, diagonal\)"):
        find_gauge("summer", "rows", path)
    path.write_text("[1, 2")
    with pytest.raises(InputError, match="gauges"):
        saved_gauges(path)


def test_a_saved_gauge_with_one_fault_names_its_place(tmp_path):
    path = tmp_path / "gauges.json"
    path.write_text('{"mine": {"rows": {"gauge": {"strand_pitch_mm": "wide"}}}}', encoding="utf-8")
    with pytest.raises(InputError, match=r"gauges\.json, mine\.rows\.gauge\.strand_pitch_mm: "):
        saved(path)
    path.write_text('{"mine": 3}', encoding="utf-8")
    with pytest.raises(InputError, match=r"gauges\.json, mine: "):
        saved(path)
