"""What the desk has done for it in processes of their own. Each is a function of ``pipeline`` put to use.

Every task gets plain values and ``tell``, by which it says how far it is; what it returns goes back whole.
Pictures are the desk's own files, never paths that a client named.
"""

from __future__ import annotations

import json
import math
import pickle
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from pydantic import TypeAdapter

from cli.console import progress
from cli.replan import left_of, said
from pipeline.advice.advise import Change, Suggestion
from pipeline.advice.taking import under
from pipeline.band.handed import for_left_hand
from pipeline.band.pattern import Pattern, render, title_of
from pipeline.band.reading import read_pattern
from pipeline.band.replay import replay
from pipeline.bundle import band_files
from pipeline.choices.offers import Asked, Choice, offered
from pipeline.choices.planning import plan_choice, unbeaten
from pipeline.choices.sheet import card_of
from pipeline.colour import hex_of
from pipeline.design.touch import Touch
from pipeline.drawer.stash import read_stash
from pipeline.errors import InputError
from pipeline.files.folder import write_result
from pipeline.files.single import edit_file
from pipeline.instructions.compose import instructions
from pipeline.literals import Worked
from pipeline.materials.booking import Booking, booked, bookings
from pipeline.materials.gauge import Strand, Swatch, fit_gauge, save_gauge
from pipeline.materials.lengths import cut_list
from pipeline.materials.rescale import replan, rows_done
from pipeline.materials.skeins import plan_skeins
from pipeline.motif.lettering import set_letters
from pipeline.motif.picture import load_picture, picture_of
from pipeline.order.asked import LetterSource, PictureSource
from pipeline.order.given import field
from pipeline.order.request import Order, parse
from pipeline.order.units import parse_length
from pipeline.plan import Plan, plan
from pipeline.report import read_report, report_of, report_of_pattern, thin_parts, verdict
from pipeline.report.model import Suggested
from pipeline.routing import Budget
from pipeline.routing.warm import compile_all
from pipeline.verdict.feasibility import check
from pipeline.writers.drawing import saved
from pipeline.writers.original import Original
from pipeline.writers.preview import band_png

Tell = Callable[[str, Any], None]
Fields = Mapping[str, str]

SHOWN_PIXELS = 900
"""Longer side of the pictures of the motif on the page."""
TOUCH_EFFORT = 0.05
BAND_EFFORT = 0.5
_CHANGE = TypeAdapter(Change)


def warm() -> None:
    """Do a little of everything, so that tasks find all of it loaded and compiled."""
    compile_all()
    for worked in ("rows", "diagonal"):
        fields = {"letters": "I", "strands": "8", "rows": "12", "worked": worked, "threads": "navy,chalk"}
        order = parse(fields, field)
        first = offered(order.request())[0]
        plan_choice(Asked(first.key, order.request()), Budget(effort=0.01))


# ---------------------------------------------------------------- the motif


def look(folder: str, fields: Fields, tell: Tell) -> dict[str, Any]:
    """Look at the motif: ``whole`` is the upright picture, ``taken`` the part that is planned, as PNG."""
    order = parse(fields, field, Path(folder))
    if isinstance(order.artwork, LetterSource):
        return {"title": order.title, "taken": _letters_png(order.artwork)}
    path = order.artwork.path
    whole = load_picture(path, background=order.artwork.background, trim=False)
    taken = picture_of(order.artwork)
    ground = taken.ground
    return {
        "title": order.title,
        "whole": _png(whole.rgb),
        "taken": _png(taken.rgb),
        "size": [int(n) for n in whole.rgb.shape[1::-1]],
        "ground": None if ground is None else hex_of(ground),
    }


def _png(rgb: np.ndarray[Any, Any]) -> bytes:
    image = Image.fromarray(rgb)
    image.thumbnail((SHOWN_PIXELS, SHOWN_PIXELS))
    return saved(image)


def _letters_png(letters: LetterSource) -> bytes:
    """The letters in cells, as they stand in their alphabet."""
    line = set_letters(letters.text, height=letters.height or 9, font=letters.font)
    return _png(line.as_picture(("#f6f3ea", "#1b2a59")).rgb)


# ---------------------------------------------------------------- bands to choose from


def offer(folder: str, fields: Fields, tell: Tell) -> list[tuple[str, bytes]]:
    """The bands worth planning, the most promising first: key, and what :func:`draw` takes."""
    offers = _offered(parse(fields, field, Path(folder)), fields)
    return [(asked.key, pickle.dumps(asked)) for asked in offers]


def _offered(order: Order, fields: Fields) -> tuple[Asked, ...]:
    settled = [name for name in ("worked", "turn", "border") if fields.get(name)]
    if fields.get("hand-overs"):
        settled.append("ease")
    if fields.get("across"):
        settled.append("direction")
    return offered(order.request(), settled=settled)  # type: ignore[arg-type]


