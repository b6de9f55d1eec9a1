"""Lengths as people write them, there and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.order.units import MM_PER, parse_length, spell_length


@given(st.floats(1, 20_000))
def test_a_spelled_length_reads_back(mm):
    """Spelled to a millimetre below 2 m (a tenth of a centimetre) and to a centimetre above."""
    assert parse_length(spell_length(mm)) == pytest.approx(mm, abs=0.51 if mm < 2000 else 5.01)


@given(st.integers(1, 4000), st.sampled_from(["mm", "cm", "m", "in"]), st.sampled_from(["", " "]))
def test_units_are_multiples_of_a_millimetre(number, unit, blank):
    mm = parse_length(f"{number / 8}{blank}{unit}") if number * MM_PER[unit] / 8 <= 1e6 else None
    if mm is not None:
        assert mm / MM_PER[unit] == pytest.approx(number / 8, abs=1e-5)
