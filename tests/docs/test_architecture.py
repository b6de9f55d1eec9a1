"""The architecture page is true: its picture is what the imports give, its walk runs."""

from __future__ import annotations

import doctest
from pathlib import Path

from docs.rooms import FILE, FOR, drawn, rooms
from tests.docs.test_rooms import ORDER

ROOT = Path(__file__).parents[2]


def test_the_picture_of_the_rooms_is_up_to_date() -> None:
    assert FILE.read_text(encoding="utf-8") == drawn(ORDER), "run python -m docs.rooms"


def test_every_room_says_what_it_is_for() -> None:
    assert rooms().keys() <= FOR.keys()


def test_the_walk_of_one_cell_runs() -> None:
    page = str(ROOT / "docs" / "architecture.md")
    tried = doctest.testfile(page, module_relative=False, verbose=False)
    assert tried.attempted > 25
    assert tried.failed == 0
