"""What is asked of the router: a design on a band of a certain size, under what the maker allows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import network, picture_rows
from pipeline.band.pattern import Ends, Gauge, PatternThread
from pipeline.design.design import usual_strands
from pipeline.design.model import Design
from pipeline.drawer.stash import Thread
from pipeline.errors import InputError
from pipeline.literals import FOLDED_STYLES, Border, Fill
from pipeline.materials.ends import make_end, neighbour_pairs
from pipeline.materials.fit import Fit, fit_rows
from pipeline.materials.gauge import find_gauge, is_saved, preset_gauge
from pipeline.order.asked import Artwork, Band, Drawer, Space, Tying
from pipeline.routing import Question


def gauge_for(band: Band, drawer: Drawer) -> Gauge:
    """The gauge the band is planned with. Raises InputError for a name that is neither saved nor known."""
    if band.gauge is None:
        kinds = Counter(thread.preset for thread in drawer.stash.threads)
        return preset_gauge(kinds.most_common(1)[0][0], band.worked)
    if isinstance(band.gauge, str) and is_saved(band.gauge):
        return find_gauge(band.gauge, band.worked)
    return preset_gauge(band.gauge, band.worked)


def space_of(artwork: Artwork, band: Band, gauge: Gauge) -> Space:
    """The place the design has: strands, and the rows that the wrist has room for."""
    strands = usual_strands(artwork) if band.strands is None else band.strands
    fit = fit_of(band, strands, gauge)
    length = None if fit is None else fit.rows
    fill, border = _filling(band)
    return Space(strands, band.worked, gauge, band.rows, length, band.selvedge, fill, border)


def _filling(band: Band) -> tuple[Fill, Border | None]:
    """What becomes of the room that the picture leaves; ``--fill border`` is a border of bars.

    Raises InputError where a border and another way to fill the band are asked for at once.
    """
    if band.border is not None and band.fill in ("repeat", "none"):
        raise InputError(
            f"--border and --fill {band.fill} do not go together: a border stands around one picture.",
            "Leave one of them out.",
        )
    if band.fill == "border":
        return "auto", band.border or "bars"
    return band.fill, band.border


def fit_of(band: Band, strands: int, gauge: Gauge) -> Fit | None:
    """What has to be knotted for the wrist, or None if none was given."""
    if band.wrist_mm is None:
        return None
    ends = ends_of(band, (0,) * max(2, strands), gauge)  # which threads hang there makes no difference
    return fit_rows(band.wrist_mm, gauge, room_mm=band.room_mm, ends=ends, usual=band.usual_wrist)


def ends_of(band: Band, strands: Sequence[int], gauge: Gauge) -> Ends:
    """Both ends of a band of these ``strands`` (threads by position); a folded start does not taper."""
    tapered = band.taper and band.start not in FOLDED_STYLES
    return Ends(
        start=make_end(band.start, strands, gauge, at_start=True, tail_mm=band.tail_mm, taper=tapered),
        finish=make_end(band.finish, strands, gauge, at_start=False, tail_mm=band.tail_mm, taper=band.taper),
    )


def band_threads(threads: Sequence[Thread]) -> tuple[PatternThread, ...]:
    """The threads as a pattern names them."""
    return tuple(PatternThread(name=t.name, colour=t.colour, diameter_mm=t.diameter_mm) for t in threads)


def included(drawer: Drawer, tying: Tying, further: Sequence[str] = ()) -> Drawer:
    """The drawer, told to include the threads that the maker's bounds name, and ``further`` ones."""
    named = [*further, *tying.at_most, *(name for name in tying.start_order or () if name is not None)]
    names = tuple(dict.fromkeys(drawer.stash.find(name).name for name in named))
    return replace(drawer, include=names)


def pose(drawn: Design, band: Band, tying: Tying) -> tuple[Question, NDArray[np.int64]]:
    """Pose the routing problem of a design; return it with the kind of cell at each knot (−1: free).

    For the left hand the mirrored design is posed; the pattern is mirrored back once it is routed. Raises
    InputError for bounds that name other threads or another number of strands.
    """
    drawn = drawn.mirrored() if band.left_handed else drawn
    rows = drawn.kinds.shape[0]
    net = network(drawn.strands, picture_rows(drawn.strands, rows, drawn.worked))
    kinds = drawn.kinds[net.row, net.position]
    costs = np.where(kinds[:, None] >= 0, drawn.costs[kinds], 0.0)
    index = {thread.name.casefold(): i for i, thread in enumerate(drawn.threads)}
    at_most: list[int | None] = [None] * len(drawn.threads)
    for name, count in tying.at_most.items():
        at_most[_thread(name, index, "--at-most")] = count
    start: tuple[int | None, ...] = (None,) * drawn.strands
    if tying.start_order is not None:
        if len(tying.start_order) != drawn.strands:
            raise InputError(
                f"--start-order names {len(tying.start_order)} positions, and the band has {drawn.strands}.",
                "Name one thread a position, or * where it is free.",
            )
        order = tying.start_order[::-1] if band.left_handed else tying.start_order
        start = tuple(None if n is None else _thread(n, index, "--start-order") for n in order)
    folded = neighbour_pairs(drawn.strands) if band.start in ("larks-head", "holding-cord") else ()
    free = tying.start_order is None and not folded  # what begins in a set order need not come back to it
    problem = Question(
        net,
        costs,
        start,
        tuple(at_most),
        folded,
        tying.ease.allowance(net),
        serves=drawn.serves,
        repeat=drawn.repeat if free else None,
    )
    return problem, kinds


def _thread(name: str, index: Mapping[str, int], flag: str) -> int:
    if name.casefold() not in index:
        raise InputError(f"{flag}: the band has no thread {name!r}.", f"It has {', '.join(index)}.")
    return index[name.casefold()]
