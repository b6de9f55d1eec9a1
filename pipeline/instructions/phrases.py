"""What is written for steps, lines and repeats, in the fixed words that the reader knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.instructions import words
from pipeline.instructions.model import Passage, Repeat, Said, Step
from pipeline.instructions.order import Way


@dataclass(frozen=True, slots=True)
class Phrases:
    """Words for steps of a band whose threads are called ``labels``."""

    labels: tuple[str, ...]

    def named(self, strand: int, thread: int) -> str:
        """A strand by thread and number."""
        return f"{self.labels[thread]} (strand {strand + 1})"

    def opening(self, step: Step) -> str:
        """How the step's line begins; nothing for a line without knots."""
        if not step.knots:
            return ""
        if step.way is Way.PAIRS:
            return f"{words.PAIRS} {step.knots[0][0] + 1}"
        assert step.leader is not None and step.leader_thread is not None
        if step.taken is None:
            way = words.RIGHTWARDS if step.rightwards else words.LEFTWARDS
            return f"{way}, {self.named(step.leader, step.leader_thread)} leads"
        side = words.TO_THE_RIGHT if step.rightwards else words.TO_THE_LEFT
        return f"{words.TAKE} {step.taken + 1} ({self.labels[step.leader_thread]}) {side}"

    def told(self, step: Step) -> str:
        """What is said for one step, after the opening of its line."""
        if not step.knots:
            return words.NO_KNOTS
        count, (first, knot) = len(step.knots), step.knots[0]
        if step.way is None:
            if knot.left_ties == step.rightwards:
                who = words.LEADER_TIES
            else:
                who = words.BASE_TIES if count == 1 else words.BASES_TIE
            said = f"{who} {count} ({words.span(first + 1, step.knots[-1][0] + 1)})"
        else:
            said = f"{count} {knot.value}"
            if step.skipped:
                said = f"{words.SKIP} {step.skipped}, {said}"
        return said + self._joined(step) + self._handed(step)

    def _joined(self, step: Step) -> str:
        if not step.joins:
            return ""
        join, (position, knot) = step.joins[0], step.knots[0]
        left = knot.left_ties == join.tying  # the strand that goes on hung left of the other
        strand = step.order[position + (left == knot.swaps)]
        return f" {words.JOINING} {self.labels[join.thread]} to strand {strand + 1}"

    def _handed(self, step: Step) -> str:
        if step.next_leader is None:
            return ""
        thread = step.threads[step.order.index(step.next_leader)]
        if step.way is None:
            return f" then {self.named(step.next_leader, thread)} leads"
        return f" then {self.labels[thread]} {words.GOES_ON}"

    def line(self, passage: Passage, index: int) -> str:
        """A numbered line."""
        said = passage.said[index]
        first = said.lines[0]
        number = f"{passage.unit.capitalize()} {passage.number(index)}"
        runs = ", ".join(self.told(step) for step in first)
        if not first[0].knots:
            return f"{number}: {runs}."
        joint = ", " if first[0].way is None else ": "
        text = f"{number}{joint}{self.opening(first[0])}: {runs}"
        if len(said.lines) > 1:
            text += f"; {self._same_with(said)}"
        return text + "."

    def _same_with(self, said: Said) -> str:
        taken = [(line[0].taken, line[0].leader_thread) for line in said.lines]
        threads = [thread for _, thread in taken if thread is not None]
        if len({position for position, _ in taken}) == 1:
            names = (
                f" ({words.counted(self.labels[t] for t in threads[1:])})" if len(set(threads)) > 1 else ""
            )
            return f"{words.SAME_WITH_NEXT} {len(taken) - 1} there{names}"
        others = [
            f"{position + 1}" + ("" if thread == threads[0] else f" ({self.labels[thread]})")
            for position, thread in taken[1:]
            if position is not None and thread is not None
        ]
        return f"{words.SAME_WITH} {', '.join(others)}"

    def repeat(self, passage: Passage, repeat: Repeat) -> str:
        """A passage that is tied again."""
        numbers = _numbered(passage, repeat.first, repeat.last).capitalize()
        source = _numbered(passage, repeat.source, repeat.source + repeat.length - 1)
        count = f", {words.times(repeat.count)}" if repeat.count > 1 else ""
        others = f", {words.OTHER_STRANDS}" if repeat.other_strands else ""
        return f"{numbers}: as {source}{count}{others}."

    def order(self, passage: Passage, index: int) -> str:
        """The order to be found after a line."""
        order = self.hanging(passage.said[index].last.threads)
        return f"Order after {passage.unit} {passage.number(index)}, left to right: {order}."

    def hanging(self, threads: Sequence[int]) -> str:
        """Threads from left to right, counted."""
        return words.counted(self.labels[thread] for thread in threads)


def _numbered(passage: Passage, first: int, last: int) -> str:
    if first == last:
        return f"{passage.unit} {passage.number(first)}"
    return f"{passage.unit}s {words.span(passage.number(first), passage.number(last))}"
