"""Three strands that take turns to lead: the part of a plain band that moves.

In plain row work every knot but a row's first and last swaps different threads. So the strands hanging
between the edges only shift to and fro, one a column (the bases), and three strands never join them: the
leader and the two that are parked at the edges. Row 0 starts at the *near* edge; where a row ends, the
next one starts, and there the leader may change places with the strand parked at that edge. A state of
a row is the thread of (leader, parked near, parked far); three threads make at most six states.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Trio:
    """The threads of the three strands that take turns, and the states they can be in.

    ``forced`` holds the bases that a folded start ties to one of the three: (base, thread).
    """

    threads: tuple[int, int, int]
    forced: tuple[tuple[int, int], ...]
    states: Ints
    """(states, 3) threads of (leader, parked near, parked far)."""
    turn: Ints
    """(2, states) the state after the leader changes at the near edge, at the far edge."""
    starts: frozenset[tuple[int, int, int]]
    """Threads that the strands 0, 1 and the last may start with."""
    closed: bool = False
    """Whether the three end as they start. The bounds do not know it."""

    @property
    def labels(self) -> tuple[int, ...]:
        """The different threads among the three, rising."""
        return tuple(sorted(set(self.threads)))

    @property
    def lead(self) -> Ints:
        """(states,) index of the leader's thread in ``labels``."""
        return np.searchsorted(self.labels, self.states[:, 0]).astype(np.int64)

    @property
    def first(self) -> NDArray[np.bool_]:
        """(states,) whether row 0 can be in that state: either of the strands that meet first leads."""
        return self._after(self.starts)

    def _after(self, starts: Set[tuple[int, int, int]]) -> NDArray[np.bool_]:
        states = self.states.tolist()
        return np.array([{(a, b, c), (b, a, c)} & starts != set() for a, b, c in states])

    @property
    def ways(self) -> Iterator[tuple[NDArray[np.bool_], NDArray[np.bool_]]]:
        """(states,) whether the first row can be in that state, and the last one: once, or for each start."""
        if not self.closed:
            yield self.first, np.ones(len(self.states), dtype=bool)
            return
        for start in sorted(self.starts):
            yield self._after({start}), self._after({start})  # the last knot brings either of the two

    def start(self, state: int) -> tuple[int, int, int]:
        """Starting threads that lead to ``state`` in row 0, the leader first where it can be."""
        lead, near, far = self.states[state].tolist()
        return (lead, near, far) if (lead, near, far) in self.starts else (near, lead, far)


Start = tuple[tuple[int, int, int], tuple[tuple[int, int], ...]]
"""Threads of the starting strands 0, 1 and the last, and the bases forced by them."""


def trios(starts: Iterable[Start], *, closed: bool = False) -> list[Trio]:
    """Gather possible starts into trios: those of the same threads and forced bases are one."""
    gathered: dict[Start, set[tuple[int, int, int]]] = defaultdict(set)
    for threads, forced in starts:
        a, b, c = sorted(threads)
        gathered[(a, b, c), forced].add(threads)
    return [
        _trio(threads, forced, frozenset(of), closed) for (threads, forced), of in sorted(gathered.items())
    ]


def _trio(
    threads: tuple[int, int, int],
    forced: tuple[tuple[int, int], ...],
    starts: frozenset[tuple[int, int, int]],
    closed: bool,
) -> Trio:
    states = sorted(set(permutations(threads)))
    index = {state: i for i, state in enumerate(states)}
    at_near = [index[near, lead, far] for lead, near, far in states]
    at_far = [index[far, near, lead] for lead, near, far in states]
    return Trio(threads, forced, np.array(states), np.array([at_near, at_far]), starts, closed)


def edge_costs(trio: Trio, costs: Floats) -> Floats:
    """(rows, states) cost of the first and last knot of each row, from (rows, columns, threads)."""
    lead, near, far = trio.states.T
    near_knot, far_knot = costs[:, 0], costs[:, -1]
    return np.minimum(near_knot[:, lead], near_knot[:, near]) + np.minimum(
        far_knot[:, lead], far_knot[:, far]
    )


def cheapest(trio: Trio, state_costs: Floats) -> Floats:
    """Cost of the cheapest turns, for each of a batch of (…, rows, states) costs."""
    reached = np.where(trio.first, state_costs[..., 0, :], np.inf)
    for row in range(1, state_costs.shape[-2]):
        reached = np.minimum(reached, reached[..., trio.turn[row % 2]]) + state_costs[..., row, :]
    best: Floats = reached.min(axis=-1)
    return best


def turns(trio: Trio, state_costs: Floats) -> tuple[float, Ints]:
    """Return the cheapest turns for (rows, states) costs: cost, and the state of each row.

    Among equals it takes few changes of leader: each costs a billionth of what is at stake.
    """
    _, path = min((_turns(trio, state_costs, *way) for way in trio.ways), key=lambda found: found[0])
    return float(state_costs[np.arange(len(path)), path].sum()), path


def _turns(
    trio: Trio, state_costs: Floats, first: NDArray[np.bool_], end: NDArray[np.bool_]
) -> tuple[float, Ints]:
    """The cheapest turns of one way, and what they cost with the changes of leader."""
    rows = len(state_costs)
    price = 1e-9 * max(1.0, float(state_costs.min(axis=1).sum())) / rows
    change = price * (trio.turn != np.arange(len(trio.states)))
    reached = np.where(first, state_costs[0], np.inf)
    turned = np.zeros((rows, len(trio.states)), dtype=bool)
    for row in range(1, rows):
        turn = trio.turn[row % 2]
        other = reached[turn] + change[row % 2]
        turned[row] = other < reached
        reached = np.minimum(reached, other) + state_costs[row]
    path = np.empty(rows, dtype=np.int64)
    ended = np.where(end, reached, np.inf)
    path[-1] = ended.argmin()
    for row in range(rows - 1, 0, -1):
        here = path[row]
        path[row - 1] = trio.turn[row % 2][here] if turned[row, here] else here
    return float(ended.min()), path


def soft_turns(trio: Trio, state_costs: Floats, width: float) -> tuple[float, Floats]:
    """The same minimum smoothed by entropy: its value, and the (rows, states) share of each state."""
    rows = len(state_costs)
    scaled = -state_costs / width
    ahead = np.empty_like(scaled)
    behind = np.zeros_like(scaled)
    ahead[0] = np.where(trio.first, scaled[0], -np.inf)
    for row in range(1, rows):
        ahead[row] = np.logaddexp(ahead[row - 1], ahead[row - 1][trio.turn[row % 2]]) + scaled[row]
    for row in range(rows - 1, 0, -1):
        later = behind[row] + scaled[row]
        behind[row - 1] = np.logaddexp(later, later[trio.turn[row % 2]])
    total = float(np.logaddexp.reduce(ahead[-1]))
    share: Floats = np.exp(np.minimum(ahead + behind - total, 0.0))
    return -width * total, share
