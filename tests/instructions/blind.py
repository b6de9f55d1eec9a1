"""A maker who has nothing but the words: reads the text line by line, ties, and looks where it says to look.

It shares no code with the reader of the package, nor its grammar; it knows the knots from the text's own
explanations: who goes round whom, and whether both stay.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

KINDS = {"forward": (True, True), "backward": (False, True), "forward-backward": (True, False),
         "backward-forward": (False, False)}  # fmt: skip
"""Whether the left strand ties, and whether the two change places."""

Slip = Callable[[int, bool, bool], tuple[bool, bool]]
"""What really is tied as knot number … instead of (left ties, they change places)."""


class Wrong(Exception):
    """What hangs or shows is not what the text says; ``knots`` were tied by then."""

    def __init__(self, line: str, knots: int) -> None:
        super().__init__(line)
        self.knots = knots


@dataclass
class Maker:
    """Strands hanging on the board, and the knots tied so far. With ``colours`` it looks at colours alone."""

    slip: Slip = lambda _, left, swap: (left, swap)
    colours: bool = False
    hang: list[tuple[int, str]] = field(default_factory=list)
    """(strand number, thread) at each position"""
    knots: list[tuple[int, bool, bool, str]] = field(default_factory=list)
    """(position from 1, left ties, they change places, colour that shows)"""
    lines: dict[str, list[tuple[int, bool, bool, str]]] = field(default_factory=dict)
    said: str = ""

    def follow(self, text: str) -> Maker:
        """Set up and tie the whole text. Raises Wrong where a look disagrees."""
        text = re.sub(r"\n {4}", " ", text)
        order = re.search(r"Order at the start, left to right: (.+) \(\d+ strands\)\.", text)
        assert order is not None
        self.hang = list(enumerate(_expand(order[1]), 1))
        section = ""
        for self.said in text.split("\nWork\n")[1].split("\nFinish\n")[0].split("\n"):
            if self.said.startswith("Section"):
                section = self.said.split(":")[0]
            elif self.said.startswith(("Row", "Step")):
                self._line(section)
            elif self.said.startswith("Order after"):
                self._order()
            elif self.said.startswith("Measure after"):
                self._measured()
        return self

    def tie(self, position: int, left_ties: bool, swaps: bool) -> None:
        left_ties, swaps = self.slip(len(self.knots), left_ties, swaps)
        left, right = self.hang[position - 1 : position + 1]
        self.knots.append((position, left_ties, swaps, (left if left_ties else right)[1]))
        if swaps:
            self.hang[position - 1 : position + 1] = [right, left]

    def look(self, holds: bool) -> None:
        if not holds:
            raise Wrong(self.said, len(self.knots))

    def _line(self, section: str) -> None:
        again = re.match(r"(Row|Step)s? ([\d–]+): as (?:row|step)s? ([\d–]+)", self.said)
        if again:
            numbers, source = _range(again[2]), _range(again[3])
            for i, number in enumerate(numbers):
                before = self.lines[f"{section}{again[1]}{source[i % len(source)]}"]
                begin = len(self.knots)
                for position, left_ties, swaps, _ in before:
                    self.tie(position, left_ties, swaps)
                self.look([k[3] for k in self.knots[begin:]] == [k[3] for k in before])
                self.lines[f"{section}{again[1]}{number}"] = before
            return
        label = re.match(r"(Row|Step) (\d+)(?: \(chart rows? [\d–]+\))?(.*)", self.said)
        assert label is not None
        begin, ways = len(self.knots), [0]
        work, _, shows = label[3].partition(" Shows")
        if work.startswith(","):
            self._row(work)
        elif "take the strand" in work:
            ways = self._strands(work)
        elif "pairs" in work:
            self._pairs(work)
        if shows:
            self._shows(shows, begin, ways, by_row=label[1] == "Row")
        self.lines[f"{section}{label[1]}{label[2]}"] = self.knots[begin:]

    def _row(self, work: str) -> None:
        rising = work.startswith(", left to right")
        at = 1 if rising else len(self.hang) - 1
        for sentence in re.split(r"; ", work.split(": ", 1)[1].rstrip(".")):
            change = re.match(r"change at column (\d+), (.+) \(strand (\d+)\) ties and turns back", sentence)
            if change:
                self.look(at == int(change[1]))
                left = self.hang[at - 1]
                same_thread = left[1] == self.hang[at][1]
                left_ties = left[0] == int(change[3]) if same_thread else left[1] == change[2]
                self.tie(at, left_ties, False)
                self._join(sentence)
                at += 1 if rising else -1
            else:
                leader = re.match(r"(.+?) \(strand (\d+)\)", sentence)
                assert leader is not None
                self.look_at(at if rising else at + 1, leader[1], int(leader[2]))
            for run in sentence.split(", then "):
                for held, number in re.findall(r"(ties over|held while) the next( \d+)?", run):
                    for _ in range(int(number or 1)):
                        self.tie(at, (held == "ties over") == rising, True)
                        at += 1 if rising else -1
                    self._join(run)
        self.look(at == (len(self.hang) if rising else 0))

    def look_at(self, position: int, thread: str, strand: int) -> None:
        number, colour = self.hang[position - 1]
        self.look(colour == thread and (self.colours or number == strand))

    def _strands(self, work: str) -> list[int]:
        head = re.search(r"position (\d+) \((.+?)\) to the (right|left): (.+)", work)
        assert head is not None
        runs, _, same = head[4].rstrip(".").partition("; the same with ")
        taken = [(int(head[1]), head[2])]
        there = re.match(r"the next (\d+) there(?: \((.+)\))?", same)
        if there:
            taken += [
                (int(head[1]), t) for t in (_expand(there[2]) if there[2] else [head[2]] * int(there[1]))
            ]
        elif same:
            others = (re.fullmatch(r"(\d+)(?: \((.+)\))?", other) for other in same.split(", "))
            taken += [(int(other[1]), other[2] or head[2]) for other in others if other]
        ways = []
        for position, thread in taken:
            ways.append(len(self.knots))
            self.look(self.hang[position - 1][1] == thread)
            at = position if head[3] == "right" else position - 1
            for number, kind, tail in re.findall(r"(\d+) ((?:forward|backward)[a-z-]*)([^,]*)", runs):
                for _ in range(int(number)):
                    self.tie(at, *KINDS[kind])
                    at += 1 if head[3] == "right" else -1
                self._join(tail)
        return [way - ways[0] for way in ways]

    def _pairs(self, work: str) -> None:
        first = re.search(r"pairs from position (\d+): (.+)\.", work)
        assert first is not None
        at = int(first[1])
        for part in first[2].split(", "):
            if part.startswith("skip"):
                at += 2 * int(part.split()[1])
                continue
            number, kind = part.split()[:2]
            for _ in range(int(number)):
                self.tie(at, *KINDS[kind])
                at += 2
            self._join(part)

    def _join(self, said: str) -> None:
        new = re.search(r"joining new (.+?) to strand (\d+)", said)
        if new:
            self.hang = [(n, new[1].strip()) if n == int(new[2]) else (n, t) for n, t in self.hang]

    def _shows(self, shows: str, begin: int, ways: list[int], *, by_row: bool) -> None:
        tied = self.knots[begin:]
        if by_row:
            seen = [[k[3] for k in sorted(tied)]]
        else:
            seen = [[k[3] for k in tied[a:b]] for a, b in zip(ways, [*ways[1:], len(tied)], strict=True)]
        told = [_expand(way) for way in shows.split(": ", 1)[1].rstrip(".").split("; ")]
        self.look(seen == (told * len(seen) if shows.startswith(" each time") else told))

    def _order(self) -> None:
        told = self.said.split("left to right: ")[1].rstrip(".").partition("; strands ")
        self.look([thread for _, thread in self.hang] == _expand(told[0]))
        if told[2] and not self.colours:
            self.look([n for n, _ in self.hang] == [n for part in told[2].split(", ") for n in _range(part)])

    def _measured(self) -> None:
        number = re.match(r"Measure after (?:row|step) (\d+)", self.said)
        assert number is not None
        for thread, strand in re.findall(r"(?:: |; )([^:;]+) \(strand (\d+)\) in position", self.said):
            self.look((int(strand), thread) in self.hang)


def _expand(counted: str) -> list[str]:
    pairs = (part.split(" ", 1) for part in counted.split(", "))
    return [name for count, name in pairs for _ in range(int(count))]


def _range(text: str) -> list[int]:
    first, _, last = text.partition("–")
    return list(range(int(first), int(last or first) + 1))
