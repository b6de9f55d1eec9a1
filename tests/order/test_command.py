"""A command that is offered for pasting asks for the very band it stands beside."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cli.main import run
from pipeline.drawer.stash import read_stash
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request, Tying
from pipeline.order.command import command
from pipeline.routing import Ease

STASH = Path(__file__).parents[2] / "sample_images" / "club_stash.csv"

DRAWER = Drawer(read_stash(STASH))
CASES = (
    Request(PictureSource(Path("it's a buoy.png")), Band(strands=20, wrist_mm=160.5), DRAWER, Tying()),
    Request(
        PictureSource(
            Path("-r.png"),
            background="#ffffff",
            trim=False,
            crop=(0.1, 0, 0.9, 1),
            turn=1,
            mirror=True,
            fit="cover",
            reduce="flat",
        ),
        Band(
            strands=17,
            worked="diagonal",
            rows=60,
            wrist_mm=150,
            room_mm=20,
            gauge=0.7,
            selvedge=2,
            fill="centre",
            start="loop",
            finish="braid",
            taper=True,
            tail_mm=120,
            border="bars",
            left_handed=True,
        ),
        replace(DRAWER, only=("navy", "chalk"), colours=2, ground="chalk"),
        Tying(Ease.FULL, 12, 3, {"navy": 7}, ("navy", None, *[None] * 15), "full", 3000.0, 0.15),
    ),
    Request(
        LetterSource("R & C", 9, None, "across", ("navy", "chalk"), 2, True),
        Band(strands=18, wrist_mm=142),
        DRAWER,
        Tying(),
    ),
)


@pytest.mark.parametrize("asked", CASES, ids=("picture", "everything", "letters"))
def test_typed_again_it_asks_for_the_same(asked: Request, tmp_path: Path, monkeypatch: Any) -> None:
    class Heard(Exception):
        pass

    heard: list[Request] = []

    def listen(asked: Request, **rest: Any) -> None:
        heard.append(asked)
        raise Heard

    monkeypatch.setattr("pipeline.plan.plan", listen)
    monkeypatch.chdir(tmp_path)
    program, *words = shlex.split(command(asked, stash=STASH))
    assert program == "hitchgrid"
    with pytest.raises(Heard):
        run((*words, "-q"))
    assert heard == [asked]
