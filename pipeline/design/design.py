"""What the band shall show: a picture or letters as a grid of wanted threads, as long as the wrist asks.

A design knows nothing yet of where strands can go; that is for the router.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.band.pattern import MAX_STRANDS
from pipeline.colour import Colour
from pipeline.design.cells import natural_rows, reduce_picture
from pipeline.design.letters import letter_grid
from pipeline.design.placing import between_borders, offers, place
from pipeline.design.threads import Became, Match, match_threads, nearest_threads
from pipeline.drawer.stash import Thread
from pipeline.errors import InputError
from pipeline.literals import Border, Fill, Worked
from pipeline.motif.picture import load_grid, load_picture
from pipeline.order.asked import Artwork, Drawer, LetterSource, PictureSource, Room

Grid = NDArray[np.int64]
MAX_ROWS = 5000


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """Wanted threads, cell by cell.

    ``wanted``: (rows, strands−1) index into ``threads``, −1 where nothing is asked; in diagonal work only
    cells whose position has the parity of their row are knots. ``became`` tells what each picture colour
    turned into; ``notes`` are sentences for the maker.
    """

    wanted: Grid
    threads: tuple[Thread, ...]
    ground: int
    worked: Worked
    became: tuple[Became, ...] = ()
    reduced: str = "grid"
    notes: tuple[str, ...] = ()
    picture: NDArray[np.uint8] | None = None
    """(height, width, 3) sRGB of the picture it was made from, None for letters."""

    def __post_init__(self) -> None:
        rows, cells = self.wanted.shape
        if not 1 <= rows <= MAX_ROWS:
            raise InputError(
                f"the band would have {rows} rows; 1 to {MAX_ROWS} are possible.", "Set --rows or --wrist."
            )
        check_strands(cells + 1)
        self.wanted.flags.writeable = False

    @property
    def strands(self) -> int:
        return int(self.wanted.shape[1]) + 1

    def mirrored(self) -> Design:
        """The same design seen in a mirror."""
        return replace(self, wanted=self.wanted[:, ::-1].copy())


def usual_strands(artwork: Artwork) -> int:
    """How many strands a band has if the maker does not say."""
    if isinstance(artwork, LetterSource):
        return 17
    return int(load_grid(artwork.path, background=artwork.background).shape[1]) + 1 if artwork.grid else 24


def check_strands(strands: int) -> None:
    """Refuse a strand count that no band has. Raises InputError."""
    if not 2 <= strands <= MAX_STRANDS:
        raise InputError(
            f"a band of {strands} strands cannot be tied.", f"Use 2 to {MAX_STRANDS}, usually 8 to 24."
        )


def design(artwork: Artwork, room: Room, drawer: Drawer) -> Design:
    """Make the design. Raises InputError and ImpossibleError for what cannot be drawn or does not fit."""
    check_strands(room.strands)
    if room.rows is not None and not 1 <= room.rows <= MAX_ROWS:
        raise InputError(f"--rows {room.rows} is out of range.", f"Use 1 to {MAX_ROWS}.")
    if isinstance(artwork, LetterSource):
        wanted, threads = letter_grid(artwork, room, drawer)
        wanted, notes = _filled(wanted, room, 0, "centre")
        return Design(wanted, threads, 0, room.worked, (), "letters", notes)
    return _gridded(artwork, room, drawer) if artwork.grid else _pictured(artwork, room, drawer)


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
    if rows > MAX_ROWS:
        raise InputError(f"{artwork.path} has {rows} rows; {MAX_ROWS} are possible.", "Cut the picture.")
    mask = knot_mask(rows, cells, room.worked)
    if drawer.colours is None:
        owned = drawer.stash.pick(drawer.only) if drawer.only else drawer.stash
        match = nearest_threads(colours, owned, mask=mask, include=drawer.include)
    else:
        match = match_threads(
            colours, drawer.stash, count=drawer.colours, only=drawer.only, mask=mask, include=drawer.include
        )
    wanted, threads, ground = _with_ground(match, drawer, None)
    wanted, notes = _filled(wanted, room, ground, "centre")
    return Design(wanted, threads, ground, room.worked, match.became, "grid", (*match.notes, *notes), colours)


def _pictured(artwork: PictureSource, room: Room, drawer: Drawer) -> Design:
    picture = load_picture(
        artwork.path,
        background=artwork.background,
        trim=artwork.trim,
        crop=artwork.crop,
        turn=artwork.turn,
        mirror=artwork.mirror,
    )
    cells = (room.strands) - 1
    selvedge = _selvedge(room.selvedge, cells, picture.ground is not None)
    inner = cells - 2 * selvedge
    aspect = room.gauge.strand_pitch_mm / room.gauge.row_pitch_mm
    natural = natural_rows(picture, inner, cell_aspect=aspect, fit=artwork.fit)
    rows = room.rows or min(natural, room.length or natural, MAX_ROWS)
    reduced = reduce_picture(
        picture,
        rows,
        inner,
        worked=room.worked,
        cell_aspect=aspect,
        mode=artwork.reduce,
        fit=artwork.fit,
    )
    match = match_threads(
        reduced.colours,
        drawer.stash,
        count=drawer.colours,
        only=drawer.only,
        mask=knot_mask(rows, inner, room.worked, first=selvedge),
        include=drawer.include,
    )
    wanted, threads, ground = _with_ground(match, drawer, reduced.ground)
    wanted = np.pad(wanted, ((0, 0), (selvedge, selvedge)), constant_values=ground)
    how: Fill = "repeat" if reduced.ground is not None else "centre"
    wanted, notes = _filled(wanted, room, ground, how)
    if room.rows is None and natural > rows:
        notes = (f"The picture was made smaller: its shape asks for {natural} rows.", *notes)
    notes = (*match.notes, *notes)
    return Design(wanted, threads, ground, room.worked, match.became, reduced.mode, notes, picture.rgb)


def _selvedge(asked: int | None, cells: int, on_ground: bool) -> int:
    if asked is None:
        return 1 if on_ground and cells >= 13 else 0
    if not 0 <= asked <= (cells - 1) // 2:
        raise InputError(f"--selvedge {asked} leaves no room for the picture.", "Use 0, 1 or 2.")
    return asked


def knot_mask(rows: int, cells: int, worked: Worked, first: int = 0) -> NDArray[np.bool_]:
    """Which cells of a (rows, cells) grid are knots; the grid's first column is position ``first``.

    >>> knot_mask(2, 3, "diagonal").astype(int).tolist()
    [[1, 0, 1], [0, 1, 0]]
    """
    if worked == "rows":
        return np.ones((rows, cells), dtype=bool)
    row, position = np.ogrid[:rows, first : first + cells]
    return np.asarray((row + position) % 2 == 0)


def _with_ground(match: Match, drawer: Drawer, colour: Colour | None) -> tuple[Grid, tuple[Thread, ...], int]:
    """Find the ground among the threads: what ``colour`` became, else the most wanted one. A ground
    thread that the maker names takes that thread's place.
    """
    wanted, threads = match.wanted, match.threads
    ground = 0 if colour is None else match.index_of(colour)
    if drawer.ground is None:
        return wanted, threads, ground
    named = drawer.stash.find(drawer.ground)
    names = [thread.name for thread in threads]
    if named.name in names:
        return wanted, threads, names.index(named.name)
    return wanted, (*threads[:ground], named, *threads[ground + 1 :]), ground


def _filled(wanted: Grid, room: Room, ground: int, how: Fill) -> tuple[Grid, tuple[str, ...]]:
    """Bring the motif to the length the wrist has room for."""
    rows = wanted.shape[0]
    fill = how if room.fill == "auto" else room.fill
    if room.border is not None:
        return _bordered(wanted, room, ground, room.border)
    if room.length is None or fill == "none" or room.length == rows:
        return wanted, ()
    chosen = fill if rows < room.length else "longer"
    possible = offers(rows, room.length, strands=wanted.shape[1] + 1, worked=room.worked)
    others = " ".join(offer.sentence for offer in possible if offer.how != chosen)
    begun = f"The picture takes {rows} rows and the wrist has room for {room.length}"
    if rows > room.length:
        note = (
            f"{begun}: the band comes out longer. Fewer --rows or a longer --wrist would mend that. {others}"
        )
        return wanted, (note.strip(),)
    placed = place(
        wanted, room.length, how="repeat" if fill == "repeat" else "centre", ground=ground, worked=room.worked
    )
    done = "repeated as often as it fits" if fill == "repeat" else "centred"
    return placed, (f"{begun}: it is {done}. {others}".strip(),)


def _bordered(wanted: Grid, room: Room, ground: int, kind: Border) -> tuple[Grid, tuple[str, ...]]:
    """Set the motif between two borders that fill what it leaves of the wrist."""
    if room.length is None:
        raise InputError("--border needs to know the wrist.", "Add --wrist, such as --wrist 16cm.")
    aspect = room.gauge.strand_pitch_mm / room.gauge.row_pitch_mm
    placed = between_borders(wanted, room.length, kind, ground=ground, worked=room.worked, aspect=aspect)
    side = (placed.shape[0] - wanted.shape[0]) // 2
    drawn = {"lines": "crossing lines", "bars": "bars", "blocks": "blocks"}[kind]
    return placed, (f"The picture takes {wanted.shape[0]} rows; {side} rows of {drawn} stand on each side.",)
