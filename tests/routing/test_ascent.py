"""The climb of prices against SciPy's L-BFGS-B, on concave functions with some numbers not below zero."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from pipeline.routing.ascent import Ascent


@pytest.mark.parametrize("seed", range(6))
def test_the_top_is_the_one_that_scipy_finds(seed: int) -> None:
    random = np.random.default_rng(seed)
    size, free = 30, 20
    root = random.normal(0, 1, (size, size))
    curved, slant = root @ root.T + np.eye(size), random.normal(0, 10, size)

    def height(at: np.ndarray) -> tuple[float, np.ndarray]:
        return float(slant @ at - 0.5 * at @ curved @ at), slant - curved @ at

    box = [(None, None)] * free + [(0.0, None)] * (size - free)
    best = -minimize(
        lambda at: tuple(-part for part in height(at)), np.zeros(size), jac=True, bounds=box,
        options={"maxiter": 2000, "ftol": 1e-14, "gtol": 1e-9},
    ).fun  # fmt: skip
    ascent = Ascent(np.zeros(size), free, lambda slope: 0.1 * slope)
    ascent.climb(height, 600, lambda: False)
    assert (ascent.at[free:] >= 0).all()
    assert height(ascent.at)[0] == pytest.approx(best, rel=1e-6)


def test_it_stops_when_asked_and_keeps_where_it_was() -> None:
    asked = iter([False, True])
    ascent = Ascent(np.full(3, 5.0), 3, lambda slope: slope)
    ascent.climb(lambda at: (-float(at @ at), -2 * at), 100, lambda: next(asked))
    assert ascent.at == pytest.approx(np.full(3, 4.0))
