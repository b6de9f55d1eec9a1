"""``hitchgrid gauge``: measure a swatch once, and plan by it ever after."""

from __future__ import annotations

import dataclasses
import re
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from cli.flags import flag
from pipeline.errors import InputError
from pipeline.literals import Worked, working
from pipeline.order.units import parse_length

if TYPE_CHECKING:
    from pipeline.band.pattern import Gauge
    from pipeline.materials.gauge import Measured, Strand, Swatch


SWATCH = (
    "What you knotted and measured: 10x40=18mmx60mm is 10 strands, 40 rows, 18 mm wide and "
    "60 mm long. Repeat it for more swatches."
)
USED = (
    "What one strand used: 40,12=390mm is 40 knots tied and 12 carried; 40,12=80cm-41cm is its "
    "length at the first knot less what hangs below the last. Repeat it for more strands."
)


def command(
    name: Annotated[str | None, typer.Argument(help="Name of the swatch.", show_default=False)] = None,
    swatch: Annotated[list[str] | None, flag(SWATCH, metavar="STRANDSxROWS=WIDTHxLENGTH")] = None,
    used: Annotated[list[str] | None, flag(USED, metavar="TIED,CARRIED=LENGTH")] = None,
    thread: Annotated[
        str | None, flag("Show what is derived from a kind of thread, a diameter (0.7mm) or 240tex.")
    ] = None,
    diagonal: Annotated[bool, flag("The swatch is diagonal-worked.", "--diagonal")] = False,
    how: Annotated[bool, flag("Say how to tie a swatch and what to measure.", "--how")] = False,
    replace: Annotated[bool, flag("Replace a gauge of that name.", "--replace")] = False,
) -> None:
    """Measure a swatch and save it under a name; without a name, show what is saved.

    With a name alone it explains the swatch and asks for what you measured.

    Example: hitchgrid gauge "my floss" --swatch 10x40=18mmx60mm --used 40,0=370mm --used 0,40=70mm
    """
    from cli.console import say

    worked: Worked = "diagonal" if diagonal else "rows"
    if thread is not None:
        _show_derived(thread, worked)
    elif how:
        say(_explained(worked))
    elif name is not None:
        _measure(name, worked, swatch or [], used or [], replace=replace)
    elif swatch or used:
        raise InputError("the swatch has no name.", "Put a name first: hitchgrid gauge NAME --swatch …")
    else:
        _list()


FIGURES = {
    "a strand across": "strand_pitch", "a row along": "row_pitch",
    "a knot tied": "tie", "a knot carried": "core",
}  # fmt: skip
"""What a gauge holds, in words and by the beginning of its name."""


def _list() -> None:
    from cli.console import out, table
    from pipeline.materials.gauge import saved

    def figure(m: Measured, name: str) -> str:
        error = getattr(m, f"{name}_error_mm")
        return f"{getattr(m.gauge, f'{name}_mm'):.2f} mm" + ("" if error is None else f" ± {error:.2f}")

    rows = [
        (known, order, *(figure(m, name) for name in FIGURES.values()))
        for known, orders in sorted(saved().items())
        for order, m in orders.items()
    ]
    out.print(
        table("Saved gauges", ("name", "worked", "strand", "row", "knot tied", "knot carried"), rows)
        if rows
        else "No gauge is saved yet; hitchgrid gauge --help shows how to measure one."
    )


def _is_length(name: str) -> bool:
    try:
        parse_length(name)
    except InputError:
        return False
    return True


def _measure(name: str, worked: Worked, swatch: list[str], used: list[str], *, replace: bool) -> None:
    """Fit a gauge to what was given, or is asked for where nothing was, and save it."""
    from cli.console import out
    from pipeline.materials.gauge import fit_gauge, save_gauge

    if not name.strip() or len(name) > 60 or not name.isprintable():
        raise InputError("that is not a name for a swatch.", "Use up to 60 letters, digits and blanks.")
    if _is_length(name):
        raise InputError(f"--gauge {name} means a thread of that diameter.", "Give the swatch another name.")
    _free(name.strip(), worked, replace=replace)
    if swatch:
        first, *others = map(_swatch, swatch)
        swatches = [dataclasses.replace(first, used=tuple(map(_strand, used))), *others]
    elif not used and answers():
        swatches = [_asked(worked)]
    else:
        raise InputError(
            "nothing was measured.", "Give --swatch STRANDSxROWS=WIDTHxLENGTH; --how explains the swatch."
        )
    measured = fit_gauge(swatches, worked, name.strip())
    path = save_gauge(measured, worked)
    _show(measured, worked, swatches)
    out.print(f"Saved as {measured.gauge.swatch!r} in {path}. Plan with --gauge.")


def answers() -> bool:
    """Whether somebody is there to be asked."""
    return sys.stdin.isatty()


def _free(name: str, worked: Worked, *, replace: bool) -> None:
    """Ask before a saved gauge gives way; where nobody can be asked, refuse."""
    from pipeline.materials.gauge import saved

    if replace or worked not in saved().get(name, {}):
        return
    if not answers():
        raise InputError(
            f"there is a gauge {name!r} for {worked} work already.", "Use --replace, or another name."
        )
    typer.confirm(f"There is a gauge {name!r} for {worked} work already. Replace it?", abort=True)


