"""Stretches of row-worked rows that take turns from edge to edge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.band.network import Network
from pipeline.routing.question import Question
from pipeline.routing.turns import Floats, Ints


@dataclass(frozen=True, slots=True)
class Stretch:
    """Row-worked rows that take turns."""

    rows: tuple[int, ...]
    falling: bool
    """Whether the first row starts at the right edge."""

    def seen(self, strands: Ints) -> Ints:
        """Strands seen from the edge where the first row starts, or back again."""
        return strands[::-1].copy() if self.falling else strands


def stretches(network: Network, *, through: bool = True) -> Iterator[Stretch]:
    """Split the row-worked rows where they stop taking turns; unless ``through``, at diagonal rows too."""
    rising = tuple(range(network.strands - 1))
    rows: list[int] = []
    falls: list[bool] = []
    last = -1
    for index, row in enumerate(network.rows):
        if row.worked != "rows" or not row.positions:
            continue
        if row.positions not in (rising, rising[::-1]):
            raise ValueError(f"row {index}: a row-worked row ties every position from edge to edge")
        falling = row.positions != rising
        if rows and (falls[-1] == falling or (not through and last != index - 1)):
            yield Stretch(tuple(rows), falls[0])
            rows, falls = [], []
        rows.append(index)
        falls.append(falling)
        last = index
    if rows:
        yield Stretch(tuple(rows), falls[0])


def knots_of(network: Network, stretch: Stretch) -> Ints:
    """(rows, strands−1) knots by column, seen from the edge where the first row starts."""
    knots = np.empty((len(stretch.rows), network.strands - 1), np.int64)
    for i, row in enumerate(stretch.rows):
        inside = network.knots_of_row(row)
        knots[i, network.position[inside]] = np.arange(inside.start, inside.stop)
    return knots[:, ::-1] if stretch.falling else knots


def costs_of(problem: Question, stretch: Stretch) -> Floats:
    """(rows, strands−1, threads) costs by column, seen from the edge where the first row starts."""
    return np.asarray(problem.costs[knots_of(problem.network, stretch)])
