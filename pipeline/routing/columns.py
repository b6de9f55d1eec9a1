"""The bases of a plain band, one thread a column, and what they cost at least.

With the leaders of all rows given, each column picks its cheapest base by itself; with the bases given,
the leaders are a small program over the rows (``turns``). Together they are hard. The bound lets every
cell believe in a leader of its own and pays prices for believing otherwise than the row does (Lagrangian
decomposition; Guignard and Kim 1987): any prices give a bound, good prices a tight one. Bounds on the
number of strands of a thread are priced in the same way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.routing.turns import Floats, Ints, Trio, cheapest, edge_costs, soft_turns


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """``cell``: (rows, bases, labels) for each leader in each cell; ``strand``: (threads,) ≥ 0 a strand."""

    cell: Floats
    strand: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The choice of bases beside one trio. Bases that are folded together choose as one *cut*."""

    trio: Trio
    pair: Floats
    """(rows, bases, labels, threads) cost of a cell where such a leader meets such a base."""
    own: Floats
    """(rows, bases, threads) cost of a cell where the base shows."""
    edges: Floats
    """(rows, states) cost of the knots at the edges."""
    cut_of: Ints
    """(bases,) the cut of each base."""
    size: Ints
    """(cuts,) bases in each cut."""
    left: Floats
    """(threads,) strands of each thread that the bases may have, or infinite."""

    @property
    def capped(self) -> NDArray[np.bool_]:
        return np.isfinite(self.left)

    def none(self) -> Prices:
        """Prices of nought."""
        return Prices(np.zeros(self.pair.shape[:3]), np.zeros(self.pair.shape[3]))

    def by_cut(self, values: Floats) -> Floats:
        """Sum (bases, …) values over the bases of each cut."""
        total = np.zeros((len(self.size), *values.shape[1:]))
        np.add.at(total, self.cut_of, values)
        return total

    def choices(self, prices: Prices) -> Floats:
        """(cuts, threads) least cost of each cut with each thread under the prices."""
        cells = (self.pair - prices.cell[..., None]).min(axis=2).sum(axis=0)
        return self.by_cut(cells) + self.size[:, None] * prices.strand

    def constant(self, prices: Prices) -> float:
        return -float((prices.strand[self.capped] * self.left[self.capped]).sum())

    def leader_costs(self, bases: Ints) -> Floats:
        """(rows, labels) cost of the inner cells of each row under each leader."""
        inner: Floats = self.pair[:, np.arange(len(bases)), :, bases].sum(axis=0)
        return inner

    def state_costs(self, leader_costs: Floats) -> Floats:
        return leader_costs[..., self.trio.lead] + self.edges

    def bound(self, prices: Prices, allowed: NDArray[np.bool_]) -> float:
        """What every choice of leaders and of ``allowed`` (cuts, threads) bases costs at least."""
        choices = np.where(allowed, self.choices(prices), np.inf)
        leaders = cheapest(self.trio, self.state_costs(prices.cell.sum(axis=1)))
        return float(choices.min(axis=1).sum() + leaders) + self.constant(prices)

    def soft_bound(self, prices: Prices, allowed: NDArray[np.bool_], width: float) -> tuple[float, Prices]:
        """The bound with its minima smoothed by entropy of ``width``, and its slope."""
        belief = (prices.cell[..., None] - self.pair) / width
        most = belief.max(axis=2)
        belief = np.exp(belief - most[:, :, None])
        weight = belief.sum(axis=2)
        cells = -width * (most + np.log(weight)).sum(axis=0)
        choices = np.where(allowed, self.by_cut(cells) + self.size[:, None] * prices.strand, np.inf)
        least = choices.min(axis=1)
        share = np.exp((least[:, None] - choices) / width)
        total = share.sum(axis=1)
        share /= total[:, None]
        value = float((least - width * np.log(total)).sum()) + self.constant(prices)
        slope = -np.matmul(belief, (share[self.cut_of] / weight)[..., None])[..., 0]
        leaders, states = soft_turns(self.trio, self.state_costs(prices.cell.sum(axis=1)), width)
        rows_share = np.zeros((len(states), len(self.trio.labels)))
        for state, label in enumerate(self.trio.lead):
            rows_share[:, label] += states[:, state]
        slope += rows_share[:, None, :]
        drawn = (self.size[:, None] * share).sum(axis=0)
        strand = np.where(self.capped, drawn - np.where(self.capped, self.left, 0), 0)
        return value + leaders, Prices(slope, strand)


def columns(trio: Trio, costs: Floats, cut_of: Ints, left: Floats) -> Columns:
    """Lay out the choice beside a trio from (rows, columns, threads) costs and strands still left."""
    inner = costs[:, 1:-1]
    pair = np.minimum(inner[:, :, list(trio.labels), None], inner[:, :, None, :])
    size = np.bincount(cut_of).astype(np.int64)
    return Columns(trio, pair, inner, edge_costs(trio, costs), cut_of, size, left)


class Enough(Exception):
    """Raised by a watcher to end an ascent."""


def ascend(
    beside: Columns,
    prices: Prices,
    allowed: NDArray[np.bool_],
    widths: tuple[float, ...],
    steps: int,
    watch: Callable[[float, Prices], None],
) -> None:
    """Raise the bound by L-BFGS on its smoothed form, narrower and narrower.

    ``watch`` hears the certified bound and the prices from time to time, and may raise Enough.
    """
    from scipy.optimize import minimize

    cells = prices.cell.size
    shape = prices.cell.shape
    capped = beside.capped

    def split(x: Floats) -> Prices:
        strand = np.zeros(len(capped))
        strand[capped] = x[cells:]
        return Prices(x[:cells].reshape(shape), strand)

    x = np.concatenate([prices.cell.ravel(), prices.strand[capped]])
    limits = [(None, None)] * cells + [(0.0, None)] * int(capped.sum())
    for width in widths:

        def downhill(x: Floats, width: float = width) -> tuple[float, Floats]:
            value, slope = beside.soft_bound(split(x), allowed, width)
            return -value, -np.concatenate([slope.cell.ravel(), slope.strand[capped]])

        heard = 0

        def listen(x: Floats) -> None:
            nonlocal heard
            heard += 1
            if heard % 10 == 0:
                watch(beside.bound(split(x), allowed), split(x))

        options = {"maxiter": steps}
        x = minimize(
            downhill, x, jac=True, method="L-BFGS-B", bounds=limits, callback=listen, options=options
        ).x
        watch(beside.bound(split(x), allowed), split(x))
