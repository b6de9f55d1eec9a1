"""Colour-block bands: groups of strands that switch places, block by block.

Strands hang in groups. When two neighbouring groups switch, every strand of one passes every strand of the
other: a·b knots in a+b−1 diagonal rows, all in the colour of the group that ties (common practice).
Switches follow one another as soon as their strands have arrived, so blocks fit together like bricks.
Where nothing switches, strands of one group tie on each other, which turns the group at an edge and changes
no colour, and neighbours of different groups are linked by a knot after which both stay.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.band.knots import Knot, knot_of
from pipeline.band.pattern import Ends, Gauge, Pattern, PatternThread, Row, Section, title_of
from pipeline.errors import ImpossibleError, InputError
from pipeline.limits import MOST_ROWS, MOST_STRANDS


@dataclass(frozen=True, slots=True)
class Switch:
    """The groups in places ``place`` and ``place + 1`` (counted from 0 at the left) switch.

    ``left_shows``: whether the group coming from the left ties. None leaves it open: the group whose strands
    have tied less shows, else the left one.
    """

    place: int
    left_shows: bool | None = None


Move = tuple[Switch, ...]
"""Switches that are begun together, of different places."""
Passing = tuple[int, int, bool]
"""Left group, right group, and whether the left one shows."""


@dataclass(frozen=True, slots=True)
class Woven:
    """Rows of knots, and the group number at each position after them.

    ``rows``: (left position, knot) of each diagonal row; ``tied``: knots that each group tied.
    """

    rows: tuple[tuple[tuple[int, Knot], ...], ...]
    order: tuple[int, ...]
    tied: tuple[int, ...]


def default_moves(groups: int) -> tuple[Move, ...]:
    """Every other pair of neighbours switches, then the pairs between: all groups travel from edge to edge.

    The left groups show in one move and the right ones in the next, as in a basket, so that every group
    shows about half of the time; of two groups each shows in turn. Raises ImpossibleError for fewer than
    two groups.

    >>> [[(switch.place, switch.left_shows) for switch in move] for move in default_moves(4)]
    [[(0, True), (2, True)], [(1, False)]]
    """
    if groups < 2:
        raise ImpossibleError("one group has no other to switch with.", "Name two groups or more.")
    if groups == 2:
        return ((Switch(0, True),),)
    return tuple(tuple(Switch(p, p % 2 == 0) for p in range(first, groups - 1, 2)) for first in (0, 1))


def weave(sizes: Sequence[int], moves: Sequence[Move], *, filled: bool = True) -> Woven:
    """Tie ``moves`` in turn over groups of ``sizes`` strands, numbered 0, 1, … from the left.

    ``filled``: also tie the pairs that no switch needs, so that no strand floats. Raises ValueError for a
    place that is not there or moves that overlap.
    """
    switches = _resolved(sizes, moves)
    plans = [_Loom(sizes, switches, filled=filled, first=first).weave() for first in (0, 1)]
    return min(plans, key=lambda woven: len(woven.rows))


class _Loom:
    """Row by row, knots each pair of strands that is due to switch, and links or turns the others."""

    def __init__(
        self, sizes: Sequence[int], switches: Sequence[Passing], *, filled: bool, first: int
    ) -> None:
        self._filled = filled
        self._first = first
        self._order = [group for group, size in enumerate(sizes) for _ in range(size)]
        self._sizes = tuple(sizes)
        self._switches = switches
        own: list[list[int]] = [[] for _ in sizes]
        for i, (left, right, _) in enumerate(self._switches):
            own[left].append(i)
            own[right].append(i)
        self._own = own
        # For the strand at each position: how many of its group's switches it has done, and how many strands
        # of the other group are still to be passed in the next.
        self._done = [0] * len(self._order)
        self._still = [self._to_pass(group, 0) for group in self._order]

    def weave(self) -> Woven:
        rows: list[tuple[tuple[int, Knot], ...]] = []
        tied = [0] * len(self._sizes)
        while any(done < len(self._own[group]) for group, done in zip(self._order, self._done, strict=True)):
            row = tuple(self._row(self._first + len(rows), tied))
            if rows or row:
                rows.append(row)
            else:
                self._first += 1
            if len(rows) > MOST_ROWS:
                raise ImpossibleError(f"the blocks take more than {MOST_ROWS} rows.", "Use fewer repeats.")
        return Woven(tuple(rows), tuple(self._order), tuple(tied))

    def _row(self, row: int, tied: list[int]) -> Iterator[tuple[int, Knot]]:
        order = self._order
        for p in range(row % 2, len(order) - 1, 2):
            left, right = order[p], order[p + 1]
            due = self._due(p)
            if due is not None:
                knot = knot_of(left_ties=self._switches[due][2], swaps=True)
                for q in (p, p + 1):
                    self._pass(q)
                for side in (order, self._done, self._still):
                    side[p], side[p + 1] = side[p + 1], side[p]
            elif not self._filled:
                continue
            else:
                knot = Knot.FORWARD if left == right else Knot.FORWARD_BACKWARD
            tied[left if knot.left_ties else right] += 1
            yield p, knot

    def _due(self, position: int) -> int | None:
        """The switch in which the two strands at ``position`` pass each other now, if any."""
        ahead = [self._next(q) for q in (position, position + 1)]
        if ahead[0] is None or ahead[0] != ahead[1]:
            return None
        left, right, _ = self._switches[ahead[0]]
        return ahead[0] if (self._order[position], self._order[position + 1]) == (left, right) else None

    def _next(self, position: int) -> int | None:
        own, done = self._own[self._order[position]], self._done[position]
        return own[done] if done < len(own) else None

    def _pass(self, position: int) -> None:
        self._still[position] -= 1
        if self._still[position] == 0:
            self._done[position] += 1
            self._still[position] = self._to_pass(self._order[position], self._done[position])

    def _to_pass(self, group: int, done: int) -> int:
        if done >= len(self._own[group]):
            return 0
        left, right, _ = self._switches[self._own[group][done]]
        return self._sizes[right if group == left else left]


def _resolved(sizes: Sequence[int], moves: Sequence[Move]) -> list[Passing]:
    """Every switch in turn with its groups; decides those that leave open which one shows."""
    places = list(range(len(sizes)))
    tied = [0] * len(sizes)  # knots tied by each strand of the group
    switches: list[Passing] = []
    for move in moves:
        if any(b.place - a.place < 2 for a, b in pairwise(move)):
            raise ValueError("switches that are begun together need different groups, from left to right")
        for switch in move:
            if not 0 <= switch.place < len(sizes) - 1:
                raise ValueError(f"there are no groups in places {switch.place} and {switch.place + 1}")
            left, right = places[switch.place], places[switch.place + 1]
            shows = tied[left] <= tied[right] if switch.left_shows is None else switch.left_shows
            tied[left if shows else right] += sizes[right if shows else left]
            switches.append((left, right, shows))
            places[switch.place], places[switch.place + 1] = right, left
    return switches


def moves_for(sizes: Sequence[int], moves: Sequence[Move], rows: int) -> tuple[Move, ...]:
    """Repeat ``moves`` over and over, and stop after the one that comes nearest to ``rows`` rows.

    Raises InputError for more rows than any band has.
    """
    if not 1 <= rows <= MOST_ROWS:
        raise InputError(f"{rows} rows of blocks cannot be tied.", f"Use 1 to {MOST_ROWS}.")

    def length(count: int) -> int:
        return len(weave(sizes, _repeated(moves, count)).rows)

    low, high = 1, 2
    while length(high) < rows:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if length(middle) < rows else (low, middle)
    return _repeated(moves, min((low, high), key=lambda count: abs(length(count) - rows)))


def _repeated(moves: Sequence[Move], count: int) -> tuple[Move, ...]:
    return tuple(moves[i % len(moves)] for i in range(count))


# ---------------------------------------------------------------- patterns


@dataclass(frozen=True, slots=True)
class Group:
    """Strands of one thread that travel together; ``thread`` is an index into the band's threads."""

    thread: int
    strands: int

    def __post_init__(self) -> None:
        if self.thread < 0 or not 1 <= self.strands <= MOST_STRANDS:
            raise ValueError(f"a group of {self.strands} strands of thread {self.thread}")


@dataclass(frozen=True, slots=True)
class GroupUse:
    """How much one group ties: knots tied by each of its strands on average."""

    thread: int
    strands: int
    tied_per_strand: float


def blocks_pattern(
    groups: Sequence[Group],
    woven: Woven,
    threads: Sequence[PatternThread],
    gauge: Gauge,
    ends: Ends,
    title: str,
) -> Pattern:
    """A band of colour blocks in one diagonal-worked section."""
    rows = tuple(Row(knots=row, wanted=(None,) * len(row)) for row in woven.rows)
    return Pattern(
        title=title_of(title),
        threads=tuple(threads),
        strands=tuple(group.thread for group in groups for _ in range(group.strands)),
        gauge=gauge,
        sections=(Section(kind="blocks", worked="diagonal", rows=rows),),
        ends=ends,
    )


def group_use(groups: Sequence[Group], woven: Woven) -> tuple[GroupUse, ...]:
    """Which groups tie more, in the order in which they hang at the start."""
    both = zip(groups, woven.tied, strict=True)
    return tuple(GroupUse(group.thread, group.strands, tied / group.strands) for group, tied in both)
