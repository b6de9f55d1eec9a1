"""``hitchgrid show``: a pattern in the terminal, one row at a time."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

    from pipeline.band.pattern import Pattern
    from pipeline.band.replay import RowReplay

AROUND = 4
"""Rows shown before and after the present one."""


def command(
    pattern: Annotated[Path, typer.Argument(help="A pattern.json file.", show_default=False)],
    row: Annotated[
        int | None, typer.Option(help="Show just this row, counted from 1.", show_default=False, min=1)
    ] = None,
) -> None:
    """Page through a pattern row by row: Enter or Down for the next row, Up to go back, Q to leave.

    Example: hitchgrid show output/pennant/pattern.json --row 12
    """
    from cli.console import out
    from pipeline.band.pattern import read_pattern
    from pipeline.errors import InputError

    pages = Pages(read_pattern(pattern))
    if not pages.count:
        raise InputError(f"{pattern} has no rows.", "Name a pattern with at least one row.")
    if row is not None and row > pages.count:
        raise InputError(f"--row: {row} is past the last row.", f"Choose a row from 1 to {pages.count}.")
    if row is not None:
        out.print(pages.page(row - 1))
    elif out.is_terminal and sys.stdin.isatty():
        with suppress(KeyboardInterrupt):
            _browse(pages)
    else:
        for index in range(pages.count):
            out.print(pages.heading(index), pages.words(index), sep="\n")


def _browse(pages: Pages) -> None:
    from rich.live import Live

    from cli.console import out

    at = 0
    with key_by_key(), Live(pages.page(at), console=out, screen=True, auto_refresh=False) as live:
        while True:
            live.update(pages.page(at, hint=True), refresh=True)
            key = read_key()
            if key in ("q", "escape", ""):
                return
            step = {"down": 1, "right": 1, "enter": 1, " ": 1, "up": -1, "left": -1}.get(key)
            far = {"page down": 10, "page up": -10, "home": -pages.count, "end": pages.count}.get(key, 0)
            at = min(max(at + (far if step is None else step), 0), pages.count - 1)


_KEYS = {
    "\r": "enter", "\n": "enter", "\x1b": "escape", "\x04": "q",
    "\x1b[A": "up", "\x1b[B": "down", "\x1b[C": "right", "\x1b[D": "left",
    "\x1bOA": "up", "\x1bOB": "down", "\x1bOC": "right", "\x1bOD": "left",
    "\x1b[5~": "page up", "\x1b[6~": "page down", "\x1b[H": "home", "\x1b[F": "end",
    "\x1b[1~": "home", "\x1b[4~": "end",
}  # fmt: skip


@contextmanager
def key_by_key() -> Iterator[None]:
    """Let keys arrive one by one and unseen, where the terminal can; else a line at a time."""
    try:
        import termios
        import tty
    except ImportError:  # not a POSIX system
        yield
        return
    before = termios.tcgetattr(sys.stdin)
    try:
        tty.setcbreak(sys.stdin, termios.TCSADRAIN)
        yield
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def read_key() -> str:
    """Wait for a key and return its name, a letter in lower case, or "" at the end of the input."""
    handle = sys.stdin.fileno()
    data = os.read(handle, 1)
    while data.startswith(b"\x1b") and len(data) < 8 and select.select([handle], [], [], 0.05)[0]:
        data += os.read(handle, 1)
        if len(data) > 2 and (data[-1:].isalpha() or data.endswith(b"~")):
            break
    text = data.decode(errors="replace")
    return _KEYS.get(text, text.lower())


class Pages:
    """A pattern's rows as pages for the terminal."""

    def __init__(self, pattern: Pattern) -> None:
        from pipeline.band.replay import replay
        from pipeline.instructions.compose import instructions
        from pipeline.instructions.phrases import Phrases

        self._pattern = pattern
        self._rows = list(replay(pattern))
        self._sections = [section for _, _, section, _ in pattern.rows()]
        self._said: dict[tuple[int, int], str] = {}
        told = instructions(pattern)
        phrases = Phrases(told.labels)
        for passage in told.passages:
            for i, said in enumerate(passage.said if passage.by_row else ()):
                self._said[passage.section, said.last.line] = phrases.line(passage, i)

    @property
    def count(self) -> int:
        return len(self._rows)

    def heading(self, index: int) -> Text:
        """The row's number and section."""
        from rich.text import Text

        section = self._sections[index]
        worked = "row-worked" if section.worked == "rows" else "diagonal-worked"
        text = Text(f"Row {index + 1}", "bold")
        return text.append(f" of {self.count} · {section.kind}, {worked}", "not bold")

    def words(self, index: int) -> Text:
        """What is tied in the row, in words."""
        from rich.text import Text

        row = self._rows[index]
        said = self._said.get((row.section, row.row))
        if said:
            return Text(said)
        parts = [f"{step.tied.position + 1} {step.tied.knot.value}" for step in row.steps]
        return Text("by position: " + ", ".join(parts) + "." if parts else "no knots.")

    def page(self, index: int, *, hint: bool = False) -> RenderableType:
        """The row among its neighbours in real colours, its words, and the order of threads after it."""
        from rich.console import Group
        from rich.text import Text

        first, last = max(0, index - AROUND), min(self.count, index + AROUND + 1)
        lines: list[RenderableType] = [self.heading(index), Text()]
        lines += [self._line(i, present=i == index) for i in range(first, last)]
        lines += [Text(), self.words(index), Text(), Text("order of threads after it", "dim")]
        order = Text("     ")
        for hanging in self._rows[index].threads:
            self._cell(order, hanging, 3)
        lines.append(order)
        for i, thread in enumerate(self._pattern.threads):
            key = Text("     ")
            self._cell(key, i, 3)
            lines.append(key.append(f" {thread.name}", "none"))
        if hint:
            lines += [Text(), Text("Enter or arrow keys to move, Q to leave", "dim")]
        return Group(*lines)

    def _line(self, index: int, *, present: bool) -> Text:
        from rich.text import Text

        row = self._rows[index]
        rising = _begins_left(row, self._sections[index].worked)
        number = f"{index + 1:>4} "
        line = Text().append(number if rising else "     ", "bold" if present else "dim")
        wide = 3 if self._sections[index].worked == "rows" else 6
        column = 0
        if wide == 3:  # knots stand between two strands
            line.append("  ")
        for step in sorted(row.steps, key=lambda step: step.tied.position):
            line.append(" " * (3 * (step.tied.position - column)))
            self._cell(line, step.shown, wide, strong=present)
            column = step.tied.position + wide // 3
        if not rising:
            line.append(f" {index + 1}", "bold" if present else "dim")
        return line.append(" <" if present else "", "bold")

    def _cell(self, text: Text, thread: int, wide: int, *, strong: bool = False) -> None:
        from rich.style import Style

        from pipeline.writers.ink import ink_on

        colour = self._pattern.threads[thread].colour
        text.append(str(thread + 1).center(wide), Style(color=ink_on(colour), bgcolor=colour, bold=strong))


def _begins_left(row: RowReplay, worked: str) -> bool:
    steps = row.steps
    return worked == "diagonal" or len(steps) < 2 or steps[0].tied.position < steps[-1].tied.position
