"""Strands tied by what a line of written instructions says, every name and number checked where it stands."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.band.knots import Knot, knot_of, tie
from pipeline.instructions import grammar, words
from pipeline.instructions.lines import Line, expanded, refuse, thread_called

MAX_KNOTS = 2_000_000
MAX_TAKEN = 200_000
"""Most strands that are taken in one line."""


@dataclass(frozen=True, slots=True)
class ReadKnot:
    """One knot that the text asks for; ``line`` counts from 1, ``position`` from 0 and from the left of a
    maker at the near side of the board. ``joined``: (strand, thread) of a new piece laid in, if any.
    """

    line: int
    position: int
    knot: Knot
    joined: tuple[int, int] | None = None


@dataclass(slots=True)
class Done:
    """What a numbered line did: (position, knot, threads of the left and right strand) of each knot.

    ``named``: strands that the text named, as (knots tied before, position, strand); ``ways``: how many
    knots were tied before each strand that was taken.
    """

    moves: list[tuple[int, Knot, tuple[int, int]]] = field(default_factory=list)
    named: list[tuple[int, int, int]] = field(default_factory=list)
    ways: list[int] = field(default_factory=list)

    def shown(self, *, by_row: bool) -> list[list[int]]:
        """Threads that show: of a row from left to right, else of each strand's way in the order tied."""
        cells = [(p, pair[not knot.left_ties]) for p, knot, pair in self.moves]
        if by_row:
            return [[thread for _, thread in sorted(cells)]] if cells else []
        firsts = self.ways or ([0] if cells else [])
        ends = [*firsts[1:], len(cells)]
        return [[t for _, t in cells[a:b]] for a, b in zip(firsts, ends, strict=True)]


