"""The best plain band of one run: row-worked rows that take turns from edge to edge, nothing between.

The search knows three things: descent (best leaders for the bases, best bases for the leaders, in turn),
a bound for each trio of threads that may lead (``columns``), and branch and bound over the bases where the
two do not meet. The prices of the bound tell descent where to start, and what descent finds closes trios.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.columns import Columns, Enough, Prices, ascend, columns
from pipeline.routing.question import Budget, Stopped
from pipeline.routing.turns import Floats, Ints, Start, Trio, cheapest, trios, turns

Bools = NDArray[np.bool_]

TOLERANCE = 1e-7
"""Two costs closer than this share of them count as equal."""
LARGEST = 4_000_000
"""Cells × leaders × bases above which the bound is not raised by ascent, for memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """The question: costs of the rows as seen from the edge where row 0 starts.

    ``costs``: (rows, strands−1, threads); ``start``, ``at_most``, ``folded``, ``closed`` as in ``Question``.
    """

    costs: Floats
    start: tuple[int | None, ...]
    at_most: tuple[int | None, ...]
    folded: tuple[tuple[int, int], ...]
    closed: bool = False

    @property
    def strands(self) -> int:
        return len(self.start)


@dataclass(frozen=True, slots=True, eq=False)
class PlainRun:
    """The answer: thread of each starting strand, thread that leads each row, cost and certified bound."""

    strands: Ints
    leaders: Ints
    cost: float
    lower_bound: float
    stopped: Stopped


@dataclass(slots=True)
class Effort:
    """What may still be spent. Counted in visited cells; the clock only matters where a deadline is set."""

    left: float
    budget: Budget = field(default_factory=Budget)
    stopped: Stopped = Stopped.DONE

    def spend(self, work: float) -> None:
        """Raise Enough where nothing is left."""
        self.left -= work
        self.stopped = self.budget.ended
        if self.stopped is not Stopped.DONE:
            raise Enough
        if self.left < 0:
            raise Enough


@dataclass(slots=True, eq=False)
class _Case:
    """One trio: its columns, the bases each cut may have, and what is known of its cost."""

    beside: Columns
    allowed: Bools
    bound: float
    prices: Prices


@dataclass(slots=True, eq=False)
class _Best:
    """The best band so far. Among equals: few changes of leader, few strands of the threads that lead,
    few cells that only the leader can tie.
    """

    cost: float = np.inf
    rank: tuple[int, int, int] = (0, 0, 0)
    trio: Trio | None = None
    states: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    bases: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    @property
    def enough(self) -> float:
        """A bound from here on closes a case."""
        return self.cost - TOLERANCE * max(1.0, self.cost) if np.isfinite(self.cost) else np.inf


def solve_run(run: Run, effort: Effort) -> PlainRun | None:
    """Return the best plain band that the effort finds, or None where the start allows none.

    At least one band is found whatever the effort. Needs at least 3 strands and 1 row.
    """
    cases = sorted(_cases(run), key=lambda case: case.bound)
    best = _Best()
    try:
        for case in cases:
            if case.bound <= best.cost:
                descend(case, best, case.beside.choices(case.prices))
                for label in range(len(case.beside.trio.labels)):  # one thread leads every row
                    descend(case, best, case.beside.by_cut(case.beside.pair[:, :, label].sum(axis=0)))
                if np.isfinite(best.cost):
                    effort.spend(3 * case.beside.pair.size)
        scale = float(run.costs.max())
        if cases and scale > 0 and cases[0].beside.pair.size <= LARGEST:
            for widths, steps in (((0.3, 0.1), 30), ((0.03, 0.01), 60)):
                for case in sorted(cases, key=lambda case: case.bound):
                    _raise_bound(case, best, tuple(scale * width for width in widths), steps, effort)
            for case in sorted(cases, key=lambda case: case.bound):
                _branch(case, best, effort)
    except Enough:
        pass
    except KeyboardInterrupt:
        effort.stopped = Stopped.INTERRUPT
    if best.trio is None:
        return None
    bound = min(best.enough, *(case.bound for case in cases))
    leaders = best.trio.states[best.states, 0]
    return PlainRun(_strands(best), leaders, best.cost, max(0.0, bound), effort.stopped)


def _strands(best: _Best) -> Ints:
    """Threads of the starting strands: the two that meet first, the bases, the far edge."""
    assert best.trio is not None
    zeroth, second, last = best.trio.start(int(best.states[0]))
    return np.array([zeroth, second, *best.bases, last], dtype=np.int64)


