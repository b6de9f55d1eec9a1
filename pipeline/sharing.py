"""Shared tying: where two strands of one thread meet, who ties and who goes on is free.

Neither changes a visible cell, and both change how long the strands get. The lengths are spent on a
network whose edges carry fixed threads (``pipeline.network``), so the choice at a knot is a local one:

* *Who ties*, with the paths fixed, is a flow: every free knot gives its tie to one of its two strands.
  The distribution with the least Σ length² is found by one min-cost flow with convex costs; among integral
  distributions of equal units it is the least majorised one (decreasingly minimal: Frank and Murota,
  Mathematical Programming 195, 2022), so its longest strand is the shortest possible, and exactly so.
* *Who goes on* is searched: the longest strand is taken, and of all its free meetings the one is changed
  that leaves the longest of the strands concerned shortest; until nothing gains. The average of a thread's
  strands bounds what can be reached.

At level ``rows`` one kind of knot is chosen for a whole run of free knots in a row, so that rows stay
readable; at ``full`` each knot chooses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from ortools.graph.python import min_cost_flow

from pipeline.ends import end_use
from pipeline.gauge import half_mm
from pipeline.knots import Knot, knot_of
from pipeline.materials import charges, default_margin, in_lots, up_to_cm
from pipeline.pattern import Pattern, Row
from pipeline.replay import Step

Level = Literal["none", "rows", "full"]
LEVELS: tuple[Level, ...] = ("none", "rows", "full")
LEAST_GAIN = {"rows": 0.01, "full": 0.002}
"""Share of the longest strand that a change must gain, so that rows are not broken up for millimetres."""
MOST_CHANGES = 2000
"""Bounds the search; strands get shorter with each change, and real bands take some dozens."""
PER_MM = 100
"""Lengths enter the flow as whole hundredths of a millimetre."""


def share(pattern: Pattern, level: Level, *, margin: float | None = None) -> Pattern:
    """Return the pattern with the longest strand of every thread shortened as far as ``level`` lets.

    Every visible cell stays as it is, and so does every knot of two different threads. ``margin`` as in
    ``materials.cut_list``.
    """
    if level not in LEVELS:
        raise ValueError(f"unknown level of sharing: {level!r}")
    if level == "none":
        return pattern
    band = _Band(pattern, default_margin(pattern) if margin is None else margin)
    units = [(v,) for v in band.free_knots()] if level == "full" else list(band.runs())
    first = list(band.kinds)
    gain = LEAST_GAIN[level]
    band.descend(units, gain)
    if level == "full":
        longest = max(band.lengths())
        while band.spread_ties():
            band.descend(units, gain)
            if max(band.lengths()) > longest - 1:
                break
            longest = max(band.lengths())
        band.spread_ties()
    band.restore(units, first)
    band.even_out(units)
    return band.written(pattern)


@dataclass(frozen=True, slots=True)
class Sharing:
    """What sharing made of the longest strand. Lengths in mm as they would be cut, in one piece."""

    longest_before_mm: float
    longest_after_mm: float
    bound_mm: float
    """No sharing of this routing gets the longest strand below this."""
    lengths_before: int
    lengths_after: int
    """How many different lengths there are to cut, thread by thread, once near ones are cut alike."""
    same_thread_hand_overs: int
    """Knots of row-worked sections at which a strand hands over to one of its own thread, afterwards."""


def compare(before: Pattern, after: Pattern, *, margin: float | None = None) -> Sharing:
    """Compare a pattern with what :func:`share` made of it."""
    margin = default_margin(before) if margin is None else margin
    one, two = _Band(before, margin), _Band(after, margin)
    return Sharing(
        longest_before_mm=up_to_cm(max(one.lengths())),
        longest_after_mm=up_to_cm(max(two.lengths())),
        bound_mm=one.bound(),
        lengths_before=one.lots(),
        lengths_after=two.lots(),
        same_thread_hand_overs=two.same_thread_hand_overs,
    )


class _Band:
    """The band as a network of fixed threads with a free choice at some knots.

    Edges 0 … n−1 are the starting strands, knot v makes edges n+2v (leaving on the left) and n+2v+1. Lengths
    are cut lengths before rounding. ``kinds[v]`` is the present knot.
    """

    def __init__(self, pattern: Pattern, margin: float) -> None:
        ends = end_use(pattern)
        self.strands = len(pattern.strands)
        self.kinds: list[Knot] = []
        self.into: list[tuple[int, int]] = []
        self.free: list[bool] = []
        self.costs: list[tuple[float, float, float]] = []
        """A knot that swaps, one that stays, a core; margin included."""
        self.rest: list[float] = list(ends.start_mm)
        """What an edge costs whoever has it: turns, idle rows, ends."""
        self.rows: list[tuple[int, ...]] = []
        self.same_thread_hand_overs = 0
        self._thread = list(pattern.strands)
        self._known: dict[tuple[int, Knot], tuple[float, float, int, int]] = {}
        edge_of = list(range(self.strands))
        for row in charges(pattern):
            worked = pattern.sections[row.section].worked
            gauge = pattern.gauge_of(worked)
            scale = 1 + margin
            cost = (gauge.tie_mm * scale, 2 * half_mm(gauge) * scale, gauge.core_mm * scale)
            first = len(self.into)
            for charge in row.charges:
                if charge.what == "turn":
                    self.rest[edge_of[charge.strand]] += charge.mm * scale
            for step in row.steps:
                self._add(step, cost, edge_of)
                same = step.shown == step.hidden and not step.tied.knot.swaps
                self.same_thread_hand_overs += same and worked == "rows"
            for charge in row.charges:
                if charge.what == "idle":
                    self.rest[edge_of[charge.strand]] += charge.mm * scale
            self.rows.append(tuple(range(first, len(self.into))))
        for strand, edge in enumerate(edge_of):
            self.rest[edge] += ends.finish_mm[strand]
        self.last = sorted(edge_of)
        self._walk()

    def _add(self, step: Step, cost: tuple[float, float, float], edge_of: list[int]) -> None:
        tied = step.tied
        leaving = self.strands + 2 * len(self.into)
        self.kinds.append(tied.knot)
        self.into.append((edge_of[tied.left], edge_of[tied.right]))
        self.free.append(step.shown == step.hidden and step.joined is None)
        self.costs.append(cost)
        self.rest += [0.0, 0.0]
        after = (leaving + 1, leaving) if tied.knot.swaps else (leaving, leaving + 1)
        edge_of[tied.left], edge_of[tied.right] = after

    # -------------------------------------------------------- lengths

    def _walk(self) -> None:
        """Follow all strands: whose an edge is, what it has spent before and will spend after."""
        knots = len(self.into)
        owner, before = [*range(self.strands)], self.rest[: self.strands]
        owner += [0] * (2 * knots)
        before += [0.0] * (2 * knots)
        rest, after = self.rest, list(self.rest)
        passes = [self._passes(v, kind) for v, kind in enumerate(self.kinds)]
        for (a, b), (left, right, on_left, on_right) in zip(self.into, passes, strict=True):
            owner[on_left], owner[on_right] = owner[a], owner[b]
            before[on_left] = before[a] + left + rest[on_left]
            before[on_right] = before[b] + right + rest[on_right]
        for v in range(knots - 1, -1, -1):
            a, b = self.into[v]
            left, right, on_left, on_right = passes[v]
            after[a] = rest[a] + left + after[on_left]
            after[b] = rest[b] + right + after[on_right]
        self.owner, self.before, self.after = owner, before, after

    def _passes(self, v: int, kind: Knot) -> tuple[float, float, int, int]:
        """What knot v costs the left and the right strand, and the edges on which they leave."""
        found = self._known.get((v, kind))
        if found is None:
            swap, stay, core = self.costs[v]
            leaving = self.strands + 2 * v
            tie = swap if kind.swaps else stay
            left, right = (tie, core) if kind.left_ties else (core, tie)
            outs = (leaving + 1, leaving) if kind.swaps else (leaving, leaving + 1)
            found = self._known[v, kind] = (left, right, *outs)
        return found

    def lengths(self) -> list[float]:
        """Length of each strand, by starting position, in mm."""
        lengths = [0.0] * self.strands
        for edge in self.last:
            lengths[self.owner[edge]] = self.before[edge]
        return lengths

    def lots(self) -> int:
        """How many lengths there are to cut, counted in each thread."""
        lengths = [up_to_cm(length) for length in self.lengths()]
        count = 0
        for thread in set(self._thread):
            own = [mm for mm, t in zip(lengths, self._thread, strict=True) if t == thread]
            count += len(set(in_lots(own).values()))
        return count

    def bound(self) -> float:
        """The largest average over the strands of a thread, free knots counted as swaps; and what a
        strand that never meets its like spends.
        """
        lengths = self.lengths()
        groups: dict[int, list[int]] = defaultdict(list)
        for strand in range(self.strands):
            groups[self._thread[strand]].append(strand)
        spare: dict[int, float] = defaultdict(float)
        for v, kind in enumerate(self.kinds):
            if self.free[v] and not kind.swaps:
                spare[self._thread[self.owner[self.into[v][0]]]] += self.costs[v][1] - self.costs[v][0]
        return max(
            (sum(lengths[s] for s in group) - max(0.0, spare[thread])) / len(group)
            for thread, group in groups.items()
        )

    # -------------------------------------------------------- choices

    def free_knots(self) -> Iterator[int]:
        """Knots where two strands of one thread meet and no piece is laid in."""
        return (v for v in range(len(self.into)) if self.free[v])

    def runs(self) -> Iterator[tuple[int, ...]]:
        """Free knots that follow one another in a row."""
        for row in self.rows:
            run: list[int] = []
            for v in row:
                if self.free[v]:
                    run.append(v)
                elif run:
                    yield tuple(run)
                    run = []
            if run:
                yield tuple(run)

    def descend(self, units: Sequence[tuple[int, ...]], least_gain: float) -> None:
        """Change one unit at a time, for the longest strand that gains by it, until none does."""
        unit_of = {v: unit for unit in units for v in unit}
        settled: set[int] = set()
        for _ in range(MOST_CHANGES):
            lengths = self.lengths()
            open_strands = [s for s in range(self.strands) if s not in settled]
            if not open_strands:
                return
            strand = max(open_strands, key=lengths.__getitem__)
            change = self._best_change(strand, unit_of, lengths[strand] * (1 - least_gain))
            if change is None:
                settled.add(strand)
                continue
            self._set(*change)
            settled -= {s for s in range(self.strands) if self._thread[s] == self._thread[strand]}

    def _best_change(
        self, strand: int, unit_of: dict[int, tuple[int, ...]], below: float
    ) -> tuple[tuple[int, ...], list[Knot]] | None:
        """The unit of ``strand`` and the knots for it that leave the strands in it shortest, all of them
        below ``below``; None if there is none.
        """
        tried: set[tuple[int, ...]] = set()
        best: tuple[float, tuple[int, ...], Knot] | None = None
        for v, (a, b) in enumerate(self.into):
            if v not in unit_of or strand not in (self.owner[a], self.owner[b]):
                continue
            unit = unit_of[v]
            if unit in tried:
                continue
            tried.add(unit)
            for kind in _KINDS:
                longest = self._longest(unit, [kind] * len(unit))
                if longest < below and (best is None or longest < best[0] - 1e-9):
                    best = longest, unit, kind
        return None if best is None else (best[1], [best[2]] * len(best[1]))

    def _longest(self, unit: tuple[int, ...], kinds: Sequence[Knot]) -> float:
        """The longest strand of those in ``unit`` if its knots were ``kinds``."""
        return max(length for _, length in self._outcome(unit, kinds))

    def _outcome(self, unit: tuple[int, ...], kinds: Sequence[Knot]) -> list[tuple[int, float]]:
        """The strands in ``unit`` and how long each would get if its knots were ``kinds``."""
        spent: dict[int, tuple[int, float]] = {}  # by edge: whose, and mm so far
        for v, kind in zip(unit, kinds, strict=True):
            a, b = self.into[v]
            left, right, on_left, on_right = self._passes(v, kind)
            outs = on_left, on_right  # where the strands that come from the left and the right leave
            came = [spent.pop(edge, (self.owner[edge], self.before[edge])) for edge in (a, b)]
            for (strand, mm), cost, out in zip(came, (left, right), outs, strict=True):
                spent[out] = strand, mm + cost + self.rest[out]
        return [(strand, mm - self.rest[edge] + self.after[edge]) for edge, (strand, mm) in spent.items()]

    def _set(self, unit: tuple[int, ...], kinds: Sequence[Knot]) -> None:
        for v, kind in zip(unit, kinds, strict=True):
            self.kinds[v] = kind
        self._walk()

    def restore(self, units: Sequence[tuple[int, ...]], first: Sequence[Knot]) -> None:
        """Undo whatever turned out to be needless: the longest of each thread stays as short, to a cm."""
        for unit in units:
            former = [first[v] for v in unit]
            if all(self.kinds[v] is kind for v, kind in zip(unit, former, strict=True)):
                continue
            lengths = self.lengths()
            thread = self._thread[self.owner[self.into[unit[0]][0]]]
            cap = max(up_to_cm(lengths[s]) for s in range(self.strands) if self._thread[s] == thread)
            if self._longest(unit, former) <= cap:
                self._set(unit, former)

    def even_out(self, units: Sequence[tuple[int, ...]]) -> None:
        """Let others tie where that makes fewer different lengths to cut, none above the longest."""
        lengths = self.lengths()
        cap = max(up_to_cm(length) for length in lengths)
        for unit in units:
            if len({self.kinds[v] for v in unit}) > 1:  # a run that was mixed before; leave it so
                continue
            kinds = [self.kinds[v].mirrored for v in unit]
            after = dict(self._outcome(unit, kinds))
            if max(after.values()) > cap:
                continue
            before = {strand: lengths[strand] for strand in after}
            others = [up_to_cm(mm) for strand, mm in enumerate(lengths) if strand not in after]
            count = [len({*others, *map(up_to_cm, changed.values())}) for changed in (before, after)]
            if count[1] < count[0]:
                self._set(unit, kinds)
                lengths = self.lengths()

    def spread_ties(self) -> bool:
        """Give every free tie to one of its two strands by a min-cost flow; return whether that gained.

        Units of one cost are distributed exactly, those of the most frequent cost among free knots.
        """
        count: dict[float, int] = defaultdict(int)
        for v in self.free_knots():
            count[self._unit_mm(v)] += 1
        if not count:
            return False
        unit_mm = max(sorted(count), key=lambda mm: count[mm])
        before = sorted(self.lengths(), reverse=True)
        knots = [v for v in self.free_knots() if self._unit_mm(v) == unit_mm]
        meetings: dict[tuple[int, int], list[int]] = defaultdict(list)
        fixed = self.lengths()
        for v in knots:
            a, b = (self.owner[edge] for edge in self.into[v])
            meetings[min(a, b), max(a, b)].append(v)
            fixed[a if self.kinds[v].left_ties else b] -= unit_mm
        for (a, b), shares in zip(meetings, self._flow(meetings, fixed, unit_mm), strict=True):
            self._deal(meetings[a, b], a, shares)
        self._walk()
        return sorted(self.lengths(), reverse=True) < before

    def _unit_mm(self, v: int) -> float:
        swap, stay, core = self.costs[v]
        return round((swap if self.kinds[v].swaps else stay) - core, 6)

    def _flow(
        self, meetings: dict[tuple[int, int], list[int]], fixed: Sequence[float], unit_mm: float
    ) -> list[int]:
        """How many of each pair's ties its first strand gets."""
        flow = min_cost_flow.SimpleMinCostFlow()
        sink = len(meetings) + self.strands
        possible = [0] * self.strands
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
        has = [self.owner[self.into[v][0 if self.kinds[v].left_ties else 1]] == strand for v in knots]
        for v, tying in sorted(zip(knots, has, strict=True), key=lambda pair: not pair[1]):
            takes = ties > 0
            ties -= takes
            if takes != tying:
                self.kinds[v] = knot_of(left_ties=not self.kinds[v].left_ties, swaps=self.kinds[v].swaps)

    def written(self, pattern: Pattern) -> Pattern:
        """The pattern with the present knots."""
        kinds = iter(self.kinds)
        sections = []
        for section in pattern.sections:
            rows = tuple(
                Row(knots=tuple((p, next(kinds)) for p, _ in row.knots), wanted=row.wanted)
                for row in section.rows
            )
            sections.append(section.model_copy(update={"rows": rows}))
        return pattern.model_copy(update={"sections": tuple(sections)})


_KINDS = (Knot.FORWARD, Knot.BACKWARD, Knot.FORWARD_BACKWARD, Knot.BACKWARD_FORWARD)