class Hands:
    """Keeps the order of the strands, and ties what a line says."""

    def __init__(self, threads: Mapping[int, str], strands: tuple[int, ...]) -> None:
        self.threads = threads
        self.knots: list[ReadKnot] = []
        self.order = list(range(len(strands)))
        self._thread_of = list(strands)

    @property
    def hanging(self) -> list[int]:
        """The thread at each position."""
        return [self._thread_of[strand] for strand in self.order]

    def one(self, line: Line, text: str, *, diagonal: bool) -> Done:
        """Tie a numbered line; return what it did."""
        done = Done()
        if text == f": {words.NO_KNOTS}":
            return done
        if not diagonal:
            match = grammar.ROW.fullmatch(text)
            if match is None:
                raise refuse(line, "row work tells the direction and the leader here")
            self._row(line, match[2], rising=match[1] == words.RIGHTWARDS, done=done)
        elif (match := grammar.TAKE.fullmatch(text)) is not None:
            self._take(line, match, done)
        elif (match := grammar.SIDE_BY_SIDE.fullmatch(text)) is not None:
            self._pairs(line, match, done)
        else:
            raise refuse(line, "diagonal work takes a strand or pairs here")
        return done

    def again(self, line: Line, done: Done, *, named: bool) -> Done:
        """Tie what was tied before; the same threads must meet, and with ``named`` the same strands lead."""
        made = Done(ways=done.ways)
        for i in range(len(done.moves) + 1):
            for _, position, strand in (name for name in done.named if name[0] == i):
                if named and self.order[position] != strand:
                    raise refuse(line, f"another strand than strand {strand + 1} leads in the repeat")
                made.named.append((i, position, self.order[position]))
            if i < len(done.moves):
                position, knot, _ = done.moves[i]
                self._knot(line, position, knot, made)
        if made.moves != done.moves:
            raise refuse(line, "other threads meet than in what it repeats")
        made.moves = done.moves  # equal, and kept once
        return made

    # ------------------------------------------------------------ rows

    def _row(self, line: Line, text: str, *, rising: bool, done: Done) -> None:
        last = len(self.order) - 2
        position = 0 if rising else last
        for i, part in enumerate(text.split("; ")):
            if i % 2:
                self._change(line, part, position, done)
                position += 1 if rising else -1
                continue
            match = grammar.NAMED.fullmatch(part)
            if match is None:
                raise refuse(line, f"{part!r} does not tell who leads")
            self._name(line, position if rising else position + 1, match[1], match[2], done)
            if match[3] == words.LEADS:
                continue
            for said in match[3].split(", then "):
                position = self._cross(line, said, position, rising=rising, done=done)
        if position != (last + 1 if rising else -1):
            raise refuse(line, "the row does not reach the other edge")

    def _cross(self, line: Line, said: str, position: int, *, rising: bool, done: Done) -> int:
        """Tie a run of the leader's way; return the position after it."""
        run = grammar.CROSSING.fullmatch(said)
        if run is None:
            raise refuse(line, f"{said!r} is not understood")
        leader_ties = run[5] is None
        count = int(run[1] or run[4] or 1)
        first, ends = (run[2], run[3] or run[2]) if leader_ties else (run[6], run[7] or run[6])
        one, unsaid = count == 1, run[1] is None and run[4] is None
        if count < 1 or unsaid != one or (not leader_ties and (run[5] == "ties") != one):
            raise refuse(line, f"{said!r} does not agree with its number")
        there = position + (count - 1 if rising else 1 - count)
        if not 0 <= there <= len(self.order) - 2:
            raise refuse(line, f"{said!r} goes beyond the edge")
        if (int(first), int(ends)) != (position + 1, there + 1):
            raise refuse(line, f"{said!r} begins at column {position + 1} and ends at {there + 1}")
        for i in range(count):
            knot = knot_of(left_ties=leader_ties == rising, swaps=True)
            join = (run[8], run[9]) if i == count - 1 else None
            self._knot(line, position, knot, done, join)
            position += 1 if rising else -1
        return position

    def _change(self, line: Line, part: str, position: int, done: Done) -> None:
        """Tie the knot in which the leader changes."""
        match = grammar.CHANGE.fullmatch(part)
        if match is None:
            raise refuse(line, f"{part!r} is not understood")
        if not 0 <= position < len(self.order) - 1 or int(match[1]) != position + 1:
            raise refuse(line, f"the leader cannot change at column {match[1]}")
        left_ties = self.order[position] == int(match[3]) - 1
        self._name(line, position + (not left_ties), match[2], match[3], done)
        join = (match[4], match[5])
        self._knot(line, position, knot_of(left_ties=left_ties, swaps=False), done, join)

    def _name(self, line: Line, position: int, name: str, number: str, done: Done) -> None:
        """Check a strand that the text names where it hangs now."""
        strand = self.order[position] if 0 <= position < len(self.order) else -1
        if strand != int(number) - 1 or self._thread_of[strand] != thread_called(line, name, self.threads):
            thread = "nothing" if strand < 0 else self.threads[self._thread_of[strand]]
            there = thread if strand < 0 else f"{thread} (strand {strand + 1})"
            raise refuse(line, f"{there} hangs here, not {name} (strand {number})")
        done.named.append((len(done.moves), position, strand))

    # ------------------------------------------------------------ strands taken, pairs

    def _take(self, line: Line, match: re.Match[str], done: Done) -> None:
        runs, _, same = match[4].partition("; ")
        taken, right = int(match[1]) - 1, match[3] == words.TO_THE_RIGHT
        thread = thread_called(line, match[2], self.threads)
        self._travel(line, taken, right, thread, runs, done)
        if not same:
            return
        if (next_there := grammar.NEXT.fullmatch(same)) is not None:
            count = int(next_there[1])
            expected = [thread] * min(count, MAX_TAKEN)
            if next_there[2] is not None:
                expected = expanded(line, next_there[2], self.threads, MAX_TAKEN)
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

    def _travel(self, line: Line, taken: int, right: bool, thread: int, runs: str, done: Done) -> None:
        """Take the strand at position ``taken`` and tie ``runs`` with it."""
        if not 0 <= taken < len(self.order) or self._thread_at(taken) != thread:
            raise refuse(line, f"no {self.threads[thread]} hangs in position {taken + 1}")
        done.ways.append(len(done.moves))
        position = taken if right else taken - 1
        to_edge = runs.endswith(f" {words.TO_THE_EDGE}")
        ending = f" {words.TO_THE_EDGE}" if to_edge else f", {words.LEAVE_IT}"
        if not runs.endswith(ending):
            raise refuse(line, "it does not tell where the strand is left")
        for part in runs.removesuffix(ending).split(", "):
            run = grammar.KNOTS.fullmatch(part)
            if run is None or int(run[1]) < 1:
                raise refuse(line, f"{part!r} is not understood")
            count, knot = int(run[1]), Knot(run[2])
            for i in range(count):
                self._knot(line, position, knot, done, (run[3], run[4]) if i == count - 1 else None)
                position += 1 if right else -1
            if run[5] is not None:
                front = position if right else position + 1
                there = 0 <= front < len(self.order) and not knot.swaps
                if not there or self._thread_at(front) != thread_called(line, run[5], self.threads):
                    raise refuse(line, f"no {run[5]} goes on there")
        if to_edge != (position == (len(self.order) - 1 if right else -1)):
            raise refuse(line, "the edge is not where it says")

    def _thread_at(self, position: int) -> int:
        return self._thread_of[self.order[position]]

    def _pairs(self, line: Line, match: re.Match[str], done: Done) -> None:
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

    def _knot(
        self,
        line: Line,
        position: int,
        knot: Knot,
        done: Done,
        join: tuple[str | None, str | None] | None = None,
    ) -> None:
        if not 0 <= position < len(self.order) - 1:
            raise refuse(line, f"there is no pair at position {position + 1}")
        if len(self.knots) >= MAX_KNOTS:
            raise refuse(line, f"there are more than {MAX_KNOTS} knots")
        tied = tie(self.order, position, knot)
        done.moves.append((position, knot, (self._thread_of[tied.left], self._thread_of[tied.right])))
        joined = None
        if join is not None and join[0] is not None and join[1] is not None:
            joined = (int(join[1]) - 1, thread_called(line, join[0], self.threads))
            if joined[0] not in (tied.left, tied.right):
                raise refuse(line, f"strand {join[1]} is not in the knot of the join")
            self._thread_of[joined[0]] = joined[1]
        self.knots.append(ReadKnot(line.number, position, knot, joined))
