"""What the band shall show: a picture or letters in their place on the band, every thread with a price there.

A design knows nothing yet of where strands can go; that is for the router.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Repeat
from pipeline.colour import Colour, Floats, delta_e_table, encoded, linear
from pipeline.design.cells import FinePicture, fine_picture, natural_rows
from pipeline.design.costs import cell_costs
from pipeline.design.features import strengthened
from pipeline.design.letters import fit_letters, on_fields, set_canvas
from pipeline.design.placing import How, between_borders, layout, offers, place
from pipeline.design.threads import (
    Became,
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
from pipeline.limits import MOST_ROWS, MOST_STRANDS
from pipeline.literals import Border, Fill, Worked
from pipeline.materials.supply import Demand, demand
from pipeline.motif.picture import load_grid, load_picture, on_ground
from pipeline.order.asked import Artwork, Drawer, LetterSource, PictureSource, Room

Grid = NDArray[np.int64]
Flags = NDArray[np.bool_]
SMALL = 3
"""How often a motif fits the wrist that repeats unless the maker says; what is taller stands once."""
BORDER_COUNTS = 0.5
"""What a cell of a border counts beside one of the picture; by looking at plans."""
NOISE = 0.02
"""Share of cells in which the two ends of an endless pattern may differ in any case."""
CELL_WIDTH: dict[Worked, float] = {"rows": 1.0, "diagonal": 2**0.5}
"""Fields between the sides of a cell: a diamond of diagonal work is as wide as two, cornerwise."""


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """What every cell wants, by *kinds* of cells.

    ``kinds``: (rows, strands−1) index into the tables, −1 where nothing is asked; the first kinds are plain
    areas of each thread, in the order of ``threads``; in diagonal work only cells whose position has the
    parity of their row are knots. ``costs``: (kinds, threads) what it costs to show each thread, the least 0.
    ``serves``: the same shape, which threads make such a cell. Without a ``floor`` the costs are
    CIEDE2000 from the thread wanted, else HyAB from the picture. ``notes`` are sentences for the maker.
    """

    kinds: Grid
    costs: Floats
    serves: Flags
    threads: tuple[Thread, ...]
    ground: int
    worked: Worked
    floor: Floats | None = None
    """(kinds,) what even the best of these threads is off there, in HyAB; None: no costs of a picture."""
    light: Floats | None = None
    """(kinds, 3) mean linear light of the picture there; None as above."""
    repeat: Repeat | None = None
    """Rows that come again and again, alike; None where nothing repeats."""
    became: tuple[Became, ...] = ()
    notes: tuple[str, ...] = ()
    picture: NDArray[np.uint8] | None = None
    """(height, width, 3) sRGB of the picture it was made from, None for letters."""

    def __post_init__(self) -> None:
        rows, cells = self.kinds.shape
        if not 1 <= rows <= MOST_ROWS:
            raise InputError(
                f"the band would have {rows} rows; 1 to {MOST_ROWS} are possible.", "Set --rows or --wrist."
            )
        check_strands(cells + 1)
        if self.costs.shape != self.serves.shape or self.costs.shape[1] != len(self.threads):
            raise ValueError(f"costs {self.costs.shape} and serves {self.serves.shape} do not agree")
        for array in (self.kinds, self.costs, self.serves):
            array.flags.writeable = False

    @property
    def cells(self) -> NDArray[np.uint8] | None:
        """(rows, strands−1, 3) sRGB of the picture reduced to cells, None where there is none."""
        return None if self.light is None else encoded(self.light[self.kinds])

    @property
    def strands(self) -> int:
        return int(self.kinds.shape[1]) + 1

    @property
    def wanted(self) -> Grid:
        """(rows, strands−1) the thread that each cell wants most, −1 where nothing is asked."""
        return self.wanted_of(self.kinds)

    def wanted_of(self, kinds: Grid) -> Grid:
        """The cheapest thread that serves, for kinds of any shape; −1 for free cells."""
        best = np.append(np.where(self.serves, self.costs, np.inf).argmin(axis=1), -1)
        return np.asarray(best[kinds], dtype=np.int64)

    def either_of(self, kinds: Grid) -> list[tuple[int, ...]]:
        """The threads that serve besides the wanted one, for each of (n,) kinds."""
        wanted = self.wanted_of(kinds)
        return [
            tuple(int(t) for t in np.flatnonzero(self.serves[kind]) if t != want) if kind >= 0 else ()
            for kind, want in zip(kinds, wanted, strict=True)
        ]

    @property
    def beyond(self) -> float:
        """What no band of these threads can do: Σ floor over the cells that are tied."""
        if self.floor is None:
            return 0.0
        tied = knot_mask(self.kinds.shape[0], self.kinds.shape[1], self.worked) & (self.kinds >= 0)
        return float(self.floor[self.kinds[tied]].sum())

    @property
    def ground_ends(self) -> tuple[int, int]:
        """How many rows at the beginning and at the end are nothing but ground."""
        motif = np.flatnonzero(~np.isin(self.kinds, (self.ground, -1)).all(axis=1))
        rows = self.kinds.shape[0]
        return (int(motif[0]), rows - 1 - int(motif[-1])) if motif.size else (0, 0)

    def without_ends(self, top: int, bottom: int) -> Design:
        """The same design without so many rows at the beginning and at the end."""
        repeat, stop = self.repeat, self.kinds.shape[0] - bottom
        if repeat is not None:
            inside = repeat.first >= top and repeat.stop <= stop
            repeat = replace(repeat, first=repeat.first - top) if inside else None
        return replace(self, kinds=self.kinds[top:stop], repeat=repeat)

    def mirrored(self) -> Design:
        """The same design seen in a mirror."""
        return replace(self, kinds=self.kinds[:, ::-1].copy())


def usual_strands(artwork: Artwork) -> int:
    """How many strands a band has if the maker does not say."""
    if isinstance(artwork, LetterSource):
        return 17
    return int(load_grid(artwork.path, background=artwork.background).shape[1]) + 1 if artwork.grid else 24


def check_strands(strands: int) -> None:
    """Refuse a strand count that no band has. Raises InputError."""
    if not 2 <= strands <= MOST_STRANDS:
        raise InputError(
            f"a band of {strands} strands cannot be tied.", f"Use 2 to {MOST_STRANDS}, usually 8 to 24."
        )


def design(artwork: Artwork, room: Room, drawer: Drawer) -> Design:
    """Make the design. Raises InputError and ImpossibleError for what cannot be drawn or does not fit."""
    check_strands(room.strands)
    if room.rows is not None and not 1 <= room.rows <= MOST_ROWS:
        raise InputError(f"--rows {room.rows} is out of range.", f"Use 1 to {MOST_ROWS}.")
    if isinstance(artwork, LetterSource):
        return _lettered(artwork, room, drawer)
    return _gridded(artwork, room, drawer) if artwork.grid else _pictured(artwork, room, drawer)


def _lettered(artwork: LetterSource, room: Room, drawer: Drawer) -> Design:
    letters = set_canvas(artwork, room, drawer)
    if room.worked == "rows":  # a letter cell is a cell of the band
        made = _exact(letters.canvas, letters.threads, 0, room.worked)
    else:
        made = _priced(on_fields(letters, room), letters.threads, 0, artwork, room.worked)
    return _filled(replace(made, kinds=fit_letters(made.kinds, artwork, room)), room, "centre")


def _gridded(artwork: PictureSource, room: Room, drawer: Drawer) -> Design:
    colours = load_grid(artwork.path, background=artwork.background)
    rows, cells = colours.shape[:2]
    if room.strands != cells + 1:
        raise InputError(
            f"{artwork.path} is {cells} pixels wide, which --grid ties with {cells + 1} strands, "
            f"not {room.strands}.",
            f"Use --strands {cells + 1}, or leave out --grid.",
        )
    if room.rows is not None and room.rows != rows:
        raise InputError(
            f"{artwork.path} is {rows} pixels high, which --grid ties in {rows} rows, not {room.rows}.",
            f"Use --rows {rows}, or leave out --grid.",
        )
    check_strands(cells + 1)
    if rows > MOST_ROWS:
        raise InputError(f"{artwork.path} has {rows} rows; {MOST_ROWS} are possible.", "Cut the picture.")
    mask = knot_mask(rows, cells, room.worked)
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
    made = replace(_exact(wanted, threads, ground, room.worked), became=parts, picture=colours)
    return _filled(made, room, "centre")


def _exact(wanted: Grid, threads: tuple[Thread, ...], ground: int, worked: Worked) -> Design:
    """A design whose cells want exactly one thread each."""
    return Design(wanted, thread_table(threads), np.eye(len(threads), dtype=bool), threads, ground, worked)


def _pictured(artwork: PictureSource, room: Room, drawer: Drawer) -> Design:
    picture = load_picture(
        artwork.path,
        background=artwork.background,
        trim=artwork.trim,
        crop=artwork.crop,
        turn=artwork.turn,
        mirror=artwork.mirror,
    )
    if drawer.ground is not None:
        picture = on_ground(picture, drawer.stash.find(drawer.ground).rgb)
    cells = room.strands - 1
    selvedge = _selvedge(room.selvedge, cells, picture.ground is not None)
    inner = cells - 2 * selvedge
    aspect = room.gauge.strand_pitch_mm / room.gauge.row_pitch_mm
    natural = natural_rows(picture, inner, cell_aspect=aspect)
    rows = room.rows or min(natural, room.length or natural, MOST_ROWS)
    fine = fine_picture(picture, rows, inner, cell_aspect=aspect, fit=artwork.fit)
    if artwork.reduce != "photo":
        fine = strengthened(fine, CELL_WIDTH[room.worked])
    band = demand(room.strands, max(rows, room.length or 0), room.worked, room.gauge)
    chosen, passed_over = _threads(fine, drawer, band)
    threads, ground = _with_ground(chosen, drawer, picture.ground)
    made = _priced(fine, threads, ground, artwork, room.worked)
    mask = knot_mask(rows, inner, room.worked, first=selvedge)
    parts = became(encoded(fine.means())[mask], made.wanted[mask], threads)
    kinds = np.pad(made.kinds, ((0, 0), (selvedge, selvedge)), constant_values=ground)
    smaller = f"The picture was made smaller: its shape asks for {natural} rows."
    notes = (*((smaller,) if room.rows is None and natural > rows else ()), *passed_over)
    made = replace(made, kinds=kinds, became=parts, picture=picture.rgb, notes=notes)
    return _filled(made, room, _usual_fill(made, room, picture.ground is not None))


def _usual_fill(motif: Design, room: Room, on_ground: bool) -> Fill:
    """What a band longer than its picture does unless the maker says: a motif of at most a third of the
    wrist repeats if it stands on ground, a pattern if its last row is followed by its first like any other;
    what is taller, or a picture with a top and a bottom, stands once in the middle.
    """
    rows = motif.kinds.shape[0]
    if room.length is None or room.length < SMALL * rows:
        return "centre"
    wanted, step = motif.wanted, 2 if room.worked == "diagonal" else 1
    inside = (wanted[step:] != wanted[:-step]).mean() if rows > step else 1.0
    endless = rows % step == 0 and (wanted[:step] != wanted[-step:]).mean() <= max(2 * inside, NOISE)
    return "repeat" if on_ground or endless else "centre"


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
    plain = hyab_table(rgb, rgb).round(2)
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
        raise InputError(f"--selvedge {asked} leaves no room for the picture.", "Use 0, 1 or 2.")
    return asked


def knot_mask(rows: int, cells: int, worked: Worked, first: int = 0) -> Flags:
    """Which cells of a (rows, cells) grid are knots; the grid's first column is position ``first``.

    >>> knot_mask(2, 3, "diagonal").astype(int).tolist()
    [[1, 0, 1], [0, 1, 0]]
    """
    if worked == "rows":
        return np.ones((rows, cells), dtype=bool)
    row, position = np.ogrid[:rows, first : first + cells]
    return np.asarray((row + position) % 2 == 0)


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


def _filled(motif: Design, room: Room, how: Fill) -> Design:
    """Bring the motif to the length the wrist has room for; say what was done."""
    kinds = motif.kinds
    rows = kinds.shape[0]
    fill = how if room.fill == "auto" else room.fill
    if room.border is not None:
        return _bordered(motif, room, room.border)
    if room.length is None or fill == "none" or room.length == rows:
        return motif
    chosen = fill if rows < room.length else "longer"
    possible = offers(rows, room.length, strands=motif.strands, worked=room.worked)
    others = " ".join(offer.sentence for offer in possible if offer.how != chosen)
    begun = f"The picture takes {rows} rows and the wrist has room for {room.length}"
    if rows > room.length:
        note = (
            f"{begun}: the band comes out longer. Fewer --rows or a longer --wrist would mend that. {others}"
        )
        return replace(motif, notes=(*motif.notes, note.strip()))
    way: How = "repeat" if fill == "repeat" else "centre"
    placed = place(kinds, room.length, how=way, ground=motif.ground, worked=room.worked)
    starts, repeat = layout(rows, room.length, room.worked) if way == "repeat" else ((0,), None)
    done = f"it is repeated {len(starts)} times" if len(starts) > 1 else "it stands once in the middle"
    if repeat is not None:
        done += f", and {repeat.rows} rows are tied again and again"
    note = f"{begun}: {done}. {others} Or the band ends with the picture: --fill none."
    return replace(motif, kinds=placed, repeat=repeat, notes=(*motif.notes, note))


def _bordered(motif: Design, room: Room, kind: Border) -> Design:
    """Set the motif between two borders that fill what it leaves of the wrist.

    Where the picture itself is priced, a border counts less: it must not draw strands from the picture.
    """
    if room.length is None:
        raise InputError("--border needs to know the wrist.", "Add --wrist, such as --wrist 16cm.")
    aspect = room.gauge.strand_pitch_mm / room.gauge.row_pitch_mm
    count = np.bincount(motif.wanted[motif.wanted >= 0], minlength=len(motif.threads))
    others = [int(t) for t in np.argsort(-count, kind="stable") if count[t] and t != motif.ground]
    placed = between_borders(
        motif.kinds,
        room.length,
        kind,
        ground=motif.ground,
        others=others,
        worked=room.worked,
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
