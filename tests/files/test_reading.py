"""What is no plain file, too large, or holds numbers that are none: a sentence with the place."""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.main import run
from pipeline.band.example import two_rows
from pipeline.band.pattern import render
from pipeline.band.reading import read_pattern
from pipeline.batch.listing import read_lines
from pipeline.drawer.stash import read_stash
from pipeline.errors import HitchgridError, InputError
from pipeline.files.reading import Kind, json_of, read_plain
from pipeline.instructions.compare import read_text
from pipeline.materials.gauge import saved
from pipeline.motif.picture import load_picture
from pipeline.motif.typeface import typeset

READERS: dict[str, Callable[[Path], object]] = {
    "pattern": read_pattern,
    "stash": read_stash,
    "list": read_lines,
    "text": read_text,
    "gauges": saved,
    "picture": load_picture,
    "font": lambda path: typeset(["A"], 7, path),
}
NO_FILES: dict[str, Callable[[Path], object]] = {
    "pipe": os.mkfifo,
    "folder": Path.mkdir,
    "circle": lambda path: path.symlink_to(path),
    "device": lambda path: path.symlink_to("/dev/zero"),
    "large": lambda path: (path.touch(), os.truncate(path, 100_000_000)),
    "empty": Path.touch,
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", NO_FILES)
def test_no_reader_waits_or_reads_on(tmp_path: Path, reader: str, kind: str) -> None:
    NO_FILES[kind](tmp_path / "x")
    ended: list[BaseException] = []

    def read() -> None:
        try:
            READERS[reader](tmp_path / "x")
        except BaseException as error:
            ended.append(error)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(60)
    assert not thread.is_alive(), "it waits"
    assert len(ended) == 1 and isinstance(ended[0], HitchgridError), ended
    assert ended[0].hint and len(str(ended[0])) < 300


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("[1,\n1e999]", 2, "1e999"),
        ("[111e11111e1]", 1, "111e11111"),
        ('{"a":\n\n-Infinity}', 3, "-Infinity"),
        ("[NaN]", 1, "NaN"),
        ("[" + "9" * 400 + "]", 1, "9" * 20),
        ('["1e999",\n1e999]', 2, "1e999"),
        ("[0." + "1" * 400 + "]", 1, "0." + "1" * 18),
    ],
)
def test_numbers_that_are_none_are_named_with_their_line(text: str, line: int, word: str) -> None:
    with pytest.raises(InputError) as caught:
        json_of(text.encode(), "x.json")
    assert caught.value.message == f"x.json, line {line}: {word} is not a number that can be used."


ODD = ("1e999", "-1e999", "Infinity", "NaN", "9" * 400, '"8"', "null", "[]", "true")
KEYS = ('"tie_mm": ', '"tail_mm": ', '"strands": [', '"version": ', '"knots": [[')


@pytest.mark.parametrize("number", ODD)
@pytest.mark.parametrize("key", KEYS)
def test_every_place_of_a_pattern_refuses_what_is_no_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], key: str, number: str
) -> None:
    text = render(two_rows())
    begin = text.index(key) + len(key)
    end = min(i for i in (text.find(c, begin) for c in ",]}\n") if i > 0)
    (tmp_path / "p.json").write_text(text[:begin] + number + text[end:])
    with pytest.raises(SystemExit) as ended:
        run(("check", str(tmp_path / "p.json")))
    said = capsys.readouterr().err
    assert ended.value.code == 2 and said.count("\n") == 1 and len(said) < 1100, said


def test_the_limit_of_a_kind_holds_for_bytes_too() -> None:
    kind = Kind("list", 10, "Name another.")
    assert kind.checked(b"0123456789", "upload") == b"0123456789"
    for data in (b"", b"0" * 11):
        with pytest.raises(InputError, match=r"upload is (empty|larger)"):
            kind.checked(data, "upload")
    with pytest.raises(InputError, match="no file name"):
        read_plain(Path("a\0b"), kind)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('{"metres": 1, "metres": 2}', "line 1: 'metres'"),
        ('{"name": "a",\n"in": [{"name": 0},\n{"name": 1, "x": {"name": 1},\n"name": 2}]}', "line 4: 'name'"),
        ('{"say \\"{": 1,\n"say \\"\\u007b": 2}', "line 2: 'say \"{'"),
        ('[{"a": "b:c"}, {"a": "{", "b": "}"},\n{"": 1, "": 1}]', "line 2: ''"),
    ],
)  # fmt: skip
def test_a_key_that_stands_twice_is_named(text: str, where: str) -> None:
    """JSON leaves open what two keys of one name mean (RFC 8259, section 4), and Python takes the last."""
    with pytest.raises(InputError, match=re.escape(f"drawer.json, {where} stands twice in one object.")):
        json_of(text.encode(), "drawer.json")
