"""Lines that are said again are not said twice: the same with other strands, and repeated passages.

Two lines are the same when the same strands' threads meet in the same knots at the same positions. The
strands themselves may be others of the same threads; a repeat then says so where strands are named.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import accumulate, groupby

from pipeline.instructions.model import Repeat, Said, Step

LOOK_BACK = 400
"""How many earlier lines that begin alike are looked at for a repeat."""
NESTED = 4
"""After this many lines of its own a passage that is referred to may go on with lines that are repeats."""
LONGEST = 400
"""Longest passage that is referred to, in lines."""


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
    if before[0].rightwards != line[0].rightwards:
        return False
    return [_told(step) for step in before] == [_told(step) for step in line]


def _told(step: Step) -> object:
    """What is said of a step of a strand that is taken."""
    return step.knots[0][1], len(step.knots), step.next_thread, step.at_edge


def fold(said: Sequence[Said]) -> list[int | Repeat]:
    """Replace passages that were said before by repeats; other lines stay as their index.

    Goes from the first line to the last and takes each time the repeat that saves most breaths,
    the nearest source first. Lines that stand in the text themselves are referred to; a long passage may hold
    repeats.
    """
    does = [_what_it_does(line) for line in said]
    names = [tuple((step.leader, step.next_leader) for step in line.lines[0]) for line in said]
    named = [line.lines[0][0].taken is None for line in said]
    before = [0, *accumulate(line.breaths for line in said)]
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
                and (in_text[source + length] or length >= NESTED)
                and does[source + length] == does[i + length]
            ):
                length += 1
                end = i + length
                while does[source : source + length] == does[end : end + length]:
                    end += length
                saved = before[end] - before[i] - 1
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


def breaths(steps: Sequence[Step]) -> int:
    """How many breaths one section takes, folded; a repeat is one."""
    said = gather(steps)
    return sum(1 if isinstance(item, Repeat) else said[item].breaths for item in fold(said))


def _what_it_does(said: Said) -> object:
    """What two lines must have in common to be the same; a line with a join is like no other."""
    if any(step.joins for line in said.lines for step in line):
        return (said.last.line,)
    return tuple(
        (step.rightwards, step.taken, step.knots, step.shown, step.hidden)
        for line in said.lines
        for step in line
    )
