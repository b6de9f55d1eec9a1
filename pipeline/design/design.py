"""From a picture or letters to a design: in their place on the band, every thread with a price there.

A design knows nothing yet of where strands can go; that is for the router.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.colour import Colour, delta_e_table, encoded, linear
from pipeline.design.cells import FinePicture, fine_picture, natural_rows
from pipeline.design.costs import DECIMALS, cell_costs
from pipeline.design.features import strengthened
from pipeline.design.filling import filled, usual_fill
from pipeline.design.letters import fit_letters, on_fields, set_canvas
from pipeline.design.model import Design, check_strands, knot_mask
from pipeline.design.threads import (
    became,
    choose_threads,
    counted_colours,
    hyab_table,
    nearest_threads,
    thread_table,
    with_enough,
)
from pipeline.drawer.stash import Thread
from pipeline.errors import InputError
from pipeline.limits import MOST_ROWS
from pipeline.literals import WORKED, Worked, working
from pipeline.materials.supply import Demand, demand
from pipeline.motif.picture import load_grid, on_ground, picture_of
from pipeline.order.asked import Artwork, Drawer, LetterSource, PictureSource, Space

Grid = NDArray[np.int64]
Flags = NDArray[np.bool_]
CELL_WIDTH: dict[Worked, float] = {way: 1.0 if working(way).square else 2**0.5 for way in WORKED}
"""Fields between the sides of a cell: a diamond is as wide as two, cornerwise."""


def usual_strands(artwork: Artwork) -> int:
    """How many strands a band has if the maker does not say."""
    if isinstance(artwork, LetterSource):
        return 17
    return int(load_grid(artwork.path, background=artwork.background).shape[1]) + 1 if artwork.grid else 24


def design(artwork: Artwork, space: Space, drawer: Drawer) -> Design:
    """Make the design. Raises InputError and ImpossibleError for what cannot be drawn or does not fit."""
    check_strands(space.strands)
    if space.rows is not None and not 1 <= space.rows <= MOST_ROWS:
        raise InputError(f"--rows {space.rows} is out of range.", f"Use 1 to {MOST_ROWS}.")
    if isinstance(artwork, LetterSource):
        return _lettered(artwork, space, drawer)
    return _gridded(artwork, space, drawer) if artwork.grid else _pictured(artwork, space, drawer)


def _lettered(artwork: LetterSource, space: Space, drawer: Drawer) -> Design:
    letters = set_canvas(artwork, space, drawer)
    if working(space.worked).square:  # a letter cell is a cell of the band
        made = _exact(letters.canvas, letters.threads, 0, space.worked)
    else:
        made = _priced(on_fields(letters, space), letters.threads, 0, artwork, space.worked)
    return filled(replace(made, kinds=fit_letters(made.kinds, artwork, space)), space, "centre")


def _gridded(artwork: PictureSource, space: Space, drawer: Drawer) -> Design:
    colours = load_grid(artwork.path, background=artwork.background)
    rows, cells = colours.shape[:2]
    if space.strands != cells + 1:
        raise InputError(
            f"{artwork.path} is {cells} pixels wide, which --grid ties with {cells + 1} strands, "
            f"not {space.strands}.",
            f"Use --strands {cells + 1}, or leave out --grid.",
        )
    if space.rows is not None and space.rows != rows:
        raise InputError(
            f"{artwork.path} is {rows} pixels high, which --grid ties in {rows} rows, not {space.rows}.",
            f"Use --rows {rows}, or leave out --grid.",
        )
    check_strands(cells + 1)
    if rows > MOST_ROWS:
        raise InputError(f"{artwork.path} has {rows} rows; {MOST_ROWS} are possible.", "Cut the picture.")
    mask = knot_mask(rows, cells, space.worked)
    if not mask.any():
        raise InputError("no cell of the picture is tied.", "Take more strands or rows.")
    owned = len((drawer.stash.pick(drawer.only) if drawer.only else drawer.stash).threads)
    inks, areas = np.unique(colours[mask], axis=0, return_counts=True)
    threads = choose_threads(
        inks,
        areas.astype(np.float64),
        drawer.stash,
        count=drawer.colours or owned,
        only=drawer.only,
        include=drawer.include,
        table=delta_e_table,
    )
    wanted = nearest_threads(colours, mask, threads)
    threads, ground = _with_ground(threads, drawer, None)
    parts = became(colours[mask], wanted[mask], threads)
    made = replace(_exact(wanted, threads, ground, space.worked), became=parts, picture=colours)
    return filled(made, space, "centre")


def _exact(wanted: Grid, threads: tuple[Thread, ...], ground: int, worked: Worked) -> Design:
    """A design whose cells want exactly one thread each."""
    return Design(wanted, thread_table(threads), np.eye(len(threads), dtype=bool), threads, ground, worked)


def _pictured(artwork: PictureSource, space: Space, drawer: Drawer) -> Design:
    picture = picture_of(artwork)
    if drawer.ground is not None:
        picture = on_ground(picture, drawer.stash.find(drawer.ground).rgb)
    cells = space.strands - 1
    selvedge = _selvedge(space.selvedge, cells, picture.ground is not None)
    inner = cells - 2 * selvedge
    aspect = space.gauge.strand_pitch_mm / space.gauge.row_pitch_mm
    natural = natural_rows(picture, inner, cell_aspect=aspect)
    rows = space.rows or min(natural, space.length or natural, MOST_ROWS)
    drawn = artwork.reduce != "photo"
    fine = fine_picture(picture, rows, inner, cell_aspect=aspect, fit=artwork.fit, finer=drawn)
    fine, features = strengthened(fine, CELL_WIDTH[space.worked]) if drawn else (fine, None)
    band = demand(space.strands, max(rows, space.length or 0), space.worked, space.gauge)
    chosen, passed_over = _threads(fine, drawer, band)
    threads, ground = _with_ground(chosen, drawer, picture.ground)
    made = _priced(fine, threads, ground, artwork, space.worked)
    mask = knot_mask(rows, inner, space.worked, first=selvedge)
    parts = became(encoded(fine.means())[mask], made.wanted[mask], threads)
    kinds = np.pad(made.kinds, ((0, 0), (selvedge, selvedge)), constant_values=ground)
    smaller = f"The picture was made smaller: its shape asks for {natural} rows."
    notes = (*((smaller,) if space.rows is None and natural > rows else ()), *passed_over)
    if (picture.rgb == picture.rgb[0, 0]).all():
        notes += (
            "The picture is of one colour, so nothing can be seen on the band: is it the one you meant?",
        )
    made = replace(made, kinds=kinds, became=parts, features=features, picture=picture.rgb, notes=notes)
    return filled(made, space, usual_fill(made, space, picture.ground is not None))


def _threads(fine: FinePicture, drawer: Drawer, band: Demand) -> tuple[tuple[Thread, ...], tuple[str, ...]]:
    """The threads for a picture, and a sentence for each that was passed over as too little of it is owned.

    The ground that the maker names is among them; threads that are named stay, however little is left.
    """
    named = () if drawer.ground is None else (drawer.ground,)
    include = (*named, *drawer.include)
    colours, areas = counted_colours(fine.light)
    threads = choose_threads(
        colours, areas, drawer.stash, count=drawer.colours, only=drawer.only, include=include
    )
    if drawer.only is not None:
        return threads, ()
    return with_enough(threads, colours, areas, drawer.stash, band, count=drawer.colours, include=include)


def _priced(
    fine: FinePicture, threads: tuple[Thread, ...], ground: int, artwork: Artwork, worked: Worked
) -> Design:
    """A design in which every cell of the picture is a kind of its own."""
    rgb = np.array([thread.rgb for thread in threads], dtype=np.uint8)
    mode = artwork.reduce if isinstance(artwork, PictureSource) else "auto"
    own = cell_costs(fine, rgb, mode)
    k = len(threads)
    plain = hyab_table(rgb, rgb).round(DECIMALS)
    np.fill_diagonal(plain, 0.0)
    costs = np.concatenate([plain, own.costs.reshape(-1, k)])
    serves = np.concatenate([np.eye(k, dtype=bool), own.serves.reshape(-1, k)])
    floor = np.concatenate([np.zeros(k), own.floor.reshape(-1)])
    light = np.concatenate([linear(rgb), fine.means().reshape(-1, 3)])
    kinds = k + np.arange(own.floor.size, dtype=np.int64).reshape(fine.shape)
    return Design(kinds, costs, serves, threads, ground, worked, floor, light)


def _selvedge(asked: int | None, cells: int, on_ground: bool) -> int:
    if asked is None:
        return 1 if on_ground and cells >= 13 else 0
    if not 0 <= asked <= (cells - 1) // 2:
        raise InputError(
            f"--selvedge {asked} leaves no room for the picture on {cells + 1} strands.",
            f"Use {2 * asked + 2} strands or more, or a narrower selvedge.",
        )
    return asked


def _with_ground(
    threads: tuple[Thread, ...], drawer: Drawer, colour: Colour | None
) -> tuple[tuple[Thread, ...], int]:
    """The threads and which of them is the ground: the one the maker names (put in the place of the one that
    shows most where it is missing), else the nearest to ``colour``, else the one that shows most.
    """
    if drawer.ground is not None:
        named = drawer.stash.find(drawer.ground)
        if named in threads:
            return threads, threads.index(named)
        return (named, *threads[1:]), 0
    if colour is None:
        return threads, 0
    rgb = np.array([thread.rgb for thread in threads], dtype=np.uint8)
    return threads, int(hyab_table(np.array([colour], dtype=np.uint8), rgb).argmin())
