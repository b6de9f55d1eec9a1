"""``hitchgrid blocks``: a band of colour blocks, which needs no picture."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from cli.flags import taking
from pipeline.order.options import OF_BLOCKS

if TYPE_CHECKING:
    from pipeline.blocks.plan import BlockPlan
    from pipeline.report import Report

SHOWN = 12
"""Switches that are told on the screen."""


@taking(OF_BLOCKS)
def command(texts: Mapping[str, str]) -> None:
    """Plan a band of colour blocks: groups of strands that switch places. No picture is needed.

    Example: hitchgrid blocks --groups "navy 4, chalk 4, coral 4" --wrist 16cm

    Example: hitchgrid blocks --groups "navy 5, chalk 2" --switch "1-2 left" --repeats 12
    """
    from cli.console import Watch, say
    from pipeline.blocks.plan import Blocks, plan_blocks
    from pipeline.blocks.words import parse_groups, parse_moves
    from pipeline.bundle import band_files
    from pipeline.drawer.stash import read_stash
    from pipeline.errors import InputError
    from pipeline.files.folder import check_target, folder_name, write_result
    from pipeline.limits import WORKABLE_MM
    from pipeline.order.asked import Tying
    from pipeline.order.given import Given, flag
    from pipeline.order.request import read_band, read_margin
    from pipeline.report import report_of_blocks

    given = Given(texts, flag, OF_BLOCKS)
    groups, switch, stash, out = (given.text(name) for name in ("groups", "switch", "stash", "out"))
    if groups is None:
        raise InputError("--groups is missing.", 'Name threads and strands, as --groups "navy 4, chalk 3".')
    named, repeats, longest_mm = parse_groups(groups), given.whole("repeats"), given.length("longest")
    band = read_band(given, told=repeats is not None)
    moves = None if switch is None else parse_moves(switch, len(named))
    replace, quiet = given.yes("replace"), given.yes("quiet")
    read = [None if stash is None else Path(stash)]
    with Watch(quiet) as watch:
        watch.stage("weaving the blocks")
        made = plan_blocks(
            Blocks(named, moves, repeats, given.yes("filled")),
            read_stash(read[0]),
            dataclasses.replace(band, worked="diagonal"),
            Tying(longest_mm=longest_mm or WORKABLE_MM, margin=read_margin(given)),
            title=given.text("title"),
        )
        folder = Path(out) if out else Path("output") / folder_name(made.pattern.title)
        found = check_target(folder, replace=replace, inputs=read)
        report = report_of_blocks(made)
        files = band_files(made.pattern, made.cuts, report, skeins=made.skeins, stage=watch.stage)
        kept = write_result(folder, files, replace=replace, inputs=read, since=found)
    if not quiet:
        _show(made, report, folder)
        say(kept)


def _show(made: BlockPlan, report: Report, folder: Path) -> None:
    """Show the band, what it takes, which groups tie more, and which switch when."""
    from rich.text import Text

    from cli.console import out, say, show_band, swatch, table
    from cli.summary import thread_table, work_sentences
    from pipeline.blocks.switches import switches_of, told

    pattern = made.pattern
    show_band(pattern)
    moved = f"{made.moves} moves in {pattern.row_count} rows, {len(pattern.strands)} strands."
    out.print(Text(moved, "bold"))
    say((*report.fit_said, *made.skeins.sentences()))
    out.print(thread_table(pattern, made.cuts))
    groups = ((pattern.threads[use.thread], use) for use in made.use)
    takes = ((swatch(t.colour, 4), t.name, use.strands, f"{use.tied_per_strand:.0f}") for t, use in groups)
    heading = "Groups from left to right: the more a strand ties, the longer it is"
    out.print(table(heading, ("", "thread", "strands", "knots tied by each"), takes))
    switches = list(told(switches_of(pattern), [thread.name for thread in pattern.threads]))
    out.print(Text("Which groups switch when:", "bold"))
    say(f"  {line}" for line in switches[:SHOWN])
    if len(switches) > SHOWN:
        say([f"  and {len(switches) - SHOWN} more, all in report.html."])
    say(work_sentences(report))
    out.print(Text(f"The result is in {folder}: sheet.pdf to print, worksheet.html to tie from.", "dim"))
