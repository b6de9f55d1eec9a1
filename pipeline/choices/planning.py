"""Bands planned side by side in processes, and those kept that no other beats in every respect."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from pipeline.choices.offers import Asked, Choice, Figures
from pipeline.errors import HitchgridError
from pipeline.materials.fit import size_mm
from pipeline.materials.price import grade, hours
from pipeline.order.asked import LetterSource
from pipeline.plan import Plan, plan
from pipeline.processes import side_by_side
from pipeline.report import report_of
from pipeline.routing import Budget
from pipeline.writers.preview import band_png

EFFORT = 0.5
"""Of each plan's search; more gains a picture about 1 % (measured on drawings)."""
PACE_S = 9.0
"""Seconds a knot for the hours that bands are compared by: midway between quick and calm."""


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
    errors: list[HitchgridError] = []
    done = 0
    tasks = [(one, effort, seed) for one in asked]
    for _, found in side_by_side(_tried, tasks, jobs, halted):
        if isinstance(found, HitchgridError):
            errors.append(found)
        else:
            done += 1
            yield found
    if errors and not done:
        raise errors[0]


def _tried(task: tuple[Asked, float, int], ended: Callable[[], bool]) -> Choice | HitchgridError:
    asked, effort, seed = task
    try:
        return plan_choice(asked, Budget(effort, seed, halted=ended))
    except HitchgridError as error:
        return error


def plan_choice(asked: Asked, budget: Budget) -> Choice:
    """Plan one band, without advice, and draw it. Raises HitchgridError."""
    made = plan(asked.request, budget=budget, further=False)
    picture = band_png(made.pattern, lengthwise=asked.request.artwork.lengthwise)
    return Choice(asked, made.pattern, report_of(made), picture, figures(made, asked))


def figures(made: Plan, asked: Asked) -> Figures:
    """What a plan is compared by."""
    verdict, artwork = made.verdict, asked.request.artwork
    wide, long = size_mm(made.pattern)
    return Figures(
        cells=verdict.cells,
        made=verdict.made,
        off=verdict.colour_error / max(1, verdict.cells) if made.likeness is None else made.likeness.hyab,
        hours=hours(made.pattern, PACE_S).calm,
        grade=grade(made.pattern, made.cuts),
        longest_mm=made.sharing.longest_after_mm,
        wide_mm=wide,
        long_mm=long,
        taken=made.skeins.threads,
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
    artwork, band, *_ = choice.asked.request
    return (band.border is not None, artwork.direction) if isinstance(artwork, LetterSource) else ()


def _exact(choice: Choice) -> tuple[float, ...]:
    f, report = choice.figures, choice.report
    work = f.grade.points, f.hours, report.hand_overs, f.longest_mm, report.switching_rows
    return (f.off, -f.fine, len(f.taken), *work, sum(taken.buy for taken in f.taken))


NOTICED = (0.5, 1, 1, 1, 0.25, 5, 100.0, 1, 1)
"""Steps of these figures below which nobody would tell two bands apart; from our own looking, no source."""


def _beats(one: Choice, other: Choice) -> bool:
    """Steps are rounded, not subtracted, so that beating is transitive and something always remains."""
    mine = [round(value / step) for value, step in zip(_exact(one), NOTICED, strict=True)]
    theirs = [round(value / step) for value, step in zip(_exact(other), NOTICED, strict=True)]
    if any(m > t for m, t in zip(mine, theirs, strict=True)):
        return False
    return mine != theirs or (_exact(one), one.key) < (_exact(other), other.key)
