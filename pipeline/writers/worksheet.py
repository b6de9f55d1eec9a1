"""The worksheet: one HTML file that leads through the band step by step and keeps the maker's place."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from itertools import groupby
from typing import Any

from pipeline.band.handed import mirrored
from pipeline.band.knots import Knot
from pipeline.band.pattern import Join, Pattern, render
from pipeline.band.replay import replay
from pipeline.files.channels import printable
from pipeline.instructions.fold import gather
from pipeline.instructions.steps import Step, steps
from pipeline.instructions.text import CAUTIONS
from pipeline.instructions.words import LEFT_HANDED, counted, thread_labels
from pipeline.writers.ink import ink_on
from pipeline.writers.pages import data_block, page, thread_css

_KINDS = {Knot.FORWARD: 0, Knot.BACKWARD: 1, Knot.FORWARD_BACKWARD: 2, Knot.BACKWARD_FORWARD: 3}
_KNOT_WORDS = {
    Knot.FORWARD: "Forward: the left strand ties on the right one, and they change places.",
    Knot.BACKWARD: "Backward: the right strand ties on the left one, and they change places.",
    Knot.FORWARD_BACKWARD: "Forward-backward: the left strand ties one half forward, one half backward, and "
    "both stay where they are.",
    Knot.BACKWARD_FORWARD: "Backward-forward: the right strand ties one half backward, one half forward, and "
    "both stay where they are.",
}


def worksheet_html(pattern: Pattern, *, left_handed: bool = False) -> str:
    """The worksheet of a pattern; ``left_handed`` writes its plain list for the left hand.

    The page's place is kept under a hash of the pattern's content, so another pattern starts afresh.

    >>> from pipeline.band.example import two_rows
    >>> "two rows" in worksheet_html(two_rows())
    True
    """
    labels = thread_labels([printable(thread.name) for thread in pattern.threads])
    hands = [_Hand(pattern, labels, left) for left in (False, True)]
    shown = hands[left_handed]
    kinds = {knot for _, _, _, row in shown.pattern.rows() for _, knot in row.knots}
    rows = sum(len(section.rows) for section in pattern.sections)
    knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
    data = {
        "key": hashlib.sha256(render(pattern).encode()).hexdigest()[:20],
        "threads": [
            {"name": printable(t.name), "colour": t.colour, "ink": ink_on(t.colour)} for t in pattern.threads
        ],
        "hands": [hand.data() for hand in hands],
        "labels": [printable(label) for label in labels],
        "start": [list(hand.pattern.strands) for hand in hands],
        "shared": [s.cells for s in hands[0].steps] == [s.cells for s in hands[1].steps],
        "narrow": [section.worked == "rows" for section in pattern.sections],
        "rows": any(step.by_row for step in shown.steps),
        "knots": knots,
        "left": left_handed,
    }
    return page(
        "worksheet.html",
        styles=("page.css", "worksheet.css"),
        css=thread_css(pattern.threads),
        script="worksheet.js",
        title=printable(pattern.title) or "Band",
        facts=f"{len(pattern.strands)} strands, {rows} rows, {knots} knots",
        threads=[
            {"name": t.name, "strands": _strands(pattern.strands.count(i))}
            for i, t in enumerate(pattern.threads)
        ],
        start=counted(labels[t] for t in shown.pattern.strands),
        knots=[words for knot, words in _KNOT_WORDS.items() if knot in kinds],
        left_note=LEFT_HANDED,
        cautions=CAUTIONS,
        sections=list(shown.sections()),
        data=data_block(data),
    )


def _strands(count: int) -> str:
    return "1 strand" if count == 1 else f"{count} strands" if count else "no strand"


class _Hand:
    """The steps as one hand ties them, with what the page says about each."""

    def __init__(self, pattern: Pattern, labels: tuple[str, ...], left: bool) -> None:
        self.pattern = mirrored(pattern) if left else pattern
        self.steps = steps(pattern, left_handed=left)
        self._labels = labels
        self._unmade = {
            (step.section, step.row, step.knot): step.wanted
            for row in replay(self.pattern)
            for step in row.steps
            if step.wanted not in (None, step.shown)
        }
        counts = [len(section.rows) for section in pattern.sections]
        self._rows_before = [sum(counts[:s]) for s in range(len(counts))]
        self._numbers = self._numbering()

    def _numbering(self) -> dict[tuple[int, int], tuple[int, str]]:
        """Number and label of each line by (section, line), as the written instructions count them."""
        numbers = {}
        for s, group in groupby(self.steps, key=lambda step: step.section):
            for i, said in enumerate(gather(list(group)), 1):
                for j, line in enumerate(said.lines, 1):
                    by_row = line[0].by_row
                    number = self._rows_before[s] + i if by_row else i
                    part = f", {j} of {len(said.lines)}" if len(said.lines) > 1 else ""
                    numbers[s, line[0].line] = number, f"{'Row' if by_row else 'Step'} {number}{part}"
        return numbers

    def data(self) -> list[dict[str, Any]]:
        """The lines and their steps for the page's script, which ties them again for the orders."""
        lines: list[dict[str, Any]] = []
        order: tuple[int, ...] = tuple(range(len(self.pattern.strands)))
        threads: tuple[int, ...] = self.pattern.strands
        for _, group in groupby(self.steps, key=lambda step: (step.section, step.line)):
            said = []
            said_row = -1
            for step in group:
                said_row = step.row if said_row < 0 else said_row
                entry: dict[str, Any] = {"text": printable(step.text), "knots": self._knots(step)}
                if step.leader is not None:
                    entry["lead"] = [
                        step.leader,
                        threads[order.index(step.leader)],
                        int(step.taken is not None),
                    ]
                if step.joins:
                    entry["join"] = " ".join(self._join(join) for join in step.joins)
                    entry["laid"] = [[join.thread, int(join.tying)] for join in step.joins]
                if step.checkpoint:
                    entry["check"] = 1
                said.append(entry)
                order, threads = step.order, step.threads
            number, label = self._numbers[step.section, step.line]
            lines.append(
                {
                    "section": step.section,
                    "number": number,
                    "label": label,
                    "row": self._rows_before[step.section] + said_row + 1,
                    "opening": printable(step.opening),
                    "steps": said,
                }
            )
        return lines

    def _knots(self, step: Step) -> list[list[int]]:
        """Position, kind, thread shown, and the thread wanted if another (else left out) of each knot."""
        knots = []
        for (position, knot), shown, cell in zip(step.knots, step.shown, step.cells, strict=True):
            wanted = self._unmade.get((step.section, *cell))
            knots.append([position, _KINDS[knot], shown] + ([] if wanted is None else [wanted]))
        return knots

    def _join(self, join: Join) -> str:
        new = self._labels[join.thread]
        if join.tying:
            return f"Join in this knot: the tying strand ends here; go on with a new piece of {new}."
        return f"Join in this knot: the core strand ends here; lay in a new piece of {new} beside it."

    def sections(self) -> Iterator[dict[str, Any]]:
        """The plain list: sections, and their lines with all runs."""
        for s, group in groupby(self.steps, key=lambda step: step.section):
            section = self.pattern.sections[s]
            worked = "row-worked" if section.worked == "rows" else "diagonal-worked"
            lines = []
            for _, runs in groupby(group, key=lambda step: step.line):
                line = list(runs)
                check = counted(self._labels[t] for t in line[-1].threads) if line[-1].checkpoint else ""
                lines.append(
                    {
                        "label": self._numbers[s, line[0].line][1],
                        "opening": line[0].opening,
                        "text": ", ".join(step.text for step in line),
                        "check": check,
                    }
                )
            yield {"heading": f"{section.kind.capitalize()} section, {worked}", "lines": lines}
