"""Reads how a maker writes groups and switches: ``navy 4, chalk 3`` and ``1-2 left and 3-4 right, 2-3``."""

from __future__ import annotations

import re
from itertools import pairwise

from pipeline.blocks.weave import Move, Switch
from pipeline.drawer.stash import split_names
from pipeline.errors import InputError
from pipeline.limits import MOST_STRANDS

MAX_WORDS = 2000
_GROUP = re.compile(r"(.+?)\s+(\d{1,4})")
_SWITCH = re.compile(r"(\d{1,3})\s*-\s*(\d{1,3})(?:\s+(left|right))?")


def parse_groups(text: str) -> tuple[tuple[str, int], ...]:
    """Read groups from left to right: a thread's name and how many strands of it hang together.

    Raises InputError for anything else, for fewer than two groups or more strands than a band has.

    >>> parse_groups("navy 4, chalk 3")
    (('navy', 4), ('chalk', 3))
    """
    groups: list[tuple[str, int]] = []
    for part in split_names(text) if text.isprintable() else ():
        match = _GROUP.fullmatch(part)
        if match is None or int(match[2]) < 1:
            raise InputError(
                f"--groups: {part[:60]!r} is not a thread and a number of strands.",
                'Write them from left to right as "navy 4, chalk 3".',
            )
        groups.append((match[1], int(match[2])))
    if len(groups) < 2:
        raise InputError("--groups: a band of blocks needs two groups or more.", 'Write "navy 4, chalk 3".')
    if sum(strands for _, strands in groups) > MOST_STRANDS:
        raise InputError(f"--groups: a band has at most {MOST_STRANDS} strands.", "Use smaller groups.")
    return tuple(groups)


def parse_moves(text: str, groups: int) -> tuple[Move, ...]:
    """Read a sequence of switches over ``groups`` places, numbered from 1 at the left.

    ``1-2 left``: the groups in places 1 and 2 switch and the one coming from the left shows; without
    ``left`` or ``right`` the one shows that has tied less. Commas follow on, ``and`` begins together. Raises
    InputError for places that are no neighbours, are not there or are in two switches at once.

    >>> [[(s.place, s.left_shows) for s in move] for move in parse_moves("1-2 left and 3-4, 2-3 right", 4)]
    [[(0, True), (2, None)], [(1, False)]]
    """
    parts = text.split(",")
    if len(parts) > MAX_WORDS:
        raise InputError(
            f"--switch: more than {MAX_WORDS} moves.", "Write one repeat; it is repeated anyway."
        )
    return tuple(_move(part, groups) for part in parts)


def _move(text: str, groups: int) -> Move:
    switches: list[Switch] = []
    for part in re.split(r"\s+and\s+", text.strip()):
        match = _SWITCH.fullmatch(part.strip())
        if match is None:
            raise InputError(
                f"--switch: {part.strip()[:60]!r} is not understood.",
                'Write which neighbours switch and which shows, as "1-2 left, 2-3 right".',
            )
        one, other = int(match[1]), int(match[2])
        if other != one + 1 or not 1 <= one < groups:
            raise InputError(
                f"--switch: places {one} and {other} are no neighbours among {groups} groups.",
                "Use 1-2." if groups == 2 else f"Use 1-2 to {groups - 1}-{groups}.",
            )
        switches.append(Switch(one - 1, None if match[3] is None else match[3] == "left"))
    switches.sort(key=lambda switch: switch.place)
    if any(b.place - a.place < 2 for a, b in pairwise(switches)):
        raise InputError(
            f"--switch: in {text.strip()[:60]!r} a group switches twice at once.", "Use a comma, not and."
        )
    return tuple(switches)
