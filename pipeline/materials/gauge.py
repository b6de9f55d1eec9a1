"""Gauge: how wide and long a knot comes out, and how much thread it takes.

Without a swatch the gauge is derived from the thread's diameter d; with swatches it is fitted by least
squares. Row work and diagonal work each have their own, since knots lie differently in them.

All derived figures are multiples of d:

=================== ========= ============= ===================================================
quantity            rows      diagonal      source
=================== ========= ============= ===================================================
strand pitch        2.00      1.83          rows derived; diagonal ¼ in for 5 strands of floss
                                            (craft handout: 1.3 mm a strand at d = 0.71 mm)
row pitch           2.00      1.40          rows derived; diagonal value from memory
tie, a double half  12.72     12.72         :func:`wrap_mm` with core, cord and pitch all d
core, a knot        2.25      2.25          derived: one row pitch plus the slant, 2 to 2.5 d
half, when it stays 7.36      7.36          derived: half a tie, and one crossing back (d)
turn at the edge    3.14      2.20          derived: half a circle across one row pitch
idle, a row         2.00      1.40          straight down, one row pitch
=================== ========= ============= ===================================================

A tight turn cannot take less than 2π d (ropelength of the Hopf link: Cantarella, Kusner and Sullivan,
Inventiones 150, 2002). Hands differ by about a quarter, so a swatch overrules all of this.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import platformdirs
from pydantic import Field, TypeAdapter, ValidationError

from pipeline.band.knots import Worked
from pipeline.band.pattern import Gauge, Part
from pipeline.band.reading import place_of
from pipeline.drawer.presets import preset_named
from pipeline.errors import InputError
from pipeline.files.channels import json_text, label, same_name
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.files.single import ChangedError, edit_file, own_folder
from pipeline.limits import MOST_GAUGES_BYTES

CORE_D = 2.25
STRAND_PITCH_D: dict[Worked, float] = {"rows": 2.0, "diagonal": 1.83}
ROW_PITCH_D: dict[Worked, float] = {"rows": 2.0, "diagonal": 1.4}
MARGIN_DERIVED = 0.25
"""Hands differ by about a quarter; value from memory."""
MARGIN_SWATCH = 0.10
"""What is left to chance once the maker's own hand is measured; value from memory."""


def wrap_mm(turns: int, core_mm: float, cord_mm: float, pitch_mm: float) -> float:
    """Length of a helix of ``turns`` turns: √((π(D + d))² + p²) each, in mm.

    D is the diameter of the core, d of the cord that wraps it, p the advance along the core in one turn;
    the cord's centre line lies on a cylinder of diameter D + d.
    """
    return turns * math.hypot(math.pi * (core_mm + cord_mm), pitch_mm)


def preset_gauge(preset_or_diameter: str | float, worked: Worked) -> Gauge:
    """Derive the gauge of a preset (by name) or of a thread of a diameter in mm.

    Raises InputError for an unknown preset or a diameter that no thread has.

    >>> preset_gauge(0.71, "rows").strand_pitch_mm
    1.42
    """
    d = _diameter(preset_or_diameter)
    tie = wrap_mm(2, d, d, d)
    return Gauge(
        strand_pitch_mm=round(STRAND_PITCH_D[worked] * d, 4),
        row_pitch_mm=round(ROW_PITCH_D[worked] * d, 4),
        tie_mm=round(tie, 4),
        core_mm=round(CORE_D * d, 4),
        half_mm=round(tie / 2 + d, 4),
        turn_mm=round(math.pi / 2 * ROW_PITCH_D[worked] * d, 4),
        idle_mm=round(ROW_PITCH_D[worked] * d, 4),
    )


def _diameter(preset_or_diameter: str | float) -> float:
    if isinstance(preset_or_diameter, str):
        return preset_named(preset_or_diameter).diameter_mm
    if not 0.05 <= preset_or_diameter <= 20:
        raise InputError(
            f"a thread {preset_or_diameter:.2g} mm thick cannot be knotted into a band.",
            "Give a diameter of 0.05 to 20 mm.",
        )
    return preset_or_diameter


def half_mm(gauge: Gauge) -> float:
    """What each half of a knot that stays costs the tying strand; derived in proportion where not given."""
    return gauge.half_mm if gauge.half_mm is not None else gauge.tie_mm * _HALF_OF_TIE


def turn_mm(gauge: Gauge) -> float:
    """What the leader needs to turn at an edge: half a circle across one row pitch where not given."""
    return gauge.turn_mm if gauge.turn_mm is not None else math.pi / 2 * gauge.row_pitch_mm


def idle_mm(gauge: Gauge) -> float:
    """What a strand needs to pass a row without a knot: one row pitch where not given."""
    return gauge.idle_mm if gauge.idle_mm is not None else gauge.row_pitch_mm


