"""The two ends of a band: tails, ties, braids, tapers and folded starts, and what they take.

A finish can be *straight* (tails hang free), a plain *tie* (all tails gathered by one overhand knot) or a
*braid* (tails plaited in three). A start can be any of these or folded: a *loop* (the folds themselves),
*larks-head* (each fold hitched over a ring or pin) or a *holding-cord* (the same over a cord whose ends
become the tie). Either end can *taper*: the halves pinch to the centre before the tails begin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.band.knots import Worked
from pipeline.band.pattern import End, Gauge, Pattern
from pipeline.band.replay import replay
from pipeline.errors import InputError
from pipeline.literals import END_STYLES, FOLDED_STYLES, TAIL_STYLES, EndStyle, listed
from pipeline.materials.gauge import cord_mm, wrap_mm

TAIL_MM: dict[EndStyle, float] = {style: 150.0 if style == "braid" else 100.0 for style in END_STYLES}
"""Tails by style: ties 70–100 mm a side, common practice; braids 150 mm, value from memory. With a folded
start it is the tail of a strand that has no partner."""
LOOP_MM = 40.0
"""Length around a start loop, enough for a braid to pass; value from our own trying, no source."""
CORD_TIE_MM = 100.0
"""What a holding cord keeps on each side of the band."""
OVERHAND_D = 16.4
"""An overhand knot takes about this many bundle diameters: the ropelength of a tight trefoil, 16.37
(Ashton, Cantarella, Piatek and Rawdon, Experimental Mathematics 20, 2011)."""


def make_end(
    style: EndStyle,
    strands: Sequence[int],
    gauge: Gauge,
    *,
    at_start: bool,
    tail_mm: float | None = None,
    taper: bool = False,
    left: int | None = None,
) -> End:
    """Make one end of a band whose ``strands`` (threads by position) hang there.

    ``left`` is the number of strands in the left half of a taper, the smaller half by default. Folded
    styles pair strands of one thread (:func:`fold`). Raises InputError for a folded finish or halves that
    do not exist.

    >>> from pipeline.materials.gauge import preset_gauge
    >>> make_end("larks-head", (0, 0, 1, 1), preset_gauge(0.71, "rows"), at_start=True).folded
    ((0, 1), (2, 3))
    """
    if style in FOLDED_STYLES and not at_start:
        raise InputError(
            f"a {style} is a start, not a finish.", f"Use {listed(TAIL_STYLES, 'or')} at the finish."
        )
    count = len(strands)
    halves = None
    if taper:
        if style in FOLDED_STYLES:
            raise InputError(f"a {style} start cannot taper.", "Taper the finish, or start straight.")
        halves = (count // 2 if left is None else left, count - (count // 2 if left is None else left))
        if min(halves) < 1:
            raise InputError(f"a taper with {halves[0]} strands on the left has no halves.", "Leave it out.")
    loop = {"loop": LOOP_MM, "holding-cord": 2 * CORD_TIE_MM + count * gauge.strand_pitch_mm}.get(style)
    return End(
        style=style,
        tail_mm=TAIL_MM[style] if tail_mm is None else tail_mm,
        taper=halves,
        taper_mm=None if halves is None else round(taper_mm(halves, gauge), 1),
        folded=fold(strands, style) if style in FOLDED_STYLES else (),
        loop_mm=loop,
    )


def fold(strands: Sequence[int], style: EndStyle) -> tuple[tuple[int, int], ...]:
    """Pair the positions that one folded cut can serve: equal threads, each position once.

    Over a ring, pin or cord the two halves hang side by side, so only neighbours pair; in a loop any two do.
    Positions that find no partner are cut single.

    >>> fold((0, 1, 1, 0), "larks-head"), fold((0, 1, 1, 0), "loop")
    (((1, 2),), ((0, 3), (1, 2)))
    """
    pairs: list[tuple[int, int]] = []
    waiting: dict[int, int] = {}
    for position, thread in enumerate(strands):
        if style != "loop" and waiting.get(thread, -2) != position - 1:
            waiting[thread] = position
        elif thread in waiting:
            pairs.append((waiting.pop(thread), position))
        else:
            waiting[thread] = position
    return tuple(sorted(pairs))


def neighbour_pairs(strands: int) -> tuple[tuple[int, int], ...]:
    """The positions that lark's heads fill, two by two from the left: what a router must keep alike."""
    return tuple((p, p + 1) for p in range(0, strands - 1, 2))


