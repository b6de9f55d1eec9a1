"""Reads written instructions and ties what they say.

The reader knows the words (``words.py``) and the four knots. It keeps its own order of strands and
checks every name, number and look back of the text against it, so a text that contradicts itself is
refused with the line where it does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.instructions import grammar, words
from pipeline.instructions.lines import (
    Line,
    expanded,
    listed,
    parts_of,
    refuse,
    starting_order,
    thread_called,
    threads_of,
)
from pipeline.instructions.tying import MAX_KNOTS, Done, Hands, ReadKnot

MAX_LINES_TIED = 200_000
MAX_MEASURES = 1_000


@dataclass(frozen=True, slots=True)
class Claim:
    """A line's word that its knots, from ``first`` to before ``end``, lie in chart rows ``low`` to ``high``;
    knots count from 0, lines and rows from 1.
    """

    line: int
    first: int
    end: int
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text says: threads as they are called by index, thread index by starting position, the knots,
    and where they lie in the chart.
    """

    threads: Mapping[int, str]
    strands: tuple[int, ...]
    knots: tuple[ReadKnot, ...]
    claims: tuple[Claim, ...]


def read_instructions(text: str) -> Reading:
    """Tie what the text says. Raises InputError naming the line that cannot be tied as it stands.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.instructions.text import write_instructions
    >>> reading = read_instructions(write_instructions(two_rows()))
    >>> reading.strands, [knot.position for knot in reading.knots]
    ((0, 1, 1, 1), [0, 1, 2, 2, 1, 0])
    """
    parts = parts_of(text)
    threads = threads_of(parts[words.MATERIALS])
    work = parts[words.WORK]
    strands = starting_order(parts[words.SETTING_UP], threads)
    reader = _Reader(Hands(threads, strands), _watched(work))
    for line in work:
        reader.follow(line)
    reader.end_section(work[-1] if work else Line(1, ""))
    return Reading(threads, strands, tuple(reader.hands.knots), tuple(reader.claims))


def _watched(work: list[Line]) -> frozenset[int]:
    """Numbers of the lines after which strands are measured."""
    found = [match for line in work if (match := grammar.MEASURE.fullmatch(line.text)) is not None]
    if len(found) > MAX_MEASURES:
        raise refuse(work[0], f"strands are measured more than {MAX_MEASURES} times")
    return frozenset(int(match[2]) for match in found)


