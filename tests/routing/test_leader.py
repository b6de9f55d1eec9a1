"""Programs over the leader and a few columns: exact where everything is free, and never worse."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.reference import brute
from pipeline.band.network import network, picture_rows
from pipeline.routing import Budget, Ease, Question, route
from pipeline.routing.board import board, colour_error, faults, labels_of
from pipeline.routing.leader import applies, improve_leader
from pipeline.routing.meter import Meter


def problem(seed: int, strands: int, rows: int, threads: int, *, pinned: bool = False) -> Question:
    random = np.random.default_rng(seed)
    net = network(strands, picture_rows(strands, rows, "rows"))
    wanted = random.integers(threads, size=net.knots)
    table = np.round(random.uniform(1, 9, (threads, threads)), 1)
    np.fill_diagonal(table, 0)
    start = tuple(int(random.integers(threads)) if pinned and p % 2 else None for p in range(strands))
    return Question(net, table[wanted], start, (None,) * threads, allowance=Ease.LIGHT.allowance(net))


@pytest.mark.parametrize("pinned", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_the_search_never_worsens_and_stays_legal(seed: int, pinned: bool) -> None:
    asked = problem(seed, 9, 12, 3, pinned=pinned)
    laid = board(asked)
    begun = labels_of(asked.network, route(asked, Budget(effort=0.001)))
    found = [begun]
    improve_leader(asked, begun, Meter(Budget(effort=0.05), asked.network.knots), found.append, seed)
    assert applies(asked)
    assert not faults(laid, found[-1])
    assert colour_error(laid, found[-1]) <= colour_error(laid, begun) + 1e-9
    if pinned:
        assert (found[-1][: asked.network.strands] == begun[: asked.network.strands]).all()


def test_a_folded_cut_stays_one_thread_whatever_its_other_half_was_called() -> None:
    better = 0
    for seed in range(8):
        asked = replace(problem(seed, 9, 12, 3), folded=((0, 1), (2, 7)))
        begun = labels_of(asked.network, route(asked, Budget(effort=0.001)))
        begun[[1, 7]] = (begun[[1, 7]] + 1) % 3  # these are no wires of the board
        found = [begun]
        improve_leader(asked, begun, Meter(Budget(effort=0.05), asked.network.knots), found.append, seed)
        assert not faults(board(asked), found[-1])
        better += len(found) > 1
    assert better >= 3


@pytest.mark.parametrize("seed", range(5))
def test_a_program_over_all_columns_is_the_optimum(seed: int) -> None:
    """Four strands: the leader and all three columns are free, so one program is exact (brute force)."""
    asked = problem(seed, 4, 4, 2)
    begun = labels_of(asked.network, route(asked, Budget(effort=0.001)))
    found = [begun]
    improve_leader(asked, begun, Meter(Budget(effort=0.5), asked.network.knots), found.append, seed)
    assert colour_error(board(asked), found[-1]) == pytest.approx(brute.optimum(asked))


def test_an_interrupted_search_hands_over_its_best(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = problem(3, 10, 20, 4)
    laid = board(asked)
    begun = labels_of(asked.network, route(asked, Budget(effort=0.001)))
    found = []
    meter = Meter(Budget(effort=5), asked.network.knots)
    spent = meter.spend

    def spend(work: float) -> None:
        spent(work)
        if meter.cost < colour_error(laid, begun):
            raise KeyboardInterrupt

    monkeypatch.setattr(meter, "spend", spend)
    with pytest.raises(KeyboardInterrupt):
        improve_leader(asked, begun, meter, found.append)
    assert colour_error(laid, found[-1]) < colour_error(laid, begun)
    assert not faults(laid, found[-1])
