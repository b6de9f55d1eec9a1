"""A light band improved by programs over its leader and a few columns at a time.

Seen by columns, a row-worked band is a leader that runs to and fro over the base of each column. At light
ease a row changes that only where the leader parks in one column and its base leads on, and the edges only
where the leader changes with the edge column between two rows. So with all but q columns fixed, everything
that can still happen in some rows is a dynamic program over the leader and the q bases: kᑫ⁺¹ states a row,
where the fixed columns enter by sums along the row, and a hand-over in one of them asks for its leader.
Unlike a strip of the network it moves the leader in whole rows, over columns that need not be neighbours.

On a closed band the last row is followed by the first; it is turned by some rows before each program, so that
none sees the seam.

The search draws columns and rows where the band errs. When it finds nothing more it takes a disturbed
picture for a while (iterated local search; Lourenço, Martin, Stützle 2003) and goes back unless that paid.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.board import Labels, board
from pipeline.routing.light import Trail, read_trail, write_trail
from pipeline.routing.meter import Meter
from pipeline.routing.question import Question
from pipeline.routing.stretches import Stretch, costs_of, stretches
from pipeline.routing.turns import Floats, Ints

Bools = NDArray[np.bool_]

STATES = 5000
"""Most states of a program; with k threads it frees the leader and ⌊log_k STATES⌋ − 1 columns."""
REACHES = (16, 32, 64, 10_000)
"""Rows that a program spans, drawn at random."""
QUIET = 25
"""Programs without gain before the picture is disturbed."""
DISTURBED, SETTLING = 5, 20
"""Programs on the disturbed picture, and on the true one afterwards."""
SLACK = 1.005
"""A disturbance is kept if the error is at most this times the one before."""
WORK = 0.25
"""Units of work for each state, row, free column and choice."""


def applies(problem: Question) -> bool:
    """Whether the band is one run of row-worked rows of at most one hand-over each."""
    runs = list(stretches(problem.network))
    whole = len(runs) == 1 and len(runs[0].rows) == len(problem.network.rows)
    return set(problem.allowance) <= {0, 1} and whole and problem.network.strands >= 4


def improve_leader(
    problem: Question, labels: Labels, meter: Meter, keep: Callable[[Labels], None], seed: int = 0
) -> None:
    """Search for labels of less colour error and hand the best to ``keep``, also when interrupted.

    ``labels``: a legal routing of a problem that the search ``applies`` to. Where starting strands are
    pinned, folded or counted, they stay as they are.
    """
    run = next(iter(stretches(problem.network)))
    labels = labels.copy()
    labels[: problem.network.strands] = labels[board(problem).partner]  # one wire stands for a folded cut
    counted = any(most is not None and most < problem.network.strands for most in problem.at_most)
    pinned = any(pin is not None for pin in problem.start)
    held = counted or bool(problem.folded) or pinned or problem.closed
    search = _Search(*_laid(problem, run), read_trail(problem, run, labels), held, meter, seed)
    search.closed, search.turns = problem.closed, problem.closed and not (pinned or counted)
    begun = search.error
    try:
        search.run()
    finally:
        if search.best_error < begun - 1e-9 * max(1.0, begun):
            start = run.seen(labels[: problem.network.strands].astype(np.int64))
            keep(write_trail(problem, run, search.best, start if pinned or problem.folded else None))


def _laid(problem: Question, run: Stretch) -> tuple[Floats, Bools]:
    """What programs work on: (rows, columns, threads) costs, (rows,) whether a row may have a hand-over."""
    open_ = np.array([problem.allowance[row] > 0 for row in run.rows])
    return np.ascontiguousarray(costs_of(problem, run)), open_


def led_home(problem: Question, labels: Labels) -> bool:
    """Let an open band end with the threads with which it begins, in place; False where that fails.

    Threads that hang in each other's places at the end are brought home together, by a program over the
    leader, their columns and those that err most.
    """
    from pipeline.routing.loops.leader import program

    run = next(iter(stretches(problem.network)))
    (costs, open_), trail = _laid(problem, run), read_trail(problem, run, labels)
    rows, columns, threads = costs.shape
    wanted = np.append(trail.base[0], trail.first[0])
    while True:
        had = np.append(trail.base[-1], trail.last[-1])
        astray = np.flatnonzero(had != wanted)
        if not len(astray):
            break
        ring = _ring(had, wanted, astray)
        home, most = ring[ring < columns], _most_free(columns, threads)
        if len(home) > most:
            return False
        trail.base[-1, home] = wanted[home]
        if columns in ring:
            trail.last[-1] = wanted[-1]
        pain = trail.errors(costs).sum(axis=0)
        pain[astray[astray < columns]] = -1.0
        free = np.sort(np.append(home, np.argsort(-pain, kind="stable")[: most - len(home)]))
        path = trail.first, trail.last, trail.column, trail.base
        if not program(costs, open_, *path, free, 0, rows, True, True):
            return False
    strands = labels[: problem.network.strands].copy()
    labels[:] = write_trail(problem, run, trail, run.seen(strands.astype(np.int64)))
    return bool((labels[problem.network.last] == strands).all())


def _ring(had: Ints, wanted: Ints, astray: Ints) -> Ints:
    """Some of the places ``astray``: each wants what the next one had, the last what the first."""
    ring = [int(astray[0])]
    while wanted[ring[-1]] != had[ring[0]]:
        others = np.setdiff1d(astray, ring)
        others = others[had[others] == wanted[ring[-1]]]
        ends = others[wanted[others] == had[ring[0]]]
        ring.append(int((ends if len(ends) else others)[0]))
    return np.array(ring)


def _most_free(columns: int, threads: int) -> int:
    """How many columns a program frees at most."""
    return min(columns, max(1, int(np.log(STATES) / np.log(max(2, threads))) - 1))


class _Search:
    """Draws programs until the effort is spent."""

    def __init__(
        self, costs: Floats, open_: Bools, trail: Trail, held: bool, meter: Meter, seed: int
    ) -> None:
        self.costs, self.trail, self.open, self.held, self.meter = costs, trail, open_, held, meter
        self.random = np.random.default_rng(seed)
        self.columns, self.threads = costs.shape[1:]
        self.free = _most_free(self.columns, self.threads)
        self.error = float(trail.errors(costs).sum())
        self.best, self.best_error = trail.copy(), self.error
        self.closed = self.turns = False

    def run(self) -> None:
        idle = 0
        while not self.meter.over() and self.best_error > 0:
            gained = self.step(self.costs, self.bad_cell())
            idle = 0 if gained else idle + 1
            if idle > QUIET:
                self.disturb()
                idle = QUIET // 2

    def keep(self) -> None:
        if self.error < self.best_error - 1e-9 * max(1.0, self.best_error):
            self.best, self.best_error = self.trail.copy(), self.error
            self.meter.cost = self.error

    def bad_cell(self) -> tuple[int, int]:
        """A cell drawn in proportion to its error."""
        errors = self.trail.errors(self.costs).ravel()
        at = int(self.random.choice(errors.size, p=errors / errors.sum()))
        return at // self.columns, at % self.columns

    def step(self, costs: Floats, cell: tuple[int, int]) -> bool:
        """Solve one program about a cell; return whether it gained."""
        from pipeline.routing.loops.leader import program

        row, column = cell
        rows = len(costs)
        turn = 2 * int(self.random.integers(rows // 2)) if self.turns else 0
        if turn:
            row = (row + turn) % rows
        reach = min(rows, int(self.random.choice(REACHES)))
        start = int(np.clip(row - self.random.integers(reach), 0, rows - reach))
        trail = self.trail.turned(turn) if turn else self.trail.copy()
        seen = np.roll(self.costs, turn, axis=0) if turn else self.costs
        free = self.drawn(trail.errors(seen)[start : start + reach].sum(axis=0), column)
        held = self.held or start > 0
        gain = program(
            *(np.roll(costs, turn, axis=0), np.roll(self.open, turn)) if turn else (costs, self.open),
            *(trail.first, trail.last, trail.column, trail.base, free, start, start + reach),
            *(held, self.closed),
        )
        self.meter.spend(WORK * reach * self.threads ** (len(free) + 1) * (len(free) + 1) ** 2)
        if not gain:
            return False
        self.trail = trail = trail.turned(-turn) if turn else trail
        if costs is not self.costs:
            return True
        before, self.error = self.error, float(trail.errors(costs).sum())
        self.keep()
        return self.error < before - 1e-9 * max(1.0, before)

    def drawn(self, errs: Floats, column: int) -> Ints:
        """Columns to free: ``column`` with its neighbours, or with others that err; ``errs``: (columns,)."""
        count = self.free
        if self.random.random() < 0.35:
            left = int(np.clip(column - self.random.integers(count), 0, self.columns - count))
            return np.arange(left, left + count, dtype=np.int64)
        weight = errs + 0.3 * errs.mean() + 1e-9
        weight[[0, -1]] += errs.mean()  # the edges, where the leader changes
        weight[column] = 0
        others = self.random.choice(
            self.columns, min(count, self.columns) - 1, replace=False, p=weight / weight.sum()
        )
        return np.sort(np.append(others, column)).astype(np.int64)

    def disturb(self) -> None:
        """Work on a disturbed picture about one place, settle, and go back unless it paid."""
        trail, error = self.trail.copy(), self.error
        row, column = self.bad_cell()
        reach = int(self.random.integers(6, 40))
        about = slice(max(0, row - reach), row + reach)
        sigma = float(self.random.choice((0.3, 0.6, 1.0)))
        costs = self.costs.copy()
        costs[about] *= np.exp(sigma * self.random.standard_normal(costs[about].shape))
        for _ in range(DISTURBED):
            self.step(costs, (row, column))
        self.error = float(self.trail.errors(self.costs).sum())
        for _ in range(SETTLING):
            if self.meter.over() or self.error <= 0:
                break
            near = int(np.clip(row + self.random.integers(-reach, reach + 1), 0, len(costs) - 1))
            errors = self.trail.errors(self.costs)[near]
            at = int(errors.argmax()) if errors.any() else int(self.random.integers(self.columns))
            self.step(self.costs, (near, at))
        self.keep()
        if self.error > SLACK * error:
            self.trail, self.error = trail, error
