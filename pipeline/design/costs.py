"""What it costs that a cell shows a thread: the difference between the picture there and that thread.

Two eyes look at the same soft-edged cell. The *crisp* one sees every sample by itself, so that a cell on an
edge is a near tie between the colours on both sides and never asks for a muddy third one; the *soft* one sees
the mean in linear light, as one does at arm's length. The cost is a blend of both, in HyAB. Nothing is
decided for the router: a cell may show any thread, at its price.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.colour import Bytes, Floats, hyab_lab, lab, light_lab
from pipeline.design.cells import FinePicture
from pipeline.literals import Mode

SOFT: dict[Mode, float] = {"auto": 0.6, "flat": 0.0, "photo": 1.0}
"""Weight of the soft eye. Between 0.3 and 0.7 the likeness of bands differs by less than 1 %."""
SPREAD = 0.36
"""Standard deviation of the soft-edged cell, in fields: a field has 0.29, and a bit of blur helps routing."""
REACH = 3.0
"""Where the soft edge ends, in standard deviations."""
SHARE = 0.4
"""Part of a cell that a thread's colours cover at least, to serve there as well as the wanted one."""
ALIKE = 6.0
"""HyAB by which a thread may be worse than the wanted one and still serve as well; from our own looking."""
DECIMALS = 2


@dataclass(frozen=True, slots=True, eq=False)
class CellCosts:
    """``costs``: (rows, cells, threads) HyAB above the best of these threads there, to 0.01; ``serves``: the
    same shape, which threads make the cell: the best one, and those that serve as well there; ``floor``:
    (rows, cells) what the best is off.
    """

    costs: Floats
    serves: NDArray[np.bool_]
    floor: Floats


def cell_costs(picture: FinePicture, threads: Bytes, mode: Mode = "auto") -> CellCosts:
    """Price every thread, uint8 (threads, 3), at every field of the picture's grid.

    >>> from pipeline.motif.picture import Picture
    >>> from pipeline.design.cells import fine_picture
    >>> half = Picture(np.array([[[0, 0, 0]] * 3 + [[255, 255, 255]] * 3], np.uint8), None, "half")
    >>> fine = fine_picture(half, 1, 3, cell_aspect=1.0, fit="stretch")
    >>> priced = cell_costs(fine, np.array([[0, 0, 0], [255, 255, 255]], np.uint8), "flat")
    >>> priced.costs[0, :, 0].round(0).tolist(), priced.serves[0].astype(int).tolist()
    ([0.0, 0.0, 100.0], [[1, 0], [1, 1], [0, 1]])
    """
    down, across = (_weights(n, picture.fine) for n in picture.shape)
    places, soft = lab(threads), SOFT[mode]
    samples = light_lab(picture.light)
    mean = np.stack([_seen(down, picture.light[..., part], across) for part in range(3)], axis=-1)
    mean_lab = light_lab(mean)
    costs = np.empty((*picture.shape, len(threads)))
    shares = np.empty_like(costs)
    nearest, least = np.zeros(samples.shape[:2], dtype=np.int64), np.full(samples.shape[:2], np.inf)
    for t, place in enumerate(places):
        apart = hyab_lab(samples, place)
        costs[..., t] = (1 - soft) * _seen(down, apart, across) + soft * hyab_lab(mean_lab, place)
        closer = apart < least
        nearest[closer], least[closer] = t, apart[closer]
    for t in range(len(threads)):
        shares[..., t] = _seen(down, (nearest == t).astype(np.float64), across)
    floor = costs.min(axis=-1)
    costs = (costs - floor[..., None]).round(DECIMALS)
    return CellCosts(costs, (costs <= ALIKE) | (shares >= SHARE), floor)


def _seen(down: scipy.sparse.csr_array, samples: Floats, across: scipy.sparse.csr_array) -> Floats:
    """Mean of the samples (height, width) in each soft-edged cell, (rows, cells)."""
    return np.asarray((across @ (down @ samples).T).T)


def _weights(cells: int, fine: int) -> scipy.sparse.csr_array:
    """(cells, cells·fine) weights of the samples in each cell along one side: a Gaussian, cut off."""
    middle = (np.arange(cells) + 0.5) * fine
    first = np.maximum(0, np.floor(middle - REACH * SPREAD * fine)).astype(np.int64)
    last = np.minimum(cells * fine, np.ceil(middle + REACH * SPREAD * fine)).astype(np.int64)
    row = np.repeat(np.arange(cells), last - first)
    sample = np.concatenate([np.arange(a, b) for a, b in zip(first, last, strict=True)])
    weight = np.exp(-0.5 * ((sample + 0.5 - middle[row]) / (SPREAD * fine)) ** 2)
    weight /= np.bincount(row, weight)[row]
    return scipy.sparse.csr_array((weight, (row, sample)), shape=(cells, cells * fine))
