"""What the router is asked and what it answers: a network, costs and bounds in, routes out.

The router knows nothing of pictures or colours. ``costs[v, t]`` is what it costs that thread t shows at
knot v; the thread that shows is one of the two that meet there, whichever costs less.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.band.network import Network, Repeat
from pipeline.errors import ImpossibleError

ANY = 1 << 20
"""The allowance of a row that may have any number of hand-overs in mid-row."""


class Ease(StrEnum):
    """A maker's word for one allowance of hand-overs that holds for every row.

    ``PLAIN``: none in mid-row, the leader changes only with the strand at an edge (a row's last knot or
    the next row's first). ``LIGHT``: besides, at most one in the middle of a row. ``FULL``: any number.
    Diagonal-worked rows are not bound by it.
    """

    PLAIN = "plain"
    LIGHT = "light"
    FULL = "full"

    def allowance(self, network: Network) -> tuple[int, ...]:
        """The allowance of each row of a band.

        >>> from pipeline.band.network import network, picture_rows
        >>> Ease.LIGHT.allowance(network(4, picture_rows(4, 3, "rows")))
        (1, 1, 1)
        """
        each = {Ease.PLAIN: 0, Ease.LIGHT: 1, Ease.FULL: ANY}[self]
        return (each,) * len(network.rows)


class Stopped(StrEnum):
    """Why the search ended."""

    DONE = "done"
    """The effort was spent, or the answer was proved best."""
    TIME = "time"
    INTERRUPT = "interrupt"


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A routing problem.

    ``network``: the knots; ``costs``: (knots, threads) float64, finite and ≥ 0, zero rows are free cells;
    ``start``: for each starting position a pinned thread or None; ``at_most``: for each thread the largest
    number of strands or None; ``folded``: pairs of starting positions that are one cut and so one thread;
    ``allowance``: for each row how many hand-overs of different threads it may have in mid-row, 0, 1 or
    ``ANY`` (which an empty tuple stands for). Only knots of row-worked rows count, and not a row's first and
    last one. ``serves``: (kinds of cells, threads) which threads make a cell of each kind, by which cells
    made are counted; None: kind t is made by thread t alone. ``closed``: whether the threads hang at the end
    in the order in which they hung at the beginning, so that the band can be tied over and over;
    ``repeat``: rows that cost the same again and again, and shall be tied the same.
    """

    network: Network
    costs: NDArray[np.float64]
    start: tuple[int | None, ...]
    at_most: tuple[int | None, ...]
    folded: tuple[tuple[int, int], ...] = ()
    allowance: tuple[int, ...] = ()
    serves: NDArray[np.bool_] | None = None
    closed: bool = False
    repeat: Repeat | None = None

    def __post_init__(self) -> None:
        if not self.allowance:
            object.__setattr__(self, "allowance", Ease.FULL.allowance(self.network))
        if len(self.allowance) != len(self.network.rows) or not set(self.allowance) <= {0, 1, ANY}:
            raise ValueError("allowance needs 0, 1 or ANY for each row")
        knots, threads = self.costs.shape
        if knots != self.network.knots or threads < 1:
            raise ValueError(f"costs of shape {self.costs.shape} for {self.network.knots} knots")
        if not np.isfinite(self.costs).all() or (self.costs < 0).any():
            raise ValueError("costs must be finite and not negative")
        if len(self.start) != self.network.strands or len(self.at_most) != threads:
            raise ValueError("start needs an entry for each strand, at_most one for each thread")
        if any(pin is not None and not 0 <= pin < threads for pin in self.start):
            raise ValueError("a strand is pinned to a thread that there is not")
        if any(most is not None and most < 0 for most in self.at_most):
            raise ValueError("at_most must not be negative")
        halves = [p for pair in self.folded for p in pair]
        if len(set(halves)) != len(halves) or not set(halves) <= set(range(self.network.strands)):
            raise ValueError("a starting position is folded twice, or outside the band")
        if self.closed and self.folded:
            raise ValueError("a closed band has no folded start")
        if self.repeat is not None and self.repeat.stop > len(self.network.rows):
            raise ValueError(f"{self.repeat} goes beyond the band's {len(self.network.rows)} rows")

    @property
    def threads(self) -> int:
        return int(self.costs.shape[1])

    def eased(self, ease: Ease) -> Question:
        """The same question with the allowance of an ease in every row."""
        return replace(self, allowance=ease.allowance(self.network))

    def makes(self, kinds: NDArray[np.int64], shown: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether threads ``shown`` make cells of ``kinds`` (−1: nothing asked, nor made); equal shapes."""
        serves = np.eye(self.threads, dtype=bool) if self.serves is None else self.serves
        return np.asarray(serves[kinds, shown] & (kinds >= 0))


@dataclass(frozen=True, slots=True, eq=False)
class Routed:
    """Routes: the thread of each starting strand, and for each knot whether its two strands swap.

    ``cost`` is Σ min over the two threads that meet; ``lower_bound`` is certified for the problem as
    posed (its allowance, pins and bounds included). ``strands``: (strands,) int64; ``swaps``: (knots,) bool.
    """

    strands: NDArray[np.int64]
    swaps: NDArray[np.bool_]
    cost: float
    lower_bound: float
    stopped: Stopped = Stopped.DONE
    hand_overs: int = 0

    @property
    def proved_best(self) -> bool:
        """Whether the bound meets the cost (to a tolerance for floating point)."""
        return proved(self.cost, self.lower_bound)


def proved(cost: float, lower_bound: float) -> bool:
    """Whether a bound meets a cost, to a tolerance for floating point: then nothing better exists.

    >>> proved(40.0, 40.0), proved(40.0, 39.9)
    (True, False)
    """
    return cost - lower_bound <= 1e-6 * max(1.0, cost)


class Reporter(Protocol):
    """Hears how the search goes; the command line draws it, the library may ignore it."""

    def routing(self, done: float, cost: float, bound: float) -> None:
        """``done`` is the share of the effort spent, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Budget:
    """How much work a search may do.

    ``effort`` counts work, not time (1.0 is the default, about 10 s at 25 strands × 120 rows × 6
    threads), so that the same input and seed give the same answer. ``deadline`` is a
    ``time.monotonic()`` value after which the best so far is returned; ``halted`` is asked as often, and
    once it answers True that is done too. ``first`` hears the first routing, found without compiled loops,
    before the search that may take long; where nothing is searched it hears none. ``jobs`` processes (0: one
    a core) may answer questions that do not depend on each other; no answer depends on it.
    """

    effort: float = 1.0
    seed: int = 0
    deadline: float | None = None
    reporter: Reporter | None = field(default=None, compare=False)
    halted: Callable[[], bool] | None = field(default=None, compare=False)
    first: Callable[[Routed], None] | None = field(default=None, compare=False)
    jobs: int = field(default=1, compare=False)

    def share(self, share: float) -> Budget:
        """A part of the effort, for a search of which nobody hears."""
        return replace(self, effort=share * self.effort, reporter=None, first=None)

    def sooner(self, seconds: float) -> Budget:
        """The same, but late by so many seconds sooner, where there is a deadline at all."""
        return self if self.deadline is None else replace(self, deadline=self.deadline - seconds)

    @property
    def ended(self) -> Stopped:
        """What keeps the search from going on now: a wish to halt, the deadline, or nothing (DONE)."""
        if self.halted is not None and self.halted():
            return Stopped.INTERRUPT
        if self.deadline is not None and time.monotonic() >= self.deadline:
            return Stopped.TIME
        return Stopped.DONE

    @property
    def late(self) -> bool:
        """Whether to come to an end now, effort or not."""
        return self.ended is not Stopped.DONE


def require_possible(problem: Question) -> None:
    """Raise ImpossibleError when no choice of starting strands meets the pins, folds and limits.

    Pairs of folded strands need two of a thread; when all pairs fit and the strands fit in all, the
    single strands fit too, so nothing more has to be tried.
    """
    n = problem.network.strands
    room = [n if most is None else min(n, most) for most in problem.at_most]
    if sum(room) < n:
        raise ImpossibleError(
            f"The band has {n} strands, but the limits on threads allow only {sum(room)} in all.",
            "Allow more strands of a thread, add a thread, or take fewer strands.",
        )
    partner = {p: q for pair in problem.folded for p, q in (pair, pair[::-1])}
    pins = list(problem.start)
    for p, q in problem.folded:
        if pins[p] is not None and pins[q] is not None and pins[p] != pins[q]:
            raise ImpossibleError(
                f"Positions {p + 1} and {q + 1} are the halves of one folded cut but are given two threads.",
                "Give both halves the same thread, or start the band unfolded.",
            )
        pins[p] = pins[q] = pins[p] if pins[p] is not None else pins[q]
    for thread, most in enumerate(room):
        given = sum(pin == thread for pin in pins)
        if given > most:
            raise ImpossibleError(
                f"The starting order has {given} strands of thread {thread + 1}; at most {most} are allowed.",
                "Allow more strands of that thread, or change the starting order.",
            )
        room[thread] -= given
    pairs = sum(p < q and pins[p] is None for p, q in partner.items())
    fit = sum(most // 2 for most in room)
    if fit < pairs:
        raise ImpossibleError(
            f"{pairs} folded pairs need two strands of one thread each, and the limits leave room for {fit}.",
            "Allow an even number of strands of each thread, or start the band unfolded.",
        )
