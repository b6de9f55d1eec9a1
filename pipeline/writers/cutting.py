"""The cut list as lines for people: what to cut, for which strands, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from pipeline.band.pattern import Pattern
from pipeline.instructions.words import span
from pipeline.materials.lengths import Cut, Piece, pieces


@dataclass(frozen=True, slots=True)
class CutLine:
    """Equal lengths of one thread that stand next to each other at the start."""

    strands: str
    """Which strands they are, counted from 1."""
    thread: int
    length: str
    """One length in centimetres, with what becomes of it."""
    metres: float
    """All of them together."""
    tied: int
    carried: int
    """Knots of these strands, all their pieces counted on the first."""


def cut_lines(pattern: Pattern, cuts: Sequence[Cut]) -> Iterator[CutLine]:
    """Yield the cut list in order of the positions at the start; pieces for joins come after them all."""
    found = pieces(pattern, tuple(cuts))
    first = (piece for piece in found if piece.positions and not piece.joined)
    for _, group in groupby(first, key=lambda piece: (piece.thread, piece.length_mm, _fold(piece))):
        same = list(group)
        strands = [p for piece in same for p in piece.positions]
        folded = len(same[0].positions) > 1
        each = " each" if len(same) > 1 else ""
        yield CutLine(
            strands=", ".join(f"{a + 1}+{b + 1}" for a, b in (piece.positions for piece in same))
            if folded
            else span(strands[0] + 1, strands[-1] + 1),
            thread=same[0].thread,
            length=f"{same[0].length_mm / 10:.0f} cm{each}{_fold(same[0])}",
            metres=sum(piece.length_mm for piece in same) / 1000,
            tied=sum(cuts[p].tied for p in strands),
            carried=sum(cuts[p].carried for p in strands),
        )
    for piece in found:
        if piece.positions and not piece.joined:
            continue
        name = f"{piece.positions[0] + 1}, at a join" if piece.joined else "holding cord"
        length = f"{piece.length_mm / 10:.0f} cm"
        yield CutLine(name, piece.thread, length, piece.length_mm / 1000, 0, 0)


def _fold(piece: Piece) -> str:
    """How a piece is folded, in words after its length."""
    if len(piece.positions) < 2:
        return ""
    halves = [f"{mm / 10:.0f}" for mm in piece.halves_mm]
    return ", folded" if len(set(halves)) < 2 else f", folded {' + '.join(halves)}"
