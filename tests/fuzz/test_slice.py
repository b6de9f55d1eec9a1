"""A slice of the fuzzer for every run of the tests, and Hypothesis over what reads text and bytes.

The whole is ``make fuzz``.
"""

from __future__ import annotations

import copy
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.band.pattern import render, title_of
from pipeline.band.reading import parse_pattern
from pipeline.batch.listing import parse_lines
from pipeline.blocks.words import parse_groups, parse_moves
from pipeline.colour import hex_of, parse_hex
from pipeline.drawer.stash import parse_stash
from pipeline.errors import HitchgridError
from pipeline.files.folder import folder_name
from pipeline.instructions.compare import compare, read_instructions
from pipeline.instructions.text import write_instructions
from pipeline.limits import ANY_LENGTH_MM, MOST_TITLE
from pipeline.materials.lengths import cut_list
from pipeline.motif.lettering import set_letters
from pipeline.order.options import OPTIONS
from pipeline.order.request import parse
from pipeline.order.units import parse_length
from pipeline.verdict.feasibility import check
from tests.fuzz import corpus
from tests.fuzz.cases import fixed

ROOT = Path(__file__).parents[2]
TESTER = os.getpid()


def fuzz(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.fuzz", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_a_slice_of_the_fuzzer() -> None:
    done = fuzz("--start", str(len(fixed())), "--count", "100", "--seed", "7")
    assert done.returncode == 0, done.stdout
    assert "100 inputs" in done.stdout and "0 broken" in done.stdout


def test_the_fuzzer_sees_what_is_broken(tmp_path: Path) -> None:
    """The judge itself: a command that writes and refuses, says two lines, takes a file, never ends."""
    from tests.fuzz.around import Around, Case
    from tests.fuzz.judge import run_case

    mine = Case("x", ("plan", "--out", "made"), {"a.png": b"a"}, Around(mine={"notes.txt": b"mine"}))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cli.main.run", _half)
        assert "refused and changed" in run_case(Case("x", ("plan",))).broken
        patch.setattr("cli.main.run", _twice)
        assert "not one line" in run_case(Case("x", ("plan",))).broken
        patch.setattr("cli.main.run", _crash)
        assert "KeyError" in run_case(Case("x", ("plan",))).broken
        patch.setattr("cli.main.run", _take)
        assert "changed ['a.png']" in run_case(mine).broken
        assert "lost ['notes.txt']" in run_case(replace(mine, files={})).broken
        patch.setattr("cli.main.run", _wait)
        assert "still running" in run_case(Case("x", ("plan",)), 0.2).broken
        patch.setattr("cli.main.run", _alone)
        assert "KeyError" in run_case(replace(mine, around=Around(beside=True))).broken


def _half(words: object) -> None:
    Path("made").mkdir()
    print("hitchgrid: no.", file=sys.stderr)
    sys.exit(2)


def _twice(words: object) -> None:
    print("hitchgrid: no.\nand no.", file=sys.stderr)
    sys.exit(2)


def _crash(words: object) -> None:
    raise KeyError("tar")


def _take(words: object) -> None:
    Path("a.png").unlink(missing_ok=True)
    Path("made/notes.txt").unlink()


def _wait(words: object) -> None:
    while True:
        pass


def _alone(words: object) -> None:
    """Only the run beside another one fails."""
    if os.getppid() == TESTER:
        raise KeyError("bow")


READERS: dict[str, Callable[[bytes], object]] = {
    "pattern": parse_pattern,
    "stash": lambda data: parse_stash(data, "stash.csv"),
    "orders": lambda data: parse_lines(data.decode(errors="replace"), "orders.csv", Path()),
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


WORDS = st.sampled_from(["rows", "picture", "forward", "navy", "#1b2a59", "loop"])
NUMBERS = st.integers(-2, 500) | st.sampled_from([10**30, -1]) | st.floats()
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | WORDS | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(WORDS | st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)


def places(node: Any) -> Iterator[tuple[Any, Any]]:
    """Every (container, key) of a document."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node):
        yield node, key
        if isinstance(value, (dict, list)):
            yield from places(value)


@settings(max_examples=250)
@given(data=st.data())
def test_a_pattern_with_another_value_somewhere_is_refused_or_can_be_tied(data: st.DataObject) -> None:
    """Whatever passes the checks is tied, cut, put into words and written without a fault."""
    document = json.loads(data.draw(st.sampled_from(corpus.patterns())))
    for _ in range(data.draw(st.integers(1, 2))):
        spots = list(places(document))
        node, key = spots[data.draw(st.integers(0, len(spots) - 1))]
        manner = data.draw(st.sampled_from(["like", "like", "any", "less or more"]))
        if manner == "like":  # a value of the same kind from elsewhere in the document
            alike = [n[k] for n, k in spots if type(n[k]) is type(node[key])]
            node[key] = copy.deepcopy(alike[data.draw(st.integers(0, len(alike) - 1))])
        elif manner == "any":
            node[key] = data.draw(JSON)
        elif isinstance(node, dict):
            del node[key]
        else:
            node.insert(key, node[key])
    with suppress(HitchgridError):
        pattern = parse_pattern(json.dumps(document))
        assert parse_pattern(render(pattern)) == pattern
        found = check(pattern)
        assert found.made + len(found.unmade) == found.cells
        cuts = cut_list(pattern)
        assert all(cut.length_mm >= cut.used_mm for cut in cuts)
        assert compare(write_instructions(pattern, cuts), pattern) == []


HEIGHTS = st.sampled_from((5, 7, 9, 12, 14)) | st.integers(-1, 40)


@given(st.text(max_size=12) | st.text("RC♥ÉÖ -.W", min_size=1, max_size=12), HEIGHTS)
def test_letters_are_set_or_refused(text: str, height: int) -> None:
    with suppress(HitchgridError):
        ink = set_letters(text, height=height).ink
        assert ink.any() and ink.min() == 0
        assert ink.max() <= len(text)


@given(st.text(max_size=10) | st.from_regex(r"#?[0-9a-fA-F]{2,8}", fullmatch=True))
def test_a_colour_is_six_digits_or_three(text: str) -> None:
    plain = re.fullmatch(r"#?([0-9a-f]{6}|[0-9a-f]{3})", text.strip(), re.ASCII | re.IGNORECASE)
    try:
        colour = parse_hex(text)
    except HitchgridError:
        assert plain is None
    else:
        assert plain is not None
        assert (
            hex_of(colour)
            == "#" + (plain[1] if len(plain[1]) == 6 else "".join(2 * c for c in plain[1])).lower()
        )


UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


@given(st.decimals("0.01", "900", places=2), st.sampled_from(sorted(UNITS)), st.sampled_from(["", " ", "  "]))
def test_numbers_with_units(number: Decimal, unit: str, blank: str) -> None:
    """An inch is 25.4 mm (international yard and pound agreement, 1959); a comma is a point."""
    for written in (str(number), str(number).replace(".", ",")):
        assert parse_length(f"{written}{blank}{unit}") == pytest.approx(float(number) * UNITS[unit])


@given(st.text(max_size=70) | st.text("0123456789.,/ cminx″", max_size=70))
def test_a_length_is_within_bounds_or_refused(text: str) -> None:
    with suppress(HitchgridError):
        millimetres = parse_length(text)
        assert millimetres in ANY_LENGTH_MM
        assert len(text) <= 60  # nothing is read by halves


WORD_READERS: dict[str, Callable[[str], object]] = {
    "length": parse_length,
    "groups": parse_groups,
    "moves": lambda text: parse_moves(text, 4),
}


@pytest.mark.parametrize("name", [option.name for option in OPTIONS])
@settings(max_examples=40)
@given(text=st.text(max_size=40) | st.text("0123456789.,/=-#; cminxwe*", max_size=20))
def test_the_text_of_every_option_is_refused_or_read(name: str, text: str) -> None:
    with suppress(HitchgridError):
        parse({name: text} if name == "picture" else {"letters": "I", name: text})


@pytest.mark.parametrize("reader", WORD_READERS)
@settings(max_examples=80)
@given(text=st.text(max_size=40) | st.text("0123456789.,/=-# cminxwe*", max_size=20))
def test_words_of_flags_are_refused_or_read(reader: str, text: str) -> None:
    with suppress(HitchgridError):
        WORD_READERS[reader](text)


@given(st.text(max_size=400))
def test_every_text_makes_a_title_and_a_folder(text: str) -> None:
    title = title_of(text)
    assert 0 < len(title) <= MOST_TITLE
    assert title.isprintable() and title == title_of(title)
    name = folder_name(text)
    assert name == Path(name).name and name not in (".", "..")


def test_what_reached_new_code_is_still_refused_or_taken() -> None:
    """Inputs that coverage led to (``python -m tests.fuzz.readers``), and those that it began with."""
    from tests.fuzz.targets import one, seeds

    inputs = list(seeds())
    assert len(inputs) > 100
    for data in inputs:
        one(data)
