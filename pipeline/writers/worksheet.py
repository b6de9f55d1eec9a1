"""The worksheet: one HTML file that leads through the band step by step and keeps the maker's place."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from pipeline.band.knots import Knot
from pipeline.band.pattern import Join, Pattern, render
from pipeline.band.replay import replay
from pipeline.files.channels import printable
from pipeline.instructions.compose import instructions
from pipeline.instructions.model import Instructions, Passage, Step
from pipeline.instructions.phrases import Phrases
from pipeline.instructions.text import CAUTIONS
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


def worksheet_html(pattern: Pattern) -> str:
    """The worksheet of a pattern.

    The page's place is kept under a hash of the pattern's content, so another pattern starts afresh.

    >>> from pipeline.band.example import two_rows
    >>> "two rows" in worksheet_html(two_rows())
    True
    """
    shown = _Work(instructions(pattern))
    kinds = {knot for _, _, _, row in shown.pattern.rows() for _, knot in row.knots}
    rows = sum(len(section.rows) for section in pattern.sections)
    knots = sum(len(row.knots) for _, _, _, row in pattern.rows())
    data = {
        "key": hashlib.sha256(render(pattern).encode()).hexdigest()[:20],
        "threads": [
            {"name": printable(t.name), "colour": t.colour, "ink": ink_on(t.colour)} for t in pattern.threads
        ],
        "lines": shown.data(),
        "labels": [printable(label) for label in shown.told.labels],
        "start": list(pattern.strands),
        "narrow": [section.worked == "rows" for section in pattern.sections],
        "rows": any(passage.by_row for passage in shown.told.passages),
        "knots": knots,
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
        start=shown.phrases.hanging(shown.pattern.strands),
        knots=[words for knot, words in _KNOT_WORDS.items() if knot in kinds],
        cautions=CAUTIONS,
        sections=list(shown.sections()),
        data=data_block(data),
    )


def _strands(count: int) -> str:
    return "1 strand" if count == 1 else f"{count} strands" if count else "no strand"


class _Work:
    """The steps, with what the page says about each."""

    def __init__(self, told: Instructions) -> None:
        self.told = told
        self.pattern = told.pattern
        self.phrases = Phrases(told.labels)
        self._unmade = {
            (step.section, step.row, step.knot): step.wanted
            for row in replay(self.pattern)
            for step in row.steps
            if not step.made
        }

    def _lines(self) -> Iterator[tuple[Passage, int, str, tuple[Step, ...]]]:
        """Every line with its passage, its index there, and its label as in the written instructions."""
        for passage in self.told.passages:
            for i, said in enumerate(passage.said):
                for j, line in enumerate(said.lines, 1):
                    part = f", {j} of {len(said.lines)}" if len(said.lines) > 1 else ""
                    yield passage, i, f"{passage.unit.capitalize()} {passage.number(i)}{part}", line

    def data(self) -> list[dict[str, Any]]:
        """The lines and their steps for the page's script, which ties them again for the orders."""
        lines: list[dict[str, Any]] = []
        for passage, i, label, line in self._lines():
            said = []
            for step in line:
                entry: dict[str, Any] = {
                    "text": printable(self.phrases.told(step)),
                    "knots": self._knots(step),
                }
                if step.leader is not None:
                    entry["lead"] = [step.leader, step.leader_thread, int(step.taken is not None)]
                if step.joins:
                    entry["join"] = " ".join(self._join(join) for join in step.joins)
                    entry["laid"] = [[join.thread, int(join.tying)] for join in step.joins]
                if i in passage.checks and step is passage.said[i].last:
                    entry["check"] = 1
                said.append(entry)
            lines.append(
                {
                    "section": passage.section,
                    "number": passage.number(i),
                    "label": label,
                    "row": passage.rows_before + line[0].row + 1,
                    "opening": printable(self.phrases.opening(line[0])),
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
        new = self.told.labels[join.thread]
        if join.tying:
            return f"Join in this knot: the tying strand ends here; go on with a new piece of {new}."
        return f"Join in this knot: the core strand ends here; lay in a new piece of {new} beside it."

    def sections(self) -> Iterator[dict[str, Any]]:
        """The plain list: sections, and their lines with all runs."""
        lines: dict[int, list[dict[str, str]]] = {passage.section: [] for passage in self.told.passages}
        for passage, i, label, line in self._lines():
            checked = i in passage.checks and line[-1] is passage.said[i].last
            lines[passage.section].append(
                {
                    "label": label,
                    "opening": self.phrases.opening(line[0]),
                    "text": ", ".join(self.phrases.told(step) for step in line),
                    "check": self.phrases.hanging(line[-1].threads) if checked else "",
                }
            )
        for s, said in lines.items():
            section = self.pattern.sections[s]
            worked = "row-worked" if section.worked == "rows" else "diagonal-worked"
            yield {"heading": f"{section.kind.capitalize()} section, {worked}", "lines": said}
