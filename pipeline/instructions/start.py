"""What instructions say around the work: the band, its threads, the words, the start and the end."""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from pipeline.band.knots import Knot
from pipeline.band.pattern import Pattern
from pipeline.blocks.switches import switches_of, told
from pipeline.instructions import words
from pipeline.instructions.model import Instructions, Step
from pipeline.limits import USUAL_PACE_S
from pipeline.literals import plural
from pipeline.materials.ends import finish_steps, start_steps
from pipeline.materials.fit import size_mm
from pipeline.materials.joins import on_cards
from pipeline.materials.lengths import Cut, Piece, pieces
from pipeline.materials.price import hours

TOOLS = (
    "Besides: a board with a clip, or tape and a table; scissors; a ruler; a blunt needle for undoing knots; "
    "scraps of tape to number the strands; a card to wind each long strand on."
)
AGAIN = (
    '"As row 8" or "as rows 8–9, 5 times": tie those lines again, as often as is said, and tick each time '
    "off; repeats among them are tied again too. What they show and the orders of their threads hold each "
    "time."
)
UNDO = (
    "To undo a knot: loosen its second half with a blunt needle, draw the tying strand out of it, then out "
    "of the first half. Knots that came later on either of the two strands come out before, the last first."
)


def band(pattern: Pattern, unmade: int, fit: Sequence[str]) -> Iterator[str]:
    """What is made: size, time, and what the picture has to do without."""
    wide, long = size_mm(pattern)
    orders = [o for o in words.WORKED_WORDS if any(section.worked == o for section in pattern.sections)]
    worked = " and ".join(words.WORKED_WORDS[o] for o in orders)
    time = hours(pattern)
    yield (
        f"{pattern.counts}, {time.knots} knots, {worked or words.NO_ROWS}; "
        f"knotted about {wide:.0f} mm wide and {long:.0f} mm long."
    )
    yield from fit
    if time.calm >= 2:
        quick, calm = USUAL_PACE_S
        yield (
            f"About {time.quick:.1f} to {time.calm:.1f} hours of knots at {quick:g} to {calm:g} s each; "
            "cutting and ends come on top."
        )
    elif time.knots:
        yield f"About {5 * math.ceil(12 * time.calm)} minutes of knots; cutting and ends come on top."
    if unmade:
        count = "1 cell is" if unmade == 1 else f"{unmade} cells are"
        yield (
            f"A cell is the place of one knot in the picture. {count} unmade: another thread shows there "
            "than the picture wanted. Tie them as they are written."
        )


MOST_SWITCHES = 200


def switches(pattern: Pattern, labels: Sequence[str]) -> Iterator[str]:
    """Which groups of colour blocks switch when."""
    lines = list(told(switches_of(pattern), labels))
    yield from lines[:MOST_SWITCHES]
    if len(lines) > MOST_SWITCHES:
        yield f"And {len(lines) - MOST_SWITCHES} switches more."


def roles(pattern: Pattern, labels: Sequence[str], steps: Iterable[Step]) -> str | None:
    """Why the leader of row work is of the ground or of the motif, or None where nobody leads."""
    met: Counter[int] = Counter()
    tied: Counter[int] = Counter()
    for step in steps:
        if step.way is None and step.leader_thread is not None:
            met[step.leader_thread] += len(step.knots)
            ties = sum(knot.left_ties == step.rightwards for _, knot in step.knots)
            tied[step.leader_thread] += ties
    if not met:
        return None
    thread, count = met.most_common(1)[0]
    what = "every row" if len(met) == 1 else "most rows"
    if pattern.ground is not None and thread == pattern.ground:
        what += " and is the ground, so the other threads hang in the columns where they show"
    elif pattern.ground is not None:
        what += " and belongs to the motif, so the ground hangs in the columns"
    text = f"{labels[thread].capitalize()} leads {what}: it ties {tied[thread]} of the {count} knots it meets"
    if len(pattern.used) == 2 and len(met) == 1:
        return (
            f"{text}; with the two threads exchanged the leader would tie the other {count - tied[thread]}."
        )
    return f"{text}, and is held in the others."


