"""``hitchgrid blocks``: a band of colour blocks, which needs no picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import flags
from cli.flags import BAND

if TYPE_CHECKING:
    from pipeline.blocks.plan import BlockPlan

BLOCKS = "The blocks"


def command(
    groups: Annotated[
        str,
        typer.Option(
            help='Threads and strands from left to right, as "navy 4, chalk 3".', rich_help_panel=BLOCKS
        ),
    ],
    switch: Annotated[
        str | None,
        typer.Option(
            help='Which neighbours switch and which shows, as "1-2 left and 3-4 right, 2-3 left".',
            show_default="every other pair in turn",
            rich_help_panel=BLOCKS,
        ),
    ] = None,
    repeats: Annotated[
        int | None, typer.Option(help="Times all switches are done.", rich_help_panel=BLOCKS)
    ] = None,
    filled: Annotated[
        bool, typer.Option("--filled/--open", help="Tie where no switch does.", rich_help_panel=BLOCKS)
    ] = True,
    stash: flags.Stash = None,
    rows: Annotated[int | None, typer.Option(help="Length in rows.", rich_help_panel=BAND)] = None,
    wrist: flags.Wrist = None,
    slack: flags.Slack = "13mm",
    gauge: flags.Gauge = None,
    start: flags.Start = "straight",
    finish: flags.Finish = "straight",
    taper: flags.Taper = False,
    tail: flags.Tail = None,
    longest: flags.Longest = "2.5m",
    margin: flags.Margin = None,
    title: flags.Title = None,
    out: flags.Out = None,
    replace: flags.Replace = False,
    quiet: flags.Quiet = False,
) -> None:
    """Plan a band of colour blocks: groups of strands that switch places. No picture is needed.

    Example: hitchgrid blocks --groups "navy 4, chalk 4, coral 4" --wrist 16cm

    Example: hitchgrid blocks --groups "navy 5, chalk 2" --switch "1-2 left" --repeats 12
    """
    from cli import options
    from cli.console import say, watching
    from cli.units import parse_length
    from pipeline.blocks.plan import plan_blocks
    from pipeline.blocks.words import parse_groups, parse_moves
    from pipeline.bundle import band_files
    from pipeline.drawer.stash import builtin_stash, read_stash
    from pipeline.files.folder import check_target, folder_name, write_result
    from pipeline.order.asked import Band
    from pipeline.verdict.feasibility import check
    from pipeline.writers.report import report_json

    named = parse_groups(groups)
    band = Band(
        worked="diagonal",
        rows=rows,
        wrist_mm=options.wrist(wrist, default=rows is None and repeats is None),
        ease_mm=parse_length(slack, "--slack"),
        gauge=options.gauge(gauge),
        start=options.style(start, "--start"),
        finish=options.style(finish, "--finish"),
        taper=taper,
        tail_mm=None if tail is None else parse_length(tail, "--tail"),
    )
    with watching(quiet) as watch:
        watch.stage("weaving the blocks")
        made = plan_blocks(
            named,
            None if switch is None else parse_moves(switch, len(named)),
            read_stash(stash) if stash else builtin_stash(),
            band,
            repeats=repeats,
            title=title,
            filled=filled,
            longest_mm=parse_length(longest, "--longest"),
            margin=None if margin is None else margin / 100,
        )
        folder = out or Path("output") / folder_name(made.pattern.title)
        found = check_target(folder, replace=replace, inputs=[stash])
        report = report_json(
            made.pattern,
            check(made.pattern),
            lower_bound=0.0,
            further={
                "groups": [
                    {"thread": use.group.thread, "strands": use.group.strands, "tied_per_strand": use.tied}
                    for use in made.use
                ]
            },
        )
        files = band_files(made.pattern, made.cuts, report, stage=watch.stage)
        kept = write_result(folder, files, replace=replace, inputs=[stash], since=found)
    if not quiet:
        _show(made, folder)
        say(kept)


def _show(made: BlockPlan, folder: Path) -> None:
    """Show the band and which groups tie more."""
    from rich.text import Text

    from cli.console import band_preview, out, swatch, table

    pattern = made.pattern
    out.print(band_preview(pattern))
    rows = sum(len(section.rows) for section in pattern.sections)
    out.print(Text(f"{made.moves} moves in {rows} rows, {len(pattern.strands)} strands.", "bold"))
    longest = [0.0] * len(made.use)
    position = 0
    for i, use in enumerate(made.use):
        mine = made.cuts[position : position + use.group.strands]
        longest[i] = max(cut.length_mm for cut in mine)
        position += use.group.strands
    out.print(
        table(
            "Groups from left to right: the more a strand ties, the longer it is",
            ("", "thread", "strands", "knots tied by each", "longest strand"),
            (
                (
                    swatch(pattern.threads[use.group.thread].colour, 4),
                    pattern.threads[use.group.thread].name,
                    use.group.strands,
                    f"{use.tied:.0f}",
                    f"{mm / 10:.0f} cm",
                )
                for use, mm in zip(made.use, longest, strict=True)
            ),
        )
    )
    out.print(Text(f"The result is in {folder}: sheet.pdf to print, worksheet.html to tie from.", "dim"))
