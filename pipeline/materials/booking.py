"""Booking a band's thread off the stash: the list of threads with fewer metres, all else as it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.band.pattern import Pattern
from pipeline.drawer.ledger import with_metres
from pipeline.drawer.stash import Stash, Thread
from pipeline.errors import ImpossibleError, InputError
from pipeline.files.channels import same_name
from pipeline.materials.lengths import Cut, pieces


@dataclass(frozen=True, slots=True)
class Booking:
    """What a thread loses; ``before_m`` is None where the stash does not know how much there is."""

    name: str
    used_m: float
    before_m: float | None

    @property
    def after_m(self) -> float | None:
        return None if self.before_m is None else round(self.before_m - self.used_m, 6)


def bookings(pattern: Pattern, cuts: Sequence[Cut], stash: Stash) -> tuple[Booking, ...]:
    r"""What the cut pieces take from each thread of the stash, by name.

    Raises InputError for a thread that the stash does not list and ImpossibleError where it holds less.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.drawer.stash import parse_stash
    >>> from pipeline.materials.lengths import cut_list
    >>> data = b"name,colour,metres\nnavy,#1b2a59,8\nwhite,#ffffff,8\n"
    >>> made = bookings(two_rows(), cut_list(two_rows()), parse_stash(data, "drawer.csv"))
    >>> [(booking.name, booking.used_m) for booking in made]
    [('navy', 0.25), ('white', 0.66)]
    >>> booked(data, "drawer.csv", made).decode().split()
    ['name,colour,metres', 'navy,#1b2a59,7.75', 'white,#ffffff,7.34']
    """
    used: dict[str, float] = {}
    for piece in pieces(pattern, tuple(cuts)):
        name = same_name(pattern.threads[piece.thread].name)
        used[name] = used.get(name, 0.0) + piece.length_mm / 1000
    owned = {thread.name: thread.metres for thread in stash.threads}
    made = []
    for name, metres in used.items():
        if name not in owned:
            raise InputError(
                f"{stash.source} has no thread {name!r}.", "Add it to the list, or name another."
            )
        booking = Booking(name, round(metres, 6), owned[name])
        if booking.after_m is not None and booking.after_m < 0:
            raise ImpossibleError(
                f"the band is cut from {metres:.2f} m of {name}, and {stash.source} holds "
                f"{booking.before_m:.2f} m.",
                "Correct the metres in the list, or buy first.",
            )
        made.append(booking)
    return tuple(made)


def booked(data: bytes, source: str, made: Sequence[Booking]) -> bytes:
    """A stash file with the metres that are left; everything else stays as it is.

    Raises InputError for a palette, which knows no metres, and for a file that is no stash.
    """
    return with_metres(data, source, {b.name: b.after_m for b in made if b.after_m is not None})


def merged(stash: Stash, other: Stash) -> tuple[tuple[Thread, ...], Mapping[str, str]]:
    """The threads of ``other`` that the stash lacks, and what becomes of each by name: namesakes stay."""
    there = set(stash.names)
    new = tuple(thread for thread in other.threads if thread.name not in there)
    return new, {t.name: "added" if t.name not in there else "kept as it was" for t in other.threads}