class _Reader:
    """Follows the part "Work" line by line, tying as it goes."""

    def __init__(self, hands: Hands, watched: frozenset[int]) -> None:
        self.hands = hands
        self.claims: list[Claim] = []
        self._rows = 0
        """Rows of the sections before this one."""
        self._count: int | None = None
        """Rows of this section, None before the first section."""
        self._diagonal = False
        self._unit: str | None = None
        self._next = 1
        self._done: dict[int, Done] = {}
        """What each numbered line of this section did, but for lines with a join, which have no repeat."""
        self._watched = watched
        self._hung: dict[int, list[tuple[int, int]]] = {}
        """(strand, thread) at each position after the watched lines of this section."""
        self._each_time: list[int] | None = None
        """Threads by position that each passing of the last repeat left, if they all left the same."""

    def follow(self, line: Line) -> None:
        text = line.text
        if (match := grammar.SECTION.fullmatch(text)) is not None:
            self._begin_section(line, match)
        elif text.startswith("Note: ") and self._count is None:
            pass
        elif self._count is None:
            raise refuse(line, "a section should begin here")
        elif (match := grammar.CHECK.fullmatch(text)) is not None:
            self._check(line, match)
        elif (match := grammar.CHECK_EACH.fullmatch(text)) is not None:
            if self._each_time != self._expanded(line, match[1]):
                raise refuse(line, "the passings of the repeat do not leave the threads in that order")
        elif (match := grammar.MEASURE.fullmatch(text)) is not None:
            self._measure(line, match)
        elif (match := grammar.AGAIN.fullmatch(text)) is not None:
            self._again(line, match)
        elif (match := grammar.NUMBERED.match(text)) is not None:
            self._numbered(line, match)
        else:
            raise refuse(line, "this is no row, step, repeat, order or section")

    def _numbered(self, line: Line, match: re.Match[str]) -> None:
        rest = line.text[match.end() :]
        showing = grammar.SHOWS.search(rest)
        said = rest[: showing.start()] if showing else rest.removesuffix(".")
        if not showing and not rest.endswith("."):
            raise refuse(line, "it does not end with a full stop")
        self._number(line, match[1].lower(), int(match[2]))
        start = len(self.hands.knots)
        done = self.hands.one(line, said, diagonal=self._diagonal)
        shown = done.shown(by_row=self._unit == "row")
        told = [] if showing is None else [self._expanded(line, way) for way in showing[2].split("; ")]
        if (told * len(shown) if showing and showing[1] else told) != shown:
            raise refuse(line, "its knots show other threads than it says")
        if match[3] is not None:
            low, high = int(match[3]), int(match[4] or match[3])
            self.claims.append(Claim(line.number, start, len(self.hands.knots), low, high))
        if not any(knot.joined for knot in self.hands.knots[start:]):
            self._done[self._next - 1] = done
        self._look()

    def _expanded(self, line: Line, text: str) -> list[int]:
        return expanded(line, text, self.hands.threads, MAX_LINES_TIED)

    def _look(self) -> None:
        """Note where the strands hang, if they are measured after this line."""
        if self._next - 1 in self._watched:
            self._hung[self._next - 1] = list(zip(self.hands.order, self.hands.hanging, strict=True))

    # ------------------------------------------------------------ sections and numbers

    def _begin_section(self, line: Line, match: re.Match[str]) -> None:
        self.end_section(line)
        first, last = match[4], match[5] or match[4]
        self._rows += self._count or 0
        self._count = 0 if first is None else int(last) - int(first) + 1
        if first is not None and (int(first) != self._rows + 1 or self._count < 1):
            raise refuse(line, f"the section should begin with row {self._rows + 1}")
        self._diagonal = match[3] == words.WORKED_WORDS["diagonal"]
        self._unit, self._done, self._hung, self._each_time = None, {}, {}, None

    def end_section(self, line: Line) -> None:
        """Refuse a section that ended early; ``line`` is where that is noticed."""
        if self._count and self._unit is None and not self._diagonal:
            raise refuse(line, "the section before has no rows")
        if self._unit == "row" and self._next != self._rows + (self._count or 0) + 1:
            raise refuse(line, f"row {self._next} of the section before is missing")

    def _number(self, line: Line, unit: str, number: int) -> None:
        if self._unit is None:
            self._unit = unit
            self._next = self._rows + 1 if unit == "row" else 1
        if unit != self._unit or number != self._next:
            raise refuse(line, f"{unit} {number} comes where {self._unit} {self._next} should")
        if unit == "row" and number > self._rows + (self._count or 0):
            raise refuse(line, f"row {number} is beyond the section")
        if number > MAX_LINES_TIED:
            raise refuse(line, f"there are more than {MAX_LINES_TIED} rows or steps")
        self._next += 1

    # ------------------------------------------------------------ looking back

    def _check(self, line: Line, match: re.Match[str]) -> None:
        if match[1] != self._unit or int(match[2]) != self._next - 1:
            raise refuse(line, f"the order after {match[1]} {match[2]} is checked in the wrong place")
        if self._expanded(line, match[3]) != self.hands.hanging:
            raise refuse(line, "what was tied so far leaves the threads in another order")
        if listed(line, match[4], len(self.hands.order)) != [strand + 1 for strand in self.hands.order]:
            raise refuse(line, "what was tied so far leaves the strands in another order")

    def _measure(self, line: Line, match: re.Match[str]) -> None:
        hung = self._hung.get(int(match[2]))
        if match[1] != self._unit or hung is None:
            raise refuse(line, f"strands are measured after {match[1]} {match[2]} in the wrong place")
        for part in match[3].split("; "):
            left = grammar.LEFT.fullmatch(part)
            if left is None or int(left[5]) > int(left[4]):
                raise refuse(line, f"{part!r} is not understood")
            strand = (int(left[2]) - 1, thread_called(line, left[1], self.hands.threads))
            if not 1 <= int(left[3]) <= len(hung) or hung[int(left[3]) - 1] != strand:
                raise refuse(line, f"{left[1]} (strand {left[2]}) does not hang in position {left[3]} then")

    # ------------------------------------------------------------ repeats

    def _again(self, line: Line, match: re.Match[str]) -> None:
        unit, first, last = match[1].lower(), int(match[2]), int(match[3] or match[2])
        source, until = int(match[5]), int(match[6] or match[5])
        times = {None: 1, "once": 1, "twice": 2}.get(match[7]) or int(match[8])
        length = until - source + 1
        boxes = times if match[10] is None else match[10].count(words.BOX)
        if match[4] != unit or length < 1 or last - first + 1 != length * times or boxes != times:
            raise refuse(line, "the numbers of the repeat do not agree")
        if unit != self._unit or any(number not in self._done for number in range(source, until + 1)):
            raise refuse(line, f"it repeats a {unit} that is not written out before")
        knots = times * sum(len(self._done[number].moves) for number in range(source, until + 1))
        if last > MAX_LINES_TIED or len(self.hands.knots) + knots > MAX_KNOTS:
            raise refuse(line, f"it repeats more than {MAX_LINES_TIED} rows or steps or {MAX_KNOTS} knots")
        for number in range(first, last + 1):
            self._number(line, unit, number)
            done = self._done[source + (number - first) % length]
            self._done[number] = self.hands.again(line, done, named=match[9] is None)
            self._look()
            if (number - first) % length == length - 1:
                left = self.hands.hanging
                same = number == first + length - 1 or self._each_time == left
                self._each_time = left if same else None
