"""A suggestion that is taken is a request like any other."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.advice.advise import Change, ChangeKind
from pipeline.advice.taking import under
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import InputError
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request
from pipeline.routing import Ease

ASKED = Request(PictureSource(Path("buoy.png")), Band(strands=20), Drawer(builtin_stash(), colours=3))
THREADS = ("navy", "chalk", "signal red")


def test_each_kind_changes_one_thing() -> None:
    def taken(
        kind: ChangeKind, amount: int = 0, thread: int | None = None, ease: Ease | None = None
    ) -> Request:
        return under(Change(kind, amount, thread, ease), ASKED, THREADS)

    assert taken(ChangeKind.STRANDS, 2).band.strands == 22
    wider = taken(ChangeKind.SELVEDGE, 1).band
    assert (wider.strands, wider.selvedge) == (22, 1)
    assert taken(ChangeKind.SWITCHING_ROWS, 8).tying.switching_rows == 8
    assert taken(ChangeKind.JOINS, 4).tying.joins == 4
    assert taken(ChangeKind.EASE, ease=Ease.FULL).tying.ease is Ease.FULL
    assert taken(ChangeKind.OTHER_ORDER).band.worked == "diagonal"
    assert taken(ChangeKind.WITHOUT_THREAD, thread=1).drawer.only == ("navy", "signal red")
    assert taken(ChangeKind.TURNED, 1).artwork.turn == 1
    assert taken(ChangeKind.MIRRORED).artwork.mirror


def test_letters_are_not_mirrored() -> None:
    with pytest.raises(InputError):
        under(Change(ChangeKind.MIRRORED), ASKED._replace(artwork=LetterSource("RC")))
