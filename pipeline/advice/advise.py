"""What would help, each answer found by solving again, and what each answer costs.

The advice knows nothing of pictures or stashes: whoever planned the band poses it again under one
:class:`Change` (:data:`Pose`). Switching rows and joins need no rebuilding and are
tried on the problem as it stands. All of it works under one further, stated budget and can be left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import count
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.literals import HAND_OVERS_OF
from pipeline.processes import side_by_side
from pipeline.routing import Allowed, Budget, Ease, Question, Routed, count_made, lengthened, route

EASES = (Ease.PLAIN, Ease.LIGHT, Ease.FULL)


class ChangeKind(StrEnum):
    """The kinds of change that may make more cells."""

    STRANDS = "strands"
    """``amount`` more strands, so a finer picture."""
    SELVEDGE = "selvedge"
    """``amount`` strands more on each side, whose cells ask for nothing."""
    SWITCHING_ROWS = "switching rows"
    """Up to ``amount`` rows more that move strands."""
    WITHOUT_THREAD = "without thread"
    """The picture does without thread ``thread``: its cells take the nearest of the others."""
    OTHER_ORDER = "other order"
    """Diagonal-worked instead of row-worked, or the reverse."""
    EASE = "ease"
    """More hand-overs in a row: ``ease``."""
    TURNED = "turned"
    """The picture turned by a quarter, ``amount`` times."""
    MIRRORED = "mirrored"
    """The picture in a mirror."""
    JOINS = "joins"
    """Up to ``amount`` strands change their thread at a join."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change to what was asked."""

    kind: ChangeKind
    amount: int = 0
    thread: int | None = None
    """Index of the thread to do without."""
    ease: Ease | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Replanned:
    """The routing problem under one change.

    ``wanted``: (knots,) int64, the kind of cell at each knot, −1 where nothing is asked. ``label``
    names the change ("27 strands instead of 25"), ``price`` what it costs the maker ("the band becomes
    3 mm wider"). ``off_picture``: what the threads of this band can never do, Σ over its cells; it is added
    to the colour error when answers are compared.
    ``present``: the band as planned, from which switching rows and joins set out.
    """

    problem: Question
    wanted: NDArray[np.int64]
    label: str
    price: str = ""
    off_picture: float = 0.0
    present: Routed | None = None


Pose = Callable[[Change], Replanned | None]
"""Poses a band under a change, or None where that makes no sense. SWITCHING_ROWS and JOINS are asked too: for
them it is the present problem and solution with label and price."""


class AdviceReporter(Protocol):
    """Hears how far the advice is."""

    def advising(self, done: int, of: int, label: str) -> None:
        """``label`` was tried last; ``done`` of ``of`` had been before."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One change and what it gave when solved again; ``change`` and ``price`` in words."""

    asked: Change
    change: str
    price: str
    cells: int
    made: int
    colour_error: float
    off_picture: float
    hand_overs: int

    @property
    def kind(self) -> ChangeKind:
        return self.asked.kind

    @property
    def per_cell(self) -> float:
        """Colour error a cell, the measure by which bands of different size are compared."""
        return (self.colour_error + self.off_picture) / max(1, self.cells)

    @property
    def share_made(self) -> float:
        """Share of the cells that are made."""
        return self.made / max(1, self.cells)


@dataclass(frozen=True, slots=True)
class Advice:
    """All changes that were tried. ``effort`` is the budget they shared, in the router's units of work."""

    suggestions: tuple[Suggestion, ...]
    """Those that help, best first."""
    no_help: tuple[Suggestion, ...]
    """Those that were solved and do not help under this budget."""
    untried: tuple[Change, ...]
    """Those for which the time ran out."""
    effort: float


@dataclass(frozen=True, slots=True)
class EaseLine:
    """What one ease gives. ``lower_bound`` is certified for that ease."""

    ease: Ease
    colour_error: float
    lower_bound: float
    made: int
    hand_overs: int


def usual_changes(
    problem: Question, ease: Ease, switching_rows: int = 0, joins: int = 0, row_worked: bool = True
) -> tuple[Change, ...]:
    """Return the changes worth asking about for a problem, the cheap ones first.

    ``switching_rows`` and ``joins`` are what the plan may use already.
    """
    used = [t for t in range(problem.threads) if problem.at_most[t] != 0]
    changes = [Change(ChangeKind.SWITCHING_ROWS, max(8, 2 * switching_rows))]
    if row_worked:
        changes += [Change(ChangeKind.EASE, ease=e) for e in EASES[EASES.index(ease) + 1 :]]
    changes += [
        Change(ChangeKind.OTHER_ORDER),
        Change(ChangeKind.SELVEDGE, 1),
        Change(ChangeKind.STRANDS, 2),
        Change(ChangeKind.JOINS, max(4, 2 * joins)),
        Change(ChangeKind.MIRRORED),
        Change(ChangeKind.TURNED, 1),
    ]
    if len(used) > 2:
        changes += [Change(ChangeKind.WITHOUT_THREAD, thread=t) for t in used]
    return tuple(changes)


