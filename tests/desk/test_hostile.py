"""The corpus of hostile files through the page: a sentence or a picture, and the desk goes on."""

from __future__ import annotations

import pytest

from cli.desk.work import cells_of
from pipeline.errors import InputError
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


@pytest.mark.parametrize(
    "cells",
    ["", "[]", "{}", "null", "1", "[[1]]", "[[1,2,3]]", "[[Infinity,1]]", "[[NaN,1]]", "[[1e999,1]]",
     "[[-1,0]]", '[["a",1]]', "[[null,1]]", "[" * 100_000, "[[1" + "0" * 5000 + ",1]]", "\ud800"],
)  # fmt: skip
def test_cells(cells: str) -> None:
    with pytest.raises(InputError, match=r"cells cannot be read|no cell, or far too many"):
        cells_of(cells)


ODD = ("", "\0", "9" * 5000, "-1", "nan", "1e999", "‮x", "<b>", "../../etc/passwd", "a\nb", "=1+1", "٣")


@pytest.mark.parametrize(
    "path",
    ["ask", "view", "choose", "again", "touch", "attempt", "decide", "step", "stop", "/drawer", "/gauge"],
)
def test_fields(desk: Running, path: str) -> None:
    """Every request with odd words in every field that it takes: done, or a sentence."""
    bench = desk.enter()
    fields = (
        "letters height crop turn strands wrist threads ground sort beside lie key cells thread index take "
        "way name colour metres kind swatch used rows width length"
    )
    for odd in ODD:
        body = dict.fromkeys(fields.split(), odd)
        status, _, said = desk.ask("POST", path if path[0] == "/" else f"{bench}/{path}", body)
        assert status in (200, 204, 422), (odd, said)
        assert b"Traceback" not in said and b"\n" not in said
    assert desk.ask("POST", f"{bench}/stop")[0] == 204
    assert desk.ask("GET", bench)[0] == 200
