"""The sheet of bands to choose from, and the files of each."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path

from PIL import Image

from pipeline.band.pattern import render
from pipeline.choices.offers import Choice, Figures
from pipeline.choices.planning import unbeaten
from pipeline.literals import plural, working
from pipeline.materials.skeins import ThreadPlan
from pipeline.motif.picture import load_picture
from pipeline.order.asked import Artwork, LetterSource
from pipeline.order.command import command
from pipeline.routing import Ease
from pipeline.writers.choices import Card, Takes, choices_html, choices_png
from pipeline.writers.drawing import saved
from pipeline.writers.preview import CHOSEN_PX_PER_MM

LIST = "choices.json"
SHEET = ("choices.html", "choices.png", LIST)
"""The list of what is shown; a folder that has it is one of ours."""
SOURCE_PX = 360
"""Longest side of the picture on the sheet."""


def sheet(
    title: str, choices: Sequence[Choice], planned: int, *, waiting: int = 0, stash: Path | None = None
) -> dict[str, bytes | str]:
    """Render choices.html, choices.png and choices.json of what is unbeaten among ``choices``.

    ``planned``: how many were planned in all; ``waiting``: how many still are, then only the page is
    rendered, loads itself again and names no folders; ``stash``: the drawer's file, for the commands.
    """
    shown = unbeaten(choices)
    cards = [card_of(choice, shown, stash, folder=not waiting) for choice in shown]
    words = _words(planned, len(shown))
    source = _source(choices[0].asked.request.artwork) if choices else None
    page = choices_html(title, cards, words, source=source, waiting=waiting)
    if waiting:
        return {"choices.html": page}
    return {
        "choices.html": page,
        "choices.png": choices_png(title, cards, words, source=source),
        LIST: choices_json(shown, stash),
    }


def choice_files(choice: Choice) -> dict[str, bytes | str]:
    """The files of a choice's own folder."""
    return {
        "pattern.json": render(choice.pattern),
        "report.json": choice.report.json_text(),
        "band.png": choice.picture,
    }


def choices_json(choices: Sequence[Choice], stash: Path | None = None) -> str:
    """The list of choices as JSON, one a line."""
    lines = ",\n ".join(json.dumps(_entry(choice, stash), ensure_ascii=False) for choice in choices)
    return f"[{lines}]\n"


def _entry(choice: Choice, stash: Path | None) -> dict[str, object]:
    asked, f, report = choice.asked.request, choice.figures, choice.report
    return {
        "key": choice.key,
        "folder": choice.key,
        "threads": len(f.taken),
        "worked": asked.band.worked,
        "strands": len(choice.pattern.strands),
        "ease": str(asked.tying.ease),
        "made": f.made,
        "cells": f.cells,
        "likeness": None if report.likeness is None else report.likeness.model_dump(mode="json"),
        "hand_overs": report.hand_overs,
        "switching_rows": report.switching_rows,
        "hours": round(f.hours, 2),
        "longest_mm": round(f.longest_mm, 1),
        "command": command(choice.asked.request, stash=stash),
    }


def _words(planned: int, shown: int) -> str:
    if shown == planned:
        return f"{plural(planned, 'band')} planned; none of them is beaten by another in everything."
    return f"{plural(planned, 'band')} planned, {shown} shown: what another beats in everything is left out."


HAND_OVERS = {Ease.PLAIN: ", at the edges only", Ease.LIGHT: ", one a row at most", Ease.FULL: ""}


def card_of(
    choice: Choice, shown: Sequence[Choice] = (), stash: Path | None = None, *, folder: bool = False
) -> Card:
    """What the sheet says about a band among those ``shown``; ``folder``: whether its pattern is written."""
    asked, f, report = choice.asked.request, choice.figures, choice.report
    facts = [
        ("Time", f"about {f.hours:.1f} h"),
        ("Difficulty", f.grade.name),
        ("Width and length", f"{f.wide_mm:.0f} × {f.long_mm:.0f} mm"),
        ("Longest strand", f"{f.longest_mm / 1000:.1f} m"),
    ]
    if working(asked.band.worked).led:
        where = HAND_OVERS[asked.tying.ease] if report.hand_overs else ""
        facts.append(("Hand-overs", f"{report.hand_overs}{where}"))
    if report.switching_rows:
        facts.append(("Switching rows", f"{report.switching_rows}"))
    return Card(
        choice.key,
        _heading(choice),
        choice.picture,
        _size_mm(choice.picture),
        likeness_words(choice),
        tuple(name for name, of in BEST.items() if _is_best(choice, shown, of)),
        tuple(facts),
        tuple(Takes(t.name, choice.pattern.threads[t.thread].colour, _takes(t)) for t in f.taken),
        command(choice.asked.request, stash=stash),
        choice.key if folder else "",
    )


def _heading(choice: Choice) -> str:
    """What sets the band apart, as its key and its command do."""
    artwork, band, _, tying = choice.asked.request
    worked = f"{working(band.worked).words}, {len(choice.pattern.strands)} strands"
    if working(band.worked).led and tying.ease is not Ease.LIGHT:
        worked += f", {'no' if tying.ease is Ease.PLAIN else 'any'} hand-overs"
    if isinstance(artwork, LetterSource):
        border = ", with a border" if band.border else ""
        return f"Letters {artwork.height} cells high{border}: {worked}"
    used, allowed = len(choice.figures.taken), choice.asked.request.drawer.colours or 0
    threads = plural(used, "thread") if used >= allowed else f"{used} of {plural(allowed, 'thread')} allowed"
    return f"{threads}, {worked}"


def _source(artwork: Artwork) -> bytes | None:
    """A small PNG of the picture as it was given, None for letters."""
    if isinstance(artwork, LetterSource):
        return None
    image = Image.fromarray(load_picture(artwork.path, background=artwork.background, trim=False).rgb)
    image.thumbnail((SOURCE_PX, SOURCE_PX), Image.Resampling.LANCZOS)
    return saved(image)


BEST: dict[str, Callable[[Figures], float]] = {
    "closest": lambda f: f.off,
    "easiest": lambda f: f.grade.points,
    "quickest": lambda f: f.hours,
}


def _is_best(choice: Choice, shown: Sequence[Choice], of: Callable[[Figures], float]) -> bool:
    """Whether it alone is best in something, of at least two."""
    others = [of(other.figures) for other in shown if other is not choice]
    return bool(others) and of(choice.figures) < min(others)


def likeness_words(choice: Choice) -> str:
    """How like its picture the band is, in words."""
    f, likeness = choice.figures, choice.report.likeness
    if likeness is not None:
        return f"{likeness.words.capitalize()} likeness"
    if not f.cells:
        return "No picture was asked for."
    if f.made == f.cells:
        return "Every cell as the picture wants."
    return f"{plural(f.cells - f.made, 'cell')} of {f.cells} show another thread."


def _takes(taken: ThreadPlan) -> str:
    if taken.buy:
        return f"{taken.needed_m:.1f} m: buy {plural(taken.buy, 'skein')}"
    return f"{taken.needed_m:.1f} m" + (f" of {taken.owned_m:.1f}" if taken.owned_m is not None else "")


def _size_mm(picture: bytes) -> tuple[float, float]:
    with Image.open(BytesIO(picture)) as image:
        across, down = image.size
    return across / CHOSEN_PX_PER_MM, down / CHOSEN_PX_PER_MM
