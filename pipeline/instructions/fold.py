"""Lines that are said again are not said twice: the same with other strands, and repeated passages.

Two lines are the same when the same strands' threads meet in the same knots at the same positions. The
strands themselves may be others of the same threads; a repeat then says so where strands are named.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from pipeline.instructions.bench import Step

LOOK_BACK = 400
"""How many earlier lines that begin alike are looked at for a repeat."""
LONGEST = 400
"""Longest passage that is referred to, in lines."""


@dataclass(frozen=True, slots=True)
class Said:
    """A numbered line of the text: the steps of one line, then of those that do the same elsewhere."""

    lines: tuple[tuple[Step, ...], ...]

    @property
    def number(self) -> int:
        return self.lines[0][0].line

    @property
    def spoken(self) -> int:
        """Spoken steps: finding the row or strand, the runs, and one for "the same with …"."""
        first = self.lines[0]
        return bool(first[0].knots) * (1 + len(first)) + (len(self.lines) > 1)

    @property
    def last(self) -> Step:
        return self.lines[-1][-1]

    @property
    def checkpoint(self) -> bool:
        return any(step.checkpoint for line in self.lines for step in line)


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
        return (self.last - self.first + 1) // self.length


def gather(steps: Sequence[Step]) -> list[Said]:
    """Group the steps of one section into numbered lines, each strand at most once in a line."""
    gathered: list[Said] = []
    for _, group in groupby(steps, key=lambda step: step.line):
        line = tuple(group)
        before = gathered[-1].lines if gathered else ()
        if before and len(before) < len(line[0].order) and _same_again(before[-1], line):
            gathered[-1] = Said((*before, line))
        else:
            gathered.append(Said((line,)))
    return gathered


def _same_again(before: tuple[Step, ...], line: tuple[Step, ...]) -> bool:
    if before[0].taken is None or line[0].taken is None:
        return False
    if any(step.joins for step in (*before, *line)) or len(before) != len(line):
        return False
    if _heading_right(before) != _heading_right(line):
        return False
    return all(a.text == b.text for a, b in zip(before, line, strict=True))


def _heading_right(line: tuple[Step, ...]) -> bool:
    return line[0].taken == line[0].knots[0][0]


def fold(said: Sequence[Said]) -> list[int | Repeat]:
    """Replace passages that were said before by repeats; other lines stay as their index.

    Goes from the first line to the last and takes each time the repeat that saves most spoken steps,
    the nearest source first. Only lines that stand in the text themselves are referred to.
    """
    does = [_what_it_does(line) for line in said]
    names = [tuple((step.leader, step.next_leader) for step in line.lines[0]) for line in said]
    named = [line.lines[0][0].taken is None for line in said]
    spoken_before = [0]
    for line in said:
        spoken_before.append(spoken_before[-1] + line.spoken)
    starts: dict[object, list[int]] = defaultdict(list)
    in_text = [False] * len(said)
    folded: list[int | Repeat] = []
    i = 0
    while i < len(said):
        best: tuple[int, int, int] | None = None  # (−saved, lines per pass, distance)
        found: Repeat | None = None
        for source in reversed(starts[does[i]][-LOOK_BACK:]):
            length = 0
            while (
                source + length < i
                and length < LONGEST
                and i + length < len(said)
                and in_text[source + length]
                and does[source + length] == does[i + length]
            ):
                length += 1
                end = i + length
                while does[source : source + length] == does[end : end + length]:
                    end += length
                saved = spoken_before[end] - spoken_before[i] - 1
                adjacent = source + length == i
                rank = (-saved, length, i - source)
                if saved >= (1 if adjacent else 2) and (best is None or rank < best):
                    others = any(
                        named[k] and names[k] != names[source + (k - i) % length] for k in range(i, end)
                    )
                    best, found = rank, Repeat(i, end - 1, source, length, others)
        if found is None:
            in_text[i] = True
            starts[does[i]].append(i)
            folded.append(i)
            i += 1
        else:
            folded.append(found)
            i = found.last + 1
    return folded


def spoken_steps(steps: Sequence[Step]) -> int:
    """How many spoken steps one section takes, folded; a repeat is one."""
    said = gather(steps)
    return sum(1 if isinstance(item, Repeat) else said[item].spoken for item in fold(said))


def _what_it_does(said: Said) -> object:
    """What two lines must have in common to be the same; a line with a join is like no other."""
    if any(step.joins for line in said.lines for step in line):
        return (said.number,)
    return tuple(
        (
            step.opening.split(",")[0] if step.taken is None else step.taken,
            step.knots,
            step.shown,
            step.hidden,
        )
        for line in said.lines
        for step in line
    )
