"""Reasons checked by brute force: insert rows before the row, free what follows, see the cell made."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.pattern import Pattern
from pipeline.band.replay import replay
from pipeline.routing.question import Ease
from pipeline.verdict.feasibility import check
from pipeline.verdict.reasons import Reason, Why, reasons
from tests.verdict.bands import THREADS, assembled, random_band

ORDERS = st.sampled_from(["rows", "diagonal"])
States = set[tuple[int, ...]]


def after_pairs(states: States, parity: int) -> States:
    """Every order that one diagonal row of a parity can leave."""
    found = set()
    for state in states:
        pairs = range(parity, len(state) - 1, 2)
        for swaps in product((False, True), repeat=len(pairs)):
            now = list(state)
            for p, swap in zip(pairs, swaps, strict=True):
                if swap:
                    now[p], now[p + 1] = now[p + 1], now[p]
            found.add(tuple(now))
    return found


def can_show(states: States, positions: list[int], knot: int, wanted: int, worked: str, ease: Ease) -> bool:
    """Whether some way of tying the row up to the knot brings the wanted thread into it."""
    last = len(positions) - 1
    for state in states:
        for stays in product((False, True), repeat=knot):
            now, mid, legal = list(state), 0, True
            for i, p in enumerate(positions[:knot]):
                if not stays[i]:
                    now[p], now[p + 1] = now[p + 1], now[p]
                elif worked == "rows" and 0 < i < last and now[p] != now[p + 1]:
                    mid += 1
                    legal &= ease is Ease.FULL or (ease is Ease.LIGHT and mid == 1)
            p = positions[knot]
            if legal and wanted in (now[p], now[p + 1]):
                return True
    return False


def orders_before(pattern: Pattern) -> dict[tuple[int, int], tuple[int, ...]]:
    """Threads by position before each row."""
    orders, now = {}, tuple(pattern.strands)
    for row in replay(pattern):
        orders[row.section, row.row] = now
        now = row.threads
    return orders


@settings(max_examples=60)
@given(st.integers(0, 10_000), ORDERS, st.sampled_from(list(Ease)))
def test_so_many_rows_make_the_cell_and_fewer_do_not(seed: int, worked: str, ease: Ease) -> None:
    net, solution, wanted = random_band(seed, worked)
    pattern = assembled(net, solution, wanted)
    found = check(pattern)
    orders = orders_before(pattern)
    for cell, reason in zip(found.unmade, reasons(pattern, found, lower_bound=0.0, ease=ease), strict=True):
        if reason.kind is Why.ABSENT:
            assert cell.wanted not in pattern.strands
            continue
        row = pattern.sections[cell.section].rows[cell.row]
        positions = [p for p, _ in row.knots]

        def made_after(rows: int, cell=cell, positions=positions) -> bool:
            for parity in (0, 1):
                states = {orders[cell.section, cell.row]}
                for i in range(rows):
                    states = after_pairs(states, (parity + i) % 2)
                if can_show(states, positions, cell.knot, cell.wanted, worked, ease):
                    return True
            return False

        assert made_after(reason.rows)
        assert reason.rows == 0 or not made_after(reason.rows - 1)
        assert (reason.kind is Why.CONFLICT) == (reason.rows == 0)


def reason_of(lower_bound: float, found: dict[int, float]) -> tuple[Reason, float, float]:
    """The first conflict in a band, with the colour error of the band and what the cell is off by."""
    for seed in range(200):
        net, solution, wanted = random_band(seed, "rows")
        pattern = assembled(net, solution, wanted)
        seen = check(pattern)
        for i, reason in enumerate(reasons(pattern, seen, lower_bound=0.0)):
            if reason.kind is Why.CONFLICT:
                again = reasons(
                    pattern, seen, lower_bound=seen.colour_error + lower_bound, found={0: 0.0, **found}
                )
                return again[i], seen.colour_error, seen.unmade[i].delta_e
    raise AssertionError("no conflict among the random bands")


def test_a_proved_band_certifies_the_whole_loss() -> None:
    reason, _, off = reason_of(0.0, {})
    assert reason.at_least == pytest.approx(off)
    assert f"at least {off:.1f} of colour error, that is proved" in reason.sentence


def test_a_slack_bound_certifies_less() -> None:
    reason, _, off = reason_of(-5.0, {})
    assert reason.at_least == pytest.approx(max(0.0, off - 5.0))
    weak, _, _ = reason_of(-1000.0, {})
    assert weak.at_least == 0.0 and "how much is not known" in weak.sentence


def test_what_is_found_is_told_apart_from_what_is_certified() -> None:
    _, error, off = reason_of(0.0, {})
    reason, _, _ = reason_of(-1.0, dict.fromkeys(range(500), error + 3.0))
    assert reason.found == pytest.approx(off + 3.0)
    assert f"{off + 3.0:.1f} in the best way found" in reason.sentence
    assert "that is proved" in reason.sentence


@given(st.integers(0, 2_000), ORDERS)
def test_absent_threads_are_named(seed: int, worked: str) -> None:
    net, solution, wanted = random_band(seed, worked)
    pattern = assembled(net, solution, wanted)
    found = check(pattern)
    for cell, reason in zip(found.unmade, reasons(pattern, found, lower_bound=0.0), strict=True):
        assert (reason.kind is Why.ABSENT) == (cell.wanted not in pattern.strands)
        if reason.kind is not Why.CONFLICT:
            assert THREADS[cell.wanted].name in reason.sentence
