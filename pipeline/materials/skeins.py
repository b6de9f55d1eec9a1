"""Skeins: the pieces of a band cut from what the stash holds, what to buy, and what could be swapped."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.band.pattern import Pattern
from pipeline.colour import delta_e
from pipeline.drawer.stash import USUAL_SKEIN_M, Stash, Thread
from pipeline.literals import listed, plural
from pipeline.materials.cutting import Cutting, cut_skeins
from pipeline.materials.lengths import Cut, Piece, pieces

ALIKE = 15.0
"""CIEDE2000 up to which a thread may stand in for another; value from our own looking, no source."""
NOTHING_M = 1e-6
"""Sums of whole centimetres, in metres, are off by less."""


@dataclass(frozen=True, slots=True)
class ThreadPlan:
    """How the pieces of one thread are cut.

    ``needed_m`` is what the pieces add up to, ``owned_m`` what the stash has (None: not known, then all
    skeins are to be had and none to be bought) and ``stock_cm`` the skeins that it comes to, ``buy`` how many
    skeins of ``skein_m`` are missing and ``skein_price`` what one costs, where known.
    """

    thread: int
    name: str
    needed_m: float
    owned_m: float | None
    skein_m: float
    cutting: Cutting
    buy: int
    skein_price: float | None = None
    stock_cm: tuple[int, ...] = ()

    @property
    def skeins(self) -> int:
        """How many are opened."""
        return len(self.cutting.skeins)

    @property
    def enough(self) -> bool:
        return self.buy == 0 and not self.cutting.too_long_cm


@dataclass(frozen=True, slots=True)
class Swap:
    """A strand that could be of another thread.

    ``position`` counts from 0; ``left_m`` stays of the other thread; ``delta_e`` is CIEDE2000.
    """

    position: int
    thread: str
    instead: str
    left_m: float
    delta_e: float


@dataclass(frozen=True, slots=True)
class SkeinPlan:
    """Cutting plans of all threads of the band, and what helps where one is short."""

    threads: tuple[ThreadPlan, ...]
    swaps: tuple[Swap, ...]

    @property
    def enough(self) -> bool:
        return all(plan.enough for plan in self.threads)

    def sentences(self) -> list[str]:
        """What to buy and why, and what is too long for a skein, one sentence each."""
        short = [plan for plan in self.threads if plan.buy]
        said = []
        if len(short) > 1:
            said.append(f"Buy {listed(skeins_of(plan.name, plan.buy) for plan in short)}.")
        said += [_why(plan) for plan in short]
        for plan in self.threads:
            for length in plan.cutting.too_long_cm:
                said.append(
                    f"{plan.name}: a piece of {length / 100:.2f} m is longer than a skein of "
                    f"{plan.skein_m:g} m; cut it in two with a join."
                )
        alike: dict[tuple[str, str, float], list[int]] = {}
        for swap in self.swaps:
            alike.setdefault((swap.thread, swap.instead, swap.delta_e), []).append(swap.position + 1)
        for (thread, instead, apart), positions in alike.items():
            which = f"strand{'s' if len(positions) > 1 else ''} {', '.join(map(str, sorted(positions)))}"
            said.append(f"Instead of {thread}, {which} could be {instead} (colours {apart:.0f} apart).")
        return said


def skeins_of(name: str, count: int) -> str:
    """So many skeins of a thread, in words."""
    return f"{plural(count, 'skein')} of {name}"


def _why(plan: ThreadPlan) -> str:
    """What of a thread is missing, or why skeins are missing although the metres would do."""
    owned = plan.owned_m or 0.0
    facts = f"{plan.name}: {plan.needed_m:.2f} m are needed and {owned:.2f} m owned"
    buy = f"buy {plural(plan.buy, 'skein')} of {plan.skein_m:g} m."
    if plan.needed_m > owned:
        return f"{facts}; {buy}"
    stock = Counter(plan.stock_cm)
    bought: list[int] = []
    remnants: list[int] = []
    for skein in plan.cutting.skeins:
        if stock[skein.length_cm] > 0:
            stock[skein.length_cm] -= 1
            remnants.append(skein.left_cm)
        else:
            bought += skein.pieces_cm
    remnants += stock.elements()
    return (
        f"{facts}, but no piece may be made up of remnants: what {_lengths(plan.stock_cm)} would leave is "
        f"{max(remnants, default=0)} cm at most, and {min(bought)} cm are wanted yet in one piece; {buy}"
    )


def _lengths(skeins_cm: Sequence[int]) -> str:
    """Skeins by length, in words.

    >>> _lengths((800, 800, 350))
    '2 skeins of 8 m and one of 3.5 m'
    """
    count = Counter(skeins_cm)
    return listed(
        f"{n} skeins of {cm / 100:g} m" if n > 1 else f"one of {cm / 100:g} m" for cm, n in count.items()
    )


def plan_skeins(pattern: Pattern, cuts: Sequence[Cut], stash: Stash) -> SkeinPlan:
    r"""Cut every thread's pieces from the stash; threads are matched by name.

    Owned metres are whole skeins and one opened remnant. Unknown metres count as whole skeins without end.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.drawer.stash import parse_stash
    >>> from pipeline.materials.lengths import cut_list
    >>> drawer = parse_stash(b"name,colour,metres\nnavy,#1b2a59,8\nwhite,#ffffff,0.5\n", "drawer.csv")
    >>> plan = plan_skeins(two_rows(), cut_list(two_rows()), drawer)
    >>> [(thread.name, thread.buy) for thread in plan.threads]
    [('navy', 0), ('white', 1)]
    """
    owned = {thread.name: thread for thread in stash.threads}
    wanted: dict[int, list[Piece]] = {}
    for piece in pieces(pattern, tuple(cuts)):
        wanted.setdefault(piece.thread, []).append(piece)
    plans = [
        _thread_plan(t, pattern.threads[t].name, owned.get(pattern.threads[t].name), wanted[t])
        for t in sorted(wanted)
    ]
    return SkeinPlan(tuple(plans), tuple(_swaps(plans, cuts, stash)))


def owned_skeins(thread: Thread) -> tuple[int, ...]:
    """Whole skeins and the remnant that the owned metres come to, in cm; none if not known."""
    if not thread.metres:
        return ()
    skein = round(thread.sold_m * 100)
    whole, rest = divmod(math.floor(thread.metres * 100 + 1e-6), skein)
    return (skein,) * whole + ((rest,) if rest else ())


def _thread_plan(index: int, name: str, thread: Thread | None, wanted: Sequence[Piece]) -> ThreadPlan:
    lengths = [round(piece.length_mm / 10) for piece in wanted]
    skein_m = USUAL_SKEIN_M if thread is None else thread.sold_m
    metres = None if thread is None else thread.metres
    stock = () if thread is None else owned_skeins(thread)
    cutting = cut_skeins(lengths, stock, more_cm=round(skein_m * 100))
    bought = 0 if metres is None else cutting.new
    cost = thread.price if thread else None
    return ThreadPlan(index, name, sum(lengths) / 100, metres, skein_m, cutting, bought, cost, stock)


def _swaps(plans: Sequence[ThreadPlan], cuts: Sequence[Cut], stash: Stash) -> list[Swap]:
    """For every thread that is short: strands, shortest first, and the nearest owned thread not short."""
    needed = {plan.name: plan.needed_m for plan in plans}
    left_m = {t.name: t.metres - needed.get(t.name, 0.0) for t in stash.threads if t.metres}
    colour = {thread.name: np.array(thread.rgb, dtype=np.uint8) for thread in stash.threads}
    found: list[Swap] = []
    for plan in plans:
        if not plan.buy:
            continue
        short_m = plan.needed_m - (plan.owned_m or 0.0)
        apart = sorted((float(delta_e(colour[plan.name], colour[name])), name) for name in left_m)
        near = [(off, name) for off, name in apart if off <= ALIKE and name != plan.name]
        for cut in sorted(
            (c for c in cuts if c.thread == plan.thread and set(c.piece_threads) == {plan.thread}),
            key=lambda c: (c.length_mm, c.position),
        ):
            need = cut.length_mm / 1000
            fit = next((one for one in near if left_m[one[1]] > need - NOTHING_M), None)
            if fit is None or short_m < NOTHING_M:
                break
            off, name = fit
            left_m[name] -= need
            short_m -= need
            found.append(Swap(cut.position, plan.name, name, round(left_m[name], 2), off))
    return found
