"""The maker's hand: what knots take of the gauge's lengths, told by strands measured on the way.

A strand has used = a · tied + b · carried, where tied and carried are the predicted millimetres of either
kind and a and b the rates of the hand. A strand that was cut short, slipped or frayed says nothing about the
hand, so a rate needs more than one witness:

- where least squares over all strands measured leave none off by more than ``TELLS_APART``, and none is that
  far from the plan, or from what the others alone would tell of it, they are the hand;
- else the hand is told by the strands near the median of them all. The plan counts as one strand there (of
  two in the middle the one nearer to the plan is taken), so one strand alone changes nothing; the others
  stand apart.

The two rates are drawn together by a weak prior (a = b), so that strands of one kind give one rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

TELLS_APART = 0.15
"""Share by which a strand may differ from the hand. Hands differ by about a quarter from one another (value
from memory), the strands of one hand by less; our own choosing."""
PRIOR = 0.1
"""Weight of the prior that both rates are one, against one strand measured; our own choosing."""
SLOWEST = 0.05
"""No rate is below this; a strand is never carried for nothing."""


@dataclass(frozen=True, slots=True)
class Witness:
    """One strand measured: what its knots should have taken tying and as core, and what it used, in mm."""

    tied_mm: float
    carried_mm: float
    used_mm: float

    def __post_init__(self) -> None:
        if min(self.tied_mm, self.carried_mm) < 0 or not (self.planned_mm > 0 and self.used_mm > 0):
            raise ValueError("a strand without a knot, or of which nothing was used, tells nothing")

    @property
    def planned_mm(self) -> float:
        return self.tied_mm + self.carried_mm


@dataclass(frozen=True, slots=True)
class Hand:
    """Rates of knots tied and carried against the gauge; ``spread`` is the largest deviation of a strand that
    told them, as a share, and ``apart`` the indices of the witnesses that do not agree with it.
    """

    tie_rate: float = 1.0
    core_rate: float = 1.0
    spread: float = 0.0
    apart: tuple[int, ...] = ()


def fit_hand(witnesses: Sequence[Witness]) -> Hand:
    """Tell the hand from the strands measured.

    >>> as_planned, short = Witness(900, 100, 1000), Witness(900, 100, 1380)
    >>> hand = fit_hand([as_planned, as_planned, as_planned, short])
    >>> round(hand.tie_rate, 2), hand.apart
    (1.0, (3,))
    >>> round(fit_hand([short, short, short, as_planned]).tie_rate, 2)
    1.38
    """
    if not witnesses:
        return Hand()
    ratios = np.array([witness.used_mm / witness.planned_mm for witness in witnesses])
    hand, off = _least_squares(witnesses)
    planned = (np.abs(ratios - 1) <= TELLS_APART).all()
    if (np.abs(off) <= TELLS_APART).all() and (planned or _told_by_others(witnesses)):
        return hand
    near = np.abs(ratios / _median(ratios) - 1) <= TELLS_APART
    if not near.any():
        return Hand(apart=tuple(range(len(witnesses))))
    hand, _ = _least_squares([witness for witness, fits in zip(witnesses, near, strict=True) if fits])
    apart = tuple(int(i) for i in np.flatnonzero(~near))
    return Hand(hand.tie_rate, hand.core_rate, hand.spread, apart)


def _told_by_others(witnesses: Sequence[Witness]) -> bool:
    """Whether each strand is as the others alone would tell."""
    for i, witness in enumerate(witnesses):
        others = [*witnesses[:i], *witnesses[i + 1 :]]
        hand = _least_squares(others)[0] if others else Hand()
        expected = witness.tied_mm * hand.tie_rate + witness.carried_mm * hand.core_rate
        if abs(witness.used_mm / expected - 1) > TELLS_APART:
            return False
    return True


def _median(ratios: NDArray[np.float64]) -> float:
    """The median of the ratios and the plan's 1; of two in the middle the one nearer to 1."""
    voices = np.sort(np.append(ratios, 1.0))
    middle = voices[(len(voices) - 1) // 2], voices[len(voices) // 2]
    return float(min(middle, key=lambda ratio: abs(ratio - 1)))


def _least_squares(witnesses: Sequence[Witness]) -> tuple[Hand, NDArray[np.float64]]:
    """Both rates, and by how much each strand differs from them, as a share of what it should have used.

    Strands count in proportion, so that a long leader does not outweigh all others.
    """
    shares = np.array([(w.tied_mm, w.carried_mm) for w in witnesses])
    whole = shares.sum(axis=1)
    shares = shares / whole[:, None]
    used = np.array([w.used_mm for w in witnesses]) / whole
    rates, _ = nnls(np.vstack([shares, [PRIOR, -PRIOR]]), np.append(used, 0.0))
    tie_rate, core_rate = (max(SLOWEST, float(rate)) for rate in rates)
    off = used / (shares @ np.array([tie_rate, core_rate])) - 1
    return Hand(tie_rate, core_rate, float(np.abs(off).max())), off
