"""The corpus of hostile files through the page: a sentence or a picture, and the desk goes on."""

from __future__ import annotations

import pytest

from tests.desk.conftest import Running
from tests.fuzz import corpus


@pytest.mark.parametrize("name", sorted(corpus.HOSTILE_PICTURES))
def test_pictures(desk: Running, name: str) -> None:
    bench = desk.enter()
    status, _, said = desk.ask("POST", f"{bench}/motif?name={name}", corpus.HOSTILE_PICTURES[name]())
    assert status in (204, 422), said
    assert status == 204 or (said.strip() and b"\n" not in said and b"Traceback" not in said)
    assert desk.ask("POST", f"{bench}/stop")[0] == 204


@pytest.mark.parametrize("name", sorted(corpus.HOSTILE_STASHES))
def test_lists(desk: Running, name: str) -> None:
    desk.enter()
    before = desk.ask("GET", f"{desk.enter()}/panel/drawer")[2]
    status, _, said = desk.ask("POST", "/drawer/list", corpus.HOSTILE_STASHES[name]())
    if status == 422:
        assert said.strip() and b"\n" not in said
        assert desk.ask("GET", f"{desk.enter()}/panel/drawer")[2] == before
    else:
        assert status == 200
