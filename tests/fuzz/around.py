"""A case, and what it meets besides its input: odd files, a maker's own, streams, another run beside it."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

OUT = "made"
"""Name of the folder or file that a case writes to."""

ODD = ("pipe", "folder", "circle", "loop", "dangling", "link", "locked")
"""What an input may be instead of a plain file, or what may stand where a result goes."""
MINE = (
    "notes.txt",
    "stash.csv",
    "photo.png",
    "chart.png",
    "pattern.json",
    "orders.csv",
    "made",
    "written.txt",
)
NAMES = (
    "=1+1",
    "@sum",
    "-rf",
    "--help",
    "a b\tc",
    "two\nlines",
    "\x1b[31mred\x1b]0;x\x07",
    "\u202egnp",
    "\u2066x\u2069",
    "[bold]x",
    "<script>alert(1)<script>",
    "{{ 7*7 }}",
    "$(id)",
    "%s%n",
    "'\"`;&|",
    "no\udcffbytes",
    "e\u0301",
    "n" * 200,
    "..x",
)
"""Names of files, before their ending, that mean something to a terminal, a page, a table or a shell."""
ANSWERS = (b"", b"y\n", b"n\n", b"\xff\xfe\n", b"\x1b[A\n", b"maybe\n" * 400)
CODINGS = ("ascii", "latin-1", "cp1252")
COMMON_MASK = 0o022


@dataclass(frozen=True, slots=True)
class Around:
    """What a case meets besides its input.

    ``odd``: inputs that are no plain files, by name; ``place``: what stands where the result goes, one of
    :data:`ODD` or "file"; ``mine``: files of the maker's in the folder that is written to, which must be
    there afterwards; ``former``: whether a former result is there; ``gone``: whether the folder that the
    command runs in is gone; ``beside``: whether the same command runs a second time at once; ``terminal``:
    whether what is printed goes to one; ``answers``: standard input, None if closed; ``coding``: of streams.
    """

    odd: Mapping[str, str] = field(default_factory=dict)
    place: str = ""
    mine: Mapping[str, bytes] = field(default_factory=dict)
    former: bool = False
    gone: bool = False
    beside: bool = False
    terminal: bool = False
    mask: int = COMMON_MASK
    answers: bytes | None = b""
    coding: str = "utf-8"

    @property
    def said(self) -> tuple[str, ...]:
        """The channels in which this is out of the common, in a word each."""
        words = {
            "odd input": self.odd,
            "something in place of the result": self.place,
            "a maker's files": self.mine,
            "a former result": self.former,
            "folder gone": self.gone,
            "two at once": self.beside,
            "terminal": self.terminal,
            "another mask": self.mask != COMMON_MASK,
            "input closed": self.answers is None,
            "answers": self.answers,
            "another coding": self.coding != "utf-8",
        }
        return tuple(word for word, there in words.items() if there)


@dataclass(frozen=True, slots=True)
class Case:
    """``words`` is the command line; ``files`` are laid out in the folder that it runs in."""

    kind: str
    words: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    around: Around = field(default_factory=Around)


def surrounded(case: Case, rng: random.Random) -> Case:
    """The case in surroundings that are out of the common."""
    if case.files and rng.random() < 0.3:
        case = _renamed(case, rng)
    names = sorted(case.files)
    writes = OUT in case.words and case.words[0] in ("plan", "blocks", "batch", "choices", "replan")
    place = rng.choice((*ODD, "file")) if writes and rng.random() < 0.12 else ""
    mine = writes and not place and rng.random() < 0.5
    former = writes and not place and case.words[0] in ("plan", "blocks") and rng.random() < 0.4
    words = (*case.words, "--replace") if (former or place) and rng.random() < 0.8 else case.words
    asked = rng.random() < 0.3
    if asked:  # of a question that --yes would answer
        words = tuple(word for word in words if word != "--yes")
    around = Around(
        odd={rng.choice(names): rng.choice(ODD)} if names and rng.random() < 0.3 else {},
        place=place,
        mine={name: name.encode() * 9 for name in rng.sample(MINE, rng.randint(1, 3))} if mine else {},
        former=former,
        gone=rng.random() < 0.02,
        beside=rng.random() < 0.15,
        terminal=rng.random() < 0.4,
        mask=rng.choice((0o000, 0o002, 0o077)) if rng.random() < 0.3 else COMMON_MASK,
        answers=rng.choice((None, *ANSWERS)) if asked else b"",
        coding=rng.choice(CODINGS) if rng.random() < 0.2 else "utf-8",
    )
    return replace(case, words=words, around=around)


def _renamed(case: Case, rng: random.Random) -> Case:
    """The case with another name for one of its files, on the command line too."""
    old = rng.choice(sorted(case.files))
    new = rng.choice(NAMES) + old[old.rindex(".") :]
    files = {new if name == old else name: content for name, content in case.files.items()}
    shown = f"./{new}" if new.startswith("-") and rng.random() < 0.5 else new
    return replace(case, words=tuple(shown if word == old else word for word in case.words), files=files)
