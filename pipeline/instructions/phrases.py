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
        if step.taken is None:
            return words.RIGHTWARDS if step.rightwards else words.LEFTWARDS
        assert step.leader_thread is not None
        side = words.TO_THE_RIGHT if step.rightwards else words.TO_THE_LEFT
        return f"{words.TAKE} {step.taken + 1} ({self.labels[step.leader_thread]}) {side}"

    def told(self, step: Step) -> str:
        """What is said for one step by itself, after the opening of its line."""
        if not step.knots:
            return words.NO_KNOTS
        if step.way is not None:
            return self._run(step)
        assert step.leader is not None and step.leader_thread is not None
        if step.next_leader is None:
            return f"{self.named(step.leader, step.leader_thread)} {self._crossing(step)}"
        return f"{self._change(step)}; {self._goes_on(step)} {words.LEADS}"

    def _run(self, step: Step) -> str:
        """A run of diagonal work."""
        said = f"{len(step.knots)} {step.knots[0][1].value}{self._joined(step)}"
        if step.skipped:
            said = f"{words.SKIP} {step.skipped}, {said}"
        if step.next_thread is not None:
            said += f" {words.CHANGING_TO} {self.labels[step.next_thread]}"
        return said

    def _crossing(self, step: Step) -> str:
        """A run of row work, after the name of the leader."""
        (first, knot), last = step.knots[0], step.knots[-1][0]
        one = len(step.knots) == 1
        count = "" if one else f" {len(step.knots)}"
        columns = f"column{'' if one else 's'} {words.span(first + 1, last + 1)}"
        if knot.left_ties == step.rightwards:
            return f"{words.TIES_OVER}{count} ({columns}){self._joined(step)}"
        return (
            f"{words.HELD}{count} {'ties' if one else 'tie'} {words.OVER_IT} ({columns}){self._joined(step)}"
        )

    def _change(self, step: Step) -> str:
        """A knot in which the leader changes, told before it is tied."""
        position, knot = step.knots[0]
        side = position + (not knot.left_ties)  # where the strand hangs that ties: both stay
        name = self.named(step.order[side], step.shown[0])
        return f"{words.CHANGE} {position + 1}, {name} {words.TURNS_BACK}{self._joined(step)}"

    def _goes_on(self, step: Step) -> str:
        assert step.next_leader is not None and step.next_thread is not None
        return self.named(step.next_leader, step.next_thread)

    def _joined(self, step: Step) -> str:
        if not step.joins:
            return ""
        join, (position, knot) = step.joins[0], step.knots[0]
        left = knot.left_ties == join.tying  # the strand that goes on hung left of the other
        strand = step.order[position + (left == knot.swaps)]
        return f" {words.JOINING} {self.labels[join.thread]} to strand {strand + 1}"

    def line(self, passage: Passage, index: int) -> str:
        """A numbered line, without what it shows."""
        said = passage.said[index]
        first = said.lines[0]
        number = f"{passage.unit.capitalize()} {passage.number(index)}"
        if not passage.by_row:
            number += f" ({self.chart_rows(passage, index)})"
        if not first[0].knots:
            return f"{number}: {words.NO_KNOTS}."
        if first[0].way is None:
            return f"{number}, {self.opening(first[0])}: {self._row(first)}."
        text = f"{number}: {self.opening(first[0])}: {', '.join(self._run(step) for step in first)}"
        if first[0].taken is not None:
            text += f" {words.TO_THE_EDGE}" if first[-1].at_edge else f", {words.LEAVE_IT}"
        if len(said.lines) > 1:
            text += f"; {self._same_with(said)}"
        return text + "."

    def chart_rows(self, passage: Passage, index: int) -> str:
        """The rows of the chart that a line's knots lie in."""
        low, high = (row + 1 for row in passage.rows(index))
        return f"{words.CHART_ROWS}{'' if low == high else 's'} {words.span(low, high)}"

    def _row(self, steps: Sequence[Step]) -> str:
        """The runs of a row, as sentences of its leaders."""
        assert steps[0].leader is not None and steps[0].leader_thread is not None
        parts, runs = [], 0
        leads = self.named(steps[0].leader, steps[0].leader_thread)
        for step in steps:
            if step.next_leader is None:
                leads += f", then {self._crossing(step)}" if runs else f" {self._crossing(step)}"
                runs += 1
                continue
            parts += [leads if runs else f"{leads} {words.LEADS}", self._change(step)]
            leads, runs = self._goes_on(step), 0
        parts.append(leads if runs else f"{leads} {words.LEADS}")
        return "; ".join(parts)

    def shows(self, ways: Sequence[Sequence[int]]) -> str:
        """The colours to be seen in a line once it is tied (see ``Said.shows``)."""
        if len(ways) > 1 and len(set(map(tuple, ways))) == 1:
            return f"{words.SHOWS} {words.EACH_TIME}: {self.hanging(ways[0])}."
        return f"{words.SHOWS}: {'; '.join(map(self.hanging, ways))}."

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

    def time_of(self, passage: Passage, repeat: Repeat, index: int) -> str:
        """Which time a passage is tied again in a line of a repeat."""
        source = _numbered(passage, repeat.source, repeat.source + repeat.length - 1)
        time = (index - repeat.first) // repeat.length + 1
        return f"as {source}: time {time} of {repeat.count}"

    def boxes(self, count: int) -> str:
        """Places to tick, one for each time."""
        return f"{words.DONE}: {' '.join([words.BOX] * count)}"

    def each_time(self, passage: Passage, repeat: Repeat) -> str:
        """The order that every passing of a repeat leaves."""
        order = self.hanging(passage.said[repeat.last].last.threads)
        return f"{words.ORDER_AFTER} {words.EACH_TIME}, left to right: {order}."

    def order(self, passage: Passage, index: int) -> str:
        """The order to be found after a line."""
        last = passage.said[index].last
        strands = words.listed([strand + 1 for strand in last.order])
        return (
            f"{words.ORDER_AFTER} {passage.unit} {passage.number(index)}, left to right: "
            f"{self.hanging(last.threads)}; strands {strands}."
        )

    def measure(self, passage: Passage, index: int) -> str:
        """What should be left of some strands after a line."""
        each = "; ".join(
            f"{self.named(m.strand, m.thread)} in position {m.position + 1}: {m.left_mm / 10:.0f} cm, "
            f"{words.TOO_SHORT} {m.least_mm / 10:.0f} cm"
            for m in passage.measures[index]
        )
        return f"{words.MEASURE_AFTER} {passage.unit} {passage.number(index)}, {words.FROM_THE_KNOT}: {each}."

    def hanging(self, threads: Sequence[int]) -> str:
        """Threads one after another, counted."""
        return words.counted(self.labels[thread] for thread in threads)


def _numbered(passage: Passage, first: int, last: int) -> str:
    if first == last:
        return f"{passage.unit} {passage.number(first)}"
    return f"{passage.unit}s {words.span(passage.number(first), passage.number(last))}"
