"""Cutting pieces from skeins: the one-dimensional cutting-stock problem, in whole centimetres.

Fewest new skeins come first, then fewest skeins, then the least length opened, then the longest remnant.
Sets of skeins are tried in that order, beginning at the bound of Gilmore and Gomory (column generation;
Operations Research 9, 1961), and each is packed exactly by a mixed-integer programme (HiGHS). Where a size is
wanted very often, the whole part of the linear optimum is cut first and only the rest is searched.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left, insort
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

EFFORT, REMNANT_EFFORT = 2000, 200
"""Branches that one packing and one search for a remnant may take; not seconds, so that the same pieces give
the same plan."""
MOST_SETS = 60
"""Sets of skeins that are tried before the plan by best fit is taken."""
MOST_PLACES, MOST_PLACES_IN_ALL = 1_000, 3_000
"""Skeins × sizes of one packing, and of all that are searched for one thread; each takes up to some 5 ms of a
core. 24 strands come to 576 at most."""


@dataclass(frozen=True, slots=True)
class Skein:
    """One skein and what is cut from it, longest first; lengths in cm."""

    length_cm: int
    pieces_cm: tuple[int, ...]

    def __post_init__(self) -> None:
        if sum(self.pieces_cm) > self.length_cm:
            raise ValueError(f"{sum(self.pieces_cm)} cm are cut from a skein of {self.length_cm} cm")

    @property
    def left_cm(self) -> int:
        return self.length_cm - sum(self.pieces_cm)


@dataclass(frozen=True, slots=True)
class Cutting:
    """A cutting plan: skeins with the fullest first.

    ``new`` of them are not owned yet. ``proved`` tells whether no plan needs fewer skeins; ``too_long_cm``
    are pieces longer than a skein, which are not in the plan.
    """

    skeins: tuple[Skein, ...]
    new: int = 0
    too_long_cm: tuple[int, ...] = ()
    proved: bool = True


def cut_skeins(pieces_cm: Sequence[int], owned_cm: Sequence[int], *, more_cm: int) -> Cutting:
    """Cut the pieces from the skeins owned, and from as many new ones of ``more_cm`` as it takes.

    All lengths are whole centimetres above zero, and what is owned is no longer than a new skein, else
    ValueError.

    >>> [skein.pieces_cm for skein in cut_skeins([50, 30, 20, 60, 40], [], more_cm=100).skeins]
    [(60, 40), (50, 30, 20)]
    """
    if min([*pieces_cm, *owned_cm, more_cm], default=1) <= 0:
        raise ValueError("pieces and skeins have lengths above zero")
    if max(owned_cm, default=0) > more_cm:
        raise ValueError("no owned skein is longer than a new one")
    in_order = sorted(pieces_cm, reverse=True)
    too_long = tuple(piece for piece in in_order if piece > more_cm)
    fitting = in_order[len(too_long) :]
    if not fitting:
        return Cutting((), 0, too_long)
    of_use = [cm for cm, count in Counter(owned_cm).items() for _ in range(min(count, len(fitting)))]
    packed, proved = _fewest(fitting, of_use, more_cm)
    skeins = tuple(
        sorted(
            (Skein(length, tuple(sorted(inside, reverse=True))) for length, inside in packed if inside),
            key=lambda s: (s.left_cm, -s.length_cm, tuple(-p for p in s.pieces_cm)),
        )
    )
    in_use = Counter(skein.length_cm for skein in skeins)
    return Cutting(skeins, sum((in_use - Counter(owned_cm)).values()), too_long, proved)


Packed = list[tuple[int, list[int]]]
"""Skeins by length, with the pieces in each; cm."""


def _fewest(wanted: list[int], owned_cm: Sequence[int], more_cm: int) -> tuple[Packed, bool]:
    cut: Packed = []
    rest = wanted
    least = math.ceil(sum(wanted) / more_cm)
    if not owned_cm and _fill(wanted, [more_cm] * least) is None:
        bound, patterns = _columns(wanted, more_cm)
        least = math.ceil(bound - 1e-6)
        cut, rest = _whole_part(wanted, patterns, more_cm)
    proved, places_left = True, MOST_PLACES_IN_ALL
    for skeins in itertools.islice(_sets(rest, owned_cm, more_cm, least - len(cut)), MOST_SETS):
        quick = _fill(rest, skeins)
        packed, certain = quick, quick is not None
        if quick is None and (places := _places(rest, skeins)) <= min(MOST_PLACES, places_left):
            places_left -= places
            packed, certain = _packed(rest, skeins, EFFORT)
        if packed is not None:
            exact = proved and (not cut or len(cut) + len(skeins) == least)
            return cut + _long_remnant(rest, packed), exact
        proved = proved and certain
    return cut + (_fill(rest, sorted(owned_cm), more_cm) or []), False


def _sets(rest: Sequence[int], owned_cm: Sequence[int], more_cm: int, least: int) -> Iterator[list[int]]:
    """Sets of skeins that could hold the pieces, in the order of preference.

    ``least`` is the fewest new skeins if none is owned. Never ends: more new skeins always come.
    """
    if not rest:
        yield []
        return
    total, longest = sum(rest), max(rest)
    stock = sorted(Counter(owned_cm).items(), reverse=True)
    first = max(0, math.ceil((total - sum(owned_cm)) / more_cm), 0 if owned_cm else least)
    for new in itertools.count(first):
        choices = itertools.islice(
            itertools.product(*(range(count, -1, -1) for _, count in stock)), 50 * MOST_SETS
        )
        sets = [
            [length for (length, _), n in zip(stock, taken, strict=True) for _ in range(n)] + [more_cm] * new
            for taken in choices
        ]
        possible = [s for s in sets if s and sum(s) >= total and max(s) >= longest]
        yield from sorted(possible, key=lambda s: (len(s), sum(s), s))


def _fill(rest: Sequence[int], skeins: Sequence[int], more_cm: int | None = None) -> Packed | None:
    """Best fit: the longest piece goes where least is left over; what finds no room opens a new skein.

    Without new skeins (``more_cm``) the answer is None then.
    """
    packed: Packed = [(length, []) for length in skeins]
    rooms = sorted((length, i) for i, length in enumerate(skeins))
    for piece in sorted(rest, reverse=True):
        best = bisect_left(rooms, (piece, 0))
        if best < len(rooms):
            room, i = rooms.pop(best)
        elif more_cm is not None:
            room, i = more_cm, len(packed)
            packed.append((more_cm, []))
        else:
            return None
        packed[i][1].append(piece)
        insort(rooms, (room - piece, i))
    return packed


def _places(rest: Sequence[int], skeins: Sequence[int]) -> int:
    """The size of a packing: skeins × different sizes of pieces."""
    return len(skeins) * len(set(rest))


def _packed(
    rest: Sequence[int], skeins: Sequence[int], effort: int, *, spare: int | None = None, most: int = 0
) -> tuple[Packed | None, bool]:
    """Pack the pieces into just these skeins, counting sizes in each; and whether the answer is certain.

    ``spare``: a skein into which at most ``most`` cm go, and as little as can be; the last one of skeins
    alike, which are ordered by their load.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    demand = sorted(Counter(rest).items(), reverse=True)
    sizes = np.array([size for size, _ in demand])
    wanted = np.array([count for _, count in demand])
    room = np.array([most if j == spare else length for j, length in enumerate(skeins)])
    each, n = np.eye(len(skeins)), len(skeins) * len(sizes)
    alike = [j for j in range(1, len(skeins)) if skeins[j] == skeins[j - 1]]
    answer = milp(
        np.zeros(n) if spare is None else np.kron(each[spare], sizes),
        integrality=np.ones(n),
        bounds=Bounds(0, np.tile(wanted, len(skeins))),
        constraints=[
            LinearConstraint(np.kron(each, sizes), -np.inf, room),
            LinearConstraint(np.tile(np.eye(len(sizes)), len(skeins)), wanted, wanted),
            *(LinearConstraint(np.kron(each[j] - each[j - 1], sizes), -np.inf, 0) for j in alike),
        ],
        options={"node_limit": effort},
    )
    if answer.x is None:
        return None, answer.status == 2
    counts: NDArray[np.int64] = np.rint(answer.x).astype(np.int64).reshape(len(skeins), len(sizes))
    return [
        (length, np.repeat(sizes, inside).tolist()) for length, inside in zip(skeins, counts, strict=True)
    ], True


