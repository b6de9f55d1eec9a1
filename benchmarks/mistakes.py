"""How soon the written instructions betray a single wrong knot: ``python -m benchmarks.mistakes``.

A maker follows the text knot by knot, ties one knot wrong, and compares what the text says with what hangs
and shows, colours alone (strands bear no numbers here). Two kinds of mistake are tried at every knot whose
two strands have different threads: the *other strand ties* (a forward for a backward, or the same with the
two knots in which both stay), and the *other swap* (the strands change places that should stay, or the
reverse). Counted is how many knots are tied from the wrong one to the first line that does not agree, that
knot included.

``before``: orders every ten rows, and the threads of strands that lines name, as texts were written first;
``now``: what every line shows and orders every five rows as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from pipeline.band.knots import Knot, knot_of, tie
from pipeline.band.pattern import Pattern
from pipeline.drawer.stash import read_stash
from pipeline.instructions.compose import instructions
from pipeline.instructions.model import Instructions, Passage, Repeat, Said
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request
from pipeline.plan import plan
from pipeline.routing import Budget

SAMPLES = Path(__file__).parents[1] / "sample_images"
MOST = 400
"""Knots at which a mistake is made in one band, spread evenly."""


@dataclass(frozen=True, slots=True)
class Look:
    """Something that is compared: threads by position, or threads that show in the last knots tied."""

    hanging: tuple[tuple[int, int], ...] = ()
    """(position, thread)"""
    shown: tuple[tuple[int, int], ...] = ()
    """(how many knots ago, thread)"""


Event = tuple[int, Knot] | Look


def events(told: Instructions, *, now: bool) -> Iterator[Event]:
    """Knots and looks in the order of the text, repeats followed."""
    for passage in told.passages:
        source = {
            i: item.source + (i - item.first) % item.length
            for item in passage.items
            if isinstance(item, Repeat)
            for i in range(item.first, item.last + 1)
        }
        ends = {item.last if isinstance(item, Repeat) else item for item in passage.items}
        passes = {
            i
            for item in passage.items
            if isinstance(item, Repeat) and item.count > 1
            for i in range(item.first + item.length - 1, item.last + 1, item.length)
        }
        looked: set[int] = set()
        for i, said in enumerate(passage.said):
            yield from _line(said, now=now)
            due = i in passage.checks if now else _due_before(passage, i)
            # In a repeat the lines are read again, and what is told after them.
            if (due and i in ends) or (now and i in passes) or source.get(i) in looked:
                looked.add(i)
                yield _order(said)


def _due_before(passage: Passage, index: int) -> bool:
    """Whether the order was told there when that was every ten rows."""
    if index == len(passage.said) - 1:
        return True
    return index in passage.checks and sum(i <= index for i in passage.checks) % 2 == 0


def _order(said: Said) -> Look:
    return Look(hanging=tuple(enumerate(said.last.threads)))


def _line(said: Said, *, now: bool) -> Iterator[Event]:
    for line in said.lines:
        first = line[0]
        if first.leader_thread is not None:
            at = first.taken
            if at is None:
                at = first.knots[0][0] + (not first.rightwards)
            yield Look(hanging=((at, first.leader_thread),))
        for step in line:
            yield from step.knots
            if step.next_leader is not None:
                at = step.order.index(step.next_leader)
                yield Look(hanging=((at, step.threads[at]),))
    shown = [thread for step in said.steps for thread in step.shown]
    if now and shown:
        yield Look(shown=tuple((len(shown) - 1 - i, thread) for i, thread in enumerate(shown)))


def caught_after(pattern: Pattern, told: Sequence[Event], wrong: int, instead: Knot) -> int | None:
    """Knots from the wrong one (number ``wrong``) to the first look that disagrees; None: never."""
    order, showing, count = list(range(len(pattern.strands))), [], 0
    for event in told:
        if isinstance(event, Look):
            if count <= wrong:
                continue
            if any(pattern.strands[order[p]] != thread for p, thread in event.hanging) or any(
                showing[-1 - ago] != thread for ago, thread in event.shown
            ):
                return count - wrong
            continue
        tied = tie(order, event[0], instead if count == wrong else event[1])
        showing.append(pattern.strands[tied.tying])
        count += 1
    return None


def measure(pattern: Pattern, told: Instructions, *, now: bool) -> dict[str, list[int | None]]:
    """For each kind of mistake, after how many knots each is caught."""
    said = list(events(told, now=now))
    order = list(range(len(pattern.strands)))
    knots: list[tuple[Knot, bool]] = []  # kind, and whether two threads meet
    for event in said:
        if not isinstance(event, Look):
            tied = tie(order, *event)
            knots.append((event[1], pattern.strands[tied.left] != pattern.strands[tied.right]))
    places = [i for i, (_, differ) in enumerate(knots) if differ]
    places = places[:: max(1, len(places) // MOST)]
    found: dict[str, list[int | None]] = {"other strand ties": [], "other swap": []}
    for i in places:
        kind = knots[i][0]
        ties = knot_of(left_ties=not kind.left_ties, swaps=kind.swaps)
        swap = knot_of(left_ties=kind.left_ties, swaps=not kind.swaps)
        for name, instead in (("other strand ties", ties), ("other swap", swap)):
            found[name].append(caught_after(pattern, said, i, instead))
    return found


def bands() -> Iterator[tuple[str, Pattern]]:
    """Yield names and patterns of the bands that are tied."""
    stash = read_stash(SAMPLES / "club_stash.csv")
    for artwork in (
        PictureSource(SAMPLES / "life_ring.png"),
        PictureSource(SAMPLES / "buoy.png"),
        LetterSource("RC"),
    ):
        for worked in ("rows", "diagonal"):
            band = Band(strands=17, worked=worked, wrist_mm=165.0)
            made = plan(Request(artwork, band, Drawer(stash)), budget=Budget(effort=0.05), further=False)
            if not made.pattern.joins:
                yield f"{artwork.title}, {worked}", made.pattern


def main() -> None:
    """Print a table."""
    print("| band | mistake | tried | caught before | median, worst | caught now | median, worst |")
    print("|---|---|---|---|---|---|---|")
    for name, pattern in bands():
        told = instructions(pattern)
        results = [measure(pattern, told, now=now) for now in (False, True)]
        for mistake in results[0]:
            cells = []
            for result in results:
                caught = [after for after in result[mistake] if after is not None]
                cells.append(f"{len(caught)} | {median(caught):.0f}, {max(caught)}" if caught else "0 | –")
            print(
                f"| {name} | {mistake} | {len(results[0][mistake])} | {cells[0]} | {cells[1]} |", flush=True
            )


if __name__ == "__main__":
    main()
