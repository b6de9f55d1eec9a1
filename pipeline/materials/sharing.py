"""Shared tying: where two strands of one thread meet, who ties and who goes on is free.

Neither changes a visible cell, and both change how long the strands get:

* *Who ties*, with the paths fixed, is a flow: every free knot gives its tie to one of its two strands.
  The distribution with the least Σ length² is found by one min-cost flow with convex costs; among integral
  distributions of equal units it is the least majorised one (decreasingly minimal: Frank and Murota,
  Mathematical Programming 195, 2022), so its longest strand is the shortest possible, and exactly so.
* *Who goes on* is searched: the longest strand is taken, and of all its free meetings the one is changed
  that leaves the longest of the strands concerned shortest; until nothing gains. The average of the strands
  that can share bounds what can be reached.

At level ``full`` each knot chooses. At level ``rows`` rows stay readable: in a run of free knots either the
leader ties them all or the bases do, and a row has at most one hand-over between strands of one thread.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import groupby

from ortools.graph.python import min_cost_flow

from pipeline.band.knots import Knot, knot_of
from pipeline.band.pattern import Pattern, Place
from pipeline.literals import LEVELS, Level
from pipeline.materials.lengths import default_margin, up_to_cm
from pipeline.materials.paths import Paths

LEAST_GAIN = {"rows": (0.01, 30.0), "full": (0.002, 1.0)}
"""What a change must gain, as a share of the strand and in mm: rows are not broken up for millimetres."""
MOST_CHANGES = 2000
"""Bounds the search; strands get shorter with each change, and real bands take some dozens."""
SAME_MM = 1e-6
PER_MM = 100
"""Lengths enter the flow as whole hundredths of a millimetre."""


Late = Callable[[], bool]
"""Whether to come to an end; what is shared by then is kept."""


def never() -> bool:
    """There is all the time it takes."""
    return False


def share(pattern: Pattern, level: Level, *, margin: float | None = None, late: Late = never) -> Pattern:
    """Return the pattern with the longest strand of every thread shortened as far as ``level`` lets.

    Every visible cell stays as it is, and so does every knot of two different threads. ``margin`` as in
    ``materials.cut_list``; once ``late`` says so, strands stay as long as they are by then.

    >>> from pipeline.band.example import two_rows
    >>> share(two_rows(), "full") == two_rows()  # nothing to share: no two knots join strands of one thread
    True
    """
    if level not in LEVELS:
        raise ValueError(f"unknown level of sharing: {level!r}")
    if level == "none":
        return pattern
    paths = Paths(pattern, default_margin(pattern) if margin is None else margin)
    sharer = _Sharer(paths, late) if level == "full" else _RowSharer(paths, late)
    sharer.share(LEAST_GAIN[level])
    return paths.written(pattern)


MOST_LOOKED_AT = 500_000
"""Knots that are weighed for strands to stand in, over and over: some seconds of a core."""
FLOOR_MM = 1e5
"""What is added to every strand's excess so that lengths stay above zero."""


def spare(pattern: Pattern, done: Collection[Place], over_mm: Sequence[float], margin: float) -> Pattern:
    """Let strands with thread to spare tie, or go on, for those of their thread that would run out.

    ``over_mm``: by how much each strand (by starting position) is too short for the rest, below 0 if it has
    some to spare. Knots that are ``done`` stay, as do rows that need no change. A band with joins yet to come
    is left as it is: its strands are not in one piece. The most wanting strand is helped first, and in a
    band of very many knots no more is found after ``MOST_LOOKED_AT``.
    """
    places = [(s, r, k) for s, r, _, row in pattern.rows() for k in range(len(row.knots))]
    if any(join.place not in done for join in pattern.joins):
        return pattern
    paths = Paths(pattern, margin)
    for v, place in enumerate(places):
        paths.free[v] = paths.free[v] and place not in done
    for strand, (length, over) in enumerate(zip(paths.lengths(), over_mm, strict=True)):
        paths.rest[strand] += FLOOR_MM + over - length
    paths.walk()
    sharer = _RowSharer(paths)
    first = list(paths.kinds)
    sharer.descend((0.0, 1.0), enough=FLOOR_MM, most=MOST_LOOKED_AT)
    for unit in sharer.units:  # what is needless is undone
        former = [first[v] for v in unit]
        if [paths.kinds[v] for v in unit] != former and paths.longest(unit, former) <= FLOOR_MM:
            paths.set(unit, former)
    return paths.written(pattern)


