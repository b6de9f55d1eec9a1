"""From groups and switches to a whole band of colour blocks: length, ends, joins and cuts included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern
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
from pipeline.design.pose import band_threads, ends_of, fit_of, gauge_for
from pipeline.drawer.stash import Stash
from pipeline.errors import InputError
from pipeline.limits import MOST_REPEATS
from pipeline.literals import listed
from pipeline.materials.fit import Fit
from pipeline.materials.joins import place_joins
from pipeline.materials.lengths import Cut, cut_list
from pipeline.materials.skeins import SkeinPlan, plan_skeins
from pipeline.order.asked import Band, Drawer, Tying


@dataclass(frozen=True, slots=True)
class Blocks:
    """Blocks that are asked for.

    ``groups``: name of a thread and strands, from left to right; ``moves`` None: the usual basket. The length
    is ``repeats`` times all moves, else as the band says. ``filled``: tie where no switch does.
    """

    groups: Sequence[tuple[str, int]]
    moves: Sequence[Move] | None = None
    repeats: int | None = None
    filled: bool = True

    def __post_init__(self) -> None:
        if self.repeats is not None and not 1 <= self.repeats <= MOST_REPEATS:
            raise InputError(f"{self.repeats} repeats cannot be tied.", f"Use 1 to {MOST_REPEATS}.")


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
    asked: Blocks, stash: Stash, band: Band, tying: Tying = Tying(), *, title: str | None = None
) -> BlockPlan:
    """Plan a band of colour blocks.

    Without repeats its length is ``band.rows``, else as near to ``band.wrist_mm`` as whole moves come; of
    ``tying`` the longest strand and the margin count. Raises HitchgridError for what cannot be used.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> asked = Blocks((("navy", 2), ("chalk", 2)), repeats=2)
    >>> made = plan_blocks(asked, builtin_stash(), Band(worked="diagonal"))
    >>> made.moves, len(made.pattern.strands), len(made.cuts)
    (2, 4, 4)
    """
    owned = [stash.find(name) for name, _ in asked.groups]
    threads = tuple(dict.fromkeys(owned))
    gauge = gauge_for(band, Drawer(Stash(threads, stash.source)))
    groups = [Group(threads.index(t), count) for t, (_, count) in zip(owned, asked.groups, strict=True)]
    strands = [group.thread for group in groups for _ in range(group.strands)]
    fit = fit_of(band, len(strands), gauge)
    sizes = [group.strands for group in groups]
    moves = default_moves(len(groups)) if asked.moves is None else asked.moves
    rows = band.rows or (None if fit is None else fit.rows)
    if asked.repeats is not None:
        sequence = tuple(moves) * asked.repeats
    elif rows is not None:
        sequence = moves_for(sizes, moves, rows)
    else:
        raise InputError("the length of the band is not known.", "Give a wrist, rows or repeats.")
    woven = weave(sizes, sequence, filled=asked.filled)
    named = title or f"{listed(thread.name for thread in threads)} blocks"
    pattern = blocks_pattern(
        groups, woven, band_threads(threads), gauge, ends_of(band, strands, gauge), named
    )
    sold_mm = [1000 * thread.sold_m for thread in threads]
    pattern = place_joins(pattern, tying.longest_mm, card_mm=sold_mm, margin=tying.margin)
    cuts = cut_list(pattern, margin=tying.margin)
    use = group_use(groups, woven)
    return BlockPlan(pattern, cuts, use, len(sequence), plan_skeins(pattern, cuts, stash), fit)