def draw(asked: bytes, tell: Tell) -> tuple[bytes, bytes, dict[str, Any]]:
    """Plan one of the bands on offer: for :func:`sift`, its picture, and what the sheet says about it."""
    choice = plan_choice(pickle.loads(asked), Budget(effort=0.1))
    return pickle.dumps(choice), choice.picture, _facts(choice)


def sift(choices: Sequence[bytes], tell: Tell) -> list[str]:
    """The keys of those that no other beats, the closest to the picture first."""
    return [choice.key for choice in unbeaten([pickle.loads(one) for one in choices])]


def _facts(choice: Choice) -> dict[str, Any]:
    card, figures = card_of(choice), choice.figures
    return {
        "key": choice.key,
        "words": card.heading,
        "likeness": card.likeness,
        "facts": list(card.facts),
        "takes": [[taken.thread, taken.colour, taken.words] for taken in card.takes],
        "lies": card.lying,
        "closest": figures.off,
        "easiest": figures.grade.points,
        "quickest": figures.hours,
        "beaten": False,
    }


# ---------------------------------------------------------------- the chosen band


class Watch:
    """Sends on what a plan says about itself, a few times a second."""

    def __init__(self, tell: Tell) -> None:
        self._tell, self._last = tell, 0.0
        self._first: float | None = None

    def stage(self, name: str) -> None:
        self._first = None
        self._tell("busy", {"stage": name, "done": 0.0})

    def routing(self, done: float, cost: float, bound: float) -> None:
        if self._first is None and cost < math.inf:
            self._first = cost
        self._often({"done": round(min(1.0, done), 3), "note": progress(self._first or 0.0, cost, bound)})

    def advising(self, done: int, of: int, label: str) -> None:
        self._often({"done": round(done / max(1, of), 3), "note": label})

    def sketched(self, band: Callable[[], Pattern]) -> None:
        """The chosen band is on the sheet already."""

    def _often(self, news: dict[str, Any]) -> None:
        if time.monotonic() - self._last > 0.2:
            self._last = time.monotonic()
            self._tell("busy", news)


def band(
    folder: str,
    fields: Fields,
    key: str,
    touches: Sequence[tuple[int, int, str | None]],
    changes: Sequence[Mapping[str, Any]],
    hasty: bool,
    tell: Tell,
) -> dict[str, Any]:
    """Plan the chosen band, thoroughly or (after a touch) in haste: its files by their endings, and facts."""
    order = parse(fields, field, Path(folder))
    offer = next((one for one in _offered(order, fields) if one.key == key), None)
    assert offer is not None, "the same fields offer the same bands"
    asked = offer.request
    for change in changes:
        asked = under(_CHANGE.validate_python(change), asked, change["threads"])
    watch = Watch(tell)
    made = plan(
        asked,
        touches=tuple(Touch(*touch) for touch in touches),
        title=order.title,
        budget=Budget(effort=TOUCH_EFFORT if hasty else BAND_EFFORT, reporter=watch),
        further=not hasty,
        watch=watch,
    )
    report, suggested = report_of(made), () if made.advice is None else made.advice.suggestions
    return {
        "pattern.json": render(made.pattern),
        "report.json": report.json_text(),
        "png": band_png(made.pattern, lengthwise=asked.artwork.lengthwise),
        "cells.json": json.dumps(_cells(made)),
        "facts": {
            "sentence": verdict(report),
            "thin": thin_parts(report),
            "resisted": _resisted(made, touches),
            "threads": [thread.name for thread in made.pattern.threads],
            "lies": asked.artwork.lengthwise,
            "help": [_help(made, *both) for both in zip(suggested, report.suggestions, strict=True)],
        },
    }


def _resisted(made: Plan, touches: Sequence[tuple[int, int, str | None]]) -> str:
    """How many touched cells show another thread than they were given."""
    given = {(row, position): name for row, position, name in touches if name is not None}
    shown = dict(_shown(made.pattern))
    missed = sum(made.pattern.threads[shown[cell]].name != name for cell, name in given.items())
    if not missed:
        return ""
    return f"{missed} of the {len(given)} touched cells could not be made as asked; they are ringed."


def _shown(pattern: Pattern) -> Iterator[tuple[tuple[int, int], int]]:
    """(picture row, position) of every cell, and the thread that shows."""
    picture = 0
    for row in replay(pattern):
        if pattern.sections[row.section].kind == "picture":
            yield from (((picture, step.tied.position), step.shown) for step in row.steps)
            picture += 1


def _help(made: Plan, suggestion: Suggestion, told: Suggested) -> dict[str, Any]:
    """A suggestion as the report has it ``told``, and its change as :func:`band` takes it."""
    change = {
        "label": suggestion.change,
        "threads": [thread.name for thread in made.pattern.threads],
        **_CHANGE.dump_python(suggestion.asked, mode="json"),
    }
    return {"label": suggestion.change, "sentence": told.sentence, "change": change}