def advise(
    pose: Pose,
    base: Suggestion,
    changes: Sequence[Change],
    budget: Budget,
    reporter: AdviceReporter | None = None,
    known: Sequence[EaseLine] = (),
) -> Advice:
    """Solve again under each change and return those that help, best first.

    ``known``: what eases give; they are not solved again, so that nothing else is ever said of them.

    ``base``: what the band gives as planned (its label and price are not used). ``budget`` is shared
    equally by the changes. A change helps if a larger share of the cells is made, or if the colour error a
    cell is smaller. What does both comes first; then the smaller colour error a cell, then the larger share.
    """
    share, told = _share(budget, len(changes)), count()
    tasks = [(pose, change, share, tuple(known)) for change in changes]
    answers: dict[int, Suggestion | None] = {}
    for number, (tried, answer) in side_by_side(_answered, tasks, budget.jobs, budget.halted):
        if tried:
            answers[number] = answer
            if answer is not None and reporter is not None:
                reporter.advising(next(told), len(changes), answer.change)
    found = [answer for _, answer in sorted(answers.items()) if answer is not None]
    untried = [change for number, change in enumerate(changes) if number not in answers]
    gains = {s: (s.share_made > base.share_made, s.per_cell < base.per_cell - 1e-6) for s in found}
    helps = sorted(
        (s for s in found if any(gains[s])), key=lambda s: (not all(gains[s]), s.per_cell, -s.share_made)
    )
    return Advice(tuple(helps), tuple(s for s in found if s not in helps), tuple(untried), budget.effort)


def _share(budget: Budget, parts: int) -> Budget:
    """A part of the budget that can be sent to another process."""
    return Budget(budget.effort / max(1, parts), budget.seed, budget.deadline)


def _answered(
    task: tuple[Pose, Change, Budget, tuple[EaseLine, ...]], ended: Callable[[], bool]
) -> tuple[bool, Suggestion | None]:
    """Whether there was time to try a change, and what it gave where it makes sense."""
    pose, change, budget, known = task
    budget = replace(budget, halted=ended)
    asked = None if budget.late else pose(change)
    if asked is None:
        return not budget.late, None
    line = next((line for line in known if line.ease is change.ease), None)
    return True, _solve(change, asked, budget) if line is None else _as_known(change, asked, line)


def _as_known(change: Change, asked: Replanned, line: EaseLine) -> Suggestion:
    cells = int((asked.wanted >= 0).sum())
    figures = cells, line.made, line.colour_error, asked.off_picture, line.hand_overs
    return Suggestion(change, asked.label, asked.price, *figures)


def _solve(change: Change, asked: Replanned, budget: Budget) -> Suggestion:
    allowed = Allowed(
        rows=change.amount if change.kind is ChangeKind.SWITCHING_ROWS else 0,
        joins=change.amount if change.kind is ChangeKind.JOINS else 0,
    )
    band = lengthened(asked.problem, asked.wanted, allowed, budget, asked.present).band
    figures = band.cells, band.made, band.colour_error, asked.off_picture, band.solution.hand_overs
    return Suggestion(change, asked.label, asked.price, *figures)


def eases(
    problem: Question,
    wanted: NDArray[np.int64],
    known: Mapping[Ease, Routed],
    budget: Budget,
    reporter: AdviceReporter | None = None,
) -> tuple[EaseLine, ...]:
    """Solve a row-worked problem at each ease, each optimised for itself; ``known`` are not solved again.

    An answer at a stricter ease is legal at a looser one, so it is kept there if nothing better was found.
    Eases for which the time ran out are left out.
    """
    others = [ease for ease in EASES if ease not in known]
    tasks = [(problem.eased(ease), _share(budget, len(others))) for ease in others]
    solved: dict[Ease, Routed | None] = dict(known)
    for done, (number, answer) in enumerate(side_by_side(_eased, tasks, budget.jobs, budget.halted)):
        solved[others[number]] = answer
        if reporter is not None:
            reporter.advising(done, len(others), f"hand-overs: {HAND_OVERS_OF[others[number].value]}")
    lines: list[EaseLine] = []
    best: Routed | None = None
    for ease in EASES:
        solution = solved.get(ease)
        if solution is None:
            continue
        if best is not None and best.cost < solution.cost:
            solution = replace(best, lower_bound=solution.lower_bound)
        best = solution
        made = count_made(problem, solution, wanted)
        bound = min(solution.lower_bound, solution.cost)  # sums that are rounded otherwise may lie above
        lines.append(EaseLine(ease, solution.cost, bound, made, solution.hand_overs))
    return tuple(lines)


def _eased(task: tuple[Question, Budget], ended: Callable[[], bool]) -> Routed | None:
    """The answer to a question, or None where the time had run out."""
    problem, budget = task
    budget = replace(budget, halted=ended)
    return None if budget.late else route(problem, budget)