Change = tuple[float, tuple[int, ...], list[Knot]]
"""The longest of the strands that get another length by it, the knots it changes, and what they become."""


class _Sharer:
    """Shares the tying knot by knot."""

    def __init__(self, paths: Paths, late: Late = never) -> None:
        self.paths, self.late = paths, late
        self.units: list[tuple[int, ...]] = [(v,) for v, free in enumerate(paths.free) if free]
        """Free knots that are decided together."""
        self.now = paths.lengths()

    def share(self, least_gain: tuple[float, float]) -> None:
        first = list(self.paths.kinds)
        self.descend(least_gain)
        longest = max(self.paths.lengths())
        while not self.late() and self.spread_ties():
            self.descend(least_gain)
            if max(self.paths.lengths()) > longest - 1:
                break
            longest = max(self.paths.lengths())
        if not self.late():
            self.spread_ties()
        self.restore(first)
        self.even_out()

    def descend(
        self, least_gain: tuple[float, float], *, enough: float = 0.0, most: float = math.inf
    ) -> None:
        """Change one unit at a time, for the longest strand that gains by it, until none does, all are
        ``enough``, or ``most`` knots were looked at.
        """
        paths = self.paths
        settled: set[int] = set()
        for _ in range(MOST_CHANGES):
            self.now = lengths = paths.lengths()
            open_strands = [s for s in range(paths.strands) if s not in settled]
            if not open_strands or self.late():
                return
            strand = max(open_strands, key=lengths.__getitem__)
            if lengths[strand] <= enough:
                return
            below = lengths[strand] - max(least_gain[0] * lengths[strand], least_gain[1])
            found: Change | None = None
            for unit in self.units_of(strand):
                most -= len(unit)
                for change in self.changes(unit, strand, below if found is None else found[0] - 1e-9):
                    if found is None or change[0] < found[0] - 1e-9:
                        found = change
            if most < 0:
                return
            if found is None:
                settled.add(strand)
                continue
            concerned = self.beside(found[1])
            paths.set(found[1], found[2])
            reached = {paths.owner[edge] for v in concerned for edge in paths.into[v]}
            groups = {paths.group[s] for s in reached}
            settled = {s for s in settled if paths.group[s] not in groups}

    def beside(self, unit: tuple[int, ...]) -> tuple[int, ...]:
        """The knots that may find other changes once this unit changes: its own."""
        return unit

    def units_of(self, strand: int) -> Iterator[tuple[int, ...]]:
        """Units in which the strand takes part."""
        owner, into = self.paths.owner, self.paths.into
        for unit in self.units:
            if any(owner[edge] == strand for v in unit for edge in into[v]):
                yield unit

    def changes(self, unit: tuple[int, ...], strand: int, below: float) -> Iterator[Change]:
        """What the knots of a unit may become, if ``strand`` and all others that get another length by it
        are then below ``below``.
        """
        paths = self.paths
        (v,) = unit
        a, b = paths.into[v]
        for kind in Knot:
            left, right, on_left, on_right = paths.passes(v, kind)
            one = paths.before[a] + left + paths.after[on_left]
            other = paths.before[b] + right + paths.after[on_right]
            if one < below and other < below:
                yield max(one, other), unit, [kind]

    def restore(self, first: Sequence[Knot]) -> None:
        """Undo whatever turned out to be needless: the longest of each group stays as short, to a cm."""
        paths = self.paths
        for unit in self.units:
            former = [first[v] for v in unit]
            if [paths.kinds[v] for v in unit] == former:
                continue
            if self.late():
                return
            lengths = paths.lengths()
            group = paths.group[paths.owner[paths.into[unit[0]][0]]]
            cap = max(up_to_cm(lengths[s]) for s in range(paths.strands) if paths.group[s] == group)
            if paths.longest(unit, former) <= cap:
                paths.set(unit, former)

    def even_out(self) -> None:
        """Let others tie where that makes fewer different lengths to cut, none above the longest."""
        paths = self.paths
        lengths = paths.lengths()
        cap = max(up_to_cm(length) for length in lengths)
        for unit in self.units:
            if self.late():
                return
            if len({paths.kinds[v].left_ties for v in unit}) > 1:  # a run that was mixed before
                continue
            kinds = [paths.kinds[v].mirrored for v in unit]
            after = dict(paths.outcome(unit, kinds))
            if max(after.values()) > cap:
                continue
            before = {strand: lengths[strand] for strand in after}
            others = [up_to_cm(mm) for strand, mm in enumerate(lengths) if strand not in after]
            count = [len({*others, *map(up_to_cm, changed.values())}) for changed in (before, after)]
            if count[1] < count[0]:
                paths.set(unit, kinds)
                lengths = paths.lengths()

    def spread_ties(self) -> bool:
        """Give every free tie to one of its two strands by a min-cost flow; return whether that gained.

        Units of one cost are distributed exactly, those of the most frequent cost among free knots.
        """
        count: dict[float, int] = defaultdict(int)
        free = [v for (v,) in self.units]
        for v in free:
            count[self._unit_mm(v)] += 1
        if not count:
            return False
        unit_mm = max(sorted(count), key=lambda mm: count[mm])
        before = sorted(self.paths.lengths(), reverse=True)
        knots = [v for v in free if self._unit_mm(v) == unit_mm]
        meetings: dict[tuple[int, int], list[int]] = defaultdict(list)
        fixed = self.paths.lengths()
        for v in knots:
            a, b = (self.paths.owner[edge] for edge in self.paths.into[v])
            meetings[min(a, b), max(a, b)].append(v)
            fixed[a if self.paths.kinds[v].left_ties else b] -= unit_mm
        for (a, b), shares in zip(list(meetings), self._flow(meetings, fixed, unit_mm), strict=True):
            self._deal(meetings[a, b], a, shares)
        self.paths.walk()
        return sorted(self.paths.lengths(), reverse=True) < before

    def _unit_mm(self, v: int) -> float:
        swap, stay, core = self.paths.costs[v]
        return round((swap if self.paths.kinds[v].swaps else stay) - core, 6)

    def _flow(
        self, meetings: dict[tuple[int, int], list[int]], fixed: Sequence[float], unit_mm: float
    ) -> list[int]:
        """How many of each pair's ties its first strand gets."""
        flow = min_cost_flow.SimpleMinCostFlow()
        sink = len(meetings) + self.paths.strands
        possible = [0] * self.paths.strands
        arcs = []
        for m, ((a, b), knots) in enumerate(meetings.items()):
            arcs.append(flow.add_arc_with_capacity_and_unit_cost(m, len(meetings) + a, len(knots), 0))
            flow.add_arc_with_capacity_and_unit_cost(m, len(meetings) + b, len(knots), 0)
            flow.set_node_supply(m, len(knots))
            possible[a] += len(knots)
            possible[b] += len(knots)
        for strand, most in enumerate(possible):
            for k in range(most):  # (x + u)² − x² = u · (2x + u), and u is the same for all
                cost = round(PER_MM * (2 * (fixed[strand] + k * unit_mm) + unit_mm))
                flow.add_arc_with_capacity_and_unit_cost(len(meetings) + strand, sink, 1, cost)
        flow.set_node_supply(sink, -sum(len(knots) for knots in meetings.values()))
        if flow.solve() != flow.OPTIMAL:
            raise RuntimeError("the distribution of ties has no optimum")
        return [flow.flow(arc) for arc in arcs]

    def _deal(self, knots: Sequence[int], strand: int, ties: int) -> None:
        """Let ``strand`` tie ``ties`` of the knots, keeping those that it ties already."""
        paths = self.paths

        def tied_by_it(v: int) -> bool:
            left, right = paths.into[v]
            return bool(paths.owner[left if paths.kinds[v].left_ties else right] == strand)

        for v in sorted(knots, key=lambda v: not tied_by_it(v)):
            if (ties > 0) != tied_by_it(v):
                paths.kinds[v] = paths.kinds[v].mirrored
            ties -= 1