def cord_mm(gauge: Gauge) -> float:
    """The thread diameter whose derived tie takes ``gauge.tie_mm``; used where bundles are wrapped."""
    return gauge.tie_mm / wrap_mm(2, 1, 1, 1)


_HALF_OF_TIE = 0.5 + 1 / wrap_mm(2, 1, 1, 1)


# ---------------------------------------------------------------- swatches


@dataclass(frozen=True, slots=True)
class Strand:
    """One strand of a swatch: knots it tied, knots it was core in, and the millimetres it used.

    The millimetres are those between the first and the last knot: start length less what is left over,
    or what comes off when the knots are unpicked.
    """

    tied: int
    carried: int
    used_mm: float

    def __post_init__(self) -> None:
        if self.tied < 0 or self.carried < 0 or self.tied + self.carried == 0 or not self.used_mm > 0:
            raise InputError(
                f"a strand with {self.tied} knots tied, {self.carried} carried and {self.used_mm} mm used "
                "measures nothing.",
                "Count its knots and measure what it used.",
            )


@dataclass(frozen=True, slots=True)
class Swatch:
    """A measured sample: ``strands`` and ``rows`` with the width and length they came out at."""

    strands: int
    rows: int
    width_mm: float
    length_mm: float
    used: tuple[Strand, ...] = ()

    def __post_init__(self) -> None:
        if self.strands < 2 or self.rows < 1:
            raise InputError("a swatch has at least 2 strands and a row.", "Knot ten rows or more.")
        if not (self.width_mm > 0 and self.length_mm > 0):
            raise InputError("a swatch has a width and a length.", "Measure both in millimetres.")


Error = Annotated[float | None, Field(ge=0, allow_inf_nan=False)]


class Measured(Part):
    """A fitted gauge as it is saved, and the standard error of its four figures (None where one measurement
    is all). ``samples`` is how many strands were measured for their thread use.
    """

    gauge: Gauge
    strand_pitch_error_mm: Error
    row_pitch_error_mm: Error
    tie_error_mm: Error
    core_error_mm: Error
    samples: Annotated[int, Field(ge=0, le=1_000_000)]


Saved = dict[str, dict[Worked, Measured]]
"""Gauges by the name of their swatch and by working order."""


def fit_gauge(swatches: Sequence[Swatch], worked: Worked, name: str) -> Measured:
    """Fit a gauge to swatches by least squares.

    Pitches are slopes through the origin (width on strands, length on rows). Thread use is fitted as
    used = tied·tie_mm + carried·core_mm with neither below zero; if the strands measured do not tell the
    two apart, the derived ratio between them is kept and both are scaled. Standard errors are those of
    linear regression, s²(XᵀX)⁻¹ with s² the residual variance. Raises InputError if no thread use was
    measured at all, or a figure comes out as no thread could.

    >>> swatch = Swatch(10, 40, width_mm=18, length_mm=60, used=(Strand(40, 0, 370), Strand(0, 40, 70)))
    >>> measured = fit_gauge([swatch], "rows", "my floss")
    >>> measured.gauge.tie_mm, measured.gauge.core_mm, measured.gauge.strand_pitch_mm
    (9.25, 1.75, 1.8)
    """
    if not swatches:
        raise InputError("there is no swatch to measure.", "Give at least one.")
    across, across_error = _slope([(s.strands, s.width_mm) for s in swatches])
    along, along_error = _slope([(s.rows, s.length_mm) for s in swatches])
    used = [strand for swatch in swatches for strand in swatch.used]
    if not used:
        raise InputError(
            "no thread use was measured.", "Unpick one strand, or subtract what is left of it from its cut."
        )
    tie, core, tie_error, core_error = _thread_use(used)
    expected = wrap_mm(2, 1, 1, 1) / STRAND_PITCH_D[worked] * across
    if not 0.2 <= tie / expected <= 5 or core > tie:
        raise InputError(
            f"{tie:.1f} mm a knot tied and {core:.1f} mm a knot carried do not go with a strand pitch of "
            f"{across:.2f} mm.",
            "Check the counts and the units.",
        )
    if not 0.2 <= along / across <= 5:
        raise InputError(
            f"a row of {along:.2f} mm does not go with a strand pitch of {across:.2f} mm.",
            "Check the counts and the units.",
        )
    gauge = Gauge(
        strand_pitch_mm=round(across, 4),
        row_pitch_mm=round(along, 4),
        tie_mm=round(tie, 4),
        core_mm=round(core, 4),
        half_mm=round(tie * _HALF_OF_TIE, 4),
        swatch=name,
    )
    return Measured(
        gauge=gauge,
        strand_pitch_error_mm=across_error,
        row_pitch_error_mm=along_error,
        tie_error_mm=tie_error,
        core_error_mm=core_error,
        samples=len(used),
    )


