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

from cli.flags import flag

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

    from pipeline.band.pattern import Pattern

AROUND = 4
"""Rows shown before and after the present one."""


def command(
    pattern: Annotated[Path, typer.Argument(help="A pattern.json file.", show_default=False)],
    row: Annotated[int | None, flag("Show just the line that ties this row of the chart.", min=1)] = None,
    step: Annotated[int | None, flag("Show just this step, as the instructions count.", min=1)] = None,
) -> None:
    """Page through a band line by line as the instructions tell it; Enter or arrow keys to move, Q to leave.

    Example: hitchgrid show output/pennant/pattern.json --row 12
    """
    from cli.console import out
    from pipeline.band.reading import read_pattern
    from pipeline.errors import InputError

    pages = Pages(read_pattern(pattern))
    if not pages.count:
        raise InputError(f"{pattern} has no rows.", "Name a pattern with at least one row.")
    if row is not None and row > pages.rows:
        raise InputError(f"--row: {row} is past the last row.", f"Choose a row from 1 to {pages.rows}.")
    if step is not None and pages.step(step) is None:
        raise InputError(f"--step: there is no step {step}.", "Leave it out to see all lines.")
    if step is not None:
        out.print(pages.page(pages.step(step) or 0))
    elif row is not None:
        out.print(pages.page(pages.row(row)))
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
    """A band's lines as pages for the terminal: rows, or steps with the rows of the chart that they tie."""

    def __init__(self, pattern: Pattern) -> None:
        from pipeline.band.replay import replay
        from pipeline.instructions.compose import instructions
        from pipeline.instructions.phrases import Phrases

        self._pattern = pattern
        self._rows = list(replay(pattern))
        self._sections = [section for _, _, section, _ in pattern.rows()]
        told = instructions(pattern)
        self._phrases = Phrases(told.labels)
        self._lines = [(passage, i) for passage in told.passages for i in range(len(passage.said))]
        self.count, self.rows = len(self._lines), len(self._rows)
        """Lines of the instructions, and rows of the chart."""

    def row(self, number: int) -> int:
        """The page of the first line that ties a knot of a row, counted from 1."""
        spans = [passage.rows(i) for passage, i in self._lines]
        return next(index for index, (first, last) in enumerate(spans) if first <= number - 1 <= last)

    def step(self, number: int) -> int | None:
        """The page of a step, of the first section that goes by steps; None if there is no such step."""
        steps = (i for i, (passage, _) in enumerate(self._lines) if not passage.by_row)
        first = next(steps, None)
        if first is None or number > len(self._lines[first][0].said):
            return None
        return first + number - 1

    def heading(self, index: int) -> Text:
        """The line's number, its section, and for a step its rows."""
        from rich.text import Text

        passage, i = self._lines[index]
        section = self._pattern.sections[passage.section]
        count = self.rows if passage.by_row else len(passage.said)
        text = Text(f"{passage.unit.capitalize()} {passage.number(i)}", "bold")
        text.append(f" of {count} · {section.kind}, {section.working.words}", "not bold")
        rows = "" if passage.by_row else f" · {self._phrases.chart_rows(passage, i)}"
        return text.append(rows, "not bold")

    def words(self, index: int) -> Text:
        """What is tied in the line, what it shows, and what to look back at."""
        from rich.text import Text

        passage, i = self._lines[index]
        said = [self._phrases.line(passage, i)]
        if passage.said[i].shows:
            said.append(self._phrases.shows(passage.said[i].shows))
        if i in passage.checks:
            said.append(self._phrases.order(passage, i))
        return Text(" ".join(said))

    def page(self, index: int, *, hint: bool = False) -> RenderableType:
        """The line among its neighbours in real colours, its words, and the order of threads after it."""
        from rich.console import Group
        from rich.text import Text

        passage, i = self._lines[index]
        begins, ends = passage.rows(i)
        first, last = max(0, begins - AROUND), min(self.rows, ends + AROUND + 1)
        lines: list[RenderableType] = [self.heading(index), Text()]
        lines += [self._line(row, present=begins <= row <= ends) for row in range(first, last)]
        lines += [Text(), self.words(index), Text(), Text("order of threads after it", "dim")]
        order = Text("     ")
        for hanging in passage.said[i].last.threads:
            self._cell(order, hanging, 3)
        lines.append(order)
        for thread in sorted(self._pattern.used):
            key = Text("     ")
            self._cell(key, thread, 3)
            lines.append(key.append(f" {self._pattern.threads[thread].name}", "none"))
        if hint:
            lines += [Text(), Text("Enter or arrow keys to move, Q to leave", "dim")]
        return Group(*lines)

    def _line(self, index: int, *, present: bool) -> Text:
        from rich.text import Text

        row, working = self._rows[index], self._sections[index].working
        rising = not working.turning or row.rising
        number = f"{index + 1:>4} "
        line = Text().append(number if rising else "     ", "bold" if present else "dim")
        wide = 3 if working.square else 6
        column = 0
        if working.square:  # knots stand between two strands
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