class _RowSharer(_Sharer):
    """Shares the tying run by run, so that rows stay readable."""

    def __init__(self, paths: Paths, late: Late = never) -> None:
        super().__init__(paths, late)
        self.units = []
        self.rising: dict[tuple[int, ...], bool | None] = {}
        self.row_of: dict[tuple[int, ...], tuple[int, ...]] = {}
        for row, rising in zip(paths.rows, paths.rising, strict=True):
            for run in _runs(row, paths.free):
                self.units.append(run)
                self.rising[run] = rising
                self.row_of[run] = row

    def share(self, least_gain: tuple[float, float]) -> None:
        first = list(self.paths.kinds)
        self.descend(least_gain)
        self.restore(first)
        self.even_out()

    def beside(self, unit: tuple[int, ...]) -> tuple[int, ...]:
        """All of its row, where the unit has the hand-over that there may be one of in a row."""
        hands_over = any(not self.paths.kinds[v].swaps for v in unit)
        return self.row_of[unit] if hands_over else unit

    def changes(self, unit: tuple[int, ...], strand: int, below: float) -> Iterator[Change]:
        """Either side of a run ties; in row work the leader may hand over once in it.

        But only if no strand hands over to one of its thread elsewhere in that row.
        """
        rising = self.rising[unit]
        paths = self.paths
        if rising is None:
            swaps = [paths.kinds[v].swaps for v in unit]
            for left_ties in (True, False):
                kinds = [knot_of(left_ties=left_ties, swaps=swap) for swap in swaps]
                longest = self._changed(paths.outcome(unit, kinds), strand)
                if longest < below:
                    yield longest, unit, kinds
            return
        elsewhere = self._hands_over_elsewhere(unit)
        for leader_ties in (True, False):
            swap = knot_of(left_ties=leader_ties == rising, swaps=True)
            stay = knot_of(left_ties=leader_ties == rising, swaps=False)
            for i, longest in enumerate(self._by_hand_over(unit, rising, swap, stay, strand)):
                if longest < below and not (i and elsewhere):
                    kinds = [swap] * len(unit)
                    if i:
                        kinds[i - 1] = stay
                    yield longest, unit, kinds

    def _changed(self, outcome: Sequence[tuple[int, float]], strand: int) -> float:
        """The longest of the strands with another length than now; infinite if ``strand`` keeps its own."""
        other = {s: mm for s, mm in outcome if abs(mm - self.now[s]) > SAME_MM}
        return max(other.values()) if strand in other else math.inf

    def _hands_over_elsewhere(self, run: tuple[int, ...]) -> bool:
        paths = self.paths
        rest = set(self.row_of[run]).difference(run)
        return any(paths.free[v] and not paths.kinds[v].swaps for v in rest)

    def _by_hand_over(
        self, run: tuple[int, ...], rising: bool, swap: Knot, stay: Knot, strand: int
    ) -> Iterator[float]:
        """As :meth:`_changed`, if the leader of a run goes on, and if it hands over at each of its knots.

        Only the leader and the base strand that takes over get another length by a hand-over.
        """
        paths = self.paths
        came = paths.into[run[0]][0 if rising else 1]
        leader, leading = paths.before[came], paths.owner[came]
        spent = [0.0]  # by the travelling strand before each knot, and after the last
        hanging_strands, bases, parked, taking = [], [], [], []
        onward = 0
        for v in run:
            left, right, on_left, on_right = paths.passes(v, swap)
            leads, hangs = (left, right) if rising else (right, left)
            onward, hanging = (on_left, on_right) if rising else (on_right, on_left)
            left, right, *_ = paths.passes(v, stay)
            leads_stay, hangs_stay = (left, right) if rising else (right, left)
            edge = paths.into[v][1 if rising else 0]
            base = paths.before[edge]
            hanging_strands.append(paths.owner[edge])
            bases.append(base + hangs + paths.after[hanging])
            parked.append(leader + spent[-1] + leads_stay + paths.after[hanging])
            spent.append(spent[-1] + leads + paths.rest[onward])
            taking.append(base + hangs_stay + paths.rest[onward] - spent[-1])
        whole = spent[-1] + paths.after[onward] - paths.rest[onward]
        changed = [i for i, s in enumerate(hanging_strands) if abs(bases[i] - self.now[s]) > SAME_MM]
        top = sorted(changed, key=bases.__getitem__, reverse=True)[:2]
        mine = {hanging_strands[i] for i in changed} | {leading}
        goes_on = max([leader + whole, *(bases[i] for i in top)])
        yield goes_on if strand in mine and abs(leader + whole - self.now[leading]) > SAME_MM else math.inf
        for i, taker in enumerate(hanging_strands):
            others = max((bases[j] for j in top if j != i), default=0.0)
            concerned = strand in mine or strand == taker
            yield max(others, parked[i], taking[i] + whole) if concerned else math.inf


def _runs(row: Sequence[int], free: Sequence[bool]) -> Iterator[tuple[int, ...]]:
    """Free knots that follow one another in a row."""
    for is_free, knots in groupby(row, key=free.__getitem__):
        if is_free:
            yield tuple(knots)
