"""``hitchgrid plan``: from a picture or letters to a band that can be tied."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import flags
from cli.flags import BAND, CUTTING, PICTURE, RESULT, THREADS, TYING
from cli.units import parse_length
from pipeline.literals import EaseName, Fill, Fit, Level, Mode, Worked

if TYPE_CHECKING:
    from pipeline.order.asked import Artwork

FINISHING_S, FINISHING_EACH_S = 0.5, 0.0012
"""What sharing, checking and writing take of a core, in all and for each of rows × strands."""


def command(
    source: Annotated[
        Path | None,
        typer.Argument(help="A picture: PNG, JPEG, WebP, GIF, BMP, TIFF or SVG.", show_default=False),
    ] = None,
    letters: Annotated[
        str | None, typer.Option(help="Letters instead of a picture.", rich_help_panel=PICTURE)
    ] = None,
    height: Annotated[
        int | None,
        typer.Option(help="Height of the letters in cells: 5, 7, 9 or 12.", rich_help_panel=PICTURE),
    ] = None,
    font: Annotated[
        Path | None, typer.Option(help="A font file for other scripts.", rich_help_panel=PICTURE)
    ] = None,
    across: Annotated[
        bool, typer.Option("--across", help="Letters upright, one below another.", rich_help_panel=PICTURE)
    ] = False,
    letter_threads: Annotated[
        str | None,
        typer.Option(help="Threads of the letters in turn.", metavar="NAME,…", rich_help_panel=PICTURE),
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
        typer.Option(
            help="Use this part only: left,top,right,bottom as shares of the picture.",
            rich_help_panel=PICTURE,
        ),
    ] = None,
    turn: Annotated[
        int, typer.Option(help="Quarter turns clockwise.", min=-3, max=3, rich_help_panel=PICTURE)
    ] = 0,
    mirror: Annotated[bool, typer.Option("--mirror", help="Mirror it.", rich_help_panel=PICTURE)] = False,
    fit: Annotated[Fit, typer.Option(help="How it fills its place.", rich_help_panel=PICTURE)] = "contain",
    reduce: Annotated[Mode, typer.Option(help="Flat artwork or photo.", rich_help_panel=PICTURE)] = "auto",
    stash: flags.Stash = None,
    threads: Annotated[
        str | None, typer.Option(help="Just these threads.", metavar="NAME,…", rich_help_panel=THREADS)
    ] = None,
    colours: Annotated[
        int | None, typer.Option(help="Use so many threads.", min=1, max=16, rich_help_panel=THREADS)
    ] = None,
    ground: Annotated[
        str | None, typer.Option(help="Thread of the ground.", metavar="NAME", rich_help_panel=THREADS)
    ] = None,
    at_most: Annotated[
        list[str] | None,
        typer.Option(
            help="No more strands of a thread than this.", metavar="NAME=COUNT", rich_help_panel=THREADS
        ),
    ] = None,
    start_order: Annotated[
        str | None,
        typer.Option(
            help="Threads from left to right, * where free.", metavar="NAME,…", rich_help_panel=THREADS
        ),
    ] = None,
    strands: Annotated[
        int | None, typer.Option(help="Strands in the band, usually 8 to 24.", rich_help_panel=BAND)
    ] = None,
    worked: Annotated[
        Worked, typer.Option(help="Row-worked or diagonal-worked.", rich_help_panel=BAND)
    ] = "rows",
    rows: Annotated[
        int | None, typer.Option(help="Length of the picture in rows.", rich_help_panel=BAND)
    ] = None,
    wrist: flags.Wrist = None,
    slack: flags.Slack = "13mm",
    gauge: flags.Gauge = None,
    selvedge: Annotated[
        int | None, typer.Option(help="Ground cells at each edge.", rich_help_panel=BAND)
    ] = None,
    fill: Annotated[
        Fill, typer.Option(help="What a band longer than its picture does.", rich_help_panel=BAND)
    ] = "auto",
    border: Annotated[
        bool,
        typer.Option("--border", help="Colour blocks before and after the picture.", rich_help_panel=BAND),
    ] = False,
    left_handed: Annotated[
        bool, typer.Option("--left-handed", help="Rows begin at the right edge.", rich_help_panel=TYING)
    ] = False,
    ease: Annotated[
        EaseName, typer.Option(help="How many hand-overs a row may have.", rich_help_panel=TYING)
    ] = "light",
    switching_rows: Annotated[
        int,
        typer.Option(
            help="Extra rows that bring strands into place, at most.", min=0, max=400, rich_help_panel=TYING
        ),
    ] = 0,
    joins: Annotated[
        int,
        typer.Option(
            help="Strands that change thread on the way, at most.", min=0, max=400, rich_help_panel=TYING
        ),
    ] = 0,
    share: Annotated[
        Level, typer.Option(help="Share the tying among strands of a thread.", rich_help_panel=CUTTING)
    ] = "rows",
    longest: flags.Longest = "2.5m",
    margin: flags.Margin = None,
    pace: Annotated[
        float | None,
        typer.Option(
            help="Your pace in seconds a knot; 8 to 10 without.", min=0.5, max=600, rich_help_panel=CUTTING
        ),
    ] = None,
    start: flags.Start = "straight",
    finish: flags.Finish = "straight",
    taper: flags.Taper = False,
    tail: flags.Tail = None,
    title: flags.Title = None,
    out: flags.Out = None,
    replace: flags.Replace = False,
    advice: Annotated[bool, typer.Option(help="Look for what would help.", rich_help_panel=RESULT)] = True,
    time_limit: Annotated[
        float | None,
        typer.Option(help="Seconds for the whole plan.", min=0.1, max=86400, rich_help_panel=RESULT),
    ] = None,
    effort: flags.Effort = 1.0,
    seed: flags.Seed = 0,
    quiet: flags.Quiet = False,
) -> None:
    """Turn a picture or letters into a band that can be tied.

    Example: hitchgrid plan sample_images/pennant.png --strands 24 --wrist 16cm

    Example: hitchgrid plan --letters "RC" --strands 17
    """
    began, worked_s = time.monotonic(), time.process_time()
    if (source is None) == (letters is None):
        raise typer.BadParameter("name one picture, or --letters TEXT")
    from cli import options
    from cli.console import say, watching
    from cli.interrupt import halting
    from cli.summary import show_summary
    from pipeline.bundle import band_files
    from pipeline.drawer.stash import builtin_stash, read_stash
    from pipeline.files.folder import check_target, folder_name, write_result
    from pipeline.materials.price import PACE_S
    from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Tying
    from pipeline.plan import plan
    from pipeline.report import report_of
    from pipeline.routing import Budget, Ease

    artwork: Artwork
    if letters is not None:
        artwork = LetterSource(
            letters,
            height,
            font,
            "across" if across else "along",
            options.names(letter_threads, "--letter-threads") or (),
            turn % 4,
            mirror,
        )
    else:
        assert source is not None
        artwork = PictureSource(
            source, grid, background, trim, options.crop(crop), turn % 4, mirror, fit, reduce
        )
    title = title or artwork.title
    folder = out or Path("output") / folder_name(title)
    read = (source, font, stash)
    found = check_target(folder, replace=replace, inputs=read)
    band = Band(
        strands=strands,
        worked=worked,
        rows=rows,
        wrist_mm=options.wrist(wrist, default=not (grid or rows)),
        usual_wrist=wrist is None,
        ease_mm=parse_length(slack, "--slack"),
        gauge=options.gauge(gauge),
        selvedge=selvedge,
        fill=fill,
        start=options.style(start, "--start"),
        finish=options.style(finish, "--finish"),
        taper=taper,
        tail_mm=None if tail is None else parse_length(tail, "--tail"),
        border=border,
        left_handed=left_handed,
    )
    drawer = Drawer(
        read_stash(stash) if stash else builtin_stash(), options.names(threads, "--threads"), colours, ground
    )
    tying = Tying(
        ease=Ease(ease),
        switching_rows=switching_rows,
        joins=joins,
        at_most=options.at_most(at_most),
        start_order=options.start_order(start_order),
        share=share,
        longest_mm=parse_length(longest, "--longest"),
        margin=None if margin is None else margin / 100,
    )
    deadline = None if time_limit is None else began + time_limit

    def finishing_s(places: int) -> float:
        """As long as it would take at the pace of this run so far, on however busy a machine."""
        pace = (time.monotonic() - began) / max(0.01, time.process_time() - worked_s)
        return max(1.0, pace) * (FINISHING_S + FINISHING_EACH_S * places)

    with halting(quiet) as halted, watching(quiet) as watch:
        made = plan(
            artwork,
            band,
            drawer,
            tying,
            title=title,
            budget=Budget(effort, seed, deadline, halted=halted),
            further=advice,
            watch=watch,
            finishing_s=finishing_s,
        )
        files = band_files(
            made.pattern,
            made.cuts,
            report_of(made, pace_s=PACE_S if pace is None else pace),
            skeins=made.skeins,
            source=made.design.picture,
            lengthwise=letters is not None and not across,
            timings=made.timings,
            stage=watch.stage,
        )
        kept = write_result(folder, files, replace=replace, inputs=read, since=found)
    if not quiet:
        show_summary(made, folder, PACE_S if pace is None else pace)
        say(kept)
