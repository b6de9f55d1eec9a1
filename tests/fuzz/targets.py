"""Every reader of the project as a target for bytes: the first byte chooses, the rest is read.

A reader may refuse with a sentence or take the bytes; then what it took is written and read again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path

from pipeline.band.pattern import render
from pipeline.band.reading import parse_pattern
from pipeline.batch.listing import parse_lines
from pipeline.drawer.ledger import with_metres, with_threads
from pipeline.drawer.stash import parse_stash, split_names, thread_of
from pipeline.errors import HitchgridError
from pipeline.files.channels import json_text, printable, shell, spreadsheet, xml
from pipeline.files.reading import json_of
from pipeline.instructions.compare import compare, read_instructions
from pipeline.materials.gauge import _parsed
from pipeline.motif import font_worker
from pipeline.motif.raster import decode
from pipeline.motif.svg_worker import Guard
from pipeline.order.units import parse_length
from tests.fuzz import corpus

KEPT = Path(__file__).with_name("kept")
LONGEST = 6_000
"""Bytes of an input."""


def _pattern(data: bytes) -> None:
    pattern = parse_pattern(data)
    assert parse_pattern(render(pattern)) == pattern


def _stash(data: bytes) -> None:
    stash = parse_stash(data, "stash")
    more = with_threads(data, "stash", [thread_of("zz new one", "#010203", 2.5)])
    assert parse_stash(more, "stash").threads[:-1] == stash.threads
    if not data.decode("utf-8-sig").lstrip().startswith("GIMP Palette"):
        left = parse_stash(with_metres(data, "stash", {stash.names[0]: 1.5}), "stash")
        assert left.threads[0].metres == 1.5 and left.names == stash.names


def _instructions(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    read_instructions(text)
    compare(text, parse_pattern(corpus.patterns()[0]))


def _words(data: bytes) -> None:
    text = data.decode("utf-8", "surrogateescape")
    for read in (parse_length, split_names):
        with suppress(HitchgridError):
            read(text)


def _channels(data: bytes) -> None:
    text = data.decode("utf-8", "surrogateescape")
    assert printable(text).isprintable()
    assert xml(text).isprintable() and not set(xml(text)) & set("<>\"'")
    assert str(spreadsheet(text))[:1] not in ("=", "+", "@", "-")
    json_text({text: [text]}).encode()
    shell([text])


def _font(data: bytes) -> None:
    font_worker.work({"letters": ["A"], "height": 5, "name": "font"}, data)


READERS: tuple[Callable[[bytes], object], ...] = (
    _pattern,
    _stash,
    lambda data: parse_lines(data.decode("utf-8", "replace"), "orders", Path()),
    _instructions,
    lambda data: _parsed(data, Path("gauges.json")),
    lambda data: json_of(data, "file"),
    lambda data: Guard("drawing").read(data),
    lambda data: decode(data, "picture"),
    _font,
    _words,
    _channels,
)


def one(data: bytes) -> None:
    """Feed one input to the reader that its first byte names."""
    if data:
        with suppress(HitchgridError):
            READERS[data[0] % len(READERS)](data[1:])


GAUGE = b'{"strand_pitch_mm": 1, "row_pitch_mm": 1, "tie_mm": 9, "core_mm": 2}'
ERRORS = b'"strand_pitch_error_mm": null, "row_pitch_error_mm": 0.1, "tie_error_mm": null, "core_error_mm": 0'


def seeds() -> Iterable[bytes]:
    """Sound inputs to begin with, by the number of their reader."""
    sound: dict[int, Iterable[bytes]] = {
        0: corpus.patterns()[:4],
        1: (corpus.STASH, corpus.GPL),
        2: (corpus.ORDERS,),
        3: corpus.instructions()[:3],
        4: (b'{"quay": {"rows": {"gauge": ' + GAUGE + b", " + ERRORS + b', "samples": 2}}}',),
        5: (b'{"a": [1, 2.5e3, null, true, "b"]}',),
        6: (corpus.SVG,),
        7: corpus.pictures().values(),
        9: (b"6 1/2 in", b'navy, "red, dark"'),
        10: ("=1+1\x1b[2J\u202e;@x".encode(),),
    }
    for number, inputs in sound.items():
        yield from (bytes([number]) + data for data in inputs if len(data) < LONGEST)
    yield from (path.read_bytes() for path in sorted(KEPT.glob("*")))
