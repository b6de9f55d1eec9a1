"""Instructions as a model: what is tied in which order, said in steps, and when to look back.

Everything that tells a maker how to tie a band is written from :class:`Instructions`: the text, the pages
of the sheet, the worksheet, the terminal and the form for reading aloud. Sections, rows, knots, positions
and strands count from 0 here; writers count from 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.band.knots import Knot
from pipeline.band.pattern import Join, Pattern
from pipeline.instructions.order import Way


@dataclass(frozen=True, slots=True)
class Step:
    """What a maker is told in one breath: a run of knots of one kind, or one change of leader."""

    section: int
    row: int
    """Row in its section of the first knot (a strand that travels passes through several rows)."""
    line: int
    """Number of the line in its section: the row where steps follow the rows, else a running number."""
    by_row: bool
    """Whether lines are rows of the chart."""
    way: Way | None
    """How the run moves in diagonal work; None in row work."""
    rightwards: bool
    """Whether the run goes to the right."""
    knots: tuple[tuple[int, Knot], ...]
    """(left position, kind) in tying order."""
    cells: tuple[tuple[int, int], ...]
    """(row in the section, index in that row's tying order) of each knot."""
    shown: tuple[int, ...]
    """Thread index that shows in each knot."""
    hidden: tuple[int, ...]
    """Thread index of the core in each knot (before a join)."""
    order: tuple[int, ...]
    """Strand at each position after the step; strands are numbered by starting position."""
    threads: tuple[int, ...]
    """Thread index at each position after the step."""
    leader: int | None
    """The strand that leads, or is taken; None for pairs side by side."""
    leader_thread: int | None
    taken: int | None
    """The position where the line's strand is taken; None in row work and for pairs."""
    next_leader: int | None
    """The strand that goes on where both stay in the last knot and the line or the next row goes on."""
    joins: tuple[Join, ...]
    """New pieces laid in during this step, which then is a step of one knot."""
    first: bool
    """Whether the line begins with this step."""
    skipped: int
    """Pairs that are left out since the step before, among pairs side by side."""

    @property
    def next_thread(self) -> int | None:
        """The thread of the strand that goes on, where another one does."""
        return None if self.next_leader is None else self.threads[self.order.index(self.next_leader)]

    @property
    def at_edge(self) -> bool:
        """Whether the run ends in the last place of its way."""
        return bool(self.knots) and self.knots[-1][0] == (len(self.order) - 2 if self.rightwards else 0)


@dataclass(frozen=True, slots=True)
class Said:
    """A numbered line: the steps of one line, then of those that do the same elsewhere."""

    lines: tuple[tuple[Step, ...], ...]

    @property
    def breaths(self) -> int:
        """Finding the row or strand, the runs, and one for "the same with …"."""
        first = self.lines[0]
        return bool(first[0].knots) * (1 + len(first)) + (len(self.lines) > 1)

    @property
    def last(self) -> Step:
        """The step after which the line is done."""
        return self.lines[-1][-1]

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of all its lines."""
        return tuple(step for line in self.lines for step in line)

    @property
    def knots(self) -> int:
        """Knots tied in the line."""
        return sum(len(step.knots) for step in self.steps)

    @property
    def shows(self) -> tuple[tuple[int, ...], ...]:
        """Threads that show: of a row from left to right, else of each strand's way in the order tied."""
        if self.last.by_row:
            cells = [(p, t) for step in self.steps for (p, _), t in zip(step.knots, step.shown, strict=True)]
            return (tuple(thread for _, thread in sorted(cells)),) if cells else ()
        return tuple(tuple(thread for step in line for thread in step.shown) for line in self.lines)

    @property
    def shifted(self) -> bool:
        """Whether it is a row of pairs that begins at position 2."""
        step = self.steps[0]
        return step.by_row and step.way is Way.PAIRS and bool(step.knots) and step.knots[0][0] % 2 == 1

    @property
    def rows(self) -> tuple[int, int]:
        """First and last row of the section that its knots belong to."""
        rows = [row for step in self.steps for row, _ in step.cells] or [self.last.row]
        return min(rows), max(rows)


@dataclass(frozen=True, slots=True)
class Repeat:
    """Lines ``first`` … ``last`` do what the ``length`` lines from ``source`` on did, again and again.

    All are indices into the section's list of ``Said``. ``other_strands``: the threads are the same but
    other strands of them are named.
    """

    first: int
    last: int
    source: int
    length: int
    other_strands: bool

    @property
    def count(self) -> int:
        """How often the passage is tied again."""
        return (self.last - self.first + 1) // self.length


@dataclass(frozen=True, slots=True)
class Measure:
    """What should be left of a strand, from the last knot to its end; with less than ``least_mm`` it will
    not reach, if the hand goes on as it tied so far.
    """

    strand: int
    thread: int
    position: int
    left_mm: float
    least_mm: float


@dataclass(frozen=True, slots=True)
class Passage:
    """A section of the band as lines of work.

    ``said`` are all lines, none folded; ``items`` are those that are written out, as indices, and repeats.
    After each line in ``checks`` the order of the strands is looked at, after each in ``measures`` some
    strands are measured. ``rows_before`` rows of the band lie before the section.
    """

    section: int
    rows_before: int
    by_row: bool
    said: tuple[Said, ...]
    items: tuple[int | Repeat, ...]
    checks: frozenset[int]
    measures: Mapping[int, tuple[Measure, ...]]

    @property
    def unit(self) -> str:
        """What a line is called."""
        return "row" if self.by_row else "step"

    def number(self, index: int) -> int:
        """What a line is numbered as, from 1: rows through the whole band, steps through the section."""
        return index + 1 + (self.rows_before if self.by_row else 0)

    def rows(self, index: int) -> tuple[int, int]:
        """First and last row of the band that a line's knots belong to."""
        first, last = self.said[index].rows
        return self.rows_before + first, self.rows_before + last


@dataclass(frozen=True, slots=True)
class Instructions:
    """A whole band for the maker's hand.

    ``labels`` is how each of the pattern's threads is called. The rest is said sentence by sentence: ``band``
    what it is, ``materials`` its threads, ``cutting`` and ``before`` what is done before the first knot,
    ``finish`` after the last.
    """

    pattern: Pattern
    labels: tuple[str, ...]
    band: tuple[str, ...]
    materials: tuple[str, ...]
    cutting: tuple[str, ...]
    before: tuple[str, ...]
    passages: tuple[Passage, ...]
    finish: tuple[str, ...]
    unmade: int
    """Cells that show another thread than the picture wanted."""

    @property
    def steps(self) -> tuple[Step, ...]:
        """The whole band, step by step."""
        return tuple(step for passage in self.passages for said in passage.said for step in said.steps)

    @property
    def title(self) -> str:
        """The band's title, without what cannot be printed."""
        return "".join(c if c.isprintable() else " " for c in self.pattern.title).strip() or "Band"


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of written instructions and what it is: ``plain``, ``item`` (of a list), ``section``,
    ``work`` (a row or a step), ``again`` (a repeat), ``check`` or ``measure``.

    ``shows``: the threads that show in the line's knots (see ``Said.shows``), also where a single line is
    tied again; ``boxes``: places to tick; ``shifted``: a row of pairs that begins at position 2.
    """

    role: str
    text: str
    shows: tuple[tuple[int, ...], ...] = ()
    boxes: int = 0
    shifted: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A part of written instructions under its heading."""

    heading: str
    entries: tuple[Entry, ...]
