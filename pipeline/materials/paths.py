"""The strands' paths through a band, and how long each gets: what shared tying decides upon.

The band is a network whose edges carry fixed threads. At a knot where two strands of one thread meet, who
ties and who goes on is free; either changes lengths and no visible cell. What every edge's strand has spent
before and will spend after is kept, so that the outcome of a change is known without tying the band again.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.band.replay import Step
from pipeline.materials.ends import end_use
from pipeline.materials.gauge import half_mm
from pipeline.materials.lengths import charges, in_lots, up_to_cm


class Paths:
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
        self.rising: list[bool | None] = []
        """By row: whether the travelling strand comes from the left; None in diagonal work."""
        self.same_thread_hand_overs = 0
        self.thread = list(pattern.strands)
        self._known: dict[tuple[int, Knot], tuple[float, float, int, int]] = {}
        edge_of = list(range(self.strands))
        for row in charges(pattern):
            section = pattern.sections[row.section]
            gauge, led = pattern.gauge_of(section.worked), section.working.led
            scale = 1 + margin
            cost = (gauge.tie_mm * scale, 2 * half_mm(gauge) * scale, gauge.core_mm * scale)
            first = len(self.into)
            for charge in row.charges:
                if charge.what in ("turn", "idle"):
                    self.rest[edge_of[charge.strand]] += charge.mm * scale
                elif charge.what == "tied":
                    step = row.steps[charge.knot]
                    self._add(step, cost, edge_of)
                    self.same_thread_hand_overs += led and step.hand_over and step.shown == step.hidden
            self.rows.append(tuple(range(first, len(self.into))))
            self.rising.append(row.steps[0].tied.position == 0 if row.steps and led else None)
        for strand, edge in enumerate(edge_of):
            self.rest[edge] += ends.finish_mm[strand]
        self.last = sorted(edge_of)
        self.walk()
        self.group = self._groups()
        """Strands that meet their like, directly or through others, have one number; sharing keeps to it."""

    def _groups(self) -> list[int]:
        met = [(self.owner[a], self.owner[b]) for v, (a, b) in enumerate(self.into) if self.free[v]]
        one, other = np.array(met, dtype=np.int64).reshape(-1, 2).T
        graph = scipy.sparse.coo_array((np.ones(len(met)), (one, other)), shape=(self.strands, self.strands))
        groups: list[int] = scipy.sparse.csgraph.connected_components(graph, directed=False)[1].tolist()
        return groups

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

    def walk(self) -> None:
        """Follow all strands: whose an edge is, what it has spent before and will spend after."""
        knots = len(self.into)
        owner, before = [*range(self.strands)], self.rest[: self.strands]
        owner += [0] * (2 * knots)
        before += [0.0] * (2 * knots)
        rest, after = self.rest, list(self.rest)
        passes = [self.passes(v, kind) for v, kind in enumerate(self.kinds)]
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

    def passes(self, v: int, kind: Knot) -> tuple[float, float, int, int]:
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
        for thread in set(self.thread):
            own = [mm for mm, t in zip(lengths, self.thread, strict=True) if t == thread]
            count += len(set(in_lots(own).values()))
        return count

    def bound(self) -> float:
        """No sharing gets the longest strand below this: the largest average of a group.

        A group's strands spend the same together however they share, but for what knots that stay cost
        more; those are counted as if they swapped.
        """
        lengths = self.lengths()
        total, count = [0.0] * self.strands, [0] * self.strands
        for strand, group in enumerate(self.group):
            total[group] += lengths[strand]
            count[group] += 1
        for v, kind in enumerate(self.kinds):
            if self.free[v] and not kind.swaps:
                group = self.group[self.owner[self.into[v][0]]]
                total[group] -= max(0.0, self.costs[v][1] - self.costs[v][0])
        return max(mm / n for mm, n in zip(total, count, strict=True) if n)

    # -------------------------------------------------------- changes

    def longest(self, unit: Sequence[int], kinds: Sequence[Knot]) -> float:
        """The longest strand of those in ``unit`` if its knots were ``kinds``."""
        return max(length for _, length in self.outcome(unit, kinds))

    def outcome(self, unit: Sequence[int], kinds: Sequence[Knot]) -> list[tuple[int, float]]:
        """The strands in ``unit`` and how long each would get if its knots were ``kinds``."""
        spent: dict[int, tuple[int, float]] = {}  # by edge: whose, and mm so far
        for v, kind in zip(unit, kinds, strict=True):
            a, b = self.into[v]
            left, right, on_left, on_right = self.passes(v, kind)
            outs = on_left, on_right  # where the strands that come from the left and the right leave
            came = [spent.pop(edge, (self.owner[edge], self.before[edge])) for edge in (a, b)]
            for (strand, mm), cost, out in zip(came, (left, right), outs, strict=True):
                spent[out] = strand, mm + cost + self.rest[out]
        return [(strand, mm - self.rest[edge] + self.after[edge]) for edge, (strand, mm) in spent.items()]

    def set(self, unit: Sequence[int], kinds: Sequence[Knot]) -> None:
        """Tie the knots of ``unit`` as ``kinds``."""
        for v, kind in zip(unit, kinds, strict=True):
            self.kinds[v] = kind
        self.walk()

    def written(self, pattern: Pattern) -> Pattern:
        """The pattern with the present knots."""
        kinds = iter(self.kinds)
        return pattern.with_rows(
            row.model_copy(update={"knots": tuple((p, next(kinds)) for p, _ in row.knots)})
            for *_, row in pattern.rows()
        )