def _cases(run: Run) -> Iterator[_Case]:
    """Every trio that the start allows, with the bound at prices of nought."""
    threads = run.costs.shape[2]
    cuts = _cuts(run.strands, run.folded)
    inner = range(2, run.strands - 1)
    base_cuts, cut_of = np.unique([cuts[i] for i in inner], return_inverse=True)
    pinned = np.ones((len(base_cuts), threads), dtype=bool)
    for base, position in enumerate(inner):
        pin = run.start[position]
        if pin is not None:
            pinned[cut_of[base]] &= np.arange(threads) == pin
    for trio in trios(_starts(run, cuts), closed=run.closed):
        left = np.array([np.inf if most is None else most for most in run.at_most])
        for thread in trio.threads:
            left[thread] -= 1
        beside = columns(trio, run.costs, cut_of.astype(np.int64), left)
        allowed = pinned & (beside.size[:, None] <= left)
        for base, thread in trio.forced:
            allowed[cut_of[base]] &= np.arange(threads) == thread
        if (left < 0).any() or assign(np.zeros(allowed.shape), allowed, beside.size, left) is None:
            continue
        prices = beside.none()
        yield _Case(beside, allowed, beside.bound(prices, allowed), prices)


def _cuts(strands: int, folded: Sequence[tuple[int, int]]) -> list[int]:
    """The cut that each starting position belongs to."""
    cuts = list(range(strands))
    for a, b in folded:
        cuts = [cuts[a] if cut == cuts[b] else cut for cut in cuts]
    return cuts


def _starts(run: Run, cuts: list[int]) -> Iterator[Start]:
    """Threads that the three turning strands may start with, and the bases folded with them."""
    ends = (0, 1, run.strands - 1)
    for threads in product(range(run.costs.shape[2]), repeat=3):
        of_cut = {cuts[end]: thread for end, thread in zip(ends, threads, strict=True)}
        legal = all(
            of_cut[cuts[end]] == thread and run.start[end] in (None, thread)
            for end, thread in zip(ends, threads, strict=True)
        )
        if legal:
            tied = tuple((i - 2, of_cut[cuts[i]]) for i in range(2, run.strands - 1) if cuts[i] in of_cut)
            yield (threads[0], threads[1], threads[2]), tied


def descend(case: _Case, best: _Best, choices: Floats) -> None:
    """From the bases that (cuts, threads) ``choices`` like best: leaders, bases, leaders, … while it pays."""
    beside = case.beside
    rows = np.arange(len(beside.pair))
    cost = np.inf
    dear = beside.size[:, None] * np.isin(np.arange(choices.shape[1]), beside.trio.labels)
    while True:
        tie_break = 1e-9 * max(1.0, float(choices.max(initial=0.0))) * dear
        cuts = assign(choices + tie_break, case.allowed, beside.size, beside.left)
        if cuts is None:
            return
        bases = cuts[beside.cut_of]
        reached, states = turns(beside.trio, beside.state_costs(beside.leader_costs(bases)))
        equal = 1e-9 * max(1.0, reached)
        if reached <= best.cost + equal:
            rank = _rank(beside, states, bases)
            if reached < best.cost - equal or rank < best.rank:
                best.cost, best.rank = reached, rank
                best.trio, best.states, best.bases = beside.trio, states, bases
        if not reached < cost - TOLERANCE * max(1.0, reached):
            return
        cost = reached
        choices = beside.by_cut(beside.pair[rows, :, beside.trio.lead[states], :].sum(axis=0))


def _rank(beside: Columns, states: Ints, bases: Ints) -> tuple[int, int, int]:
    """What decides between bands of one cost, the smaller the better (see ``_Best``)."""
    leads = beside.trio.lead[states]
    changes = int((leads[1:] != leads[:-1]).sum())
    leading = np.array(beside.trio.labels)[np.unique(leads)]
    strands = int(np.isin([*beside.trio.threads, *bases], leading).sum())
    rows, columns = np.arange(len(states))[:, None], np.arange(len(bases))
    shown = beside.pair[rows, columns, leads[:, None], bases]
    alone = beside.own[rows, columns, bases] > shown
    return changes, strands, int(alone.sum())


def assign(choices: Floats, allowed: Bools, size: Ints, left: Floats) -> Ints | None:
    """The cheapest thread of each cut with at most ``left`` strands of each; None where there is none."""
    cuts, threads = choices.shape
    least: Ints = np.where(allowed, choices, np.inf).argmin(axis=1)
    if not allowed.any(axis=1).all():
        return None
    if (np.bincount(least, weights=size, minlength=threads) <= left).all():
        return least
    if (size == size[0]).all():
        return _assign_evenly(np.where(allowed, choices, np.inf), np.floor(left / size[0]))
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, eye_array, kron

    capped = np.flatnonzero(np.isfinite(left))
    one_each = kron(eye_array(cuts), np.ones((1, threads)))
    drawn = csr_array(np.stack([np.kron(size, np.arange(threads) == t) for t in capped]))
    answer = milp(
        np.where(allowed, choices, 0.0).ravel(),
        integrality=np.ones(cuts * threads),
        bounds=Bounds(0.0, allowed.ravel().astype(float)),
        constraints=[LinearConstraint(one_each, 1, 1), LinearConstraint(drawn, -np.inf, left[capped])],
    )
    return None if answer.x is None else answer.x.reshape(cuts, threads).argmax(axis=1).astype(np.int64)


