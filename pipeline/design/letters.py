"""Letters as a grid of wanted threads: which alphabet fits, which thread each letter takes, how they lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.colour import delta_e, parse_hex
from pipeline.design.cells import FINE, FinePicture, fine_picture
from pipeline.design.placing import place
from pipeline.drawer.stash import Thread
from pipeline.errors import ImpossibleError, InputError
from pipeline.literals import working
from pipeline.motif import lettering
from pipeline.motif.alphabet import HEIGHTS
from pipeline.motif.picture import Picture
from pipeline.order.asked import Drawer, LetterSource, Space

Grid = NDArray[np.int64]
LETTER_GROUND, LETTER_INK = "#1b2a59", "#f4f1e8"
"""Colours of lettering when the maker names no threads: the nearest threads owned are taken."""
TELLABLE = 20.0
"""CIEDE2000 that a letter keeps from its ground at least; value from our own looking, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Letters:
    """Letters set: ``canvas`` (rows, cells) thread indices, the ground 0, on square letter cells; and
    ``threads``, ground first.
    """

    canvas: Grid
    threads: tuple[Thread, ...]


def set_canvas(artwork: LetterSource, space: Space, drawer: Drawer) -> Letters:
    """Set the letters. Raises InputError and ImpossibleError for letters that cannot be set or do not fit."""
    if artwork.turn % 2:
        raise InputError("--turn 1 and 3 do not go with --letters.", "Use --across, or --turn 2.")
    threads, inks = _letter_threads(artwork, drawer)
    canvas = _canvas(artwork, _letter_cells(space))
    canvas = canvas[:, ::-1] if artwork.mirror else canvas
    canvas = canvas[::-1, ::-1] if artwork.turn % 4 else canvas
    of_letter = np.zeros(int(canvas.max()) + 1, dtype=np.int64)
    for turn, letter in enumerate(np.unique(canvas[canvas > 0])):  # spaces take no turn
        of_letter[letter] = inks[turn % len(inks)]
    return Letters(of_letter[canvas], threads)


def fit_letters(cells: Grid, artwork: LetterSource, space: Space) -> Grid:
    """Bring letters in their cells to the rows asked for; 0 is the ground. Raises ImpossibleError."""
    if space.fill == "none":
        cells = np.pad(cells, ((2, 2), (0, 0)))  # two rows of ground, so that letters touch nothing
    length = space.rows or space.length
    if length is not None and cells.shape[0] > length:
        limit = f"--rows {length} allows" if space.rows else f"the {length} the wrist has room for"
        raise ImpossibleError(
            f"{artwork.text!r} takes {cells.shape[0]} rows, more than {limit}.",
            "Use fewer letters, a smaller --height, fewer --strands, or a longer --wrist or --rows.",
        )
    if space.rows is not None:
        cells = place(cells, space.rows, how="centre", ground=0, worked=space.worked)
    return cells


def on_fields(letters: Letters, space: Space) -> FinePicture:
    """Lay square letter cells onto the fields of the band, whatever their shape there."""
    owned = np.array([thread.rgb for thread in letters.threads], dtype=np.uint8)
    picture = Picture(
        owned[np.kron(letters.canvas, np.ones((FINE, FINE), dtype=np.int64))],
        letters.threads[0].rgb,
        "letters",
    )
    gauge, cells = space.gauge, space.strands - 1
    cell_mm = cells * gauge.strand_pitch_mm / letters.canvas.shape[1]
    rows = max(1, round(letters.canvas.shape[0] * cell_mm / gauge.row_pitch_mm))
    aspect = gauge.strand_pitch_mm / gauge.row_pitch_mm
    return fine_picture(picture, rows, cells, cell_aspect=aspect, fit="stretch")


def _letter_cells(space: Space) -> int:
    """Cells across that letters are drawn on: square ones are those of the band, of diamonds as many as
    leave each letter cell the area of a knot, since a row has only half as many knots as positions.
    """
    cells = space.strands - 1
    if working(space.worked).square:
        return cells
    pitch, row_pitch = space.gauge.strand_pitch_mm, space.gauge.row_pitch_mm
    return max(1, int(cells * pitch / np.sqrt(2 * pitch * row_pitch)))


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
        tellable = [t for t in others if delta_e(t.rgb, ground.rgb) >= TELLABLE]
        letters = (_nearest(tellable or others, LETTER_INK),)
    more = tuple(drawer.stash.find(name) for name in drawer.include)
    threads = tuple(dict.fromkeys((ground, *letters, *more)))
    index = {thread.name: i for i, thread in enumerate(threads)}
    return threads, tuple(index[thread.name] for thread in letters)


def _nearest(threads: Sequence[Thread], colour: str) -> Thread:
    return threads[int(delta_e([thread.rgb for thread in threads], parse_hex(colour)).argmin())]


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
    for height in reversed(HEIGHTS):
        widths = lettering.set_letters(artwork.text, height=height, font=artwork.font).widths
        if max(widths) <= cells - 2:
            return height
    return HEIGHTS[0]


def _centred(ink: Grid, cells: int) -> Grid:
    spare = cells - ink.shape[1]
    return np.pad(ink, ((0, 0), (spare - spare // 2, spare // 2)))