def _slope(pairs: Sequence[tuple[float, float]]) -> tuple[float, float | None]:
    x, y = np.array(pairs, dtype=np.float64).T
    slope = float(x @ y / (x @ x))
    if len(x) < 2:
        return slope, None
    variance = float(((y - slope * x) ** 2).sum()) / (len(x) - 1)
    return slope, math.sqrt(variance / float(x @ x))


def _thread_use(used: Sequence[Strand]) -> tuple[float, float, float | None, float | None]:
    knots = np.array([(s.tied, s.carried) for s in used], dtype=np.float64)
    mm = np.array([s.used_mm for s in used], dtype=np.float64)
    told_apart = np.linalg.matrix_rank(knots / np.linalg.norm(knots), tol=0.02) == 2
    if told_apart:
        from scipy.optimize import nnls  # heavy, and seldom wanted

        figures, _ = nnls(knots, mm)
        if figures.min() > 0:
            free = len(mm) - 2
            if free < 1:
                return float(figures[0]), float(figures[1]), None, None
            variance = float(((mm - knots @ figures) ** 2).sum()) / free
            errors = np.sqrt(np.diag(variance * np.linalg.inv(knots.T @ knots)))
            return float(figures[0]), float(figures[1]), float(errors[0]), float(errors[1])
    ratio = CORE_D / wrap_mm(2, 1, 1, 1)
    tie, error = _slope(list(zip(knots @ np.array([1.0, ratio]), mm, strict=True)))
    return tie, ratio * tie, error, None if error is None else ratio * error


# ---------------------------------------------------------------- the maker's own gauges


def gauges_path() -> Path:
    """Where the maker's gauges are kept."""
    return platformdirs.user_data_path("hitchgrid") / "gauges.json"


GAUGES = Kind("file of gauges", MOST_GAUGES_BYTES, "Move it away and measure again.")
_TRIES = 20
_SAVED = TypeAdapter(Saved)


def saved(path: Path | None = None) -> Saved:
    """Read the saved gauges with their errors, by name and working order; none if nothing was saved yet.

    Raises InputError naming the place if the file is not what :func:`save_gauge` writes.
    """
    return _parsed(_bytes(path or gauges_path()), path or gauges_path())


def _bytes(path: Path) -> bytes | None:
    return read_plain(path, GAUGES) if os.path.lexists(path) else None


def _parsed(data: bytes | None, path: Path) -> Saved:
    if data is None:
        return {}
    try:
        return _SAVED.validate_python(json_of(data, label(path)))
    except ValidationError as error:
        first = error.errors()[0]
        place = ", ".join(filter(None, (label(path), place_of(first["loc"]))))
        raise InputError(f"{place}: {first['msg']}.", GAUGES.instead) from None


def saved_gauges(path: Path | None = None) -> dict[str, dict[Worked, Gauge]]:
    """The saved gauges without their errors; see :func:`saved`."""
    return {name: {w: m.gauge for w, m in orders.items()} for name, orders in saved(path).items()}


def save_gauge(measured: Measured, worked: Worked, path: Path | None = None) -> Path:
    """Save a measured gauge under its swatch's name, beside those that are there; return the file.

    Two that save at once both get in: whoever finds the file changed reads it again.
    """
    path = path or gauges_path()
    own_folder(path.parent)
    for left in reversed(range(_TRIES)):
        data = _bytes(path)
        kept = _parsed(data, path)
        kept.setdefault(measured.gauge.swatch or "swatch", {})[worked] = measured
        try:
            edit_file(path, _rendered(kept), expected=data, backup=False)
            break
        except ChangedError:
            if not left:
                raise
    return path


def _rendered(kept: Saved) -> bytes:
    content = {
        name: {
            w: {"gauge": m.gauge.model_dump(exclude_none=True), **m.model_dump(exclude={"gauge"})}
            for w, m in orders.items()
        }
        for name, orders in sorted(kept.items())
    }
    return (json_text(content) + "\n").encode()


def is_saved(name: str, path: Path | None = None) -> bool:
    """Whether a gauge of that name, however it is composed and spaced, was saved for some order."""
    return same_name(name) in map(same_name, saved_gauges(path))


def find_gauge(name: str, worked: Worked, path: Path | None = None) -> Gauge:
    """Return a saved gauge. Raises InputError naming those that there are."""
    kept = saved_gauges(path)
    named = {same_name(known): orders for known, orders in kept.items()}
    gauge = named.get(same_name(name), {}).get(worked)
    if gauge is None:
        known = ", ".join(f"{name} ({', '.join(orders)})" for name, orders in sorted(kept.items()))
        raise InputError(
            f"there is no gauge {name!r} for {worked} work.",
            f"Saved: {known or 'none yet'}. Measure one with hitchgrid gauge.",
        )
    return gauge


def margin_of(gauges: Iterable[Gauge]) -> float:
    """The margin on worked lengths: a tenth if every gauge was measured, else a quarter."""
    return MARGIN_SWATCH if all(gauge.swatch is not None for gauge in gauges) else MARGIN_DERIVED