def threads(pattern: Pattern, labels: Sequence[str], cuts: Sequence[Cut]) -> Iterator[str]:
    """One line a thread that some strand has: its number in the chart, how it is called, and how much."""
    metres: Counter[int] = Counter()
    for piece in pieces(pattern, tuple(cuts)) if cuts else ():
        metres[piece.thread] += round(piece.length_mm)
    for i in sorted(pattern.used):
        thread, label, count = pattern.threads[i], labels[i], pattern.strands.count(i)
        known_as = "" if label == thread.name else f", in the stash {json.dumps(thread.name)}"
        total = f", {metres[i] / 1000:.1f} m" if cuts else ""
        yield f"{i + 1}. {label} ({thread.colour}{known_as}): {plural(count, 'strand')}{total}"


_THINGS = (
    "Thread: a material of one colour; its number is the one in the chart. Strand: one length of thread "
    "hanging in the band; it keeps the number of the place where it hangs at the start, 1 at the left. "
    "Position: a place counted from the left at that moment, whichever strand hangs there.",
    "Knot: one strand, the core, is held straight and tight; the other, the tying strand, goes round it "
    "twice and is all that shows. Each time round is half a knot.",
    "Half a knot forward: lay the left strand over the right one, bring its end back behind that one and "
    "up through the opening between the two, and pull it up tight. Half a knot backward is its mirror "
    "image: the right strand goes over the left one, back behind it and up through the opening.",
)
"""What thread, strand, position and knot are."""
_LOOKING = (
    f'"{words.SHOWS}": the colours of the knots just tied, of a row from left to right, of a strand in '
    "the order tied. Look before you go on: a wrong colour is a knot that the wrong strand tied.",
    f'"{words.ORDER_AFTER}": how the threads hang then, and the numbers of their strands. If they hang '
    "otherwise, two strands changed places that should have stayed, or stayed that should have changed, "
    "since the last order that was right.",
    UNDO,
)
"""What a maker looks at, and what to do if it is wrong."""


def how_to_read(told: Instructions) -> Iterator[str]:
    """Explain the words that this band needs, and no others, each before it is used."""
    pattern, tying = told.pattern, [step for step in told.steps if step.knots]
    across = [step for step in tying if step.way is None]
    along = [step for step in tying if step.way is not None]
    yield from _THINGS
    if len(pattern.sections) > 1:
        yield (
            "Section: a stretch of rows with one purpose, such as the picture, or switching: moving strands "
            "to the places where they are wanted next."
        )
    if across:
        yield from _row_words(any(step.next_leader is not None for step in across))
    if along:
        yield from _diagonal_words(along)
        yield from (text for knot, text in _KNOT_MEANS.items() if knot in told.pattern.kinds)
    if pattern.joins:
        yield (
            f'"{words.JOINING.capitalize()} … to strand 3": the old piece of strand 3 ends in that knot and '
            "a "
            "new piece goes on. Lay both tails in with the core for the next 3 to 5 knots, or tuck them "
            "along the base where the strand itself ties; trim them when the band is done."
        )
    yield from _LOOKING


def _row_words(changes: bool) -> Iterator[str]:
    yield (
        "Row: the leader, one strand, crosses all others from edge to edge; these are the bases. A run is a "
        f'stretch of the row in which the same happens. "{words.TIES_OVER.capitalize()} 3": the leader '
        f'goes round each of the next 3 bases. "{words.HELD.capitalize()} 3 tie {words.OVER_IT}": '
        "hold the leader tight across them, and each of them goes round it. Whichever ties makes two halves "
        "forward if it comes from the left, two halves backward if it comes from the right; then the leader "
        "is past the base. Column 1 lies between positions 1 and 2, column 2 between 2 and 3, and so on."
    )
    if changes:
        yield (
            f'"{words.CHANGE.capitalize()} 4": the next knot is the one there, and the leader changes in it. '
            "The strand that is named ties the first half as always and the second half the other way round, "
            "so that both strands stay where they are. The old leader is left hanging; the strand named next "
            "leads on."
        )


