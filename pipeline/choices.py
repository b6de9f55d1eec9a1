"""Bands to choose from: several plans that differ in what matters, without those that another beats.

``offered`` says which bands are worth planning, ``plan_choices`` plans them side by side in processes and
yields each as it is done, ``unbeaten`` keeps those that no other beats in every respect.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from io import BytesIO
from itertools import product
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Literal

from PIL import Image

from pipeline.band.pattern import Pattern, render
from pipeline.design.design import usual_strands
from pipeline.design.pose import gauge_for
from pipeline.errors import HitchgridError, ImpossibleError
from pipeline.limits import USUAL_WRIST_MM
from pipeline.literals import EaseName, Worked
from pipeline.materials.fit import size_mm
from pipeline.materials.price import GRADES, GradeName, grade, hours
from pipeline.motif.lettering import heights
from pipeline.motif.picture import load_picture
from pipeline.order.asked import Artwork, Band, Drawer, LetterSource, PictureSource, Tying
from pipeline.order.command import command
from pipeline.plan import Plan, plan
from pipeline.report import Report, report_of
from pipeline.routing import Budget, Ease
from pipeline.writers.choices import Card, Takes, choices_html, choices_png
from pipeline.writers.preview import CHOSEN_PX_PER_MM, band_png

EFFORT = 0.5
"""Of each plan's search; more gains a picture about 1 % (measured on drawings)."""
WIDEST = 0.25
"""Width of a band as a share of the wrist, at most; value from our own looking, no source."""
NARROW, USUAL, WIDE = 16, 24, 30
"""Strands of a band, where the wrist's width allows them."""
WIDE_PICTURE = 1.2
"""Width over height from which a picture is better turned along the band."""
PACE_S = 9.0
"""Seconds a knot for the hours that bands are compared by: midway between quick and calm."""
LOOK_EVERY_S = 0.2
LIST = "choices.json"
SHEET = ("choices.html", "choices.png", LIST)
"""The list of what is shown; a folder that has it is one of ours."""
SOURCE_PX = 360
"""Longest side of the picture on the sheet."""

Settled = Literal["worked", "ease", "turn", "border", "direction"]
"""What a maker may have decided, so that no other is offered."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A band to be planned; ``key`` is a stable name in words, such as ``4-threads-rows-24``."""

    key: str
    artwork: Artwork
    band: Band
    drawer: Drawer
    tying: Tying


@dataclass(frozen=True, slots=True)
class Taken:
    """What a band takes of one thread: metres to cut, metres owned (None: not known), skeins to buy."""

    thread: str
    colour: str
    metres: float
    owned_m: float | None
    buy: int


@dataclass(frozen=True, slots=True)
class Figures:
    """What bands are compared by.

    ``off``: how far the band is from its picture, mean HyAB, or the colour error a cell where there is no
    picture; ``hours`` at ``PACE_S`` a knot; ``points`` is the difficulty behind the grade's name;
    ``fine``: cells across, or cells of a letter's height.
    """

    cells: int
    made: int
    off: float
    hand_overs: int
    switching_rows: int
    knots: int
    hours: float
    grade: GradeName
    points: int
    longest_mm: float
    wide_mm: float
    long_mm: float
    taken: tuple[Taken, ...]
    fine: int

    def __post_init__(self) -> None:
        if not 0 <= self.made <= self.cells or self.grade not in GRADES or self.off < 0:
            raise ValueError(f"no figures of a band: {self}")

    @property
    def buy(self) -> int:
        """Skeins to buy."""
        return sum(taken.buy for taken in self.taken)


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """A planned band: what was asked, the band, its report, and the straight band as a PNG."""

    asked: Asked
    pattern: Pattern
    report: Report
    picture: bytes
    figures: Figures

    @property
    def key(self) -> str:
        return self.asked.key

    @property
    def lengthwise(self) -> bool:
        """Whether the picture is the right way up when the band lies on its side."""
        return self.asked.artwork.lengthwise


# ---------------------------------------------------------------- which bands


