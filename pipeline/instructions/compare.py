"""Whether written instructions tie the band they claim to: the text is read, tied and compared.

Nothing here or in ``pipeline.instructions.reader`` knows how the text was made; they share the words alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate, islice
from pathlib import Path

from pipeline.band.knots import Knot, tie
from pipeline.band.pattern import Pattern
from pipeline.files.channels import label
from pipeline.files.reading import Kind, read_plain, text_of
from pipeline.instructions import words
from pipeline.instructions.reader import Reading, read_instructions
from pipeline.limits import MOST_TEXT_BYTES

INSTRUCTIONS = Kind("text", MOST_TEXT_BYTES, "Name a text of hitchgrid's.")
MAX_DIFFERENCES = 1000


def read_text(path: Path) -> str:
    """Read an instructions file. Raises InputError if it cannot be read as text of a sane size."""
    return text_of(read_plain(path, INSTRUCTIONS), label(path))


def compare(text: str, pattern: Pattern) -> list[str]:
    """Tie what the text says and return how it differs from the pattern; empty if it ties that band.

    At most ``MAX_DIFFERENCES`` are listed. Knots may come in any order that the network allows; each must
    then tie the same pair with the same kind. Raises InputError where the text cannot be understood or
    contradicts itself.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.instructions.text import write_instructions
    >>> text = write_instructions(two_rows())
    >>> compare(text, two_rows())
    []
    >>> compare(text, two_rows().model_copy(update={"strands": (0, 1, 1, 0)}))
    ['the strands start in another order']
    """
    return list(islice(_differences(read_instructions(text), pattern), MAX_DIFFERENCES))


def _differences(reading: Reading, pattern: Pattern) -> Iterator[str]:
    called = words.thread_labels([thread.name for thread in pattern.threads])
    if any(not index < len(called) or called[index] != name for index, name in reading.threads.items()):
        yield f"the threads are {', '.join(reading.threads.values())}, not {', '.join(called)}"
        return
    if reading.strands != pattern.strands:
        yield "the strands start in another order"
        return
    rows_before = [0, *accumulate(len(section.rows) for section in pattern.sections)]
    joins = {join.place: join for join in pattern.joins}
    waiting: list[list[tuple[int, int, int, int]]] = [[] for _ in range(len(pattern.strands) + 1)]
    kinds: dict[tuple[int, int, int], Knot] = {}
    time = 0
    for s, r, _, row in pattern.rows():
        for k, (position, knot) in enumerate(row.knots):
            waiting[position + 1].append((time, s, r, k))
            kinds[s, r, k] = knot
            time += 1
    for queue in waiting:
        queue.reverse()
    order = list(range(len(pattern.strands)))
    tied_in: list[int] = []  # the chart row of each knot, from 1
    for said in reading.knots:
        queue = waiting[said.position + 1]
        if not queue:
            yield f"line {said.line}: nothing more is tied at position {said.position + 1}"
            tied_in.append(0)
            continue
        due, s, r, k = queue[-1]
        where = f"row {rows_before[s] + r + 1}, position {said.position + 1}"
        sides = (waiting[said.position], waiting[said.position + 2])
        if any(side and side[-1][0] < due for side in sides):
            yield f"line {said.line}: {where} is tied before a knot that it hangs on"
        queue.pop()
        tied_in.append(rows_before[s] + r + 1)
        knot = kinds[s, r, k]
        if said.knot is not knot:
            yield f"line {said.line}: {where} is {knot.value} in the pattern, {said.knot.value} in the text"
        tied = tie(order, said.position, knot)
        join = joins.get((s, r, k))
        expected = None if join is None else ((tied.tying if join.tying else tied.core), join.thread)
        if said.joined != expected:
            yield f"line {said.line}: {where} has another join in the pattern than in the text"
    for claim in reading.claims:
        rows = tied_in[claim.first : claim.end]
        if rows and (min(rows), max(rows)) != (claim.low, claim.high):
            yield f"line {claim.line}: its knots lie in chart rows {min(rows)} to {max(rows)}"
    left = sorted(entry for queue in waiting for entry in queue)
    if left:
        _, s, r, _ = left[0]
        yield f"{len(left)} knots of the pattern are not tied, the first in row {rows_before[s] + r + 1}"
