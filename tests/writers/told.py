"""Steps with their written words, as the pages should show them."""

from __future__ import annotations

from typing import NamedTuple

from pipeline.band.pattern import Pattern
from pipeline.instructions.compose import instructions
from pipeline.instructions.model import Step
from pipeline.instructions.phrases import Phrases


class Told(NamedTuple):
    """A step, what is said for it, and how its line begins."""

    step: Step
    text: str
    opening: str


def told_steps(pattern: Pattern) -> list[Told]:
    """Every step of the band in order."""
    told = instructions(pattern)
    phrases = Phrases(told.labels)
    return [
        Told(step, phrases.told(step), phrases.opening(line[0]))
        for passage in told.passages
        for said in passage.said
        for line in said.lines
        for step in line
    ]