def offered(
    artwork: Artwork,
    band: Band,
    drawer: Drawer,
    tying: Tying = Tying(),
    *,
    settled: Collection[Settled] = (),
) -> tuple[Asked, ...]:
    """Return the bands worth planning, the most promising first; keys are unique.

    What the maker has decided stays: ``band.strands``, ``drawer.colours``, a height of letters, a turned
    picture, and whatever ``settled`` names. Raises InputError for a picture that cannot be read.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> found = offered(LetterSource("RC"), Band(), Drawer(builtin_stash()))
    >>> found[0].key
    'along-9-cells-rows-12'
    """
    if isinstance(artwork, LetterSource):
        asked = _lettered(artwork, band, drawer, tying, settled)
    else:
        asked = _pictured(artwork, band, drawer, tying, settled)
    first: dict[str, Asked] = {}
    for one in asked:
        first.setdefault(one.key, one)
    return tuple(first.values())


Recipe = tuple[int, Worked, int, EaseName, bool]
"""Threads, way of working, strands, hand-overs, whether turned the less likely way."""
RECIPES: tuple[Recipe, ...] = (
    (4, "rows", USUAL, "light", False),
    (2, "diagonal", USUAL, "light", False),
    (3, "diagonal", USUAL, "light", False),
    (2, "rows", USUAL, "light", False),
    (4, "diagonal", USUAL, "light", False),
    (3, "rows", USUAL, "light", False),
    (5, "rows", WIDE, "light", False),
    (3, "rows", NARROW, "plain", False),
    (4, "rows", USUAL, "light", True),
    (6, "rows", WIDE, "full", False),
    (3, "diagonal", USUAL, "light", True),
    (4, "rows", USUAL, "plain", False),
    (5, "diagonal", WIDE, "light", False),
    (2, "rows", NARROW, "plain", False),
    (3, "diagonal", NARROW, "light", False),
)


def _pictured(
    artwork: PictureSource, band: Band, drawer: Drawer, tying: Tying, settled: Collection[Settled]
) -> Iterator[Asked]:
    strands = usual_strands(artwork) if artwork.grid else band.strands
    sideways = _is_wide(artwork) if _may_turn(artwork, settled) else None
    for threads, worked, wish, ease, otherwise in RECIPES:
        if sideways is None and otherwise:
            continue
        for one, way in product((drawer.colours or threads,), _ways(worked, band, settled)):
            count = strands or min(wish, _most_strands(band, drawer, way))
            turned = sideways is not None and sideways != otherwise
            hand_overs = tying.ease if "ease" in settled else Ease(ease)
            most = min(one, len(drawer.only or drawer.stash.threads))
            key = f"{most}-threads-{way}-{count}"
            if way == "rows" and hand_overs is not Ease.LIGHT:
                key += {Ease.PLAIN: "-no-hand-overs", Ease.FULL: "-any-hand-overs"}[hand_overs]
            yield Asked(
                key + "-turned" * turned,
                replace(artwork, turn=(artwork.turn + turned) % 4),
                replace(band, strands=None if artwork.grid else count, worked=way),
                replace(drawer, colours=most),
                replace(tying, ease=hand_overs),
            )


def _ways(worked: Worked, band: Band, settled: Collection[Settled]) -> tuple[Worked, ...]:
    return (band.worked,) if "worked" in settled else (worked,)


def _may_turn(artwork: PictureSource, settled: Collection[Settled]) -> bool:
    return "turn" not in settled and not artwork.grid and not artwork.turn


def _is_wide(artwork: PictureSource) -> bool:
    picture = load_picture(artwork.path, background=artwork.background, trim=artwork.trim, crop=artwork.crop)
    tall, wide = picture.rgb.shape[:2]
    return bool(wide >= WIDE_PICTURE * tall)


def _most_strands(band: Band, drawer: Drawer, worked: Worked) -> int:
    """How many strands are as wide as a wrist takes."""
    pitch = gauge_for(replace(band, worked=worked), drawer).strand_pitch_mm
    return max(6, int(WIDEST * (band.wrist_mm or USUAL_WRIST_MM) / pitch))


