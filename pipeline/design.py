"""What the band shall show: a picture or letters as a grid of wanted threads, as long as the wrist asks.

A design knows nothing yet of where strands can go; that is for the router.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.artwork import lettering
from pipeline.artwork.cells import natural_rows, reduce_picture
from pipeline.artwork.picture import Picture, load_grid, load_picture
from pipeline.drawer.colour import Colour, delta_e, delta_e_table, parse_hex
from pipeline.drawer.stash import Stash, Thread
from pipeline.drawer.threads import Became, Match, match_threads, nearest_threads
from pipeline.errors import ImpossibleError, InputError
from pipeline.knots import Worked
from pipeline.materials.fit import offers, place
from pipeline.pattern import MAX_STRANDS, Gauge

Grid = NDArray[np.int64]
MAX_ROWS = 5000
LETTER_GROUND, LETTER_INK = "#1b2a59", "#f4f1e8"
"""Colours of lettering when the maker names no threads: the nearest threads owned are taken."""
TELLABLE = 20.0
"""CIEDE2000 that a letter keeps from its ground at least; value from our own looking, no source."""


@dataclass(frozen=True, slots=True)
class PictureSource:
    """A picture file and how it is taken in; ``grid`` means one pixel a cell, nothing resampled."""

    path: Path
    grid: bool = False
    background: str | None = None
    trim: bool = True
    crop: tuple[float, float, float, float] | None = None
    turn: int = 0
    mirror: bool = False
    fit: Literal["contain", "cover", "stretch"] = "contain"
    reduce: Literal["auto", "flat", "photo"] = "auto"

    @property
    def title(self) -> str:
        return self.path.stem.replace("_", " ").replace("-", " ").strip() or "picture"


@dataclass(frozen=True, slots=True)
class LetterSource:
    """Letters; ``height`` in cells, ``threads`` for the letters in turn, the font file for other scripts."""

    text: str
    height: int | None = None
    font: Path | None = None
    direction: Literal["along", "across"] = "along"
    threads: tuple[str, ...] = ()
    turn: int = 0
    mirror: bool = False

    @property
    def title(self) -> str:
        return self.text


Artwork = PictureSource | LetterSource
Fill = Literal["auto", "repeat", "centre", "border", "none"]


@dataclass(frozen=True, slots=True)
class Room:
    """The place the design has: ``strands`` wide, ``length`` rows that the wrist has room for (None: as
    long as the picture), ``rows`` the picture itself takes (None: by its shape).
    """

    strands: int
    worked: Worked
    gauge: Gauge
    rows: int | None = None
    length: int | None = None
    selvedge: int | None = None
    fill: Fill = "auto"


@dataclass(frozen=True, slots=True)
class Drawer:
    """The threads to choose from: ``only`` these of the stash, at most ``colours`` of them; ``include``
    stand among the threads of the band whether or not the picture wants them.
    """

    stash: Stash
    only: tuple[str, ...] | None = None
    colours: int | None = None
    ground: str | None = None
    include: tuple[str, ...] = ()


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
        return _lettered(artwork, room, drawer)
    return _gridded(artwork, room, drawer) if artwork.grid else _pictured(artwork, room, drawer)


# ---------------------------------------------------------------- pictures


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
    placed = place(wanted, room.length, how=fill, ground=ground, worked=room.worked)
    done = {"repeat": "repeated as often as it fits", "border": "centred between bars"}.get(fill, "centred")
    return placed, (f"{begun}: it is {done}. {others}".strip(),)


# ---------------------------------------------------------------- letters


def _lettered(artwork: LetterSource, room: Room, drawer: Drawer) -> Design:
    if artwork.turn % 2:
        raise InputError("--turn 1 and 3 do not go with --letters.", "Use --across, or --turn 2.")
    cells = (room.strands) - 1
    threads, inks = _letter_threads(artwork, drawer)
    canvas = _canvas(artwork, _letter_cells(cells, room))
    canvas = canvas[:, ::-1] if artwork.mirror else canvas
    canvas = canvas[::-1, ::-1] if artwork.turn % 4 else canvas
    of_letter = np.zeros(int(canvas.max()) + 1, dtype=np.int64)
    for turn, letter in enumerate(np.unique(canvas[canvas > 0])):  # spaces take no turn
        of_letter[letter] = inks[turn % len(inks)]
    wanted = of_letter[canvas]
    if room.worked == "diagonal":
        wanted = _onto_diagonal(wanted, threads, cells, room.gauge)
    if room.fill == "none":
        wanted = np.pad(wanted, ((2, 2), (0, 0)))  # two rows of ground, so that letters touch nothing
    length = room.rows or room.length
    if length is not None and wanted.shape[0] > length:
        limit = f"--rows {length} allows" if room.rows else f"the {length} the wrist has room for"
        raise ImpossibleError(
            f"{artwork.text!r} takes {wanted.shape[0]} rows, more than {limit}.",
            "Use fewer letters, a smaller --height, fewer --strands, or a longer --wrist or --rows.",
        )
    if room.rows is not None:
        wanted = place(wanted, room.rows, how="centre", ground=0, worked=room.worked)
    wanted, notes = _filled(wanted, room, 0, "centre")
    return Design(wanted, threads, 0, room.worked, (), "letters", notes)


def _letter_cells(cells: int, room: Room) -> int:
    """Cells across that letters are drawn on: in row work those of the band, in diagonal work as many as
    leave each letter cell the area of a knot, since a row has only half as many knots as positions.
    """
    if room.worked == "rows":
        return cells
    across_mm, knot_mm2 = (
        cells * room.gauge.strand_pitch_mm,
        2 * room.gauge.strand_pitch_mm * room.gauge.row_pitch_mm,
    )
    return max(1, int(across_mm / np.sqrt(knot_mm2)))


def _onto_diagonal(canvas: Grid, threads: tuple[Thread, ...], cells: int, gauge: Gauge) -> Grid:
    """Lay square letter cells onto the knots of diagonal work: (rows, cells) thread indices."""
    owned = np.array([thread.rgb for thread in threads], dtype=np.uint8)
    rgb = owned[np.kron(canvas, np.ones((8, 8), dtype=np.int64))]
    picture = Picture(rgb, threads[0].rgb, "letters")
    cell_mm = cells * gauge.strand_pitch_mm / canvas.shape[1]
    rows = max(1, round(canvas.shape[0] * cell_mm / gauge.row_pitch_mm))
    aspect = gauge.strand_pitch_mm / gauge.row_pitch_mm
    colours = reduce_picture(
        picture, rows, cells, worked="diagonal", cell_aspect=aspect, mode="flat", fit="stretch"
    ).colours
    return np.asarray(delta_e_table(colours, owned).argmin(axis=-1).reshape(rows, cells))


def _letter_threads(artwork: LetterSource, drawer: Drawer) -> tuple[tuple[Thread, ...], tuple[int, ...]]:
    """The threads, ground first, and the indices of those that letters take in turn."""
    named = drawer.stash.pick(drawer.only).threads if drawer.only else ()
    if drawer.ground is not None:
        ground = drawer.stash.find(drawer.ground)
    elif named:
        ground = named[0]
    else:
        ground = _nearest(drawer.stash.threads, LETTER_GROUND)
    if artwork.threads:
        letters = tuple(drawer.stash.find(name) for name in artwork.threads)
    else:
        letters = tuple(thread for thread in named if thread.name != ground.name)
    if not letters:
        others = tuple(thread for thread in drawer.stash.threads if thread.name != ground.name)
        if not others:
            raise InputError("the stash has one thread, and letters need two.", "Add a thread to it.")
        tellable = [t for t in others if _apart(t, ground) >= TELLABLE]
        letters = (_nearest(tellable or others, LETTER_INK),)
    more = tuple(drawer.stash.find(name) for name in drawer.include)
    threads = tuple(dict.fromkeys((ground, *letters, *more)))
    index = {thread.name: i for i, thread in enumerate(threads)}
    return threads, tuple(index[thread.name] for thread in letters)


def _nearest(threads: Sequence[Thread], colour: str) -> Thread:
    owned = np.array([thread.rgb for thread in threads], dtype=np.uint8)
    return threads[int(delta_e_table(np.array(parse_hex(colour), dtype=np.uint8), owned).argmin())]


def _apart(one: Thread, other: Thread) -> float:
    return float(delta_e(np.array(one.rgb, dtype=np.uint8), np.array(other.rgb, dtype=np.uint8)))


def _canvas(artwork: LetterSource, cells: int) -> Grid:
    """The letters as (rows, cells) letter numbers, 0 the ground, centred across the band."""
    if artwork.direction == "across":
        return _stacked(artwork, cells)
    height = artwork.height or lettering.best_height(cells, artwork.text)
    ink = lettering.set_letters(artwork.text, height=height, font=artwork.font).ink
    if ink.shape[0] > cells:
        raise ImpossibleError(
            f"letters {ink.shape[0]} cells high do not fit across, where there is room for {cells}.",
            "Use more --strands or a smaller --height.",
        )
    times = 1 if artwork.height else max(1, (cells - 2) // ink.shape[0])
    ink = np.kron(ink, np.ones((times, times), dtype=np.int64))
    return _centred(np.rot90(ink, -1), cells)  # the tops of the letters point to the last position


def _stacked(artwork: LetterSource, cells: int) -> Grid:
    """Upright letters, one below another, two rows apart."""
    height = artwork.height or _widest_height(artwork, cells)
    line = lettering.set_letters(artwork.text, height=height, font=artwork.font).ink
    blocks: list[Grid] = []
    for number in range(1, int(line.max()) + 1):
        columns = np.flatnonzero((line == number).any(axis=0))
        if not len(columns):  # a space
            blocks.append(np.zeros((height // 2, cells), dtype=np.int64))
            continue
        letter = line[:, columns[0] : columns[-1] + 1]
        if letter.shape[1] > cells:
            raise ImpossibleError(
                f"letter {number} is {letter.shape[1]} cells wide, and there is room for {cells}.",
                "Use more --strands, a smaller --height, or letters along the band.",
            )
        own = np.where(letter == number, number, 0)
        blocks += [_centred(own, cells), np.zeros((2, cells), dtype=np.int64)]
    return np.concatenate(blocks[:-1])


def _widest_height(artwork: LetterSource, cells: int) -> int:
    """The tallest alphabet whose letters, one by one, leave a cell of ground at both edges."""
    for height in reversed(lettering.heights()):
        widths = lettering.set_letters(artwork.text, height=height, font=artwork.font).widths
        if max(widths) <= cells - 2:
            return height
    return lettering.heights()[0]


def _centred(ink: Grid, cells: int) -> Grid:
    spare = cells - ink.shape[1]
    return np.pad(ink, ((0, 0), (spare - spare // 2, spare // 2)))
