"""``hitchgrid draw``: any output of a pattern, drawn again."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, assert_never

import typer

from cli.flags import flag
from pipeline.literals import Paper

if TYPE_CHECKING:
    from pipeline.band.pattern import Pattern
    from pipeline.report import Report
    from pipeline.writers.original import Original


class What(StrEnum):
    CHART = "chart"
    PREVIEW = "preview"
    SHEET = "sheet"
    WORKSHEET = "worksheet"
    REPORT = "report"
    INSTRUCTIONS = "instructions"
    SPOKEN = "spoken"
    HANDOUT = "handout"
    CUT_LIST = "cut-list"


OUTPUTS: dict[str, tuple[What, ...]] = {
    ".png": (What.CHART, What.PREVIEW),
    ".svg": (What.CHART,),
    ".pdf": (What.SHEET, What.CHART, What.HANDOUT),
    ".html": (What.WORKSHEET, What.REPORT),
    ".txt": (What.INSTRUCTIONS, What.SPOKEN),
    ".csv": (What.CUT_LIST,),
}
"""What each ending can hold; the first is drawn unless the name or ``--what`` says another."""

TOLD = (What.SHEET, What.WORKSHEET, What.INSTRUCTIONS, What.SPOKEN, What.HANDOUT)
"""What says the whole band in words, or some lines of it."""


def command(
    pattern: Annotated[Path, typer.Argument(help="A pattern.json file.", show_default=False)],
    to: Annotated[Path, flag("File to write: .png, .svg, .pdf, .html, .txt or .csv.")],
    what: Annotated[What | None, flag("What to draw, if the file's name does not tell.")] = None,
    paper: Annotated[Paper, typer.Option(help="Paper of a PDF.")] = "A4",
    picture: Annotated[Path | None, flag("Picture to show beside the preview.")] = None,
    lengthwise: Annotated[
        bool, flag("Lay the preview on its side, for letters along the band.", "--lengthwise")
    ] = False,
    left_handed: Annotated[
        bool, flag("Rows begin at the right edge, the picture as it was.", "--left-handed")
    ] = False,
    replace: Annotated[bool, flag("Replace an existing file.", "--replace")] = False,
) -> None:
    """Draw an output of a pattern again, or one to teach with: spoken.txt or handout.pdf.

    Chart, preview, sheet, worksheet, report, instructions, cut list; spoken.txt is for reading aloud to a
    group, handout.pdf for a class: the knots, a practice swatch and the first lines of the band.

    Example: hitchgrid draw output/pennant/pattern.json --to chart.svg
    """
    from pipeline.band.handed import for_left_hand
    from pipeline.band.reading import read_pattern
    from pipeline.files.single import write_file
    from pipeline.instructions.steps import refuse_unsayable
    from pipeline.order.means import refuse_beyond_means
    from pipeline.writers.grid import refuse_unchartable

    chosen = choose(to, what)
    document = read_pattern(pattern)
    refuse_beyond_means(document.row_count, len(document.strands))
    if chosen in (What.CHART, What.SHEET):
        refuse_unchartable(document)
    if chosen in TOLD:
        refuse_unsayable(document)
    original = _original(picture, lengthwise)
    tied = for_left_hand(document) if left_handed else document
    content = _draw(
        document, tied, chosen, to.suffix.lower(),
        paper=paper, original=original, beside=pattern.with_name("report.json"),
    )  # fmt: skip
    write_file(to, content, replace=replace, inputs=[pattern, picture])


def choose(to: Path, what: What | None) -> What:
    """What a file of that name is to hold.

    >>> choose(Path("preview.png"), None), choose(Path("band.svg"), None)
    (<What.PREVIEW: 'preview'>, <What.CHART: 'chart'>)
    """
    from pipeline.errors import InputError

    can = OUTPUTS.get(to.suffix.lower())
    if can is None:
        raise InputError(
            f"--to: {to.name!r} has no ending that can be drawn.", "Use one of " + ", ".join(OUTPUTS) + "."
        )
    if what is None:
        named = [choice for choice in can if choice.value in to.stem.lower()]
        # "worksheet" also holds the word "sheet"; the longest name found is meant.
        return max(named, key=lambda choice: len(choice.value)) if named else can[0]
    if what not in can:
        ways = [suffix for suffix, choices in OUTPUTS.items() if what in choices]
        raise InputError(
            f"--what: a {what.value} cannot be a {to.suffix} file.", f"Use {' or '.join(ways)} in --to."
        )
    return what


def _original(picture: Path | None, lengthwise: bool) -> Original:
    from pipeline.writers.original import Original

    if picture is None:
        return Original(lengthwise=lengthwise)
    from pipeline.motif.picture import load_picture

    return Original(load_picture(picture).rgb, lengthwise=lengthwise)


def _report(beside: Path, pattern: Pattern, tied: Pattern) -> Report:
    """The report beside the pattern if there is one, else what a replay tells.

    Where the band is ``tied`` from its other end, its unmade cells are counted from there.

    One that is damaged or of another band is left alone, and a sentence says so.
    """
    from cli.console import err
    from pipeline.errors import InputError
    from pipeline.files.channels import printable
    from pipeline.report import read_report, report_of_pattern
    from pipeline.verdict.feasibility import check

    found = check(pattern)
    report = report_of_pattern(tied, check(tied))
    if beside.exists():
        try:
            planned = read_report(beside, pattern, found)
            if tied is pattern:
                return planned
            return planned.model_copy(update={"unmade_cells": report.unmade_cells})
        except InputError as error:
            said = printable(error.message.rstrip("."))
            err.print(f"{said}; drawn without it.", markup=False, soft_wrap=True)
    return report


def _draw(
    pattern: Pattern, tied: Pattern, what: What, suffix: str, *,
    paper: Paper, original: Original, beside: Path,
) -> bytes | str:  # fmt: skip
    """Call the writer of ``what``: previews show the finished ``pattern``, all else how it is ``tied``."""
    from pipeline.materials.lengths import cut_list, cut_list_csv

    match what:
        case What.CHART:
            from pipeline.writers import chart

            if suffix == ".pdf":
                return chart.chart_pdf(tied, paper)
            return chart.chart_svg(tied) if suffix == ".svg" else chart.chart_png(tied)
        case What.PREVIEW:
            from pipeline.writers.preview import preview_png

            return preview_png(pattern, original)
        case What.SHEET:
            from pipeline.writers.sheet import sheet_pdf

            return sheet_pdf(
                tied, paper=paper, report=_report(beside, pattern, tied), cuts=cut_list(tied),
                original=original, finished=pattern,
            )  # fmt: skip
        case What.WORKSHEET:
            from pipeline.writers.worksheet import worksheet_html

            return worksheet_html(tied, cut_list(tied), fit=_report(beside, pattern, tied).fit_said)
        case What.REPORT:
            from pipeline.writers.report_page import report_html

            return report_html(_report(beside, pattern, tied), tied, cuts=cut_list(tied))
        case What.INSTRUCTIONS:
            from pipeline.instructions.text import write_instructions

            return write_instructions(tied, cut_list(tied), fit=_report(beside, pattern, tied).fit_said)
        case What.SPOKEN:
            from pipeline.instructions.aloud import spoken_form
            from pipeline.instructions.compose import instructions

            return spoken_form(instructions(tied, cut_list(tied)))
        case What.HANDOUT:
            from pipeline.writers.handout import handout_pdf

            return handout_pdf(tied, paper)
        case What.CUT_LIST:
            return cut_list_csv(tied, cut_list(tied))
    assert_never(what)