def _assign_evenly(choices: Floats, left: Floats) -> Ints | None:
    """The assignment where every cut is of one size: each thread has as many seats as cuts left."""
    from scipy.optimize import linear_sum_assignment

    cuts, threads = choices.shape
    seats = np.repeat(np.arange(threads), np.minimum(left, cuts).astype(np.int64))
    if len(seats) < cuts:
        return None
    try:
        _, chosen = linear_sum_assignment(choices[:, seats])
    except ValueError:  # some cut may have no thread that is left
        return None
    threads_of: Ints = seats[chosen]
    return threads_of


def _raise_bound(case: _Case, best: _Best, widths: tuple[float, ...], steps: int, effort: Effort) -> None:
    if case.bound >= best.enough:
        return

    class Closed(Exception):
        """The case cannot beat the best."""

    def watch(bound: float, prices: Prices) -> None:
        if bound > case.bound:
            case.bound, case.prices = bound, prices
        descend(case, best, case.beside.choices(prices))
        if case.bound >= best.enough:
            raise Closed
        effort.spend(20 * case.beside.pair.size)

    with suppress(Closed):
        ascend(case.beside, case.prices, case.allowed, widths, steps, watch)


@dataclass(slots=True, eq=False)
class _Node:
    allowed: Bools
    bound: float


def _branch(case: _Case, best: _Best, effort: Effort) -> None:
    """Close the case by branching on the bases, under the prices found."""
    if case.bound >= best.enough or not len(case.beside.size):
        return
    root, stack = case.bound, [_Node(case.allowed, case.bound)]
    try:
        while stack:
            node = stack[-1]
            if node.bound < best.enough:
                children = _expand(case, node, best, effort)
                stack.pop()
                stack.extend(children)
            else:
                stack.pop()
        case.bound = best.enough
    except Enough:
        case.bound = max(root, min(best.enough, *(node.bound for node in stack)))
        raise


def _expand(case: _Case, node: _Node, best: _Best, effort: Effort) -> list[_Node]:
    """Strike out bases that cannot beat the best; split what is left on the cut that tells most."""
    beside, prices = case.beside, case.prices
    choices = beside.choices(prices)
    allowed = node.allowed.copy()
    while True:
        settled = allowed.sum(axis=1) == 1
        threads = allowed.argmax(axis=1)
        used = np.bincount(threads[settled], weights=beside.size[settled], minlength=allowed.shape[1])
        allowed &= settled[:, None] | (beside.size[:, None] <= beside.left - used)
        if not allowed.any(axis=1).all() or (used > beside.left).any():
            return []
        if (allowed.sum(axis=1) == 1).sum() > settled.sum():
            continue
        descend(_Case(beside, allowed, node.bound, prices), best, choices)
        if settled.all():
            return []
        bounds = _child_bounds(case, choices, allowed, settled, effort)
        struck = allowed & ~settled[:, None] & (bounds >= best.enough)
        if not struck.any():
            break
        allowed &= ~struck
    bounds = np.where(allowed, bounds, np.inf)
    bounds[settled] = -np.inf
    second = np.sort(bounds, axis=1)[:, 1]
    cut = int(second.argmax())
    children = []
    for thread in np.argsort(-bounds[cut], kind="stable"):
        if allowed[cut, thread]:
            child = allowed.copy()
            child[cut] = np.arange(allowed.shape[1]) == thread
            children.append(_Node(child, max(node.bound, float(bounds[cut, thread]))))
    return children


def _child_bounds(case: _Case, choices: Floats, allowed: Bools, settled: Bools, effort: Effort) -> Floats:
    """(cuts, threads) bound where one more cut is settled on a thread; infinite where not allowed."""
    beside, prices = case.beside, case.prices
    threads = allowed.argmax(axis=1)
    held = settled[beside.cut_of]
    leaders = prices.cell[:, ~held].sum(axis=1)
    bases = threads[beside.cut_of]
    leaders = leaders + beside.pair[:, np.flatnonzero(held), :, bases[held]].sum(axis=0)
    least = np.where(allowed, choices, np.inf).min(axis=1)
    own = beside.size[:, None] * prices.strand
    constant = least[~settled].sum() + own[settled, threads[settled]].sum() + beside.constant(prices)
    bounds = np.full(allowed.shape, np.inf)
    cuts, here = np.nonzero(allowed & ~settled[:, None])
    changes = []
    for cut in np.flatnonzero(~settled):
        members = beside.cut_of == cut
        change = beside.pair[:, members][..., allowed[cut]].sum(axis=1)
        changes.append(change - prices.cell[:, members].sum(axis=1)[..., None])
    batch = (leaders[..., None] + np.concatenate(changes, axis=2)).transpose(2, 0, 1)
    bounds[cuts, here] = cheapest(beside.trio, beside.state_costs(batch)) - least[cuts] + own[cuts, here]
    effort.spend(3 * beside.pair.size + 6 * batch.size)
    bounds += constant
    return bounds
