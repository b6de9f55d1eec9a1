"""What a maker asks for once a suggestion is taken: the request under its change, to be planned like any."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.advice.advise import Change, ChangeKind
from pipeline.errors import InputError
from pipeline.literals import other_way
from pipeline.order.asked import LetterSource, Request


def under(change: Change, asked: Request, threads: Sequence[str] = ()) -> Request:
    """The request under one change; ``threads`` are those of the band, to which the change refers.

    Raises InputError for a change that this request cannot take.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> from pipeline.order.asked import Band, Drawer
    >>> asked = Request(LetterSource("RC"), Band(strands=15), Drawer(builtin_stash()))
    >>> under(Change(ChangeKind.STRANDS, 2), asked).band.strands
    17
    """
    artwork, band, drawer, tying = asked
    match change.kind:
        case ChangeKind.STRANDS if band.strands is not None:
            return asked._replace(band=replace(band, strands=band.strands + change.amount))
        case ChangeKind.SELVEDGE if band.strands is not None:
            wider = replace(
                band, strands=band.strands + 2 * change.amount, selvedge=(band.selvedge or 0) + change.amount
            )
            return asked._replace(band=wider)
        case ChangeKind.SWITCHING_ROWS:
            return asked._replace(tying=replace(tying, switching_rows=change.amount))
        case ChangeKind.JOINS:
            return asked._replace(tying=replace(tying, joins=change.amount))
        case ChangeKind.EASE if change.ease is not None:
            return asked._replace(tying=replace(tying, ease=change.ease))
        case ChangeKind.OTHER_ORDER:
            return asked._replace(band=replace(band, worked=other_way(band.worked)))
        case ChangeKind.WITHOUT_THREAD if change.thread is not None:
            rest = tuple(name for i, name in enumerate(threads) if i != change.thread)
            return asked._replace(drawer=replace(drawer, only=rest, colours=None))
        case ChangeKind.TURNED:
            return asked._replace(artwork=replace(artwork, turn=(artwork.turn + change.amount) % 4))
        case ChangeKind.MIRRORED if not isinstance(artwork, LetterSource):
            return asked._replace(artwork=replace(artwork, mirror=not artwork.mirror))
    raise InputError(f"this band cannot take the change {change.kind.value!r}.", "Choose another.")
