"""Reads written instructions and ties what they say.

The reader knows the words (``words.py``) and the four knots. It keeps its own order of strands and
checks every name, number and checkpoint of the text against it, so a text that contradicts itself is
refused with the line where it does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.band.knots import Knot, knot_of, tie
from pipeline.instructions import grammar, words
from pipeline.instructions.lines import (
    Line,
    expanded,
    parts_of,
    refuse,
    starting_order,
    thread_called,
    threads_of,
)

MAX_KNOTS = 2_000_000
MAX_LINES_TIED = 200_000


@dataclass(frozen=True, slots=True)
class SpokenKnot:
    """One knot that the text asks for; ``line`` counts from 1, ``position`` from 0 and from the left of a
    maker at the near side of the board. ``joined``: (strand, thread) of a new piece laid in, if any.
    """

    line: int
    position: int
    knot: Knot
    joined: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Spoken:
    """What a text says: threads as they are called, thread index by starting position, and the knots."""

    threads: tuple[str, ...]
    strands: tuple[int, ...]
    knots: tuple[SpokenKnot, ...]


@dataclass(frozen=True, slots=True)
class _Done:
    """What a numbered line did: (position, knot, threads of the left and right strand) of each knot.

    ``named``: strands that the text named, as {knots tied before: (position, strand)}.
    """

    moves: list[tuple[int, Knot, tuple[int, int]]]
    named: dict[int, tuple[int, int]]


def read_instructions(text: str) -> Spoken:
    """Tie what the text says. Raises InputError naming the line that cannot be tied as it stands.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.instructions.text import write_instructions
    >>> spoken = read_instructions(write_instructions(two_rows()))
    >>> spoken.strands, [knot.position for knot in spoken.knots]
    ((0, 1, 1, 1), [0, 1, 2, 2, 1, 0])
    """
    parts = parts_of(text)
    threads = threads_of(parts["Threads"])
    left_handed = any(line.text.startswith(words.LEFT_HANDED) for line in parts["How to read this"])
    bench = _Bench(threads, starting_order(parts["Start"], threads))
    for line in parts["Work"]:
        bench.follow(line)
    bench.end_section(parts["Work"][-1] if parts["Work"] else Line(1, ""))
    strands, knots = bench.strands, bench.knots
    if left_handed:  # left and right were the maker's at the far side
        last = len(strands) - 1
        strands = strands[::-1]
        knots = [
            SpokenKnot(
                said.line,
                last - 1 - said.position,
                knot_of(left_ties=not said.knot.left_ties, swaps=said.knot.swaps),
                None if said.joined is None else (last - said.joined[0], said.joined[1]),
            )
            for said in knots
        ]
    return Spoken(threads, strands, tuple(knots))


class _Bench:
    """Follows the part "Work" line by line, tying as it goes."""

    def __init__(self, threads: tuple[str, ...], strands: tuple[int, ...]) -> None:
        self.threads = threads
        self.strands = strands
        self.knots: list[SpokenKnot] = []
        self._order = list(range(len(strands)))
        self._thread_of = list(strands)
        self._rows = 0
        """Rows of the sections before this one."""
        self._count: int | None = None
        """Rows of this section, None before the first section."""
        self._diagonal = False
        self._unit: str | None = None
        self._next = 1
        self._done: dict[int, _Done] = {}
        """What each numbered line of this section did, but for lines with a join, which have no repeat."""

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
        elif (match := grammar.AGAIN.fullmatch(text)) is not None:
            self._again(line, match)
        elif (match := grammar.NUMBERED.fullmatch(text)) is not None:
            self._number(line, match[1].lower(), int(match[2]))
            start = len(self.knots)
            done = self._one(line, match[3])
            if not any(said.joined for said in self.knots[start:]):
                self._done[self._next - 1] = done
        else:
            raise refuse(line, "this is no row, step, repeat, order or section")

    # ------------------------------------------------------------ sections and numbers

    def _begin_section(self, line: Line, match: re.Match[str]) -> None:
        self.end_section(line)
        first, last = match[4], match[5] or match[4]
        self._rows += self._count or 0
        self._count = 0 if first is None else int(last) - int(first) + 1
        if first is not None and (int(first) != self._rows + 1 or self._count < 1):
            raise refuse(line, f"the section should begin with row {self._rows + 1}")
        self._diagonal = match[3] == words.WORKED_WORDS["diagonal"]
        self._unit, self._done = None, {}

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

    def _check(self, line: Line, match: re.Match[str]) -> None:
        if match[1] != self._unit or int(match[2]) != self._next - 1:
            raise refuse(line, f"the order after {match[1]} {match[2]} is checked in the wrong place")
        order = expanded(line, match[3], self.threads, len(self.strands))
        if order != [self._thread_of[strand] for strand in self._order]:
            raise refuse(line, "what was tied so far leaves the threads in another order")

    def _again(self, line: Line, match: re.Match[str]) -> None:
        unit, first, last = match[1].lower(), int(match[2]), int(match[3] or match[2])
        source, until = int(match[5]), int(match[6] or match[5])
        times = {None: 1, "once": 1, "twice": 2}.get(match[7]) or int(match[8])
        length = until - source + 1
        if match[4] != unit or length < 1 or last - first + 1 != length * times:
            raise refuse(line, "the numbers of the repeat do not agree")
        if unit != self._unit or any(number not in self._done for number in range(source, until + 1)):
            raise refuse(line, f"it repeats a {unit} that is not written out before")
        knots = times * sum(len(self._done[number].moves) for number in range(source, until + 1))
        if last > MAX_LINES_TIED or len(self.knots) + knots > MAX_KNOTS:
            raise refuse(line, f"it repeats more than {MAX_LINES_TIED} rows or steps or {MAX_KNOTS} knots")
        for number in range(first, last + 1):
            self._number(line, unit, number)
            done = self._done[source + (number - first) % length]
            named = {} if match[9] else done.named
            again = _Done([], {})
            for i, (position, knot, _) in enumerate(done.moves):
                self._check_named(line, named.get(i))
                self._knot(line, position, knot, again)
            self._check_named(line, named.get(len(done.moves)))
            if again.moves != done.moves:
                raise refuse(line, f"{unit} {number} meets other threads than what it repeats")

    def _check_named(self, line: Line, named: tuple[int, int] | None) -> None:
        if named is not None and self._order[named[0]] != named[1]:
            raise refuse(line, f"another strand than strand {named[1] + 1} leads in the repeat")

    # ------------------------------------------------------------ rows, strands, pairs

    def _one(self, line: Line, text: str) -> _Done:
        """Tie a numbered line; return what it did."""
        done = _Done([], {})
        if text == f": {words.NO_KNOTS}":
            return done
        if self._diagonal:
            if (match := grammar.TAKE.fullmatch(text)) is not None:
                self._take(line, match, done)
            elif (match := grammar.SIDE_BY_SIDE.fullmatch(text)) is not None:
                self._pairs(line, match, done)
            else:
                raise refuse(line, "diagonal work takes a strand or pairs here")
        else:
            match = grammar.ROW.fullmatch(text)
            if match is None:
                raise refuse(line, "row work tells the direction and the leader here")
            self._row(line, match, done)
        return done

    def _row(self, line: Line, match: re.Match[str], done: _Done) -> None:
        rising = match[1] == words.RIGHTWARDS
        last = len(self.strands) - 2
        position = 0 if rising else last
        self._name(line, position if rising else position + 1, match[2], match[3], done)
        for part in match[4].split(", "):
            run = grammar.TIES.fullmatch(part)
            if run is None:
                raise refuse(line, f"{part!r} is not understood")
            count, leader_ties = int(run[2]), run[1] == words.LEADER_TIES
            if run[1] != words.LEADER_TIES and (run[1] == words.BASE_TIES) != (count == 1):
                raise refuse(line, f"{part!r} does not agree with its number")
            ends = position + (count - 1 if rising else 1 - count)
            if count < 1 or not 0 <= ends <= last:
                raise refuse(line, f"{part!r} goes beyond the edge")
            if (int(run[3]), int(run[4] or run[3])) != (position + 1, ends + 1):
                raise refuse(line, f"{part!r} begins at column {position + 1} and ends at {ends + 1}")
            for i in range(count):
                stays = i == count - 1 and run[7] is not None
                knot = knot_of(left_ties=leader_ties == rising, swaps=not stays)
                self._knot(line, position, knot, done, (run[5], run[6]) if i == count - 1 else None)
                position += 1 if rising else -1
            if run[7] is not None:
                self._name(line, position if rising else position + 1, run[7], run[8], done)
        if position != (last + 1 if rising else -1):
            raise refuse(line, "the row does not reach the other edge")

    def _take(self, line: Line, match: re.Match[str], done: _Done) -> None:
        runs, _, same = match[4].partition("; ")
        taken, right = int(match[1]) - 1, match[3] == words.TO_THE_RIGHT
        thread = thread_called(line, match[2], self.threads)
        self._travel(line, taken, right, thread, runs, done)
        if not same:
            return
        if (next_there := grammar.NEXT.fullmatch(same)) is not None:
            count = int(next_there[1])
            expected = [thread] * min(count, MAX_LINES_TIED)
            if next_there[2] is not None:
                expected = expanded(line, next_there[2], self.threads, MAX_LINES_TIED)
            if len(expected) != count or count < 1:
                raise refuse(line, f"{same!r} does not agree with its number")
            for other in expected:
                self._travel(line, taken, right, other, runs, done)
            return
        if not same.startswith(f"{words.SAME_WITH} "):
            raise refuse(line, f"{same!r} is not understood")
        for part in same.removeprefix(f"{words.SAME_WITH} ").split(", "):
            place = grammar.OTHER.fullmatch(part)
            if place is None:
                raise refuse(line, f"{part!r} is no position")
            other = thread if place[2] is None else thread_called(line, place[2], self.threads)
            self._travel(line, int(place[1]) - 1, right, other, runs, done)

    def _travel(self, line: Line, taken: int, right: bool, thread: int, runs: str, done: _Done) -> None:
        """Take the strand at position ``taken`` and tie ``runs`` with it."""
        if not 0 <= taken < len(self.strands) or self._thread_at(taken) != thread:
            raise refuse(line, f"no {self.threads[thread]} hangs in position {taken + 1}")
        position = taken if right else taken - 1
        for part in runs.split(", "):
            run = grammar.KNOTS.fullmatch(part)
            if run is None or int(run[1]) < 1:
                raise refuse(line, f"{part!r} is not understood")
            count, knot = int(run[1]), Knot(run[2])
            for i in range(count):
                self._knot(line, position, knot, done, (run[3], run[4]) if i == count - 1 else None)
                position += 1 if right else -1
            if run[5] is not None:
                front = position if right else position + 1
                there = 0 <= front < len(self.strands) and not knot.swaps
                if not there or self._thread_at(front) != thread_called(line, run[5], self.threads):
                    raise refuse(line, f"no {run[5]} goes on there")

    def _thread_at(self, position: int) -> int:
        return self._thread_of[self._order[position]]

    def _pairs(self, line: Line, match: re.Match[str], done: _Done) -> None:
        position = int(match[1]) - 1
        for part in match[2].split(", "):
            if (skipped := grammar.SKIP.fullmatch(part)) is not None:
                position += 2 * int(skipped[1])
                continue
            run = grammar.KNOTS.fullmatch(part)
            if run is None or int(run[1]) < 1 or run[5] is not None:
                raise refuse(line, f"{part!r} is not understood")
            for i in range(int(run[1])):
                join = (run[3], run[4]) if i == int(run[1]) - 1 else None
                self._knot(line, position, Knot(run[2]), done, join)
                position += 2

    # ------------------------------------------------------------ one knot

    def _name(self, line: Line, position: int, name: str, number: str, done: _Done) -> None:
        """Check a strand that the text names where it hangs now."""
        strand = self._order[position]
        if strand != int(number) - 1 or self._thread_of[strand] != thread_called(line, name, self.threads):
            here = f"{self.threads[self._thread_of[strand]]} (strand {strand + 1})"
            raise refuse(line, f"{here} leads here, not {name} (strand {number})")
        done.named[len(done.moves)] = (position, strand)

    def _knot(
        self,
        line: Line,
        position: int,
        knot: Knot,
        done: _Done,
        join: tuple[str | None, str | None] | None = None,
    ) -> None:
        if not 0 <= position < len(self.strands) - 1:
            raise refuse(line, f"there is no pair at position {position + 1}")
        if len(self.knots) >= MAX_KNOTS:
            raise refuse(line, f"there are more than {MAX_KNOTS} knots")
        tied = tie(self._order, position, knot)
        done.moves.append((position, knot, (self._thread_of[tied.left], self._thread_of[tied.right])))
        joined = None
        if join is not None and join[0] is not None and join[1] is not None:
            joined = (int(join[1]) - 1, thread_called(line, join[0], self.threads))
            if joined[0] not in (tied.left, tied.right):
                raise refuse(line, f"strand {join[1]} is not in the knot of the join")
            self._thread_of[joined[0]] = joined[1]
        self.knots.append(SpokenKnot(line.number, position, knot, joined))
