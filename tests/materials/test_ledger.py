"""What is left of each strand at a moment: against a reckoning row by row, and what the limit means."""

from __future__ import annotations

import pytest
from hypothesis import given

from pipeline.band.pattern import Pattern
from pipeline.materials.ledger import Ledger
from pipeline.materials.lengths import cut_list
from tests.materials.bands import left_after_rows
from tests.patterns import patterns, random_pattern


@given(patterns(max_sections=1))
def test_after_whole_rows_it_is_what_is_left(pattern: Pattern) -> None:
    """But for what a strand needs to pass rows without a knot, which is charged at its next knot here."""
    cuts = cut_list(pattern)
    book = Ledger(pattern, cuts)
    done: set[tuple[int, int, int]] = set()
    gauge = pattern.gauge_of(pattern.sections[0].worked)
    for left, (s, r, _, row) in zip(left_after_rows(pattern, cuts), pattern.rows(), strict=True):
        done |= {(s, r, k) for k in range(len(row.knots))}
        for account in book.at(done):
            ahead = account.left_mm - left[account.strand]
            assert -1e-6 <= ahead <= len(pattern.sections[0].rows) * 2 * gauge.strand_pitch_mm


def test_a_hand_at_the_limit_keeps_half_its_tail() -> None:
    pattern = random_pattern(4, strands=6, rows=20, sections=1, worked="rows", joins=0)
    cuts = cut_list(pattern)
    book = Ledger(pattern, cuts)
    half = {(0, r, k) for r in range(10) for k in range(5)}
    for account in book.at(half):
        used = account.begun_mm - account.least_mm  # the hand's use so far, if it is at the limit
        hand = used / account.spent_mm
        left_at_the_end = account.least_mm - hand * account.rest_mm
        assert left_at_the_end == pytest.approx(account.tail_mm / 2)
        assert account.least_mm < account.left_mm, "the margin of the cut list lies between"


def test_before_the_first_knot_nothing_is_spent_and_at_the_end_nothing_is_due() -> None:
    pattern = random_pattern(9, strands=5, rows=6, sections=2, joins=3)
    book = Ledger(pattern, cut_list(pattern))
    assert all(account.spent_mm == 0 for account in book.at(set()))
    every = {(s, r, k) for s, r, _, row in pattern.rows() for k in range(len(row.knots))}
    assert all(account.rest_mm < 40 for account in book.at(every)), "but for rows passed after a last knot"
