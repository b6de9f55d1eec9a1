"""The words that written instructions are made of; whoever writes or reads them takes them from here.

Only vocabulary lives here: how a thread is called, how a run of equal things is counted, and the fixed
phrases. Positions, columns and strands count from 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import groupby

from pipeline.literals import WORKED, working

CAUTIONS, BAND, MATERIALS, WORDS, SETTING_UP, WORK, FINISH = HEADINGS = (
    "Cautions",
    "The band",
    "Materials",
    "Words and knots",
    "Setting up",
    "Work",
    "Finish",
)
WORKED_WORDS = {way: working(way).words for way in WORKED}
RIGHTWARDS, LEFTWARDS = "left to right", "right to left"
TO_THE_RIGHT, TO_THE_LEFT = "to the right", "to the left"
LEADS, TIES_OVER, HELD, OVER_IT = "leads", "ties over the next", "is held while the next", "over it"
CHANGE, TURNS_BACK = "change at column", "ties and turns back"
TAKE = "take the strand in position"
TO_THE_EDGE, LEAVE_IT = "to the edge", "then leave it"
CHANGING_TO = "changing to"
PAIRS = "pairs from position"
CHART_ROWS = "chart row"
NO_KNOTS, NO_ROWS = "no knots", "no rows"
SAME_WITH = "the same with"
SAME_WITH_NEXT = "the same with the next"
SKIP = "skip"
JOINING = "joining new"
OTHER_STRANDS = "with other strands of the same threads"
SHOWS, DONE, BOX = "Shows", "Done", "[ ]"
EACH_TIME = "each time"
ORDER_AFTER, MEASURE_AFTER = "Order after", "Measure after"
FROM_THE_KNOT = "from the last knot to the end"
TOO_SHORT = "too short below"
START_ORDER = "Order at the start, left to right"


def thread_labels(names: Sequence[str]) -> tuple[str, ...]:
    """How each thread is called in a sentence: its name if that reads as a plain word, else its number.

    >>> thread_labels(["navy", "310, black", "Navy"])
    ('navy', 'thread 2', 'thread 3')
    """
    labels: list[str] = []
    seen: set[str] = set()
    for number, name in enumerate(names, start=1):
        label = name if _plain(name) and name.casefold() not in seen else f"thread {number}"
        seen.add(label.casefold())
        labels.append(label)
    return tuple(labels)


def _plain(name: str) -> bool:
    if len(name) > 40 or not name[:1].isalpha() or "  " in name or name != name.strip():
        return False
    if re.match(r"thread \d", name.casefold()):
        return False
    return all(c.isalnum() or c in " -'./&+" for c in name)


def counted(labels: Iterable[str]) -> str:
    """Count neighbours that are equal.

    >>> counted(["navy", "chalk", "chalk", "navy"])
    '1 navy, 2 chalk, 1 navy'
    """
    return ", ".join(f"{len(list(group))} {label}" for label, group in groupby(labels))


def listed(numbers: Sequence[int]) -> str:
    """Numbers in their order, neighbours that rise gathered.

    >>> listed([3, 4, 5, 2, 1, 7])
    '3–5, 2, 1, 7'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(span(run[0], run[-1]) for run in runs)


def span(first: int, last: int) -> str:
    """A range of numbers, in the direction it is gone through.

    >>> span(3, 5), span(5, 3), span(2, 2)
    ('3–5', '5–3', '2')
    """
    return str(first) if first == last else f"{first}–{last}"


def times(count: int) -> str:
    """How often something is done.

    >>> times(1), times(2), times(5)
    ('once', 'twice', '5 times')
    """
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
