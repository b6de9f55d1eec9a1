"""Cutting from skeins against general solvers: OR-tools CP-SAT, SciPy's HiGHS, and every way there is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from pipeline.materials.cutting import (
    Cutting,
    Skein,
    _columns,
    _dearest,
    _fill,
    _packed,
    cut_skeins,
)

SMALL = st.lists(st.integers(1, 12), min_size=1, max_size=7)


def least_to_open(wanted: Sequence[int], owned: Sequence[int], more: int) -> tuple[int, int, int]:
    """From outside, by CP-SAT: fewest new skeins, then fewest skeins, then the least length opened."""
    model, skeins = cp_model.CpModel(), [*owned, *[more] * len(wanted)]
    used = [model.new_bool_var("") for _ in skeins]
    cuts = [[model.new_bool_var("") for _ in skeins] for _ in wanted]
    for place in cuts:
        model.add_exactly_one(place)
    for j, length in enumerate(skeins):
        inside = sum(piece * place[j] for piece, place in zip(wanted, cuts, strict=True))
        model.add(inside <= length * used[j])
    new, opened = sum(used[len(owned) :]), sum(cm * use for cm, use in zip(skeins, used, strict=True))
    most = sum(skeins) + 1
    model.minimize((new * (len(skeins) + 1) + sum(used)) * most + opened)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.value(new)), sum(map(solver.value, used)), int(solver.value(opened))


def longest_remnant(wanted: Sequence[int], skeins: Sequence[int]) -> int:
    """From outside, by CP-SAT: the longest remnant that packing into just these skeins can leave."""
    model = cp_model.CpModel()
    cuts = [[model.new_bool_var("") for _ in skeins] for _ in wanted]
    chosen, left = [model.new_bool_var("") for _ in skeins], model.new_int_var(0, max(skeins), "")
    for place in cuts:
        model.add_exactly_one(place)
    model.add_exactly_one(chosen)
    for j, length in enumerate(skeins):
        inside = sum(piece * place[j] for piece, place in zip(wanted, cuts, strict=True))
        model.add(inside <= length)
        model.add(left <= length - inside).only_enforce_if(chosen[j])
    model.maximize(left)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return int(solver.value(left))


@settings(max_examples=120)
@given(SMALL, st.lists(st.integers(1, 14), max_size=4), st.integers(12, 14))
def test_few_pieces_are_cut_as_a_general_solver_cuts_them(
    wanted: list[int], lengths: list[int], more: int
) -> None:
    owned = [min(length, more) for length in lengths]
    plan = cut_skeins(wanted, owned, more_cm=more)
    opened = [skein.length_cm for skein in plan.skeins]
    assert (plan.new, len(opened), sum(opened)) == least_to_open(wanted, owned, more)
    assert max(skein.left_cm for skein in plan.skeins) == longest_remnant(wanted, opened)
    assert plan.proved and not plan.too_long_cm


def ways_to_cut(sizes: Sequence[int], most: Sequence[int], skein: int) -> list[tuple[int, ...]]:
    """Every way of cutting one skein, as how many of each size."""
    if not sizes:
        return [()]
    return [
        (first, *rest)
        for first in range(min(most[0], skein // sizes[0]) + 1)
        for rest in ways_to_cut(sizes[1:], most[1:], skein - first * sizes[0])
    ]


@settings(max_examples=60)
@given(st.lists(st.integers(5, 30), min_size=1, max_size=8), st.integers(30, 45))
def test_the_bound_is_that_of_all_ways_of_cutting_a_skein(wanted: list[int], skein: int) -> None:
    """From outside: the linear programme over every way, by HiGHS; and prices by looking at each way."""
    demand = sorted(Counter(wanted).items(), reverse=True)
    sizes, count = [size for size, _ in demand], [n for _, n in demand]
    ways = ways_to_cut(sizes, [len(wanted) * skein] * len(sizes), skein)
    table = np.array(ways, dtype=float).T
    solved = linprog(np.ones(len(ways)), A_ub=-table, b_ub=-np.array(count, dtype=float), method="highs")
    bound, used = _columns(wanted, skein)
    limited = linprog(
        np.ones(len(fit := ways_to_cut(sizes, count, skein))),
        A_eq=np.array(fit, dtype=float).T,
        b_eq=count,
        method="highs",
    )
    assert solved.fun - 1e-6 <= bound <= limited.fun + 1e-6
    for way, times in used:
        assert sum(size * n for size, n in way.items()) <= skein and times >= -1e-9
    for size, n in demand:
        assert sum(way[size] * times for way, times in used) >= n - 1e-6


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(2, 20), st.integers(1, 4), st.floats(0.0, 1.0)), min_size=1, max_size=5,
             unique_by=lambda size: size[0]),
    st.integers(20, 45),
)  # fmt: skip
def test_the_dearest_way_to_cut_a_skein_is_the_dearest_of_all(
    demand: list[tuple[int, int, float]], skein: int
) -> None:
    sizes, most, prices = zip(*demand, strict=True)
    worth, way = _dearest(sizes, most, prices, skein)
    assert worth == pytest.approx(max(float(np.dot(w, prices)) for w in ways_to_cut(sizes, most, skein)))
    assert worth == pytest.approx(float(np.dot(way, prices)))
    assert np.dot(way, sizes) <= skein and all(n <= m for n, m in zip(way, most, strict=True))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(13, 47), min_size=2, max_size=4, unique=True),
    st.lists(st.integers(20, 60), min_size=4, max_size=4),
)
def test_many_pieces_of_few_sizes_take_the_fewest_skeins(sizes: list[int], counts: list[int]) -> None:
    """From outside: a whole number of every way of cutting a skein of 100, by HiGHS to the end."""
    wanted = [size for size, n in zip(sizes, counts, strict=False) for _ in range(n)]
    ways = ways_to_cut(sizes, counts[: len(sizes)], 100)
    fewest = milp(
        np.ones(len(ways)),
        integrality=np.ones(len(ways)),
        bounds=Bounds(0, np.inf),
        constraints=LinearConstraint(np.array(ways, dtype=float).T, counts[: len(sizes)], np.inf),
    )
    plan = cut_skeins(wanted, [], more_cm=100)
    assert Counter(p for skein in plan.skeins for p in skein.pieces_cm) == Counter(wanted)
    assert round(fewest.fun) <= len(plan.skeins) == plan.new <= round(fewest.fun) + 1
    assert not plan.proved or plan.new == round(fewest.fun)


# ---------------------------------------------------------------- by hand


def test_the_longest_remnant_stays_as_long_as_can_be() -> None:
    """Best fit puts 5 and 4 into one skein and 3 and 2 into the other, which leaves 1 and 5."""
    plan = cut_skeins([5, 4, 3, 2], [], more_cm=10)
    assert plan.skeins == (Skein(10, (5, 3, 2)), Skein(10, (4,)))


def test_pieces_of_which_no_two_fit_a_skein_take_one_each() -> None:
    """Seventy of 6 in skeins of 10: 42 skeins would hold their length, and 70 it must be."""
    plan = cut_skeins([6] * 70, [], more_cm=10)
    assert (plan.new, plan.proved) == (70, True)


def test_thirds_that_no_whole_number_of_ways_gives() -> None:
    """From outside: three of 5 in skeins of 10 are one and a half by length, and two in truth."""
    assert _columns([5] * 3, 10)[0] == pytest.approx(1.5)
    plan = cut_skeins([5] * 3, [], more_cm=10)
    assert [skein.pieces_cm for skein in plan.skeins] == [(5, 5), (5,)]
    assert plan.proved


def test_skeins_are_listed_with_the_fullest_first() -> None:
    """Then the longest, then the one with the longest piece."""
    plan = cut_skeins([9, 7, 6, 3, 2], [9, 9, 10], more_cm=10)
    assert plan.skeins == (Skein(9, (9,)), Skein(9, (7, 2)), Skein(10, (6, 3)))
    equal = cut_skeins([8, 4, 6, 6, 4], [], more_cm=10)
    assert equal.skeins == (Skein(10, (6, 4)), Skein(10, (6, 4)), Skein(10, (8,)))
    assert [skein.left_cm for skein in equal.skeins] == [0, 0, 2]


def test_what_is_longer_than_a_skein_is_left_out_and_told() -> None:
    plan = cut_skeins([10, 12, 11, 4], [7], more_cm=10)
    assert plan.too_long_cm == (12, 11)
    assert plan.skeins == (Skein(10, (10,)), Skein(7, (4,)))
    assert cut_skeins([11], [], more_cm=10) == Cutting((), 0, (11,), True)


@pytest.mark.parametrize(
    ("pieces", "owned", "more"), [([0], [], 5), ([3], [0], 5), ([3], [], 0), ([-1, 3], [], 5), ([3], [6], 5)]
)
def test_lengths_that_cannot_be(pieces: list[int], owned: list[int], more: int) -> None:
    with pytest.raises(ValueError, match=r"lengths above zero|longer than a new one"):
        cut_skeins(pieces, owned, more_cm=more)
    with pytest.raises(ValueError, match="11 cm are cut from a skein of 10 cm"):
        Skein(10, (6, 5))
    assert Skein(10, (6, 4)).left_cm == 0


def test_best_fit_puts_a_piece_where_least_is_left() -> None:
    """8 into 8 and 6 into 7, longest first; 5 finds the 10, and 5 more what is left of it."""
    assert _fill([5, 6, 8, 5], [10, 8, 7]) == [(10, [5, 5]), (8, [8]), (7, [6])]
    assert _fill([5, 6, 8, 5, 1, 1], [10, 8, 7]) is None
    assert _fill([5, 6, 8, 5, 1, 1], [10, 8, 7], 3) == [(10, [5, 5]), (8, [8]), (7, [6, 1]), (3, [1])]


def test_a_packing_that_is_impossible_is_known_to_be() -> None:
    assert _packed([6, 6, 6], [10, 10], 100) == (None, True)
    packed, certain = _packed([6, 4, 5, 5], [10, 10], 100)
    assert certain and packed is not None and sorted(map(sorted, (i for _, i in packed))) == [[4, 6], [5, 5]]


def test_a_million_skeins_owned_are_no_more_work_than_those_of_use() -> None:
    """A drawer in which somebody wrote metres for millimetres: as from as many skeins as there are pieces."""
    few = cut_skeins([60, 50, 40, 30], (80,) * 4 + (30,), more_cm=80)
    assert cut_skeins([60, 50, 40, 30], (80,) * 1_000_000 + (30,), more_cm=80) == few