LetterRecipe = tuple[Literal["along", "across"], int, Worked, bool]
"""Direction, which of the heights (0 the smallest), way of working, whether with a border."""
LETTERS: tuple[LetterRecipe, ...] = (
    ("along", 2, "rows", False),
    ("along", 1, "rows", True),
    ("across", 1, "rows", False),
    ("along", 1, "diagonal", False),
    ("along", 3, "rows", False),
    ("across", 2, "rows", True),
    ("along", 0, "rows", False),
    ("along", 1, "rows", False),
    ("along", 2, "rows", True),
    ("across", 1, "diagonal", False),
    ("along", 2, "diagonal", True),
    ("across", 2, "rows", False),
)
MARGIN_CELLS = 2
"""Ground cells beside letters, both edges together."""


def _lettered(
    artwork: LetterSource, band: Band, drawer: Drawer, tying: Tying, settled: Collection[Settled]
) -> Iterator[Asked]:
    kind = band.border or "lines"
    for direction, size, wish, border in LETTERS:
        if "direction" in settled and direction != artwork.direction:
            continue
        if "border" in settled and border != (band.border is not None):
            continue
        (worked,) = _ways(wish, band, settled)
        height = artwork.height or heights()[size]
        strands = band.strands or _letter_strands(height, direction, band, drawer, worked)
        if strands > _most_strands(band, drawer, worked):
            continue
        yield Asked(
            f"{direction}-{height}-cells-{worked}-{strands}{'-border' if border else ''}",
            replace(artwork, height=height, direction=direction),
            replace(band, strands=strands, worked=worked, border=kind if border else None),
            drawer,
            tying,
        )


