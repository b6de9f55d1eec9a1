"""Advice and eases: solved again, ranked, priced, and bounded by the budget."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
import pytest

from pipeline.advice.advise import Change, ChangeKind, Replanned, Suggestion, advise, eases, usual_changes
from pipeline.routing import Budget, Ease, Question, Routed, count_made, route
from tests.routing.samples import crossed_blocks

EFFORT = Budget(effort=0.1)


@dataclass(frozen=True)
class Blocks:
    """Poses the crossed blocks under a few changes; the others make no sense for them."""

    problem: Question
    wanted: np.ndarray
    solution: Routed

    def under(self, change: Change) -> Replanned | None:
        here = Replanned(self.problem, self.wanted, f"change {change.kind}", "a price", present=self.solution)
        if change.kind in (ChangeKind.SWITCHING_ROWS, ChangeKind.JOINS):
            return here
        if change.kind is ChangeKind.EASE:
            return replace(
                here,
                problem=self.problem.eased(change.ease),
                present=None,
            )
        if change.kind is ChangeKind.WITHOUT_THREAD and change.thread == 3:
            wanted = np.where(self.wanted == 3, 0, self.wanted)
            problem = replace(
                self.problem,
                costs=np.where(
                    (self.wanted == 3)[:, None], self.problem.costs[self.wanted == 0][0], self.problem.costs
                ),
                at_most=(None, None, None, 0),
            )
            return replace(here, problem=problem, wanted=wanted, present=None, off_picture=1e6)
        return None


class Heard:
    def __init__(self) -> None:
        self.labels: list[tuple[int, int, str]] = []

    def advising(self, done: int, of: int, label: str) -> None:
        self.labels.append((done, of, label))


def as_planned(problem: Question, wanted: np.ndarray, solution: Routed) -> Suggestion:
    made = count_made(problem, solution, wanted)
    return Suggestion(
        Change(ChangeKind.EASE), "", "", len(wanted), made, solution.cost, 0.0, solution.hand_overs
    )


@pytest.fixture(scope="module")
def plain() -> Blocks:
    problem, wanted = crossed_blocks(9, 16, "rows", Ease.PLAIN)
    return Blocks(problem, wanted, route(problem, EFFORT))


def test_advice_is_solved_again_and_ranked(plain: Blocks) -> None:
    changes = usual_changes(plain.problem, Ease.PLAIN)
    assert len(set(changes)) == len(changes)
    heard = Heard()
    base = as_planned(plain.problem, plain.wanted, plain.solution)
    advice = advise(plain.under, base, changes, replace(EFFORT, effort=1.0), heard)
    kinds = [s.kind for s in advice.suggestions]
    assert {ChangeKind.EASE, ChangeKind.JOINS} <= set(kinds)
    # rows said twice cost what they show: among blocks without any ground between they do not pay
    assert ChangeKind.SWITCHING_ROWS in {s.kind for s in advice.suggestions + advice.no_help}
    nearer = [s for s in advice.suggestions if s.per_cell < base.per_cell]
    both = [s for s in nearer if s.share_made > base.share_made]
    assert both and both == list(advice.suggestions[: len(both)]), "what helps in both ways is said first"
    measures = [s.per_cell for s in both]
    assert measures == sorted(measures) and measures[0] < base.per_cell
    assert all(s.made > base.made or s.per_cell < base.per_cell for s in advice.suggestions)
    assert all(s.price == "a price" for s in advice.suggestions)
    # A thread fewer makes more cells; farther from the picture, it ranks behind what keeps to it.
    (fewer,) = [s for s in advice.suggestions + advice.no_help if s.kind is ChangeKind.WITHOUT_THREAD]
    assert fewer.off_picture == 1e6
    assert fewer in advice.no_help or advice.suggestions[-1] is fewer
    assert not advice.untried and advice.effort == 1.0
    assert [done for done, _, _ in heard.labels] == list(range(len(heard.labels)))


def test_advice_stops_when_the_time_is_up(plain: Blocks) -> None:
    changes = usual_changes(plain.problem, Ease.PLAIN)
    base = as_planned(plain.problem, plain.wanted, plain.solution)
    advice = advise(plain.under, base, changes, replace(EFFORT, deadline=time.monotonic() - 1.0))
    assert advice.untried == changes and not advice.suggestions


def test_eases_never_get_worse_as_they_loosen(plain: Blocks) -> None:
    lines = eases(plain.problem, plain.wanted, {Ease.PLAIN: plain.solution}, replace(EFFORT, effort=0.4))
    assert [line.ease for line in lines] == [Ease.PLAIN, Ease.LIGHT, Ease.FULL]
    assert lines[0].colour_error == plain.solution.cost
    errors = [line.colour_error for line in lines]
    assert errors == sorted(errors, reverse=True)
    assert all(line.lower_bound <= line.colour_error + 1e-9 for line in lines)


def test_diagonal_work_is_not_asked_for_ease() -> None:
    problem, _ = crossed_blocks(5, 6, "diagonal")
    assert ChangeKind.EASE not in {c.kind for c in usual_changes(problem, Ease.LIGHT, row_worked=False)}