def _cells(made: Plan) -> dict[str, Any]:
    """What the page needs to show and point at cells: for each knot position, shown, wanted and why not."""
    pattern = made.pattern
    reasons = {
        (cell.section, cell.row, cell.knot): reason.sentence
        for cell, reason in zip(made.verdict.unmade, made.reasons, strict=True)
    }
    rows, picture = [], 0
    for row in replay(pattern):
        section = pattern.sections[row.section]
        asked = section.kind == "picture"
        knots = [
            [step.tied.position, step.shown, step.wanted, reasons.get((step.section, step.row, step.knot))]
            for step in row.steps
        ]
        rows.append({"worked": section.worked, "picture": picture if asked else None, "knots": knots})
        picture += asked
    return {
        "threads": [[thread.name, thread.colour] for thread in pattern.threads],
        "strands": len(pattern.strands),
        "rows": rows,
    }


# ---------------------------------------------------------------- taking it away


def write(folder: str, number: int, fields: Fields, lies: bool, target: str, tell: Tell) -> None:
    """Write every file of a planned band to a folder of the shelf."""
    document = read_pattern(Path(folder) / f"band-{number}.pattern.json")
    report = read_report(Path(folder) / f"band-{number}.report.json", document, check(document))
    cuts = cut_list(document)
    order = parse(fields, field, Path(folder))
    source = picture_of(order.artwork).rgb if isinstance(order.artwork, PictureSource) else None
    files = band_files(
        document,
        cuts,
        report,
        skeins=plan_skeins(document, cuts, order.drawer.drawer().stash),
        original=Original(source, lengthwise=lies),
        stage=lambda name: tell("busy", {"stage": name, "done": 0.0, "note": ""}),
    )
    write_result(Path(target), files, replace=True)


def measure(form: Mapping[str, str], tell: Tell) -> str:
    """Fit a gauge to one swatch and keep it under its name."""
    worked: Worked = "diagonal" if form.get("worked") == "diagonal" else "rows"

    def whole(name: str) -> int:
        text = form.get(name, "").strip()
        if not (text.isascii() and text.isdecimal() and len(text) < 7):
            raise InputError(f"{name} {text[:20]!r} is not a whole number.", "Count it again.")
        return int(text)

    width, length, used = (parse_length(form.get(name, ""), name) for name in ("width", "length", "used"))
    strand = Strand(whole("tied"), whole("carried"), used)
    name = title_of(form.get("name", ""))[:60]
    measured = fit_gauge([Swatch(whole("strands"), whole("rows"), width, length, (strand,))], worked, name)
    save_gauge(measured, worked)
    gauge = measured.gauge
    return (
        f"{name} is kept: {gauge.tie_mm:.1f} mm a knot tied, {gauge.core_mm:.1f} mm carried, "
        f"{gauge.strand_pitch_mm:.2f} mm a strand, {gauge.row_pitch_mm:.2f} mm a row."
    )


# ---------------------------------------------------------------- bands on the shelf


def book(stash: str, folder: str, taken: Mapping[str, float] | None, tell: Tell) -> dict[str, float]:
    """Book a band's thread off the drawer, or put back what was ``taken`` for it; return what it has now."""
    path = Path(stash)
    if not path.exists():
        raise InputError("the drawer has no list of its own yet.", "Say what you own: add, change, take out.")
    data, owned = path.read_bytes(), read_stash(path)
    if taken is None:
        document = read_pattern(Path(folder) / "pattern.json")
        made = bookings(document, cut_list(document), owned)
    else:
        metres = {thread.name: thread.metres for thread in owned.threads}
        made = tuple(Booking(name, -used, metres.get(name)) for name, used in taken.items())
    edit_file(path, booked(data, path.name, made), expected=data, backup=False)
    return {} if taken is not None else {one.name: one.used_m for one in made}


def resume(folder: str, form: Mapping[str, str], tell: Tell) -> str:
    """In mid-band: what is left of some strands, and whether every strand will reach."""
    document = read_pattern(Path(folder) / "pattern.json")
    left = dict(left_of(word) for word in form.get("left", "").replace(",", " ").split())
    row = form.get("row", "")
    done = rows_done(document, int(row) - 1 if row.isascii() and row.isdecimal() and len(row) < 6 else 0)
    made = replan(document, cut_list(document), done, left)
    return " ".join(said(made, instructions(document)))


def left_handed(folder: str, tell: Tell) -> dict[str, bytes | str]:
    """Every file of a band for the left hand: tied from its other end, the picture as it was."""
    document = for_left_hand(read_pattern(Path(folder) / "pattern.json"))
    return band_files(document, cut_list(document), report_of_pattern(document, check(document)))