def _long_remnant(rest: Sequence[int], packed: Packed) -> Packed:
    """Pack the same skeins again so that the longest remnant is as long as can be."""

    def remnant(plan: Packed) -> int:
        return max(length - sum(inside) for length, inside in plan)

    skeins = sorted((length for length, _ in packed), reverse=True)
    if _places(rest, skeins) > MOST_PLACES:
        return packed
    sums = 1  # bit n: whether some of the pieces are n cm in all
    for piece in rest:
        sums |= sums << piece
    full = [(sums & ((2 << length) - 1)).bit_length() - 1 for length in skeins]
    for j in [j for j, length in enumerate(skeins) if length != (skeins[j + 1 : j + 2] or [0])[0]]:
        most = skeins[j] - remnant(packed) - 1
        least = max(0, sum(rest) - sum(full) + full[j])  # what the others, as full as can be, leave over
        if most < 0 or not (sums & ((2 << most) - 1)) >> least:
            continue
        packed = _packed(rest, skeins, REMNANT_EFFORT, spare=j, most=most)[0] or packed
    return packed


def _columns(wanted: Sequence[int], skein_cm: int) -> tuple[float, list[tuple[dict[int, int], float]]]:
    """Column generation: the bound, and ways to cut a skein with how often each is used.

    The bound is Farley's, which holds at any prices (Operations Research 38, 1990).
    """
    from scipy.optimize import linprog

    demand = sorted(Counter(wanted).items(), reverse=True)
    sizes = [size for size, _ in demand]
    ways = [[skein_cm // size if i == j else 0 for j in range(len(sizes))] for i, size in enumerate(sizes)]
    while True:
        solved = linprog(
            np.ones(len(ways)),
            A_ub=-np.array(ways, dtype=np.float64).T,
            b_ub=-np.array([count for _, count in demand], dtype=np.float64),
            method="highs",
        )
        prices = -solved.ineqlin.marginals
        worth, way = _dearest(sizes, [count for _, count in demand], prices, skein_cm)
        if worth <= 1 + 1e-9 or way in ways:
            bound = float(solved.fun) / max(1.0, worth)
            used = [(dict(zip(sizes, w, strict=True)), float(x)) for w, x in zip(ways, solved.x, strict=True)]
            return bound, used
        ways.append(way)


def _dearest(
    sizes: Sequence[int], most: Sequence[int], prices: Sequence[float], skein_cm: int
) -> tuple[float, list[int]]:
    """The way of cutting one skein that is worth most at these prices: a bounded knapsack, cm by cm."""
    worth = np.zeros(skein_cm + 1)
    taken = np.zeros((len(sizes), skein_cm + 1), dtype=np.int64)
    for i, size in enumerate(sizes):
        best = worth.copy()
        for times in range(1, min(most[i], skein_cm // size) + 1):
            with_it = worth[: skein_cm + 1 - times * size] + times * prices[i]
            better = with_it > best[times * size :] + 1e-12
            best[times * size :][better] = with_it[better]
            taken[i, times * size :][better] = times
        worth = best
    way = [0] * len(sizes)
    cm = skein_cm
    for i in range(len(sizes) - 1, -1, -1):
        way[i] = int(taken[i, cm])
        cm -= way[i] * sizes[i]
    return float(worth[skein_cm]), way


def _whole_part(
    wanted: Sequence[int], patterns: Sequence[tuple[dict[int, int], float]], skein_cm: int
) -> tuple[Packed, list[int]]:
    """Cut each way as often as its whole number says; return the skeins and the pieces that remain.

    Only where sizes repeat often; a few pieces are searched whole, which is exact.
    """
    rest = Counter(wanted)
    cut: Packed = []
    if len(wanted) > 4 * len(rest) + 60:
        for way, times in patterns:
            for _ in range(math.floor(times + 1e-9)):
                inside = [size for size, count in way.items() for _ in range(min(count, rest[size]))]
                rest -= Counter(inside)
                cut.append((skein_cm, inside))
    return cut, sorted(rest.elements(), reverse=True)
