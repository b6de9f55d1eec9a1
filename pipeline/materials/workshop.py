"""One cutting plan for many bands: every piece knows its band, its strands and its skein."""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from pipeline.band.pattern import Pattern
from pipeline.drawer.stash import Stash, Thread
from pipeline.materials.cutting import cut_skeins
from pipeline.materials.lengths import Cut, pieces
from pipeline.materials.skeins import owned_skeins


@dataclass(frozen=True, slots=True)
class NamedPiece:
    """One length to cut from a thread: for which strands of which band, both in words."""

    thread: str
    length_cm: int
    strands: str
    band: str = ""

    def __post_init__(self) -> None:
        if self.length_cm <= 0:
            raise ValueError(f"a piece of {self.length_cm} cm cannot be cut")


@dataclass(frozen=True, slots=True)
class NamedSkein:
    """What is cut from one skein; ``owned`` is None where the stash does not tell."""

    length_cm: int
    pieces: tuple[NamedPiece, ...]
    owned: bool | None

    @property
    def left_cm(self) -> int:
        return self.length_cm - sum(piece.length_cm for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class ThreadTotal:
    """What all bands together need of one thread.

    ``too_long`` are pieces that no skein holds; ``price`` is that of one skein, where known.
    """

    thread: Thread
    skeins: tuple[NamedSkein, ...]
    too_long: tuple[NamedPiece, ...] = ()

    @property
    def metres(self) -> float:
        whole = [piece for skein in self.skeins for piece in skein.pieces]
        return sum(piece.length_cm for piece in (*whole, *self.too_long)) / 100

    @property
    def buy(self) -> int | None:
        """Skeins to buy, or None where it is not known what is owned."""
        if self.thread.metres is None:
            return None
        return sum(skein.owned is False for skein in self.skeins)

    @property
    def cost(self) -> float | None:
        """Price of the thread that is used, or None where it is not known."""
        if self.thread.price is None:
            return None
        return self.metres / self.thread.sold_m * self.thread.price

    @property
    def to_pay(self) -> float | None:
        """Price of the skeins to buy, or None where either is not known."""
        return None if self.buy is None or self.thread.price is None else self.buy * self.thread.price


def named_pieces(pattern: Pattern, cuts: tuple[Cut, ...]) -> tuple[NamedPiece, ...]:
    """Every length that is cut for one band.

    >>> from pipeline.band.example import two_rows
    >>> from pipeline.materials.lengths import cut_list
    >>> [(p.length_cm, p.strands) for p in named_pieces(two_rows(), cut_list(two_rows()))][:2]
    [(25, 'strand 1'), (22, 'strand 2')]
    """
    found = []
    for piece in pieces(pattern, cuts):
        places = " and ".join(str(position + 1) for position in piece.positions)
        if not places:
            strands = "holding cord"
        elif len(piece.positions) > 1:
            strands = f"strands {places}, folded"
        else:
            strands = f"strand {places}" + (", at a join" if piece.joined else "")
        name = pattern.threads[piece.thread].name
        found.append(NamedPiece(name, round(piece.length_mm / 10), strands))
    return tuple(found)


def cut_all(wanted: Iterable[NamedPiece], stash: Stash) -> tuple[ThreadTotal, ...]:
    r"""Cut all pieces from what the stash holds and new skeins, thread by thread.

    Raises InputError for a thread that the stash does not have.

    >>> from pipeline.drawer.stash import parse_stash
    >>> drawer = parse_stash(b"name,colour,metres,skein_m\nnavy,#1b2a59,8,8\n", "drawer.csv")
    >>> (total,) = cut_all([NamedPiece("navy", 150, f"strand {i}") for i in (1, 2, 3, 4)], drawer)
    >>> total.metres, total.buy, total.skeins[0].pieces[0].strands
    (6.0, 0, 'strand 1')
    """
    by_thread: dict[str, list[NamedPiece]] = defaultdict(list)
    for piece in wanted:
        by_thread[piece.thread].append(piece)
    return tuple(_cut(stash.find(name), by_thread[name]) for name in sorted(by_thread))


def _cut(thread: Thread, wanted: Sequence[NamedPiece]) -> ThreadTotal:
    waiting: dict[int, deque[NamedPiece]] = defaultdict(deque)
    for piece in wanted:
        waiting[piece.length_cm].append(piece)
    stock = owned_skeins(thread)
    lengths = sorted((piece.length_cm for piece in wanted), reverse=True)
    cutting = cut_skeins(lengths, stock, more_cm=round(thread.sold_m * 100))
    unopened = Counter(stock)
    skeins = []
    for skein in cutting.skeins:
        owned = unopened[skein.length_cm] > 0
        unopened[skein.length_cm] -= owned
        named = tuple(waiting[cm].popleft() for cm in skein.pieces_cm)
        skeins.append(NamedSkein(skein.length_cm, named, None if thread.metres is None else owned))
    return ThreadTotal(thread, tuple(skeins), tuple(waiting[cm].popleft() for cm in cutting.too_long_cm))


def together(pieces: Sequence[NamedPiece]) -> list[list[NamedPiece]]:
    """Pieces of one length for one band, the longest first."""
    ranked = sorted(pieces, key=lambda piece: (-piece.length_cm, piece.band))
    return [list(same) for _, same in groupby(ranked, key=lambda piece: (piece.length_cm, piece.band))]


def strands_of(pieces: Sequence[NamedPiece]) -> str:
    """The strands of several pieces in words.

    >>> strands_of([NamedPiece("navy", 90, "strand 1"), NamedPiece("navy", 90, "strand 4")])
    'strands 1, 4'
    """
    plain = [p.strands.removeprefix("strand ") for p in pieces if p.strands.startswith("strand ")]
    others = [p.strands for p in pieces if not p.strands.startswith("strand ")]
    named = [f"strand{'s' if len(plain) > 1 else ''} {', '.join(plain)}"] if plain else []
    return "; ".join([*named, *others])