def _explained(worked: Worked) -> Iterator[str]:
    """How the swatch is tied and measured, line by line."""
    from pipeline.materials.practice import practice_swatch

    practice = practice_swatch(worked)
    for i, sentence in enumerate(practice.how, 1):
        yield f"{i}. {sentence}"
    used = " ".join(f"--used {tied},{carried}=BEFORE-AFTER" for _, tied, carried in practice.measured)
    order = " --diagonal" if worked == "diagonal" else ""
    yield (
        f"Then: hitchgrid gauge NAME{order}, which asks for all that; or at once: hitchgrid gauge NAME"
        f"{order} --swatch {practice.strands}x{practice.rows}=WIDTHxLENGTH {used}"
    )
    yield "A second swatch, or a third strand, tells how far apart your own knots are."


def _asked(worked: Worked) -> Swatch:
    """Explain the swatch and ask for what was measured."""
    from cli.console import out
    from pipeline.materials.gauge import Strand, Swatch
    from pipeline.materials.practice import practice_swatch

    practice = practice_swatch(worked)
    for line in list(_explained(worked))[:-2]:
        out.print(line)

    def length(what: str) -> float:
        return parse_length(str(typer.prompt(f"{what} (as 18mm or 1.8cm)")), what)

    width, tall = length("Width of the swatch"), length("Length of the swatch")
    used = []
    for name, tied, carried in practice.measured:
        before, after = length(f"Length of {name} from its mark, before"), length(f"What is left of {name}")
        used.append(Strand(tied, carried, before - after))
    return Swatch(practice.strands, practice.rows, width, tall, tuple(used))


def _swatch(text: str) -> Swatch:
    from pipeline.materials.gauge import Swatch

    match = re.fullmatch(r"\s*(\d{1,4})\s*[x×]\s*(\d{1,4})\s*=\s*([^x×]+)[x×]([^x×]+)", text[:100])
    if match is None:
        raise InputError(f"--swatch: {text[:60]!r} cannot be read.", "Write it as 10x40=18mmx60mm.")
    return Swatch(
        int(match[1]), int(match[2]), parse_length(match[3], "--swatch"), parse_length(match[4], "--swatch")
    )


def _strand(text: str) -> Strand:
    from pipeline.materials.gauge import Strand

    match = re.fullmatch(r"\s*(\d{1,6})\s*,\s*(\d{1,6})\s*=\s*([^-−]+)(?:[-−]([^-−]+))?", text[:100])
    if match is None:
        raise InputError(
            f"--used: {text[:60]!r} cannot be read.", "Write it as 40,12=390mm or 40,12=80cm-41cm."
        )
    length = parse_length(match[3], "--used") - (parse_length(match[4], "--used") if match[4] else 0.0)
    return Strand(int(match[1]), int(match[2]), length)


def _show(measured: Measured, worked: Worked, swatches: list[Swatch]) -> None:
    """Show the gauge, how exact it is, and what it changes."""
    from cli.console import out, table
    from pipeline.materials.gauge import MARGIN_SWATCH
    from pipeline.materials.practice import DRAWING_OUT_MM, READING_MM

    used = [strand for swatch in swatches for strand in swatch.used]
    exact = (
        (READING_MM, max(swatch.strands for swatch in swatches)),
        (READING_MM, max(swatch.rows for swatch in swatches)),
        (DRAWING_OUT_MM, max((strand.tied for strand in used), default=0)),
        (DRAWING_OUT_MM, max((strand.carried for strand in used), default=0)),
    )
    rows = (
        (*row, _error(getattr(measured, f"{name}_error_mm"), *one))
        for row, name, one in zip(_rows(measured.gauge), FIGURES.values(), exact, strict=True)
    )
    out.print(table(f"{measured.gauge.swatch}, {working(worked).words}", ("", "", "± error"), rows))
    out.print(
        f"Cut lengths planned with it keep {100 * MARGIN_SWATCH:.0f} % in reserve instead of 25 %. "
        "Where the error is that of reading the ruler, a second swatch or a third strand would tell your own."
    )


def _rows(gauge: Gauge) -> list[tuple[str, str]]:
    return [(what, f"{getattr(gauge, f'{name}_mm'):.2f} mm") for what, name in FIGURES.items()]


def _error(error: float | None, reading_mm: float, count: int) -> str:
    """The standard error, or what reading a ruler leaves open; nothing where a figure was derived."""
    if error is not None:
        return f"{error:.2f} mm"
    return f"{reading_mm / count:.2f} mm, by the ruler" if count else "derived"


def _show_derived(thread: str, worked: Worked) -> None:
    from cli.console import out, table
    from pipeline.drawer.presets import diameter_mm
    from pipeline.materials.gauge import preset_gauge

    tex = re.fullmatch(r"\s*(\d{1,6}(?:\.\d+)?)\s*tex\s*", thread[:60].lower())
    if tex is not None:
        gauge = preset_gauge(diameter_mm(float(tex[1])), worked)
    elif thread.strip()[:1].isdigit():
        gauge = preset_gauge(parse_length(thread, "--thread"), worked)
    else:
        gauge = preset_gauge(thread, worked)
    out.print(table(f"{thread}, derived: a swatch overrules it", ("", ""), _rows(gauge)))