def taper_mm(halves: tuple[int, int], gauge: Gauge) -> float:
    """Length of a taper along the band: the wider half runs in at 45°, so it is as long as it is wide.

    Derived from the way it is tied, no source.
    """
    return max(halves) * gauge.strand_pitch_mm


# ---------------------------------------------------------------- thread use


@dataclass(frozen=True, slots=True)
class EndUse:
    """What each strand (numbered by starting position) needs at the two ends, in mm, beyond its knots."""

    start_mm: tuple[float, ...]
    finish_mm: tuple[float, ...]


def end_use(pattern: Pattern) -> EndUse:
    """Thread that the ends take, strand by strand: tails, gathering knots, tapers, folds."""
    worked: list[Worked] = [section.worked for section in pattern.sections] or ["rows"]
    first = _end_by_position(pattern, pattern.ends.start, worked[0])
    by_position = _end_by_position(pattern, pattern.ends.finish, worked[-1])
    finish = [0.0] * len(pattern.strands)
    for position, strand in enumerate(final_order(pattern)):
        finish[strand] = by_position[position]
    return EndUse(tuple(first), tuple(finish))


def final_order(pattern: Pattern) -> tuple[int, ...]:
    """The strand at each position after the last knot."""
    rows = replay(pattern)
    return rows[-1].order if rows else tuple(range(len(pattern.strands)))


def _end_by_position(pattern: Pattern, end: End, worked: Worked) -> list[float]:
    gauge = pattern.gauge_of(worked)
    count = len(pattern.strands)
    d = cord_mm(gauge)
    use = [end.tail_mm] * count
    if end.style in ("tie", "loop"):
        use = [u + OVERHAND_D * d * math.sqrt(count) for u in use]
    for one, other in end.folded:
        for position in (one, other):
            use[position] = _half_fold(end, d, count)
    if end.taper is not None:
        use = [u + t for u, t in zip(use, _taper_use(end.taper, gauge, d), strict=True)]
    return use


def _half_fold(end: End, d: float, count: int) -> float:
    """One half of a fold. Loop: half the way around it and the gathering knot below. Lark's head: once
    around what it hangs on, as thick as two threads, and across its own bar (derived).
    """
    if end.style == "loop":
        return (end.loop_mm or LOOP_MM) / 2 + OVERHAND_D * d * math.sqrt(count)
    return wrap_mm(1, 2 * d, d, d) + 2 * d


def _taper_use(halves: tuple[int, int], gauge: Gauge, d: float) -> list[float]:
    """Each strand, from the edge inwards, ties once over the bundle of all strands outside it and then
    lies in that bundle to the centre; the innermost left strand also ties over the right bundle.

    A bundle of m threads is as thick as √m of one (equal area); its wraps follow ``wrap_mm``.
    """
    left, right = (_half_taper(half, gauge, d) for half in halves)
    use = [*left, *reversed(right)]
    innermost = max(0, len(left) - 1)
    use[innermost] += wrap_mm(2, d * math.sqrt(len(use)), d, d)
    return use


def _half_taper(strands: int, gauge: Gauge, d: float) -> list[float]:
    """From the edge inwards; k strands lie outside the strand k and make the bundle that it ties over."""
    use = []
    for k in range(strands):
        wrap = wrap_mm(2, d * math.sqrt(k), d, d) if k else 0.0
        use.append(wrap + (strands - k) * gauge.strand_pitch_mm * math.sqrt(2))
    return use


# ---------------------------------------------------------------- words


