"""``hitchgrid stash``: look at the threads owned, add to them, and book off what a band took."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.flags import flag
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.drawer.stash import Stash, Thread


def command(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="Your list of threads, CSV or .gpl; the built-in palette without.", show_default=False
        ),
    ] = None,
    near: Annotated[str | None, flag("Nearest to this colour first.", metavar="#rrggbb")] = None,
    pick: Annotated[bool, flag("Pick threads by number and get them for --threads.", "--pick")] = False,
    add: Annotated[Path | None, flag("Add the threads of this list to FILE.", "--import")] = None,
    book: Annotated[Path | None, flag("Book off what this pattern.json is cut from.")] = None,
    margin: Annotated[int | None, flag("Per cent cut in reserve, as in the plan.", min=0, max=200)] = None,
    yes: Annotated[bool, flag("Do not ask.", "--yes", "-y")] = False,
) -> None:
    """Show the threads you own in their colours.

    Example: hitchgrid stash threads.csv --book output/pennant/pattern.json
    """
    from pipeline.drawer.stash import read_stash

    if add is not None or book is not None:
        if file is None:
            raise InputError(
                "the built-in palette cannot be changed.", "Name your own list: hitchgrid stash FILE"
            )
        if add is not None:
            _import(file, add, yes)
        if book is not None:
            _book(file, book, margin, yes)
        return
    stash = read_stash(file)
    threads = _nearest(stash, near) if near is not None else list(stash.threads)
    _show(stash.source, threads)
    if pick:
        _pick(threads)


def _show(title: str, threads: list[Thread]) -> None:
    from cli.console import out, swatch, table

    def amount(number: float | None, unit: str) -> str:
        return "–" if number is None else f"{number:g} {unit}"

    rows = (
        (i, swatch(t.colour, 6), t.name, t.colour, amount(t.metres, "m"), amount(t.skein_m, "m"), t.preset)
        for i, t in enumerate(threads, start=1)
    )
    out.print(table(title, ("", "", "thread", "colour", "owned", "skein", "kind"), rows))


def _nearest(stash: Stash, colour: str) -> list[Thread]:
    import numpy as np

    from pipeline.colour import delta_e, parse_hex

    off = delta_e([thread.rgb for thread in stash.threads], parse_hex(colour))
    return [stash.threads[int(i)] for i in np.argsort(off, kind="stable")]


def _pick(threads: list[Thread]) -> None:
    from rich.text import Text

    from cli.console import out, swatch
    from pipeline.drawer.stash import spell_names
    from pipeline.files.channels import shell

    answer = typer.prompt("Numbers of the threads, with commas between")
    names = []
    for word in str(answer).split(","):
        number = int(word) if word.strip().isdecimal() and len(word) < 10 else 0
        if not 1 <= number <= len(threads):
            raise InputError(f"there is no thread number {word.strip()[:20]!r}.", f"Use 1 to {len(threads)}.")
        names.append(threads[number - 1])
    for thread in dict.fromkeys(names):
        out.print(swatch(thread.colour, 6), Text(thread.name))
    out.print(Text(f"--threads {shell([spell_names(t.name for t in dict.fromkeys(names))])}"))


def _import(file: Path, other: Path, yes: bool) -> None:
    from cli.console import say
    from pipeline.drawer.ledger import palette_lines, with_threads
    from pipeline.drawer.stash import is_palette, parse_stash, read_stash, render_stash
    from pipeline.files.channels import label
    from pipeline.materials.booking import merged

    new = read_stash(other)
    if not os.path.lexists(file):
        palette = file.suffix.lower() == ".gpl"
        text = f"GIMP Palette\n{palette_lines(new.threads)}" if palette else render_stash(new)
        _write(file, text.encode(), None, f"Write {len(new.threads)} threads to {label(file)}?", yes)
        return
    data = _read(file)
    threads, told = merged(parse_stash(data, label(file)), new)
    say(f"  {name}: {what}" for name, what in told.items())
    if threads:
        if is_palette(data.decode("utf-8-sig")):
            say(["A palette keeps names and colours, nothing else."])
        content = with_threads(data, label(file), threads)
        _write(file, content, data, f"Add {len(threads)} threads to {label(file)}?", yes)


def _book(file: Path, pattern: Path, margin: int | None, yes: bool) -> None:
    from cli.console import out, say, table
    from pipeline.band.reading import read_pattern
    from pipeline.drawer.stash import parse_stash
    from pipeline.files.channels import label
    from pipeline.materials.booking import booked, bookings
    from pipeline.materials.lengths import cut_list

    document = read_pattern(pattern)
    cuts = cut_list(document, margin=None if margin is None else margin / 100)
    data = _read(file)
    made = bookings(document, cuts, parse_stash(data, label(file)))
    content = booked(data, label(file), made)

    def known(metres: float | None) -> str:
        return "not known" if metres is None else f"{metres:.2f} m"

    rows = [(b.name, f"{b.used_m:.2f} m", known(b.before_m), known(b.after_m)) for b in made]
    out.print(table(f"{document.title} takes", ("thread", "cut", "before", "after"), rows))
    say(
        f"{b.name}: the list does not say how much there is, so nothing is booked off."
        for b in made
        if b.before_m is None
    )
    if content != data:
        _write(file, content, data, f"Book this off {label(file)}?", yes)


def _read(file: Path) -> bytes:
    from pipeline.drawer.stash import STASH
    from pipeline.files.reading import read_plain

    return read_plain(file, STASH)


def _write(file: Path, content: bytes, former: bytes | None, question: str, yes: bool) -> None:
    """Ask, keep a copy of what was there, and write the new list, unless it was changed meanwhile."""
    from cli.console import say
    from pipeline.files.single import edit_file

    if not yes and not typer.confirm(question):
        raise typer.Abort
    copy = edit_file(file, content, expected=former)
    if copy is not None:
        say([f"The former list is kept as {copy}."])
    say([f"{file} is written."])
