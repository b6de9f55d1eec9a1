"""What instructions say before the first knot: threads, how to read the words, and the starting order."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import groupby

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.instructions import words
from pipeline.materials.joins import on_cards
from pipeline.materials.lengths import Cut, Piece, checkpoints, pieces


def threads(pattern: Pattern, labels: Sequence[str]) -> Iterator[str]:
    """One line a thread: its number, how it is called, its colour."""
    for number, (thread, label) in enumerate(zip(pattern.threads, labels, strict=True), start=1):
        known_as = "" if label == thread.name else f", in the stash {json.dumps(thread.name)}"
        yield f"{number}. {label} ({thread.colour}){known_as}"


def how_to_read(pattern: Pattern, *, left_handed: bool) -> Iterator[str]:
    """Explain the words that this band needs, and no others."""
    knots = {knot for _, _, _, row in pattern.rows() for _, knot in row.knots}
    orders = {section.worked for section in pattern.sections if any(row.knots for row in section.rows)}
    if left_handed:
        yield (
            f"{words.LEFT_HANDED} Keep the start nearest to you and let the strands run away from you. "
            "Left and right below are yours as you sit there; the picture stands on its head while you "
            "tie and reads right when you pick the band up."
        )
    yield (
        "A strand keeps the number of the place where it hangs at the start, 1 at the left. A position is a "
        "place counted from the left at that moment."
    )
    yield "A knot is two half hitches of the tying strand round the other one; the tying strand shows."
    if "rows" in orders:
        yield (
            "Row work: the leader crosses the row from edge to edge. Where the leader ties, it ties on each "
            "strand that it meets; where bases tie, each of them ties on the leader. Numbers in brackets "
            "are the columns, counted from the left."
        )
        if any(not knot.swaps for knot in knots):
            yield (
                'Where another strand "then leads", turn the last knot of that run: tie its second half '
                "hitch the other way round, so that both strands stay where they are. The leader hangs "
                "down there and the named strand goes on."
            )
    if "diagonal" in orders:
        yield (
            f'Diagonal work: "{words.TAKE} 4" means the strand that hangs there now; it goes on by one '
            "position with every knot, to the side that is said. Pairs are neighbouring strands side by "
            "side: from position 2 they are 2 and 3, then 4 and 5, and so on."
        )
        if any(not knot.swaps for knot in knots):
            yield (
                "After a knot in which both strands stay, the strand that was taken hangs down there and the "
                'other one goes on; the last knot of a run names it with "goes on".'
            )
        yield from (text for knot, text in _KNOT_MEANS.items() if knot in knots)
    if pattern.joins:
        yield (
            f'Joins: at "{words.JOINING}" the strand\'s old piece ends in that knot and a new one goes on. '
            "Lay both tails in with the core for the next 3 to 5 knots, or tuck them along the base where "
            "the strand itself ties."
        )


_KNOT_MEANS = {
    Knot.FORWARD: "Forward: the left strand ties on the right one and ends up right of it.",
    Knot.BACKWARD: "Backward: the right strand ties on the left one and ends up left of it.",
    Knot.FORWARD_BACKWARD: "Forward-backward: the left strand ties half a knot forward and half a knot "
    "backward, and stays left.",
    Knot.BACKWARD_FORWARD: "Backward-forward: the right strand ties half a knot backward and half a knot "
    "forward, and stays right.",
}


def starting_order(
    pattern: Pattern, labels: Sequence[str], cuts: Sequence[Cut], *, left_handed: bool
) -> Iterator[str]:
    """The order in which the strands hang, and how long each is cut.

    ``pattern`` is as the maker sees it; ``cuts`` count positions as the chart does.
    """
    strands = len(pattern.strands)
    yield f"{words.START_ORDER}: {words.counted(labels[t] for t in pattern.strands)} ({strands} strands)."
    last = strands - 1
    first: dict[int, tuple[str, str]] = {}  # by position: thread and length of what hangs there at the start
    later: dict[int, list[str]] = defaultdict(list)
    whole: list[str] = []
    for piece in pieces(pattern, tuple(cuts)) if cuts else ():
        name, length = labels[piece.thread], f"{piece.length_mm / 10:.0f} cm"
        places = sorted(last - p if left_handed else p for p in piece.positions)
        if len(places) != 1:
            which = f"strands {places[0] + 1} and {places[1] + 1}" if places else "holding cord"
            whole.append(f"- {which}, {name}: {length}{_folded(piece, left_handed, last)}")
            first.update((place, ("", "")) for place in places)
        elif places[0] in first:
            later[places[0]].append(f"{length} {name}")
        else:
            first[places[0]] = (name, length)
    if first:
        yield "Cut:"
    yield from whole
    for (name, length), group in groupby(sorted(first), key=lambda place: first[place]):
        if name:
            places = list(group)
            which = f"strand {places[0] + 1}" if len(places) == 1 else f"strands {_span(places)}"
            yield f"- {which}, {name}: {length}{' each' if len(places) > 1 else ''}"
    for place in sorted(later):
        yield f"- for joins to strand {place + 1}: {', '.join(later[place])}"
    cards = sorted(last - p if left_handed else p for p in on_cards(cuts))
    if cards:
        which = f"strand{'s' if len(cards) > 1 else ''} {', '.join(str(place + 1) for place in cards)}"
        yield f"Too long to hang, wind on a card: {which}."


MEASURE_EVERY = 20
"""Rows between two measurements of what is left."""


def on_the_way(pattern: Pattern, cuts: Sequence[Cut], *, left_handed: bool) -> Iterator[str]:
    """What should hang below the last knot after every twenty rows, position by position.

    ``pattern`` and ``cuts`` count positions as the chart does. Nothing for bands that are done by then.
    """
    points = checkpoints(pattern, tuple(cuts), every=MEASURE_EVERY)[:-1] if cuts else ()
    if not points:
        return
    yield (
        "Measure on the way what hangs below the last knot. If it is clearly less than here, plan the rest "
        "anew: hitchgrid replan."
    )
    for point in points:
        left = [round(mm / 10) for mm in point.left_mm]
        parts = []
        for cm, group in groupby(enumerate(left[::-1] if left_handed else left), key=lambda pair: pair[1]):
            places = [position for position, _ in group]
            parts.append(f"{_span(places) if len(places) > 1 else places[0] + 1}: {cm} cm")
        yield f"- after row {point.rows}, in position {'; '.join(parts)}"


def _folded(piece: Piece, left_handed: bool, last: int) -> str:
    """Where a cut is folded: in the middle, or so that each half hangs as long as it must."""
    if not piece.halves_mm:
        return ""
    if len(set(piece.halves_mm)) == 1:
        return ", folded"
    halves = sorted(
        (last - p if left_handed else p, mm) for p, mm in zip(piece.positions, piece.halves_mm, strict=True)
    )
    hang = " and ".join(f"{mm / 10:.0f} cm as strand {p + 1}" for p, mm in halves)
    return f", folded so that {hang} hang down"


def _span(places: Sequence[int]) -> str:
    return words.span(places[0] + 1, places[-1] + 1)