def start_steps(pattern: Pattern) -> list[str]:
    """What to do before the first knot, sentence by sentence.

    >>> from pipeline.band.example import two_rows
    >>> start_steps(two_rows())[0]
    'Lay the 4 strands side by side and clip them 100 mm from their ends.'
    """
    end = pattern.ends.start
    single = len(pattern.strands) - 2 * len(end.folded)
    steps = _folding(end) if end.folded else [sentence for sentence in (unfolded(end),) if sentence]
    if end.folded and single:
        others = "strand" if single == 1 else f"{single} strands"
        steps.append(f"Lay in the other {others} singly, with {_mm(end.tail_mm)} of tail.")
    elif single:
        steps.append(
            f"Lay the {single} strands side by side and clip them {_mm(end.tail_mm)} from their ends."
        )
    if end.taper is not None:
        steps.append(
            "Leave the start as wide as it is for now: it is tapered last, with the band turned round."
        )
    steps.append("Check the order of the threads from left to right before the first knot.")
    return steps


def unfolded(end: End) -> str:
    """Why a start that was to be folded is not; "" where it is, or was not to be."""
    if end.style not in FOLDED_STYLES or end.folded:
        return ""
    which = "strands" if end.style == "loop" else "neighbouring strands"
    called = {"loop": "a loop", "larks-head": "lark's heads", "holding-cord": "lark's heads on a cord"}
    return (
        f"No two {which} are of one thread, so no cut can be folded: the start is straight, without "
        f"{called[end.style]}."
    )


FOLDING: dict[EndStyle, tuple[str, ...]] = {
    "loop": (
        "{fold} and lay the folds together.",
        "Tie one overhand knot below the folds, leaving a loop of {loop} around.",
    ),
    "larks-head": ("{fold}; hitch each fold over the ring or pin with a lark's head.",),
    "holding-cord": (
        "Stretch a holding cord{cord} across the board, its ends free for the tie.",
        "{fold}; hitch each fold over the cord with a lark's head.",
    ),
}
"""How cuts are folded, for the styles that fold any."""
CLOSING: dict[EndStyle, tuple[str, ...]] = {
    "straight": ("Leave the tails hanging, {tail} each.",),
    "tie": ("Gather all tails in one overhand knot against the band and trim them to {tail}.",),
    "braid": (
        "Part the tails into three bundles and plait them, left over middle, right over middle.",
        "End the braid with an overhand knot before the {tail} of tail run out, and trim.",
    ),
}
"""What becomes of the tails, for the styles that have any."""


def _folding(end: End) -> list[str]:
    places = ", ".join(f"{a + 1} and {b + 1}" for a, b in end.folded)
    cuts = "one cut" if len(end.folded) == 1 else f"{len(end.folded)} cuts"
    said = {
        "fold": f"Fold {cuts} in two (for positions {places})",
        "loop": _mm(end.loop_mm or LOOP_MM),
        "cord": f" of {_mm(end.loop_mm)}" if end.loop_mm else "",
    }
    return [step.format(**said) for step in FOLDING[end.style]]


def finish_steps(pattern: Pattern) -> list[str]:
    """What to do after the last knot, sentence by sentence; a tapered, tied or braided start included.

    >>> from pipeline.band.example import two_rows
    >>> finish_steps(two_rows())
    ['Leave the tails hanging, 100 mm each.']
    """
    steps = _closing(pattern.ends.finish)
    start = pattern.ends.start
    closing = _closing(start)
    if closing and (start.taper is not None or start.style != "straight"):
        steps += ["Turn the band round, so that its start lies before you.", *closing]
    return steps


def _closing(end: End) -> list[str]:
    if end.style in FOLDED_STYLES:
        return []  # closed when it was folded
    closing = [step.format(tail=_mm(end.tail_mm)) for step in CLOSING[end.style]]
    return closing if end.taper is None else [*_tapering(end.taper), *closing]


def _tapering(halves: tuple[int, int]) -> list[str]:
    left, right = halves
    steps = []
    if left != right:
        steps.append(f"The halves of the taper are uneven: {left} strands on the left, {right} on the right.")
    for side, strands in (("left", left), ("right", right)):
        if strands > 1:
            each = "the next strand" if strands == 2 else f"each of the next {strands - 1} strands in turn"
            steps.append(
                f"Taper the {side} half: the strand at the {side} edge is the bundle. Towards the centre, "
                f"tie {each} over the bundle with one double half hitch, and lay it in with the bundle."
            )
    last = f"Lay the two bundles together and tie the strand in position {max(1, left)} over both"
    return [*steps, f"{last} with one double half hitch; pull it tight."]


def _mm(length: float) -> str:
    return f"{length:.0f} mm"
