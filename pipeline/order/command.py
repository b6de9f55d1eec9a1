"""The command that asks for a band: what a maker would type to have it planned again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.drawer.stash import spell_names
from pipeline.files.channels import shell
from pipeline.literals import HAND_OVERS_OF
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request, Tying


def command(asked: Request, *, stash: Path | None = None) -> str:
    """Return the line for a shell, quoted; ``stash`` is the file that the drawer's threads were read from.

    Only what differs from the defaults is said, but always size, way of working and hand-overs.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> buoy, drawer = PictureSource(Path("buoy.png")), Drawer(builtin_stash(), colours=3)
    >>> command(Request(buoy, Band(strands=20, wrist_mm=160), drawer))
    'hitchgrid plan buoy.png --strands 20 --worked rows --wrist 160mm --colours 3 --hand-overs few'
    """
    artwork, band, drawer, tying = asked
    shown = _letters(artwork) if isinstance(artwork, LetterSource) else _picture(artwork)
    return shell(["hitchgrid", "plan", *shown, *_band(band), *_drawer(drawer, stash), *_tying(tying)])


def _flags(pairs: Iterable[tuple[str, object]]) -> Iterator[str]:
    """Words of flags: nothing for None, False and empty values, the bare flag for True."""
    for flag, value in pairs:
        if value is None or value is False or value == ():
            continue
        if value is True:
            yield flag
        else:
            text = f"{value}"
            yield from (flag, text) if not text.startswith("-") else (f"{flag}={text}",)


def _names(names: Iterable[str | None]) -> str:
    return spell_names(name or "*" for name in names)


def _letters(artwork: LetterSource) -> Iterator[str]:
    return _flags(
        (
            ("--letters", artwork.text),
            ("--height", artwork.height),
            ("--font", artwork.font),
            ("--across", artwork.direction == "across"),
            ("--letter-threads", _names(artwork.threads) if artwork.threads else None),
            ("--turn", artwork.turn or None),
            ("--mirror", artwork.mirror),
        )
    )


def _picture(artwork: PictureSource) -> Iterator[str]:
    path = str(artwork.path)
    yield f"./{path}" if path.startswith("-") else path
    yield from _flags(
        (
            ("--grid", artwork.grid),
            ("--background", artwork.background),
            ("--no-trim", not artwork.trim),
            ("--crop", None if artwork.crop is None else ",".join(f"{x:g}" for x in artwork.crop)),
            ("--turn", artwork.turn or None),
            ("--mirror", artwork.mirror),
            ("--fit", None if artwork.fit == "contain" else artwork.fit),
            ("--reduce", None if artwork.reduce == "auto" else artwork.reduce),
        )
    )


def _mm(length: float | None) -> str | None:
    return None if length is None else f"{length:g}mm"


def _band(band: Band) -> Iterator[str]:
    usual = Band()
    gauge = band.gauge if isinstance(band.gauge, str) else _mm(band.gauge)
    return _flags(
        (
            ("--strands", band.strands),
            ("--worked", band.worked),
            ("--rows", band.rows),
            ("--wrist", _mm(band.wrist_mm)),
            ("--room", None if band.room_mm == usual.room_mm else _mm(band.room_mm)),
            ("--gauge", gauge),
            ("--selvedge", band.selvedge),
            ("--fill", None if band.fill == usual.fill else band.fill),
            ("--start", None if band.start == usual.start else band.start),
            ("--finish", None if band.finish == usual.finish else band.finish),
            ("--taper", band.taper),
            ("--tail", _mm(band.tail_mm)),
            ("--border", band.border is not None),
            ("--border-kind", None if band.border in (None, "lines") else band.border),
            ("--left-handed", band.left_handed),
        )
    )


def _drawer(drawer: Drawer, stash: Path | None) -> Iterator[str]:
    return _flags(
        (
            ("--stash", stash),
            ("--threads", _names(drawer.only) if drawer.only else None),
            ("--colours", drawer.colours),
            ("--ground", drawer.ground),
        )
    )


def _tying(tying: Tying) -> Iterator[str]:
    usual = Tying()
    rows, joins = tying.switching_rows, tying.joins
    yield from _flags(
        (
            ("--hand-overs", HAND_OVERS_OF[tying.ease.value]),
            ("--switching-rows", None if rows == usual.switching_rows else "auto" if rows is None else rows),
            ("--joins", None if joins == usual.joins else joins),
            ("--start-order", None if tying.start_order is None else _names(tying.start_order)),
            ("--share", None if tying.share == usual.share else tying.share),
            ("--longest", None if tying.longest_mm == usual.longest_mm else _mm(tying.longest_mm)),
            ("--margin", None if tying.margin is None else f"{100 * tying.margin:g}"),
        )
    )
    for name, count in tying.at_most.items():
        yield from ("--at-most", f"{name}={count}")
