"""Small pictures that are hard to tie: blocks of four threads that lie across one another."""

from __future__ import annotations

import numpy as np

from pipeline.band.knots import Worked
from pipeline.band.network import network, picture_rows
from pipeline.routing import Ease, Question
from pipeline.verdict.feasibility import thread_distances
from tests.verdict.bands import THREADS


def crossed_blocks(
    strands: int, rows: int, worked: Worked, ease: Ease = Ease.FULL
) -> tuple[Question, np.ndarray]:
    """Blocks of 4 × 4 cells, the threads in another order in each line of blocks."""
    net = network(strands, picture_rows(strands, rows, worked))
    order = np.array([[0, 1, 2, 3], [2, 3, 0, 1], [1, 0, 3, 2], [3, 2, 1, 0]])
    wanted = order[(net.row // 4) % 4, (net.position // 4) % 4].astype(np.int64)
    costs = np.ascontiguousarray(thread_distances(THREADS)[wanted])
    return Question(
        net, costs, (None,) * strands, (None,) * len(THREADS), allowance=ease.allowance(net)
    ), wanted
