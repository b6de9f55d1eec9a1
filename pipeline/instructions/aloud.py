"""The instructions for reading aloud to a group: short sentences, one on a line, all of them speakable.

No brackets, no spans of numbers, no numbers of columns: who listens sees no page. After each row or step
comes what everybody should see, so that nobody falls behind with a wrong knot.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.instructions import words
from pipeline.instructions.model import Instructions, Passage, Repeat, Said, Step
from pipeline.instructions.order import Way
from pipeline.instructions.start import UNDO
from pipeline.instructions.text import CAUTIONS
from pipeline.literals import plural

PAUSE = "(Wait until all are there.)"
"""What is not read: a hint for the reader."""


def spoken_form(told: Instructions) -> str:
    """The whole band for reading aloud, a sentence on a line; lines in brackets are hints for the reader.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.instructions.compose import instructions
    >>> said = spoken_form(instructions(two_rows())).splitlines()
    >>> i = said.index("Row 2, from right to left.")
    >>> said[i + 1 : i + 4]
    ['Navy leads.', 'Hold it: the next 3 tie over it.', 'Now you see 3 white.']
    """
    return "\n".join(_Aloud(told).lines()) + "\n"


class _Aloud:
    """Says a band; ``labels`` are its threads as they are called."""

    def __init__(self, told: Instructions) -> None:
        self._told = told
        self._labels = told.labels

    def lines(self) -> Iterator[str]:
        told = self._told
        yield f"We tie {told.title}."
        yield from CAUTIONS
        yield ""
        strands = told.pattern.strands
        yield f"Everybody has {len(strands)} strands side by side."
        yield f"From left to right they are {self._hanging(strands)}."
        yield from (sentence for sentence in told.before if "Check the order" not in sentence)
        yield "A knot has two halves. For each, the strand that ties goes over the other one, back behind it,"
        yield "and up through the opening between the two."
        yield UNDO
        yield PAUSE
        for passage in told.passages:
            if len(told.passages) > 1:
                yield ""
                yield f"Now part {passage.section + 1} of {len(told.passages)}."
            yield from self._passage(passage)
        yield ""
        yield "That was the last knot."
        yield from told.finish

    def _passage(self, passage: Passage) -> Iterator[str]:
        for item in passage.items:
            yield ""
            if isinstance(item, Repeat):
                yield from self._repeat(passage, item)
                last, done = item.last, range(item.first, item.last + 1)
            else:
                yield from self._line(passage, item)
                last, done = item, range(item, item + 1)
            if not passage.checks.isdisjoint(done):
                order = self._hanging(passage.said[last].last.threads)
                yield f"Stop and look. From left to right you have {order}."
                yield PAUSE

    def _repeat(self, passage: Passage, repeat: Repeat) -> Iterator[str]:
        unit = passage.unit
        first, end = passage.number(repeat.source), passage.number(repeat.source + repeat.length - 1)
        which = f"{unit} {first}" if first == end else f"{unit}s {first} to {end}"
        often = "" if repeat.count == 1 else f", {words.times(repeat.count)} in all"
        yield f"{which.capitalize()} again{often}."
        numbers = f"{unit}s {passage.number(repeat.first)} to {passage.number(repeat.last)}"
        if repeat.first == repeat.last:
            numbers = f"{unit} {passage.number(repeat.first)}"
        yield f"(Read {which} again{' each time, and count' if often else ''}: {numbers} of the band.)"

    def _line(self, passage: Passage, index: int) -> Iterator[str]:
        said = passage.said[index]
        steps = said.lines[0]
        name = f"{passage.unit.capitalize()} {passage.number(index)}"
        if not steps[0].knots:
            yield f"{name} has no knots."
            return
        if steps[0].way is None:
            yield f"{name}, from {words.RIGHTWARDS if steps[0].rightwards else words.LEFTWARDS}."
            yield from self._row(steps)
        elif steps[0].way is Way.PAIRS:
            yield f"{name}, pairs from position {steps[0].knots[0][0] + 1}."
            yield from self._runs(steps)
        else:
            yield f"{name}."
            yield from self._taken(said)
        yield from self._seen(said)

    def _row(self, steps: Sequence[Step]) -> Iterator[str]:
        assert steps[0].leader_thread is not None
        yield f"{self._labels[steps[0].leader_thread].capitalize()} leads."
        for step in steps:
            (_, knot), count = step.knots[0], len(step.knots)
            if step.next_thread is not None:
                ties, goes_on = self._labels[step.shown[0]], self._labels[step.next_thread]
                side = "left" if knot.left_ties else "right"
                yield f"The leader changes in the next knot. The {side} one, {ties}, ties and turns back."
                yield f"Let the leader hang; the other one, {goes_on}, leads."
            elif knot.left_ties == step.rightwards:
                yield f"It ties over the next{'' if count == 1 else f' {count}'}."
            else:
                yield f"Hold it: the next{' ties' if count == 1 else f' {count} tie'} over it."
            yield from self._joined(step)

    def _runs(self, steps: Sequence[Step]) -> Iterator[str]:
        for step in steps:
            if step.skipped:
                yield f"Leave out {plural(step.skipped, 'pair')}."
            yield f"{len(step.knots)} {step.knots[0][1].value}."
            if step.next_thread is not None:
                yield f"Let that one hang; {self._labels[step.next_thread]} goes on."
            yield from self._joined(step)

    def _taken(self, said: Said) -> Iterator[str]:
        steps = said.lines[0]
        assert steps[0].taken is not None and steps[0].leader_thread is not None
        side = words.TO_THE_RIGHT if steps[0].rightwards else words.TO_THE_LEFT
        thread = self._labels[steps[0].leader_thread]
        yield f"Take the strand in position {steps[0].taken + 1}, {thread}, {side}."
        yield from self._runs(steps)
        yield "That is the edge." if steps[-1].at_edge else "Leave it there."
        for line in said.lines[1:]:
            assert line[0].taken is not None and line[0].leader_thread is not None
            yield f"The same with position {line[0].taken + 1}, {self._labels[line[0].leader_thread]}."

    def _joined(self, step: Step) -> Iterator[str]:
        for join in step.joins:
            old = "tying" if join.tying else "hidden"
            yield f"In that knot the {old} strand ends: lay in a new piece of {self._labels[join.thread]}."

    def _seen(self, said: Said) -> Iterator[str]:
        ways = said.shows if len(set(said.shows)) > 1 else said.shows[:1]
        yield f"Now you see {'; then '.join(self._hanging(way) for way in ways)}."

    def _hanging(self, threads: Sequence[int]) -> str:
        return words.counted(self._labels[thread] for thread in threads)
