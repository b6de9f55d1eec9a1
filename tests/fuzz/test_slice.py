"""A slice of the fuzzer for every run of the tests, and Hypothesis over what reads text and bytes.

The whole is ``make fuzz``.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli import options
from cli.units import parse_length
from pipeline.batch import parse_orders
from pipeline.blocks.words import parse_groups, parse_moves
from pipeline.drawer.stash import parse_stash
from pipeline.errors import HitchgridError
from pipeline.instructions.spoken import read_instructions
from pipeline.outputs import folder_name
from pipeline.pattern import MAX_TITLE, parse_pattern, title_of
from tests.fuzz import corpus
from tests.fuzz.cases import fixed

ROOT = Path(__file__).parents[2]


def fuzz(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.fuzz", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_a_slice_of_the_fuzzer() -> None:
    done = fuzz("--start", str(len(fixed())), "--count", "100", "--seed", "7")
    assert done.returncode == 0, done.stdout
    assert "100 inputs" in done.stdout and "0 broken" in done.stdout


def test_the_fuzzer_sees_what_is_broken(tmp_path: Path) -> None:
    """The judge itself: a command that writes and refuses, and one that says two lines."""
    from tests.fuzz.cases import Case
    from tests.fuzz.judge import run_case

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cli.main.run", _half)
        assert "refused and wrote" in run_case(Case("x", ("plan",))).broken
        patch.setattr("cli.main.run", _twice)
        assert "not one line" in run_case(Case("x", ("plan",))).broken
        patch.setattr("cli.main.run", _crash)
        assert "KeyError" in run_case(Case("x", ("plan",))).broken


def _half(words: object) -> None:
    Path("made").mkdir()
    print("hitchgrid: no.", file=sys.stderr)
    sys.exit(2)


def _twice(words: object) -> None:
    print("hitchgrid: no.\nand no.", file=sys.stderr)
    sys.exit(2)


def _crash(words: object) -> None:
    raise KeyError("tar")


READERS: dict[str, Callable[[bytes], object]] = {
    "pattern": parse_pattern,
    "stash": lambda data: parse_stash(data, "stash.csv"),
    "orders": lambda data: parse_orders(data.decode(errors="replace"), "orders.csv", float),
    "instructions": lambda data: read_instructions(data.decode(errors="replace")),
}
SOUND = {
    "pattern": corpus.patterns()[0],
    "stash": corpus.STASH,
    "orders": corpus.ORDERS,
    "instructions": corpus.instructions()[0],
}


@pytest.mark.parametrize("reader", READERS)
@given(data=st.data())
def test_readers_refuse_bytes_or_take_them(reader: str, data: st.DataObject) -> None:
    sound = SOUND[reader]
    at = data.draw(st.integers(0, len(sound)))
    body = sound[:at] + data.draw(st.binary(max_size=40)) + sound[data.draw(st.integers(at, len(sound))) :]
    with suppress(HitchgridError):
        READERS[reader](body)


WORD_READERS: dict[str, Callable[[str], object]] = {
    "length": parse_length,
    "names": lambda text: options.names(text, "--threads"),
    "at most": lambda text: options.at_most([text]),
    "start order": options.start_order,
    "crop": options.crop,
    "wrist": lambda text: options.wrist(text, default=True),
    "groups": parse_groups,
    "moves": lambda text: parse_moves(text, 4),
}


@pytest.mark.parametrize("reader", WORD_READERS)
@settings(max_examples=80)
@given(text=st.text(max_size=40) | st.text("0123456789.,/=-# cminxwe*", max_size=20))
def test_words_of_flags_are_refused_or_read(reader: str, text: str) -> None:
    with suppress(HitchgridError):
        WORD_READERS[reader](text)


@given(st.text(max_size=400))
def test_every_text_makes_a_title_and_a_folder(text: str) -> None:
    title = title_of(text)
    assert 0 < len(title) <= MAX_TITLE
    assert title.isprintable() and title == title_of(title)
    name = folder_name(text)
    assert name == Path(name).name and name not in (".", "..")
