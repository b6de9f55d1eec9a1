"""A motif brought to the length that the wrist has room for, and a sentence on what was done."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.design.model import Design
from pipeline.design.placing import How, between_borders, layout, offers, place
from pipeline.errors import InputError
from pipeline.literals import Border, Fill, working
from pipeline.order.asked import Space

SMALL = 3
"""How often a motif fits the wrist that repeats unless the maker says; what is taller stands once."""
BORDER_COUNTS = 0.5
"""What a cell of a border counts beside one of the picture; by looking at plans."""
NOISE = 0.02
"""Share of cells in which the two ends of an endless pattern may differ in any case."""


def usual_fill(motif: Design, space: Space, on_ground: bool) -> Fill:
    """What a band longer than its picture does unless the maker says: a motif of at most a third of the
    wrist repeats if it stands on ground, a pattern if its last row is followed by its first like any other;
    what is taller, or a picture with a top and a bottom, stands once in the middle.
    """
    rows = motif.kinds.shape[0]
    if space.length is None or space.length < SMALL * rows:
        return "centre"
    wanted, step = motif.wanted, working(space.worked).step
    inside = (wanted[step:] != wanted[:-step]).mean() if rows > step else 1.0
    endless = rows % step == 0 and (wanted[:step] != wanted[-step:]).mean() <= max(2 * inside, NOISE)
    return "repeat" if on_ground or endless else "centre"


def filled(motif: Design, space: Space, how: Fill) -> Design:
    """Bring the motif to the length the wrist has room for; say what was done."""
    kinds = motif.kinds
    rows = kinds.shape[0]
    fill = how if space.fill == "auto" else space.fill
    if space.border is not None:
        return _bordered(motif, space, space.border)
    if space.length is None or fill == "none" or space.length == rows:
        return motif
    chosen = fill if rows < space.length else "longer"
    turned = _turned_rows(motif, space)
    possible = offers(rows, space.length, strands=motif.strands, worked=space.worked, turned_rows=turned)
    others = " ".join(offer.sentence for offer in possible if offer.how != chosen)
    begun = f"The picture takes {rows} rows and the wrist has room for {space.length}"
    if rows > space.length:
        note = (
            f"{begun}: the band comes out longer. Fewer --rows or a longer --wrist would mend that. {others}"
        )
        return replace(motif, notes=(*motif.notes, note.strip()))
    way: How = "repeat" if fill == "repeat" else "centre"
    placed = place(kinds, space.length, how=way, ground=motif.ground, worked=space.worked)
    starts, repeat = layout(rows, space.length, space.worked) if way == "repeat" else ((0,), None)
    done = f"it is repeated {len(starts)} times" if len(starts) > 1 else "it stands once in the middle"
    if repeat is not None:
        done += f", and {repeat.rows} rows are tied again and again"
    note = f"{begun}: {done}. {others} Or the band ends with the picture: --fill none."
    return replace(motif, kinds=placed, repeat=repeat, notes=(*motif.notes, note))


def _turned_rows(motif: Design, space: Space) -> int:
    """How many rows the picture would take if it lay along the band; 0 for letters and exact grids."""
    if motif.picture is None or motif.floor is None:
        return 0
    tall, wide = motif.picture.shape[:2]
    across = (motif.strands - 1) * space.gauge.strand_pitch_mm / space.gauge.row_pitch_mm
    return round(float(wide / tall * across))


def _bordered(motif: Design, space: Space, kind: Border) -> Design:
    """Set the motif between two borders that fill what it leaves of the wrist.

    Where the picture itself is priced, a border counts less: it must not draw strands from the picture.
    """
    if space.length is None:
        raise InputError("--border needs to know the wrist.", "Add --wrist, such as --wrist 16cm.")
    aspect = space.gauge.strand_pitch_mm / space.gauge.row_pitch_mm
    count = np.bincount(motif.wanted[motif.wanted >= 0], minlength=len(motif.threads))
    others = [int(t) for t in np.argsort(-count, kind="stable") if count[t] and t != motif.ground]
    placed = between_borders(
        motif.kinds,
        space.length,
        kind,
        ground=motif.ground,
        others=others,
        worked=space.worked,
        aspect=aspect,
    )
    rows = motif.kinds.shape[0]
    drawn = {"lines": "crossing lines", "bars": "bars", "blocks": "blocks"}[kind]
    side = (placed.shape[0] - rows) // 2
    note = f"The picture takes {rows} rows; {side} rows of {drawn} stand on each side."
    made = replace(motif, kinds=placed, notes=(*motif.notes, note))
    if motif.floor is None or motif.light is None:
        return made
    k, known = len(motif.threads), len(motif.costs)
    border = np.ones(len(placed), dtype=bool)
    border[side : side + rows] = False
    border &= (placed != motif.ground).any(axis=1)
    return replace(
        made,
        kinds=np.where(border[:, None], placed + known, placed),
        costs=np.concatenate([motif.costs, (BORDER_COUNTS * motif.costs[:k]).round(2)]),
        serves=np.concatenate([motif.serves, motif.serves[:k]]),
        floor=np.concatenate([motif.floor, motif.floor[:k]]),
        light=np.concatenate([motif.light, motif.light[:k]]),
    )
