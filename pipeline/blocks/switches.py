"""Which groups of a band of colour blocks switch when, read from the pattern itself.

A group is a run of neighbouring strands of one thread where the blocks begin. When two groups switch, every
strand of one passes every strand of the other once; the k-th time that two strands pass each other belongs to
the k-th switch of their groups.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from pipeline.band.pattern import Pattern
from pipeline.band.replay import RowReplay, replay


@dataclass(frozen=True, slots=True)
class Switched:
    """Two groups that switch: ``shown`` is the thread that ties, ``hidden`` the one it passes.

    Rows (of the band) and positions count from 0. ``first_row`` is the one in which the first two strands
    pass each other, ``last_row`` that of the last two; ``position`` is the leftmost place that takes part.
    ``rightwards``: whether the group that shows goes to the right.
    """

    shown: int
    hidden: int
    strands: tuple[int, int]
    """How many strands the group that shows has, and the other."""
    first_row: int
    last_row: int
    position: int
    rightwards: bool

    def sentence(self, names: Sequence[str]) -> str:
        """The switch under its heading.

        >>> Switched(0, 1, (4, 3), 0, 5, 0, True).sentence(["navy", "chalk"])
        'Rows 1–6, positions 1–7: navy (4) passes over chalk (3) to the right; navy shows.'
        """
        rows = f"Rows {self.first_row + 1}–{self.last_row + 1}"
        if self.first_row == self.last_row:
            rows = f"Row {self.first_row + 1}"
        one, other = names[self.shown], names[self.hidden]
        return (
            f"{rows}, positions {self.position + 1}–{self.position + sum(self.strands)}: "
            f"{one} ({self.strands[0]}) passes over {other} ({self.strands[1]}) to the "
            f"{'right' if self.rightwards else 'left'}; {one} shows."
        )


def told(switches: Sequence[Switched], names: Sequence[str]) -> Iterator[str]:
    """A line for each switch; those that come again and again, so many rows later each time, in one line.

    >>> there, back = Switched(0, 1, (2, 2), 0, 2, 0, True), Switched(1, 0, (2, 2), 3, 5, 0, True)
    >>> later = [replace(one, first_row=6 + one.first_row, last_row=6 + one.last_row)
    ...     for one in (there, back)]
    >>> list(told([there, back, *later], ["navy", "chalk"]))[2]
    'Switches 3–4: the same as 1–2, 6 rows later.'
    """
    period, again = _period(switches)
    for number, switch in enumerate(switches[:period], 1):
        yield f"Switch {number}: {switch.sentence(names)}"
    if again:
        rows = switches[period].first_row - switches[0].first_row
        times = -(-again // period)
        each = "" if times == 1 else f" each time, {times} times over"
        part = " The last time breaks off where the band ends." if again % period else ""
        first = "1" if period == 1 else f"1–{period}"
        yield f"Switches {period + 1}–{period + again}: the same as {first}, {rows} rows later{each}.{part}"
    for number, switch in enumerate(switches[period + again :], period + again + 1):
        yield f"Switch {number}: {switch.sentence(names)}"


def _period(switches: Sequence[Switched]) -> tuple[int, int]:
    """How many switches come again, and how many after them are these again; all and none if none do."""
    for period in range(1, len(switches) // 2 + 1):
        rows = switches[period].first_row - switches[0].first_row
        again = 0
        for one, later in zip(switches, switches[period:], strict=False):
            if replace(one, first_row=one.first_row + rows, last_row=one.last_row + rows) != later:
                break
            again += 1
        if again >= max(period, (len(switches) - period) // 2):
            return period, again
    return len(switches), 0


def switches_of(pattern: Pattern) -> tuple[Switched, ...]:
    """The switches of all sections of blocks, by the rows in which they begin and from the left.

    Groups of one thread that meet are not told: nobody sees them switch.
    """
    found: list[Switched] = []
    order, threads = tuple(range(len(pattern.strands))), pattern.strands
    for section, group in groupby(enumerate(replay(pattern)), key=lambda pair: pair[1].section):
        rows = list(group)
        if pattern.sections[section].kind == "blocks":
            found += _of_section(order, threads, rows)
        order, threads = rows[-1][1].order, rows[-1][1].threads
    return tuple(sorted(found, key=lambda switch: (switch.first_row, switch.position)))


def _of_section(
    order: Sequence[int], threads: Sequence[int], rows: Sequence[tuple[int, RowReplay]]
) -> list[Switched]:
    """The switches of one section that begins with these strands and threads by position."""
    runs = [list(run) for _, run in groupby(zip(order, threads, strict=True), key=lambda hanging: hanging[1])]
    group = {strand: number for number, run in enumerate(runs) for strand, _ in run}
    thread_of, size = [run[0][1] for run in runs], [len(run) for run in runs]
    met: Counter[tuple[int, int]] = Counter()
    parts: dict[tuple[int, int, int], list[tuple[int, int, int, bool]]] = {}
    for band_row, row in rows:
        for step in row.steps:
            tied = step.tied
            one, other = sorted((tied.left, tied.right))
            groups = sorted((group[tied.left], group[tied.right]))
            if tied.knot.swaps and thread_of[groups[0]] != thread_of[groups[1]]:
                key = (groups[0], groups[1], met[one, other])
                met[one, other] += 1
                part = (band_row, tied.position, group[tied.tying], tied.knot.left_ties)
                parts.setdefault(key, []).append(part)
    made = []
    for (a, b, _), knots in parts.items():
        shown = knots[0][2]
        hidden = b if shown == a else a
        first, last = knots[0][0], knots[-1][0]
        leftmost = min(position for _, position, _, _ in knots)
        both = thread_of[shown], thread_of[hidden], (size[shown], size[hidden])
        made.append(Switched(*both, first, last, leftmost, rightwards=knots[0][3]))
    return made
