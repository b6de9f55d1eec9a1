"""``hitchgrid replan``: measure what is left in mid-band, and see whether every strand reaches."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.errors import InputError
from pipeline.order.units import parse_length, spell_length


def command(
    pattern: Annotated[Path, typer.Argument(help="The pattern.json you are tying.", show_default=False)],
    from_row: Annotated[
        int, typer.Option(help="First row still to be tied, counted from 1 over the whole band.", min=2)
    ],
    left: Annotated[
        list[str],
        typer.Option(
            help="What hangs below the last knot: 4=52cm for the strand in position 4. Repeat it.",
            metavar="POSITION=LENGTH",
        ),
    ],
    longest: Annotated[str, typer.Option(help="Longest new piece you like to work with.")] = "2.5m",
    margin: Annotated[
        int | None, typer.Option(help="Per cent cut in reserve, as in the plan.", min=0, max=200)
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the pattern with your gauge and new joins.", show_default=False)
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace that file.")] = False,
) -> None:
    """Measure a few strands on the way, and learn which of them will not reach.

    Example: hitchgrid replan output/pennant/pattern.json --from-row 21 --left 1=140cm --left 12=61cm
    """
    from cli.console import out as console
    from cli.console import table
    from pipeline.band.pattern import read_pattern, render
    from pipeline.files.single import write_file
    from pipeline.materials.lengths import cut_list
    from pipeline.materials.rescale import replan

    document = read_pattern(pattern)
    cuts = cut_list(document, margin=None if margin is None else margin / 100)
    made = replan(
        document,
        cuts,
        from_row - 1,
        dict(_left(word) for word in left),
        longest_mm=parse_length(longest, "--longest"),
    )
    console.print(
        f"Your knots take {100 * made.tie_rate:.0f} % of what was planned, carried strands "
        f"{100 * made.core_rate:.0f} %"
        + (f"; single strands differ by up to {100 * made.spread:.0f} %." if made.spread else ".")
    )
    console.print(
        table(
            f"From row {from_row} on",
            ("position", "left", "for knots", "tail", ""),
            (
                (
                    strand.position + 1,
                    spell_length(max(0.0, strand.left_mm)) + ("" if strand.measured else " expected"),
                    spell_length(strand.need_mm),
                    spell_length(max(0.0, strand.left_mm - strand.need_mm)),
                    "reaches" if strand.runs_out is None else f"runs out in row {strand.runs_out + 1}",
                )
                for strand in made.strands
            ),
        )
    )
    for strand in made.short:
        console.print(
            f"The strand in position {strand.position + 1} is {spell_length(strand.short_mm)} short: lay in "
            f"a new piece before row {(strand.runs_out or 0) + 1}.",
        )
    for join in made.pattern.joins:
        if join not in document.joins:
            console.print(f"  {_place(join.section, join.row, join.knot)}")
    if out is not None:
        write_file(out, render(made.pattern), replace=replace, inputs=[pattern])
        console.print(f"{out} is written.")


def _left(word: str) -> tuple[int, float]:
    position, equals, length = word.partition("=")
    if not equals or not position.strip().isdecimal() or len(position) > 4 or int(position) < 1:
        raise InputError(f"--left: {word[:60]!r} cannot be read.", "Write it as 4=52cm.")
    return int(position) - 1, parse_length(length, "--left")


def _place(section: int, row: int, knot: int) -> str:
    return f"A good place: section {section + 1}, row {row + 1}, knot {knot + 1} of the row."
