"""Booking off the drawer at the desk: asked by two pages at once it is done once, and nothing is lost."""

from __future__ import annotations

import json
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from pipeline.band.example import two_rows
from pipeline.bundle import band_files
from pipeline.drawer.stash import parse_stash
from pipeline.files.folder import write_result
from pipeline.materials.lengths import cut_list
from pipeline.report import report_of_pattern
from pipeline.verdict.feasibility import check
from tests.desk.conftest import start

DRAWER = b"name,colour,metres\nnavy,#1b2a59,8\nwhite,#ffffff,2\n"


def test_two_pages_that_book_and_put_back_at_once(tmp_path: Path) -> None:
    """Each band is cut from 25 cm of navy and 66 cm of white."""
    home = tmp_path / "home"
    drawer = home / ".local" / "share" / "hitchgrid" / "drawer.csv"
    drawer.parent.mkdir(parents=True)
    drawer.write_bytes(DRAWER)
    band = two_rows()
    files = band_files(band, cut_list(band), report_of_pattern(band, check(band)))
    for name in ("bow", "stern"):
        write_result(home / "output" / name, files)
    desk = start(home)
    try:
        bench = desk.enter()
        shelf = desk.ask("GET", f"{bench}/panel/shelf")[2].decode()
        keys = sorted(set(re.findall(r"/shelf/(\w+)/book", shelf)))
        assert len(keys) == 2

        def all_at_once(way: str) -> list[int]:
            def ask(key: str) -> int:  # the first waits for loops that are compiled
                return desk.ask("POST", f"/shelf/{key}/book", {"way": way}, patience=300)[0]

            with ThreadPoolExecutor(8) as pages:
                return list(pages.map(ask, keys * 4))

        assert all_at_once("off") == [200] * 8
        owned = [thread.metres for thread in parse_stash(drawer.read_bytes(), "drawer.csv").threads]
        assert owned == pytest.approx([8 - 2 * 0.25, 2 - 2 * 0.66])
        assert desk.ask("GET", f"{bench}/panel/shelf")[2].decode().count('data-way="back"') == 2
        assert all_at_once("back") == [200] * 8
        assert drawer.read_bytes() == DRAWER
        assert [json.loads(path.read_text()) for path in home.rglob("booked.json")] == [{}]
    finally:
        assert desk.stop() == 0
    assert (home / "errors").read_text() == ""
