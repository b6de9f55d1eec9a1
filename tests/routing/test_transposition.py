"""What alternating rows of neighbouring pairs can reach: odd–even transposition.

Any order of n strands is reached in at most n rows (Habermann 1972; Knuth, The Art of Computer
Programming 3, section 5.3.4). How many orders need all n rows was recomputed by search; there is no
published table behind those counts.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from pipeline.band.knots import Knot, row_positions
from tests.patterns import tie_all


def _reached(strands: int, first: int) -> list[np.ndarray]:
    """(orders,) which orders are reached after 0, 1, … n rows, the first of parity ``first``."""
    orders = list(permutations(range(strands)))
    number = {order: i for i, order in enumerate(orders)}
    swapped = []
    for position in range(strands - 1):
        turned = [tie_all(order, [(position, Knot.FORWARD)])[1] for order in orders]
        swapped.append(np.array([number[tuple(order)] for order in turned]))
    reached = [np.zeros(len(orders), dtype=bool)]
    reached[0][number[tuple(range(strands))]] = True
    for row in range(strands):
        now = reached[-1].copy()
        for position in row_positions(strands, first + row, "diagonal"):
            now |= now[swapped[position]]
        reached.append(now)
    return reached


@pytest.mark.parametrize(
    ("strands", "free", "fixed"),
    [(3, 1, 2), (4, 3, 4), (5, 15, 32), (6, 61, 88), (7, 391, 992), (8, 2053, 3184)],
)
def test_every_order_is_reached_and_so_many_need_all_rows(strands: int, free: int, fixed: int) -> None:
    even, odd = _reached(strands, 0), _reached(strands, 1)
    assert even[-1].all() and odd[-1].all()
    assert (~even[-2] & ~odd[-2]).sum() == free
    assert (~even[-2]).sum() == fixed


@pytest.mark.parametrize("strands", range(2, 12))
def test_all_swap_rows_reverse_and_restore_the_order(strands: int) -> None:
    order = list(range(strands))
    for row in range(2 * strands):
        if row == strands:
            assert order == list(reversed(range(strands)))
        _, order = tie_all(order, [(p, Knot.BACKWARD) for p in row_positions(strands, row, "diagonal")])
    assert order == list(range(strands))
