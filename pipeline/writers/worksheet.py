"""The worksheet: one HTML file that leads through the band step by step and keeps the maker's place."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from markupsafe import Markup

from pipeline.band.knots import Knot
from pipeline.band.pattern import Join, Pattern, render
from pipeline.band.replay import replay
from pipeline.files.channels import printable
from pipeline.instructions.compose import instructions
from pipeline.instructions.model import Instructions, Passage, Repeat, Step
from pipeline.instructions.order import Way
from pipeline.instructions.phrases import Phrases
from pipeline.instructions.start import TOOLS, UNDO, how_to_read
from pipeline.instructions.text import CAUTIONS
from pipeline.materials.lengths import Cut, cut_list
from pipeline.writers.cutting import cut_lines
from pipeline.writers.drawing import inline_svg
from pipeline.writers.hanging import hanging_drawing
from pipeline.writers.ink import ink_on
from pipeline.writers.knotpicture import WORDS as KNOT_WORDS
from pipeline.writers.knotpicture import knot_drawing
from pipeline.writers.pages import data_block, page, thread_css

_KINDS = {Knot.FORWARD: 0, Knot.BACKWARD: 1, Knot.FORWARD_BACKWARD: 2, Knot.BACKWARD_FORWARD: 3}
_HANGING_MM = 67.0
"""Width of the drawing of the strands, ten of them side by side: their numbers can be read on a phone."""


def worksheet_html(pattern: Pattern, cuts: Sequence[Cut] | None = None, *, fit: Sequence[str] = ()) -> str:
    """The worksheet of a pattern.

    ``cuts`` are computed where not given, ``fit`` is as in the instructions. The page's place is kept under a
    hash of the pattern's content, so another pattern starts afresh.

    >>> from pipeline.band.example import two_rows
    >>> "two rows" in worksheet_html(two_rows())
    True
    """
    cuts = cut_list(pattern) if cuts is None else cuts
    told = instructions(pattern, cuts, fit=fit)
    shown = _Work(told)
    data = {
        "key": hashlib.sha256(render(pattern).encode()).hexdigest()[:20],
        "threads": [
            {"name": printable(t.name), "colour": t.colour, "ink": ink_on(t.colour)} for t in pattern.threads
        ],
        "lines": shown.data(),
        "labels": [printable(label) for label in told.labels],
        "start": list(pattern.strands),
        "narrow": [section.working.square for section in pattern.sections],
        "rows": any(passage.by_row for passage in told.passages),
        "count": pattern.row_count,
        "knots": pattern.knot_count,
    }
    return page(
        "worksheet.html",
        styles=("page.css", "worksheet.css"),
        css=thread_css(pattern.threads),
        script="worksheet.js",
        title=printable(pattern.title) or "Band",
        facts=f"{pattern.counts}, {pattern.knot_count} knots",
        cautions=CAUTIONS,
        band=told.band,
        threads=list(_threads(told)),
        tools=TOOLS,
        cuts=list(_cuts(pattern, cuts)),
        hanging=Markup(inline_svg(hanging_drawing(pattern, _HANGING_MM))),
        before=(told.cutting[0], *(c for c in told.cutting[1:] if c.startswith("Too long")), *told.before),
        knots=list(_knots(told)),
        undo=UNDO,
        words=[sentence for sentence in how_to_read(told) if sentence != UNDO],
        finish=told.finish,
        sections=list(shown.sections()),
        data=data_block(data),
    )


def _threads(told: Instructions) -> Iterator[dict[str, Any]]:
    """Each thread that some strand has, with its number and how much of it."""
    for line in told.materials:
        number = int(line.partition(".")[0])
        yield {
            "number": number,
            "name": told.pattern.threads[number - 1].name,
            "amount": line.rpartition("): ")[2],
        }


def _cuts(pattern: Pattern, cuts: Sequence[Cut]) -> Iterator[dict[str, Any]]:
    for line in cut_lines(pattern, cuts):
        yield {
            "strands": line.strands,
            "thread": line.thread + 1,
            "name": pattern.threads[line.thread].name,
            "length": line.length,
        }


def _knots(told: Instructions) -> Iterator[dict[str, Any]]:
    """The knots of this band, drawn."""
    for knot in Knot:
        if knot in told.pattern.kinds:
            name, ties, then = KNOT_WORDS[knot]
            drawing = Markup(inline_svg(knot_drawing(knot)))
            yield {"name": f"{name}.", "words": f"{ties} {then}", "drawing": drawing}


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

    def _looks(self, passage: Passage, i: int, line: tuple[Step, ...]) -> dict[str, str]:
        """What is looked at once the line is tied: colours, the order, strands to measure."""
        said, phrases = passage.said[i], self.phrases
        place = next(j for j, one in enumerate(said.lines) if one is line)
        looks = {}
        if said.shows:
            looks["shows"] = phrases.shows(said.shows if passage.by_row else (said.shows[place],))
        if line[-1] is said.last and i in passage.checks:
            looks["check"] = phrases.order(passage, i)
        if line[-1] is said.last and i in passage.measures:
            looks["measure"] = phrases.measure(passage, i)
        return {name: printable(text) for name, text in looks.items()}

    def data(self) -> list[dict[str, Any]]:
        """The lines and their steps for the page's script, which ties them again for the orders."""
        lines: list[dict[str, Any]] = []
        again = {
            (passage.section, i): self.phrases.time_of(passage, item, i)
            for passage in self.told.passages
            for item in passage.items
            if isinstance(item, Repeat)
            for i in range(item.first, item.last + 1)
        }
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
                said.append(entry)
            said[-1].update(self._looks(passage, i, line))
            lines.append(
                {
                    "again": again.get((passage.section, i), ""),
                    "chart": "" if passage.by_row else self.phrases.chart_rows(passage, i),
                    "section": passage.section,
                    "number": passage.number(i),
                    "label": label,
                    "row": passage.rows_before + line[0].row + 1,
                    "along": int(line[0].way in (Way.LEFT, Way.RIGHT)),
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
            lines[passage.section].append(
                {
                    "label": label,
                    "opening": self.phrases.opening(line[0]),
                    "text": ", ".join(self.phrases.told(step) for step in line),
                    **dict.fromkeys(("shows", "check", "measure"), ""),
                    **self._looks(passage, i, line),
                }
            )
        for s, said in lines.items():
            section = self.pattern.sections[s]
            yield {"heading": f"{section.kind.capitalize()} section, {section.working.words}", "lines": said}
