"""Colour blocks before and after a picture, in one band on the same strands.

The block before a picture must leave the strands in the very order in which the picture begins. Blocks can
be tied backwards: what one row swaps, the same row swaps back. So the border before is woven upwards from the
picture's first row, and its last row is the one with which the band starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.knots import Knot
from pipeline.band.pattern import Ends, Gauge, GaugeByOrder, Join, Pattern
from pipeline.band.replay import replay
from pipeline.blocks.weave import Move, Switch, Woven, block_section, default_moves, moves_for, runs_of, weave
from pipeline.errors import ImpossibleError
from pipeline.materials.ends import fold


@dataclass(frozen=True, slots=True)
class Bordered:
    """A band with its borders: rows added ``before`` and ``after``, and the blocks of either."""

    pattern: Pattern
    before: Woven | None
    after: Woven | None


def border(
    pattern: Pattern,
    gauge: Gauge,
    *,
    rows_before: int,
    rows_after: int,
    moves: Sequence[Move] | None = None,
) -> Bordered:
    """Add colour blocks of about so many rows before and after everything that the pattern ties.

    Groups are the runs of one thread that hang where the border meets the picture; they switch as ``moves``
    say, from the picture outwards, by default every other pair in turn. Where a switch leaves it open, the
    thread with fewer strands shows, so that it draws unbroken lines. ``gauge`` is that of diagonal work.
    0 rows add no border there. The new starting order takes the place of the old one, folded starts are
    paired anew, joins stay with their knots. Raises ImpossibleError if all strands there have one thread.
    """
    first = list(pattern.strands)
    last = first
    for row in replay(pattern):
        last = list(row.threads)
    above = _woven(first, moves, rows_before)
    below = _woven(last, moves, rows_after)
    sections = list(pattern.sections)
    strands = pattern.strands
    shift = 0
    if above is not None:
        sections.insert(0, block_section([_backwards(row) for row in reversed(above.rows)]))
        groups = runs_of(first)
        strands = tuple(groups[group].thread for group in above.order)
        shift = 1
    if below is not None:
        sections.append(block_section(below.rows))
    joins = tuple(
        Join(section=j.section + shift, row=j.row, knot=j.knot, thread=j.thread, tying=j.tying)
        for j in pattern.joins
    )
    changed = {
        "strands": strands,
        "sections": tuple(sections),
        "joins": joins,
        "ends": _refolded(pattern.ends, strands),
        "gauge": GaugeByOrder(rows=pattern.gauge_of("rows"), diagonal=gauge),
    }
    return Bordered(pattern.model_copy(update=changed), above, below)


def fill_with_border(
    pattern: Pattern, gauge: Gauge, knotted_mm: float, *, moves: Sequence[Move] | None = None
) -> Bordered:
    """Add borders so that the whole is ``knotted_mm`` long, as near as whole moves come.

    The room that the pattern leaves is halved; what the first border misses the second makes good. Raises
    ImpossibleError if there is room for less than two rows.
    """
    room = knotted_mm - sum(
        len(section.rows) * pattern.gauge_of(section.worked).row_pitch_mm for section in pattern.sections
    )
    rows = int(room / gauge.row_pitch_mm)
    if rows < 2:
        raise ImpossibleError(
            f"the picture leaves {max(0.0, room):.0f} mm for a border.",
            "Make it shorter, or the band longer.",
        )
    before = border(pattern, gauge, rows_before=rows // 2, rows_after=0, moves=moves)
    woven = 0 if before.before is None else len(before.before.rows)
    if woven >= rows:
        return before
    return border(pattern, gauge, rows_before=rows // 2, rows_after=rows - woven, moves=moves)


def _woven(threads: Sequence[int], moves: Sequence[Move] | None, rows: int) -> Woven | None:
    if rows < 1:
        return None
    groups = runs_of(threads)
    if len(groups) < 2:
        raise ImpossibleError("a border switches groups, and all strands have one thread.", "Leave it out.")
    sizes = [group.strands for group in groups]
    moves = moves or tuple(
        tuple(Switch(switch.place) for switch in move) for move in default_moves(len(groups))
    )
    fewest_show = [-list(threads).count(group.thread) for group in groups]
    return weave(sizes, moves_for(sizes, moves, rows), prefer=fewest_show)


def _backwards(row: Sequence[tuple[int, Knot]]) -> list[tuple[int, Knot]]:
    """The row that undoes this one, with the same strand showing in each knot."""
    return [(position, knot.mirrored if knot.swaps else knot) for position, knot in row]


def _refolded(ends: Ends, strands: Sequence[int]) -> Ends:
    start = ends.start
    if not start.folded:
        return ends
    return Ends(start=start.model_copy(update={"folded": fold(strands, start.style)}), finish=ends.finish)
