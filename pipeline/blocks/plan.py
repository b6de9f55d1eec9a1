"""From groups and switches to a whole band of colour blocks: length, ends, joins and cuts included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern, PatternThread
from pipeline.blocks.weave import (
    Group,
    GroupUse,
    Move,
    blocks_pattern,
    default_moves,
    group_use,
    moves_for,
    weave,
)
from pipeline.design.pose import ends_of, fit_of, gauge_for
from pipeline.drawer.stash import Stash
from pipeline.errors import InputError
from pipeline.limits import MOST_REPEATS, WORKABLE_MM
from pipeline.literals import listed
from pipeline.materials.fit import Fit
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import Cut, cut_list
from pipeline.materials.skeins import DEFAULT_SKEIN_M, SkeinPlan, plan_skeins
from pipeline.order.asked import Band, Drawer


@dataclass(frozen=True, slots=True)
class BlockPlan:
    """A band of colour blocks, how its strands are cut and from what, and which groups tie more."""

    pattern: Pattern
    cuts: tuple[Cut, ...]
    use: tuple[GroupUse, ...]
    moves: int
    skeins: SkeinPlan
    fit: Fit | None


def plan_blocks(
    groups: Sequence[tuple[str, int]],
    moves: Sequence[Move] | None,
    stash: Stash,
    band: Band,
    *,
    repeats: int | None = None,
    title: str | None = None,
    filled: bool = True,
    longest_mm: float = WORKABLE_MM,
    margin: float | None = None,
) -> BlockPlan:
    """Plan a band of colour blocks.

    ``groups``: (name of a thread in ``stash``, strands) from left to right; ``moves`` None: the usual
    basket of blocks. The length is ``repeats`` times all moves, else ``band.rows``, else as near to
    ``band.wrist_mm`` as whole moves come. Raises HitchgridError for what cannot be used.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> groups = (("navy", 2), ("chalk", 2))
    >>> made = plan_blocks(groups, None, builtin_stash(), Band(worked="diagonal"), repeats=2)
    >>> made.moves, len(made.pattern.strands), len(made.cuts)
    (2, 4, 4)
    """
    owned = [stash.find(name) for name, _ in groups]
    threads = tuple(dict.fromkeys(owned))
    gauge = gauge_for(band, Drawer(Stash(threads, stash.source)))
    made = [Group(threads.index(thread), count) for thread, (_, count) in zip(owned, groups, strict=True)]
    strands = [group.thread for group in made for _ in range(group.strands)]
    ends = ends_of(band, strands, gauge)
    fit = fit_of(band, len(strands), gauge)
    sizes = [group.strands for group in made]
    moves = default_moves(len(made)) if moves is None else moves
    if repeats is not None:
        if not 1 <= repeats <= MOST_REPEATS:
            raise InputError(f"{repeats} repeats cannot be tied.", f"Use 1 to {MOST_REPEATS}.")
        sequence = tuple(moves) * repeats
    elif band.rows is not None:
        sequence = moves_for(sizes, moves, band.rows)
    elif fit is not None:
        sequence = moves_for(sizes, moves, fit.rows)
    else:
        raise InputError("the length of the band is not known.", "Give a wrist, rows or repeats.")
    pattern = blocks_pattern(
        made,
        sequence,
        [PatternThread(name=t.name, colour=t.colour, diameter_mm=t.diameter_mm) for t in threads],
        gauge,
        ends,
        title or _title([thread.name for thread in threads]),
        filled=filled,
    )
    skeins = [1000 * (thread.skein_m or DEFAULT_SKEIN_M) for thread in threads]
    pattern = place_joins(pattern, longest_mm, card_mm=skeins, margin=margin)
    use = group_use(made, weave(sizes, sequence, filled=filled))
    cuts = cut_list(pattern, margin=margin)
    return BlockPlan(pattern, cuts, use, len(sequence), plan_skeins(pattern, cuts, stash), fit)


def _title(names: Sequence[str]) -> str:
    return f"{listed(names)} blocks"[:200]