def _diagonal_words(along: Sequence[Step]) -> Iterator[str]:
    if any(step.taken is not None for step in along):
        yield (
            f'"{words.TAKE.capitalize()} 4": the strand that hangs there now. It goes on by one position '
            f'with every knot, to the side that is said, "{words.TO_THE_EDGE}" or until it says '
            f'"{words.LEAVE_IT}": stop there, the rest of the way is not for it. A run is a stretch of its '
            "way with one kind of knot."
        )
        if any(step.next_leader is not None for step in along):
            yield (
                f'"{words.CHANGING_TO.capitalize()} navy": after a knot in which both strands stay, the '
                "strand that was taken is left hanging and the other one, navy, goes on."
            )
    if any(step.taken is None for step in along):
        yield (
            "Pairs are neighbouring strands side by side: from position 2 they are 2 and 3, then 4 and 5, "
            "and so on. A row of pairs is tied from left to right; the next row takes the pairs between "
            "them. A run is a number of pairs with one kind of knot."
        )


_KNOT_MEANS = {
    Knot.FORWARD: "Forward: the left strand ties two halves forward on the right one and "
    "ends up right of it.",
    Knot.BACKWARD: "Backward: the right strand ties two halves backward on the left one and "
    "ends up left of it.",
    Knot.FORWARD_BACKWARD: "Forward-backward: the left strand ties half a knot forward and half a knot "
    "backward, and stays left.",
    Knot.BACKWARD_FORWARD: "Backward-forward: the right strand ties half a knot backward and half a knot "
    "forward, and stays right.",
}


def starting_order(pattern: Pattern, labels: Sequence[str], cuts: Sequence[Cut]) -> Iterator[str]:
    """The order in which the strands hang, and how long each is cut."""
    strands = len(pattern.strands)
    yield f"{words.START_ORDER}: {words.counted(labels[t] for t in pattern.strands)} ({strands} strands)."
    first: dict[int, tuple[str, str]] = {}  # by position: thread and length of what hangs there at the start
    later: dict[int, list[str]] = defaultdict(list)
    whole: list[str] = []
    for piece in pieces(pattern, tuple(cuts)) if cuts else ():
        name, length = labels[piece.thread], f"{piece.length_mm / 10:.0f} cm"
        places = sorted(piece.positions)
        if len(places) != 1:
            which = f"strands {places[0] + 1} and {places[1] + 1}" if places else "holding cord"
            whole.append(f"- {which}, {name}: {length}{_folded(piece)}")
            first.update((place, ("", "")) for place in places)
        elif piece.joined:
            later[places[0]].append(f"{length} {name}")
        else:
            first[places[0]] = (name, length)
    if first:
        yield "Cut:"
    yield from whole
    for (name, length), group in groupby(sorted(first), key=lambda place: first[place]):
        if name:
            places = list(group)
            span = words.span(places[0] + 1, places[-1] + 1)
            which = f"strand{'s' if len(places) > 1 else ''} {span}"
            yield f"- {which}, {name}: {length}{' each' if len(places) > 1 else ''}"
    for place in sorted(later):
        yield f"- for joins to strand {place + 1}: {', '.join(later[place])}"
    cards = sorted(on_cards(cuts))
    if cards:
        which = f"strand{'s' if len(cards) > 1 else ''} {', '.join(str(place + 1) for place in cards)}"
        yield f"Too long to hang, wind on a card: {which}."


TENSION = (
    "Tension: keep the core straight and tight, and pull every half knot close against the one before with "
    "the same pull; uneven pull makes a wavy edge."
)


def before(pattern: Pattern) -> tuple[str, ...]:
    """What to do once the strands are cut, up to the first knot."""
    return (
        *start_steps(pattern),
        "Number the strands from the left with scraps of tape at their ends.",
        TENSION,
    )


def after(pattern: Pattern) -> tuple[str, ...]:
    """What to do after the last knot."""
    return (
        *finish_steps(pattern),
        "Try it on: one finger must slide under it. Trim tails last, when it fits; those of joins close to "
        "the back of the band.",
    )


def _folded(piece: Piece) -> str:
    """Where a cut is folded: in the middle, or so that each half hangs as long as it must."""
    if not piece.halves_mm:
        return ""
    if len(set(piece.halves_mm)) == 1:
        return ", folded"
    halves = sorted(zip(piece.positions, piece.halves_mm, strict=True))
    hang = " and ".join(f"{mm / 10:.0f} cm as strand {p + 1}" for p, mm in halves)
    return f", folded so that {hang} hang down"
