"""Says what a band really shows, by tying the document knot by knot and comparing with what was wanted.

This checker knows only the pattern document: it shares no code with the router, so that a fault there
cannot hide here. Made means that the thread
that shows is the wanted one, or one that serves there as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.band.pattern import Pattern, PatternThread
from pipeline.band.replay import replay
from pipeline.colour import delta_e, parse_hex


@dataclass(frozen=True, slots=True)
class Unmade:
    """A cell that shows another thread than the picture wants."""

    section: int
    row: int
    """Row within the section, from 0."""
    knot: int
    """Index in the row's tying order, from 0."""
    position: int
    """Left position of the knot, from 0."""
    wanted: int
    """Thread index."""
    shown: int
    """Thread index."""
    delta_e: float
    """CIEDE2000 between the two threads."""
    cost: float
    """What it costs that this thread shows: the picture's own cost where it has one, else ``delta_e``."""


@dataclass(frozen=True, slots=True)
class Feasibility:
    """What the replay of a pattern found."""

    cells: int
    """Knots for which the picture wants a thread."""
    made: int
    """Those of them that show it."""
    unmade: tuple[Unmade, ...]
    """The others, in tying order."""
    colour_error: float
    """Σ over the cells of what it costs that the thread there shows: by the picture's own costs where the row
    has them, else CIEDE2000 between wanted and shown."""
    hand_overs: int
    """Knots of row-worked sections whose two strands have different threads and stay."""
    same_thread_hand_overs: int
    """Knots of row-worked sections whose two strands have one thread and stay."""
    joins: int
    """Places where a new piece of strand is laid in."""
    thread_changes: int
    """Those joins at which the strand goes on in another thread."""
    switching_rows: int
    """Rows of switching sections, empty ones included."""

    @property
    def complete(self) -> bool:
        """Whether every cell is made."""
        return not self.unmade


def thread_distances(threads: tuple[PatternThread, ...]) -> NDArray[np.float64]:
    """CIEDE2000 between every two threads, (threads, threads)."""
    colours = np.array([parse_hex(thread.colour) for thread in threads], dtype=np.uint8)
    return np.asarray(delta_e(colours[:, None], colours[None, :]), dtype=np.float64)


def check(pattern: Pattern) -> Feasibility:
    """Tie ``pattern`` from the first knot to the last and report what it shows.

    The pattern must be valid (see ``pipeline.band.reading.problems``).

    >>> from pipeline.band.example import two_rows
    >>> verdict = check(two_rows())
    >>> verdict.made, verdict.cells, [(cell.row, cell.position) for cell in verdict.unmade]
    (5, 6, [(1, 0)])
    """
    distance = thread_distances(pattern.threads)
    unmade: list[Unmade] = []
    error: list[float] = []
    cells = hand_overs = same_thread = changes = 0
    for row in replay(pattern):
        led = pattern.sections[row.section].working.led
        for step in row.steps:
            if led and not step.tied.knot.swaps:
                if step.shown == step.hidden:
                    same_thread += 1
                else:
                    hand_overs += 1
            changes += step.joined is not None and step.joined != step.hidden
            if step.wanted is None:
                continue
            cells += 1
            costs = pattern.sections[step.section].rows[step.row].costs
            far = float(distance[step.wanted, step.shown])
            cost = far if costs is None else costs[step.knot][step.shown]
            error.append(cost)
            if not step.made:
                place = (step.section, step.row, step.knot, step.tied.position)
                unmade.append(Unmade(*place, step.wanted, step.shown, far, cost))
    return Feasibility(
        cells=cells,
        made=cells - len(unmade),
        unmade=tuple(unmade),
        colour_error=math.fsum(error),
        hand_overs=hand_overs,
        same_thread_hand_overs=same_thread,
        joins=len(pattern.joins),
        thread_changes=changes,
        switching_rows=sum(len(s.rows) for s in pattern.sections if s.kind == "switching"),
    )
