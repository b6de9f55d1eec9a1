"""``hitchgrid choices``: several bands of one picture or text on a sheet, to choose from by looking."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import flags
from cli.flags import BAND, PICTURE, RESULT, THREADS, TYING
from pipeline.literals import EaseName, Worked

if TYPE_CHECKING:
    from pipeline.choices import Asked, Choice, Settled
    from pipeline.order.asked import Artwork


def command(
    source: Annotated[
        Path | None,
        typer.Argument(help="A picture: PNG, JPEG, WebP, GIF, BMP, TIFF or SVG.", show_default=False),
    ] = None,
    letters: Annotated[
        str | None, typer.Option(help="Letters instead of a picture.", rich_help_panel=PICTURE)
    ] = None,
    height: Annotated[
        int | None, typer.Option(help="Letters of this height in cells only.", rich_help_panel=PICTURE)
    ] = None,
    font: Annotated[
        Path | None, typer.Option(help="A font file for other scripts.", rich_help_panel=PICTURE)
    ] = None,
    grid: Annotated[
        bool, typer.Option("--grid", help="The picture has one pixel a cell.", rich_help_panel=PICTURE)
    ] = False,
    background: Annotated[
        str | None, typer.Option(help="Colour behind transparent parts, #rrggbb.", rich_help_panel=PICTURE)
    ] = None,
    trim: Annotated[bool, typer.Option(help="Cut off an even margin.", rich_help_panel=PICTURE)] = True,
    crop: Annotated[
        str | None,
        typer.Option(help="Use this part only: left,top,right,bottom.", rich_help_panel=PICTURE),
    ] = None,
    turn: Annotated[
        int | None, typer.Option(help="Quarter turns clockwise.", min=-3, max=3, rich_help_panel=PICTURE)
    ] = None,
    stash: flags.Stash = None,
    threads: Annotated[
        str | None, typer.Option(help="Just these threads.", metavar="NAME,…", rich_help_panel=THREADS)
    ] = None,
    colours: Annotated[
        int | None,
        typer.Option(help="So many threads only.", min=1, max=16, rich_help_panel=THREADS),
    ] = None,
    ground: Annotated[
        str | None, typer.Option(help="Thread of the ground.", metavar="NAME", rich_help_panel=THREADS)
    ] = None,
    strands: Annotated[
        int | None, typer.Option(help="Bands of so many strands only.", rich_help_panel=BAND)
    ] = None,
    worked: Annotated[
        Worked | None, typer.Option(help="Bands worked in this way only.", rich_help_panel=BAND)
    ] = None,
    wrist: flags.Wrist = None,
    gauge: flags.Gauge = None,
    ease: Annotated[
        EaseName | None, typer.Option(help="Hand-overs that every band may have.", rich_help_panel=TYING)
    ] = None,
    title: flags.Title = None,
    out: flags.Out = None,
    replace: flags.Replace = False,
    jobs: Annotated[
        int,
        typer.Option(help="Bands planned at once; 0: one a core.", min=0, max=256, rich_help_panel=RESULT),
    ] = 0,
    effort: flags.Effort = 0.1,
    seed: flags.Seed = 0,
    quiet: flags.Quiet = False,
) -> None:
    """Plan several bands that differ in what matters, and show them on one sheet to choose from.

    The sheet, choices.html, fills while you wait. Ctrl-C ends with the bands that are there.

    Example: hitchgrid choices sample_images/pennant.png --wrist 16cm
    """
    if (source is None) == (letters is None):
        raise typer.BadParameter("name one picture, or --letters TEXT")
    from cli import options
    from pipeline.choices import offered
    from pipeline.drawer.stash import builtin_stash, read_stash
    from pipeline.files.folder import folder_name
    from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Tying
    from pipeline.routing import Ease

    artwork: Artwork
    if letters is not None:
        artwork = LetterSource(letters, height, font)
    else:
        assert source is not None
        artwork = PictureSource(source, grid, background, trim, options.crop(crop), (turn or 0) % 4)
    title = title or artwork.title
    folder = out or Path("output") / f"{folder_name(title)}-choices"
    band = Band(
        strands=strands,
        worked=worked or "rows",
        wrist_mm=options.wrist(wrist, default=not grid),
        gauge=options.gauge(gauge),
    )
    owned = read_stash(stash) if stash else builtin_stash()
    drawer = Drawer(owned, options.names(threads, "--threads"), colours, ground)
    given: dict[Settled, object] = {"worked": worked, "ease": ease, "turn": turn}
    asked = offered(
        artwork,
        band,
        drawer,
        Tying(ease=Ease(ease or "light")),
        settled=[name for name, value in given.items() if value is not None],
    )
    _free(folder, replace)
    shown = _plan(asked, title, folder, stash, jobs, effort, seed, quiet)
    if not quiet:
        _show(shown, len(asked), folder)


def _free(folder: Path, replace: bool) -> None:
    """Refuse a folder that the sheet could not be written to."""
    from pipeline.choices import LIST
    from pipeline.errors import OutputError
    from pipeline.files.single import write_file

    try:
        folder.mkdir(parents=True, exist_ok=True)
        present = sorted(path.name for path in folder.iterdir())
    except OSError as error:
        raise OutputError(f"cannot write to {folder}: {error.strerror}.", "Choose another --out.") from None
    if present and LIST not in present:
        raise OutputError(f"{folder} holds other files ({present[0]}, …).", "Name a new folder with --out.")
    if present and not replace:
        raise OutputError(f"{folder} already holds choices.", "Add --replace, or name another --out.")
    write_file(folder / LIST, "[]\n", replace=True)  # marks the folder, also if this run is ended


def _plan(
    asked: Sequence[Asked],
    title: str,
    folder: Path,
    stash: Path | None,
    jobs: int,
    effort: float,
    seed: int,
    quiet: bool,
) -> tuple[Choice, ...]:
    """Plan all, fill the sheet as they come, and write the folders of what is shown in the end."""
    from cli.console import err, watching
    from cli.interrupt import halting
    from pipeline.choices import choice_files, plan_choices, sheet, unbeaten
    from pipeline.files.folder import write_result
    from pipeline.files.single import write_file

    done: list[Choice] = []
    page = folder / "choices.html"
    with halting(quiet) as halted, watching(quiet) as watch:
        watch.stage("planning the bands")
        watch.advising(0, len(asked), "")
        for choice in plan_choices(asked, jobs=jobs, effort=effort, seed=seed, halted=halted):
            done.append(choice)
            waiting = max(1, len(asked) - len(done))
            write_file(
                page, sheet(title, done, len(done), waiting=waiting, stash=stash)[page.name], replace=True
            )
            if len(done) == 1 and not quiet and err.is_terminal:
                err.print(f"The sheet fills while you wait: {page}", markup=False)
            watch.advising(len(done), len(asked), choice.key)
        shown = unbeaten(done)
        watch.stage("writing the sheet")
        for choice in shown:
            write_result(folder / choice.key, choice_files(choice), replace=True)
        for name, content in sheet(title, done, len(done), stash=stash).items():
            write_file(folder / name, content, replace=True)
    return shown


def _show(shown: Sequence[Choice], planned: int, folder: Path) -> None:
    from rich.text import Text

    from cli.console import out, table

    rows = (
        (c.key, f"{c.figures.made} of {c.figures.cells}", f"{c.figures.hours:.1f}", c.figures.grade)
        for c in shown
    )
    out.print(
        table(f"{len(shown)} bands to choose from", ("band", "cells made", "hours", "difficulty"), rows)
    )
    out.print(Text(f"Look at them in {folder / 'choices.html'}; each is in a folder of its name.", "dim"))
