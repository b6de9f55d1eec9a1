"""Touching up: what the maker gives a cell is wanted there, and what is freed asks for nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from pipeline.band.replay import replay
from pipeline.design.touch import Touch
from pipeline.drawer.stash import builtin_stash
from pipeline.errors import InputError
from pipeline.order.asked import Band, Drawer, LetterSource, PictureSource, Request
from pipeline.plan import Plan, plan
from pipeline.routing import Budget

BAND = Band(strands=8, rows=12)


def planned(*touches: Touch) -> Plan:
    drawer = Drawer(builtin_stash(), only=("navy", "chalk"))
    asked = Request(LetterSource("I"), BAND, drawer)
    return plan(asked, touches=touches, budget=Budget(effort=0.01), further=False)


def cell(made: Plan, row: int, position: int) -> tuple[int | None, int]:
    """(wanted, shown) of a cell of the picture."""
    step = next(s for s in list(replay(made.pattern))[row].steps if s.tied.position == position)
    return step.wanted, step.shown


def test_a_touched_cell_shows_its_thread() -> None:
    before = planned()
    wanted, _ = cell(before, 5, 3)
    assert wanted is not None
    other = 1 - wanted
    name = before.pattern.threads[other].name
    after = planned(Touch(5, 3, name))
    assert after.pattern.threads == before.pattern.threads
    assert cell(after, 5, 3) == (other, other)
    assert after.verdict.cells == before.verdict.cells


def test_a_freed_cell_asks_for_nothing() -> None:
    after = planned(Touch(5, 3, None))
    assert cell(after, 5, 3)[0] is None
    assert after.verdict.cells == planned().verdict.cells - 1


def test_the_later_touch_counts() -> None:
    assert planned(Touch(5, 3, "navy"), Touch(5, 3, None)).pattern == planned(Touch(5, 3, None)).pattern


@pytest.mark.parametrize(
    "touch", [Touch(12, 0, None), Touch(0, 7, None), Touch(-1, 0, None), Touch(0, 0, "fog")]
)
def test_what_is_not_there_is_refused(touch: Touch) -> None:
    with pytest.raises(InputError):
        planned(touch)


def test_a_touch_in_rows_that_repeat_is_in_every_repeat(tmp_path: Path) -> None:
    picture = Image.new("RGB", (40, 40), "#1b2a59")
    picture.paste("#f6f3ea", (10, 10, 30, 30))
    picture.save(tmp_path / "flag.png")
    band = Band(strands=9, wrist_mm=165, gauge=2.0)
    source, drawer = PictureSource(tmp_path / "flag.png"), Drawer(builtin_stash(), only=("navy", "chalk"))
    made = plan(Request(source, band, drawer), budget=Budget(effort=0.01), further=False)
    repeat = made.design.repeat
    assert repeat is not None and repeat.times > 1
    row = repeat.first + 1
    touch = Touch(row + repeat.rows, 4, None)
    after = plan(Request(source, band, drawer), touches=[touch], budget=Budget(effort=0.01), further=False)
    assert [cell(after, row + k * repeat.rows, 4)[0] for k in range(repeat.times)] == [None] * repeat.times
    assert after.verdict.cells == made.verdict.cells - repeat.times
