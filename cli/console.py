"""What the command line draws in the terminal: tables, progress and the band in its real colours."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import TracebackType

from rich.color import Color
from rich.console import Console, ConsoleOptions, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.segment import Segment
from rich.style import Style
from rich.table import Table
from rich.text import Text

from pipeline.band.pattern import Pattern
from pipeline.files.channels import printable


class _Console(Console):
    """A terminal on which text is text: no markup, no emoji codes, and nothing unprintable gets through."""

    def __init__(self, *, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, markup=False, emoji=False)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterator[Segment]:
        """Yield the segments of a renderable; whatever it holds, its text cannot give orders."""
        for segment in super().render(renderable, options):
            text, style, control = segment
            yield segment if control else Segment(printable(text, keep="\n"), style)

    def on_broken_pipe(self) -> None:
        """Leave it to ``cli.main``: that the reader has read enough is not a failure."""
        raise BrokenPipeError


out = _Console()
err = _Console(stderr=True)


def coloured() -> bool:
    """Whether colours reach the reader: not through a pipe, nor where NO_COLOR asks for none."""
    return out.color_system is not None and not out.no_color


def show_band(pattern: Pattern) -> None:
    """Print the band in its real colours, or nothing where there are none: blocks alone say nothing."""
    if coloured():
        out.print(band_preview(pattern))


def band_preview(pattern: Pattern, width: int | None = None) -> Text:
    """Draw the band lying on its side, its first row on the left and its right edge above, in half blocks
    of the real colours. Long bands are cut into lines as wide as the terminal.
    """
    from pipeline.writers.preview import preview_terminal

    cells = preview_terminal(pattern).swapaxes(0, 1)[::-1]  # (strands, rows, 3), last position first
    if all(section.working.square for section in pattern.sections):
        cells = cells[1:]  # a row of n strands has n - 1 knots
    if len(cells) % 2:
        cells = cells[[*range(len(cells)), -1]]
    width = max(20, (width or out.width) - 2)
    text = Text()
    for start in range(0, cells.shape[1], width):
        block = cells[:, start : start + width].tolist()
        for above, below in zip(block[::2], block[1::2], strict=True):
            for top, under in zip(above, below, strict=True):
                text.append("▀", Style(color=_rich(top), bgcolor=_rich(under)))
            text.append("\n")
        text.append("\n")
    return text


def _rich(rgb: list[int]) -> Color:
    return Color.from_rgb(*rgb)


def swatch(colour: str, width: int = 2) -> Text:
    """A patch of one colour, or nothing where there are none."""
    return Text(" " * width, Style(bgcolor=colour)) if coloured() else Text()


def table(title: str, columns: Iterable[str], rows: Iterable[Iterable[object]]) -> Table:
    """A plain table; cells that are rich texts are kept, everything else is written as it stands."""
    made = Table(title=printable(title), title_justify="left", title_style="bold", box=None, pad_edge=False)
    for column in columns:
        made.add_column(column, header_style="dim")
    for row in rows:
        made.add_row(*(cell if isinstance(cell, Text) else printable(str(cell)) for cell in row))
    return made


def say(sentences: Iterable[str]) -> None:
    """Print each sentence on a line of its own."""
    for sentence in sentences:
        out.print(Text(sentence))


def progress(first: float, cost: float, bound: float) -> str:
    """What a search has gained, in words: colour errors at first and now, and the bound below both.

    >>> progress(200.0, 150.0, 20.0), progress(200.0, 150.0, 150.0)
    ('25 % closer than at first', 'as close as can be')
    """
    if not cost < math.inf:
        return "looking for a first band"
    if cost - bound <= 1e-6 * max(1.0, cost):
        return "as close as can be"
    gained = 100 * (first - cost) / first if first > 0 else 0.0
    return f"{gained:.0f} % closer than at first" if gained >= 1 else "looking for a closer band"


DRAFT_AFTER_S = 4.0
"""A band that takes longer is drawn as it stands by then."""


class Watch:
    """Shows stages and the search on standard error, once they take longer than a second.

    ``draft`` draws the band as it stands into a file and returns where; that is said, once.
    """

    def __init__(self, quiet: bool = False, draft: Callable[[Pattern], Path | None] | None = None) -> None:
        self._progress = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=24),
            TextColumn("{task.fields[note]}", markup=False),
            TimeElapsedColumn(),
            console=err,
            transient=True,
        )
        self._quiet = quiet or not err.is_terminal
        self._task = self._progress.add_task("", total=1.0, note="")
        self._began = time.monotonic()
        self._running = False
        self._first: float | None = None
        self._draft = None if quiet else draft
        self._sketch: Callable[[], Pattern] | None = None

    def __enter__(self) -> Watch:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._running:
            self._progress.stop()

    def stage(self, name: str) -> None:
        """A new stage begins."""
        self._first = None
        self._update(description=name, completed=0.0, note="")

    def routing(self, done: float, cost: float, bound: float) -> None:
        """How far the search is, and what it has gained, with the present colour error and bound."""
        if self._first is None and cost < math.inf:
            self._first = cost
        self._update(completed=min(1.0, done), note=progress(self._first or 0.0, cost, bound))

    def advising(self, done: int, of: int, label: str) -> None:
        """What the advice tries now."""
        self._update(completed=done / max(1, of), note=label)

    def sketched(self, band: Callable[[], Pattern]) -> None:
        """Remember the band as it stands, for when the rest takes long."""
        self._sketch = band
        self._show_draft()

    def _show_draft(self) -> None:
        draft, sketch = self._draft, self._sketch
        if draft is None or sketch is None or time.monotonic() - self._began < DRAFT_AFTER_S:
            return
        self._draft = None
        path = draft(sketch())
        if path is not None:
            err.print(Text(f"A first draft is drawn: {path}"), soft_wrap=True)

    def _update(self, **fields: object) -> None:
        self._show_draft()
        if self._quiet:
            return
        self._progress.update(self._task, **fields)  # type: ignore[arg-type]
        if not self._running and time.monotonic() - self._began > 1.0:
            self._progress.start()
            self._running = True
