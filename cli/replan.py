"""``hitchgrid replan``: measure what is left in mid-band, and see whether every strand reaches."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.flags import flag
from pipeline.errors import InputError
from pipeline.literals import listed, plural
from pipeline.order.units import parse_length, spell_length

if TYPE_CHECKING:
    from pipeline.instructions.model import Instructions
    from pipeline.materials.hand import Hand
    from pipeline.materials.rescale import Remaining, Replan


LEFT = (
    "What hangs below the last knot: 4=52cm for the strand in position 4. Repeat it; three "
    "strands or more tell your hand from a strand that was cut short."
)
STEP = "First step still to be tied, as the text counts; 2:15 is step 15 of section 2."


def command(
    pattern: Annotated[Path, typer.Argument(help="The pattern.json you are tying.", show_default=False)],
    left: Annotated[list[str], flag(LEFT, metavar="POSITION=LENGTH")],
    from_row: Annotated[
        int | None, flag("First row still to be tied, counted from 1 over the whole band.", min=2)
    ] = None,
    from_step: Annotated[str | None, flag(STEP, metavar="STEP")] = None,
    longest: Annotated[str, typer.Option(help="Longest new piece you like to work with.")] = "2.5m",
    margin: Annotated[int | None, flag("Per cent cut in reserve, as in the plan.", min=0, max=200)] = None,
    roles: Annotated[bool, typer.Option(help="Let strands of one thread stand in for one another.")] = True,
    out: Annotated[Path | None, flag("Write the pattern with your gauge, new knots and joins.")] = None,
    replace: Annotated[bool, flag("Replace that file.", "--replace")] = False,
) -> None:
    """Measure a few strands on the way, and learn which of them will not reach.

    Example: hitchgrid replan output/pennant/pattern.json --from-row 21 --left 1=140cm --left 12=61cm
    """
    from cli.console import out as console
    from pipeline.band.pattern import render
    from pipeline.band.reading import read_pattern
    from pipeline.files.single import write_file
    from pipeline.instructions.compose import instructions
    from pipeline.materials.lengths import cut_list
    from pipeline.materials.rescale import replan

    document = read_pattern(pattern)
    told = instructions(document)
    made = replan(
        document,
        cut_list(document, margin=None if margin is None else margin / 100),
        _done(told, from_row, from_step),
        measured(left),
        longest_mm=parse_length(longest, "--longest"),
        roles=roles,
    )
    _show(made, told, f"From {'row' if from_row else 'step'} {from_row or from_step} on")
    if out is not None:
        write_file(out, render(made.pattern), replace=replace, inputs=[pattern])
        console.print(f"{out} is written.", markup=False)


def _show(made: Replan, told: Instructions, heading: str) -> None:
    """Show the strands, and what can be done for those that run out."""
    from cli.console import out, say, table

    say(_hand(made))
    columns = ("position", "strand", "thread", "left", "for knots", "tail", "")
    out.print(table(heading, columns, (_line(strand, told) for strand in made.strands)))
    if not made.run_out:
        say(["Every strand reaches."])
        return
    say(["What can be done:", *(f"- {sentence}" for sentence in _ways(made, told))])
    if made.short:
        say(["- Or lay in new pieces" + (" besides:" if made.roles else ":")])
    say(f"  {sentence}" for sentence in _joins(made))
    for tying, sentence in ((False, CORE), (True, TYING)):
        if any(laid.join.tying is tying for laid in made.laid):
            say([sentence])


def said(made: Replan, told: Instructions) -> Iterator[str]:
    """All that was found out, in sentences."""
    yield from _hand(made)
    if made.run_out:
        yield from (*_ways(made, told), *_joins(made))
    else:
        yield "Every strand reaches."


def measured(left: list[str]) -> dict[int, float]:
    """What is left in each position that was measured. Raises InputError where one is measured twice.

    >>> measured(["4=52cm", "1=9cm"])
    {3: 520.0, 0: 90.0}
    """
    found: dict[int, float] = {}
    for position, length in map(left_of, left):
        if position in found:
            raise InputError(f"--left: position {position + 1} is given twice.", "Give it once.")
        found[position] = length
    return found


def left_of(word: str) -> tuple[int, float]:
    """The position from 0, and the length in mm, that ``4=52cm`` says."""
    position, equals, length = word.partition("=")
    if not equals or not position.strip().isdecimal() or len(position) > 4 or int(position) < 1:
        raise InputError(f"--left: {word[:60]!r} cannot be read.", "Write it as 4=52cm.")
    return int(position) - 1, parse_length(length, "--left")


def _done(told: Instructions, row: int | None, step: str | None) -> frozenset[tuple[int, int, int]]:
    """The knots tied before a row or a step."""
    from pipeline.instructions.moments import tied_before_step
    from pipeline.materials.rescale import rows_done

    if (row is None) == (step is None):
        raise InputError("where you are is not known.", "Give --from-row, or --from-step in diagonal work.")
    if row is not None:
        return rows_done(told.pattern, row - 1)
    match = re.fullmatch(r"\s*(?:(\d{1,5}):)?(\d{1,6})\s*", step or "")
    if match is None:
        raise InputError(
            f"--from-step: {(step or '')[:60]!r} is no step.", "Write it as 15, or 2:15 for section 2."
        )
    return tied_before_step(told, int(match[2]), int(match[1]) if match[1] else None)


def _line(strand: Remaining, told: Instructions) -> tuple[object, ...]:
    from pipeline.instructions.moments import place_in_words

    ends = "reaches" if strand.ends_at is None else f"runs out in {place_in_words(told, strand.ends_at)}"
    left = spell_length(max(0.0, strand.left_mm))
    return (
        strand.position + 1,
        strand.strand + 1,
        told.labels[told.pattern.strands[strand.strand]],
        left if strand.measured else f"about {left}",
        spell_length(strand.need_mm),
        spell_length(max(0.0, strand.left_mm - strand.need_mm)),
        ends,
    )


def _hand(made: Replan) -> Iterator[str]:
    """What the strands measured say of the hand, and which of them say nothing of it."""
    hand, apart = made.hand, [strand for strand in made.strands if strand.apart]
    alike = sum(strand.measured for strand in made.strands) - len(apart)
    if alike >= TELLING:
        _believed(hand)
    if alike or not apart:
        yield (
            f"Your knots take {100 * hand.tie_rate:.0f} % of what was planned, carried strands "
            f"{100 * hand.core_rate:.0f} %"
            + (f"; strands measured differ by up to {100 * hand.spread:.0f} %." if alike > 1 else ".")
        )
    if apart:
        where = listed([str(strand.position + 1) for strand in apart])
        one = len(apart) == 1
        which = "The strand in position" if one else "The strands in positions"
        yield (
            f"{which} {where} {'is' if one else 'are'} "
            "unlike the others: cut shorter or longer, slipped, or tied by another hand. The rest is "
            f"reckoned without {'it' if one else 'them'}."
        )
    if apart and not alike:
        yield "Measure two strands more: until then the others are taken to be as planned."


TELLING, UNBELIEVED = 3, 3.0
"""Strands that agree from which a hand is doubted, and how many times as much as planned, or as little, no
hand takes: hands differ by about a quarter (value from memory), a wrong unit, row or band by more.
"""


def _believed(hand: Hand) -> None:
    """Refuse what strands measured tell where no hand ties so."""
    rates = hand.tie_rate, hand.core_rate
    if min(rates) > UNBELIEVED or max(rates) < 1 / UNBELIEVED:
        raise InputError(
            f"--left: by these lengths a knot takes {100 * hand.tie_rate:.0f} % of what was "
            "planned, which no hand does.",
            "Measure from the last knot to the end, say the unit (--left 4=52cm), and see whether --from-row "
            "is the next row of this band.",
        )


def _ways(made: Replan, told: Instructions) -> Iterator[str]:
    """What can be done without a join: strands stand in for one another, or the band ends early."""
    from pipeline.instructions.moments import place_in_words
    from pipeline.materials.fit import size_mm

    if made.roles:
        still = "all strands reach" if not made.short else f"{len(made.short)} still run out"
        yield (
            f"Strands of one thread stand in for one another in {len(made.roles)} knots, "
            f"from {place_in_words(told, made.roles[0])} on, and {still}. Nothing that shows changes; --out "
            "writes the knots, --no-roles shows the joins instead."
        )
    fewer = made.rows - made.whole_rows
    row_mm = size_mm(told.pattern)[1] / made.rows
    yield (
        f"End early: all strands reach to the end of row {made.whole_rows} of the chart; the band is "
        f"{fewer} rows, about {spell_length(fewer * row_mm)}, shorter."
    )


CORE = (
    "At a core: lay the new piece beside the old end, 4 cm of each overlapping; tie the next 3 to 5 knots "
    "tight over both, pull at the new piece, and trim both tails last."
)
TYING = (
    "At a knot that the strand ties: lay its end and the new one, 4 cm each, along the strand that is tied "
    "over next, go on with the new piece, and tie the next 3 to 5 knots over both."
)
"""Common practice, no source: 3 to 5 knots over both tails, 30 to 50 mm of grip."""


def _joins(made: Replan) -> Iterator[str]:
    """Where a new piece is laid in."""
    from pipeline.instructions.compose import instructions
    from pipeline.instructions.moments import place_in_words

    told = instructions(made.pattern)
    for laid in made.laid:
        place = place_in_words(told, (laid.join.section, laid.join.row, laid.join.knot))
        core = f"core there, for {plural(laid.hidden, 'knot')}"
        how = "after it has tied there" if laid.join.tying else core
        yield (
            f"Join strand {laid.strand + 1} ({told.labels[laid.join.thread]}) in {place} ({how}); new piece "
            f"{laid.piece_mm / 10:.0f} cm."
        )
    joined = {laid.strand for laid in made.laid}
    for strand in made.short:
        if strand.strand not in joined:
            yield (
                f"For strand {strand.strand + 1}, {spell_length(strand.short_mm)} short, no place for a join "
                "was found: end early."
            )