def _letter_strands(height: int, direction: str, band: Band, drawer: Drawer, worked: Worked) -> int:
    """The fewest strands on which letters of that height have a cell of ground at both edges."""
    cells = height + MARGIN_CELLS
    if worked == "rows":
        return cells + 1
    gauge = gauge_for(replace(band, worked=worked), drawer)  # see letters.py: cells the area of a knot
    across = (2 * gauge.row_pitch_mm / gauge.strand_pitch_mm) ** 0.5
    return int(-(-cells * across // 1)) + 1


# ---------------------------------------------------------------- planning them


def plan_choices(
    asked: Sequence[Asked],
    *,
    jobs: int = 0,
    effort: float = EFFORT,
    seed: int = 0,
    halted: Callable[[], bool] | None = None,
) -> Iterator[Choice]:
    """Plan bands ``jobs`` at a time (0: on every core) and yield each as it is done.

    A choice does not depend on ``jobs``. What cannot be planned is left out; if nothing can, the first
    error is raised. Once ``halted`` answers True, bands under way are finished as they are and the rest is
    left out. Raises ImpossibleError when a worker process dies.
    """
    jobs = min(jobs or os.cpu_count() or 1, len(asked))
    run = _in_turn if jobs <= 1 else _side_by_side
    errors: list[HitchgridError] = []
    done = 0
    for found in run(asked, jobs, effort, seed, halted or (lambda: False)):
        if isinstance(found, HitchgridError):
            errors.append(found)
        else:
            done += 1
            yield found
    if errors and not done:
        raise errors[0]


Found = Choice | HitchgridError


def _in_turn(
    asked: Sequence[Asked], jobs: int, effort: float, seed: int, halted: Callable[[], bool]
) -> Iterator[Found]:
    for one in asked:
        if halted():
            return
        yield _tried(one, Budget(effort, seed, halted=halted))


def _side_by_side(
    asked: Sequence[Asked], jobs: int, effort: float, seed: int, halted: Callable[[], bool]
) -> Iterator[Found]:
    context = multiprocessing.get_context("spawn")
    stop = context.Event()
    pool = ProcessPoolExecutor(jobs, context, initializer=_prepare, initargs=(stop,))
    try:
        waiting: set[Future[Found]] = {pool.submit(_work, one, effort, seed) for one in asked}
        while waiting:
            done, waiting = wait(waiting, timeout=LOOK_EVERY_S, return_when=FIRST_COMPLETED)
            if halted() and not stop.is_set():
                stop.set()
                waiting = {future for future in waiting if not future.cancel()}
            for future in done:
                yield future.result()
    except BrokenExecutor:
        raise ImpossibleError(
            "a worker process was ended from outside, perhaps for want of memory.", "Try fewer --jobs."
        ) from None
    finally:
        stop.set()
        pool.shutdown(cancel_futures=True)


_stop: Event | None = None
"""In a worker: set when it shall come to an end."""


def _prepare(stop: Event) -> None:
    global _stop
    _stop = stop
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that waits for us


def _work(asked: Asked, effort: float, seed: int) -> Found:
    return _tried(asked, Budget(effort, seed, halted=None if _stop is None else _stop.is_set))


def _tried(asked: Asked, budget: Budget) -> Found:
    try:
        return plan_choice(asked, budget)
    except HitchgridError as error:
        return error


def plan_choice(asked: Asked, budget: Budget) -> Choice:
    """Plan one band, without advice, and draw it. Raises HitchgridError."""
    made = plan(asked.artwork, asked.band, asked.drawer, asked.tying, budget=budget, further=False)
    picture = band_png(made.pattern, lengthwise=asked.artwork.lengthwise)
    return Choice(asked, made.pattern, report_of(made), picture, figures(made, asked))


def figures(made: Plan, asked: Asked) -> Figures:
    """What a plan is compared by."""
    graded, verdict = grade(made.pattern, made.cuts), made.verdict
    wide, long = size_mm(made.pattern)
    artwork = asked.artwork
    threads = made.pattern.threads
    return Figures(
        cells=verdict.cells,
        made=verdict.made,
        off=verdict.colour_error / max(1, verdict.cells) if made.likeness is None else made.likeness.hyab,
        hand_overs=verdict.hand_overs,
        switching_rows=verdict.switching_rows,
        knots=hours(made.pattern).knots,
        hours=hours(made.pattern, PACE_S).calm,
        grade=graded.name,
        points=graded.points,
        longest_mm=made.sharing.longest_after_mm,
        wide_mm=wide,
        long_mm=long,
        taken=tuple(
            Taken(t.name, threads[t.thread].colour, t.need_m, t.owned_m, t.buy) for t in made.skeins.threads
        ),
        fine=(isinstance(artwork, LetterSource) and artwork.height) or len(made.pattern.strands) - 1,
    )


# ---------------------------------------------------------------- what remains


def unbeaten(choices: Sequence[Choice]) -> tuple[Choice, ...]:
    """Drop each choice that another beats in every respect; the closest to its picture first.

    A beats B where it is nowhere worse and somewhere better by what a maker would notice: likeness, how fine
    the picture is, threads, hours, difficulty, hand-overs, longest strand, skeins to buy. Letters are only
    compared with letters that run the same way, with or without a border as they are.
    """
    ranked = sorted(choices, key=lambda choice: (_taste(choice), _exact(choice), choice.key))
    kept: list[Choice] = []
    for choice in ranked:
        rivals = [other for other in ranked if other is not choice and _taste(other) == _taste(choice)]
        if not any(_beats(other, choice) for other in rivals):
            kept.append(choice)
    return tuple(sorted(kept, key=lambda choice: (_exact(choice), choice.key)))


def _taste(choice: Choice) -> tuple[object, ...]:
    """What one maker likes and another does not: bands that differ in it are no rivals."""
    artwork = choice.asked.artwork
    return (
        (choice.asked.band.border is not None, artwork.direction) if isinstance(artwork, LetterSource) else ()
    )


def _exact(choice: Choice) -> tuple[float, ...]:
    f = choice.figures
    work = f.points, f.hours, f.hand_overs, f.longest_mm, f.switching_rows
    return (f.off, -f.fine, len(f.taken), *work, f.buy)


NOTICED = (0.5, 1, 1, 1, 0.25, 5, 100.0, 1, 1)
"""Steps of these figures below which nobody would tell two bands apart; from our own looking, no source."""


def _beats(one: Choice, other: Choice) -> bool:
    """Steps are rounded, not subtracted, so that beating is transitive and something always remains."""
    mine = [round(value / step) for value, step in zip(_exact(one), NOTICED, strict=True)]
    theirs = [round(value / step) for value, step in zip(_exact(other), NOTICED, strict=True)]
    if any(m > t for m, t in zip(mine, theirs, strict=True)):
        return False
    return mine != theirs or (_exact(one), one.key) < (_exact(other), other.key)


# ---------------------------------------------------------------- the sheet


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
    source = _source(choices[0].asked.artwork) if choices else None
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
    asked, f, likeness = choice.asked, choice.figures, choice.report.likeness
    return {
        "key": choice.key,
        "folder": choice.key,
        "threads": len(f.taken),
        "worked": asked.band.worked,
        "strands": len(choice.pattern.strands),
        "ease": str(asked.tying.ease),
        "made": f.made,
        "cells": f.cells,
        "likeness": None if likeness is None else likeness.model_dump(mode="json"),
        "hand_overs": f.hand_overs,
        "switching_rows": f.switching_rows,
        "hours": round(f.hours, 2),
        "longest_mm": round(f.longest_mm, 1),
        "command": _command(choice, stash),
    }


def _command(choice: Choice, stash: Path | None) -> str:
    asked = choice.asked
    return command(asked.artwork, asked.band, asked.drawer, asked.tying, stash=stash)


def _words(planned: int, shown: int) -> str:
    if shown == planned:
        return f"{_number(planned, 'band')} planned; none of them is beaten by another in everything."
    return f"{_number(planned, 'band')} planned, {shown} shown: what another beats in everything is left out."


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


WAYS = {"rows": "row-worked", "diagonal": "diagonal-worked"}
HAND_OVERS = {Ease.PLAIN: ", at the edges only", Ease.LIGHT: ", one a row at most", Ease.FULL: ""}


def card_of(
    choice: Choice, shown: Sequence[Choice] = (), stash: Path | None = None, *, folder: bool = False
) -> Card:
    """What the sheet says about a band among those ``shown``; ``folder``: whether its pattern is written."""
    asked, f = choice.asked, choice.figures
    facts = [
        ("Time", f"about {f.hours:.1f} h"),
        ("Difficulty", f.grade),
        ("Width and length", f"{f.wide_mm:.0f} × {f.long_mm:.0f} mm"),
        ("Longest strand", f"{f.longest_mm / 1000:.1f} m"),
    ]
    if asked.band.worked == "rows":
        facts.append(("Hand-overs", f"{f.hand_overs}{HAND_OVERS[asked.tying.ease] if f.hand_overs else ''}"))
    if f.switching_rows:
        facts.append(("Switching rows", f"{f.switching_rows}"))
    return Card(
        choice.key,
        _heading(choice),
        choice.picture,
        _size_mm(choice.picture),
        likeness_words(choice),
        tuple(name for name, of in BEST.items() if _is_best(choice, shown, of)),
        tuple(facts),
        tuple(Takes(t.thread, t.colour, _takes(t)) for t in f.taken),
        _command(choice, stash),
        choice.key if folder else "",
    )


def _heading(choice: Choice) -> str:
    artwork, band = choice.asked.artwork, choice.asked.band
    worked = f"{WAYS[band.worked]}, {len(choice.pattern.strands)} strands"
    if isinstance(artwork, LetterSource):
        border = ", with a border" if band.border else ""
        return f"Letters {artwork.height} cells high{border}: {worked}"
    return f"{_number(len(choice.figures.taken), 'thread')}, {worked}"


def _source(artwork: Artwork) -> bytes | None:
    """A small PNG of the picture as it was given, None for letters."""
    if isinstance(artwork, LetterSource):
        return None
    image = Image.fromarray(load_picture(artwork.path, background=artwork.background, trim=False).rgb)
    image.thumbnail((SOURCE_PX, SOURCE_PX), Image.Resampling.LANCZOS)
    out = BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


BEST: dict[str, Callable[[Figures], float]] = {
    "closest": lambda f: f.off,
    "easiest": lambda f: f.points,
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
    return f"{_number(f.cells - f.made, 'cell')} of {f.cells} show another thread."


def _takes(taken: Taken) -> str:
    if taken.buy:
        return f"{taken.metres:.1f} m: buy {_number(taken.buy, 'skein')}"
    return f"{taken.metres:.1f} m" + (f" of {taken.owned_m:.1f}" if taken.owned_m is not None else "")


def _size_mm(picture: bytes) -> tuple[float, float]:
    with Image.open(BytesIO(picture)) as image:
        across, down = image.size
    return across / CHOSEN_PX_PER_MM, down / CHOSEN_PX_PER_MM
