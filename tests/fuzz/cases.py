"""From a seed and a number to a case: files to lay out, a command to run, and what may be written."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from tests.fuzz import corpus
from tests.fuzz.mutate import NUMBERS, WORDS, damage_bytes, damage_cells, damage_json, flag_words

OUT = "made"
"""Name of the folder or file that a case writes to."""


@dataclass(frozen=True, slots=True)
class Around:
    """What a case meets besides its input.

    ``odd``: files that are no plain files (pipe, folder, circle, link, locked) by name; ``mine``: files of
    the maker's in the folder that is written to, every byte of which must be there afterwards; ``former``:
    whether a former result is there; ``terminal``: whether what is printed goes to one.
    """

    odd: Mapping[str, str] = field(default_factory=dict)
    mine: Mapping[str, bytes] = field(default_factory=dict)
    former: bool = False
    terminal: bool = False
    mask: int = 0o022


ODD = ("pipe", "folder", "circle", "link", "locked")
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


@dataclass(frozen=True, slots=True)
class Case:
    """``words`` is the command line; ``files`` are laid out in the folder that it runs in."""

    kind: str
    words: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    kept: tuple[str, ...] = ()
    """Files that must be as they were when the command is refused."""
    around: Around = field(default_factory=lambda: Around())


def fixed() -> list[Callable[[], Case]]:
    """Every hostile file through every command that reads its kind."""
    made: list[Callable[[], Case]] = []

    def add(
        kind: str,
        words: tuple[str, ...],
        files: Callable[[], Mapping[str, bytes]],
        kept: tuple[str, ...] = (),
    ) -> None:
        made.append(lambda: Case(kind, words, files(), kept))

    for name, content in corpus.HOSTILE_PICTURES.items():
        lay = lambda name=name, content=content: {name: content()}  # noqa: E731
        add("picture", ("plan", name, "--strands", "7", "--rows", "6", *corpus.PLAN, "--out", OUT), lay)
        add("picture", ("plan", name, "--grid", *corpus.PLAN, "--out", OUT), lay)
    for name, content in corpus.HOSTILE_PATTERNS.items():
        lay = lambda name=name, content=content: {name: content()}  # noqa: E731
        with_text = lambda name=name, content=content: {name: content(), "i.txt": corpus.instructions()[0]}  # noqa: E731
        with_stash = lambda name=name, content=content: {name: content(), "stash.csv": corpus.STASH}  # noqa: E731
        add("pattern", ("check", name), lay)
        add("pattern", ("check", name, "--text", "i.txt"), with_text)
        add("pattern", ("show", name), lay)
        add("pattern", ("show", name, "--row", "1"), lay)
        for ending in (
            "chart.png",
            "preview.png",
            "svg",
            "sheet.pdf",
            "chart.pdf",
            "worksheet.html",
            "report.html",
            "txt",
            "csv",
        ):
            add("pattern", ("draw", name, "--to", f"{OUT}.{ending}"), lay)
        add("pattern", ("replan", name, "--from-row", "2", "--left", "1=1m", "--out", OUT), lay)
        add("pattern", ("stash", "stash.csv", "--book", name, "--yes"), with_stash, ("stash.csv",))
    for name, content in corpus.HOSTILE_STASHES.items():
        others = {"flag.png": corpus.pictures()["flag.png"], "stash.csv": corpus.STASH}
        lay = lambda name=name, content=content, others=others: {name: content(), **others}  # noqa: E731
        add("stash", ("stash", name), lay)
        add("stash", ("stash", name, "--near", "#123456"), lay)
        add("stash", ("stash", "stash.csv", "--import", name, "--yes"), lay, ("stash.csv",))
        add(
            "stash",
            (
                "plan",
                "flag.png",
                "--stash",
                name,
                "--strands",
                "7",
                "--rows",
                "4",
                *corpus.PLAN,
                "--out",
                OUT,
            ),
            lay,
        )
    for name, content in corpus.HOSTILE_ORDERS.items():
        lay = lambda name=name, content=content: {name: content(), "flag.png": corpus.pictures()["flag.png"]}  # noqa: E731
        add("orders", ("batch", name, "--effort", "0.01", "--jobs", "1", "--out", OUT), lay)
    for name, content in corpus.HOSTILE_TEXTS.items():
        lay = lambda name=name, content=content: {name: content(), "p.json": corpus.patterns()[0]}  # noqa: E731
        add("text", ("check", "p.json", "--text", name), lay)
    picture = lambda: {"flag.png": corpus.pictures()["flag.png"]}  # noqa: E731
    for strands in ("0", "1", "2", "3", "10000"):
        for worked in ("rows", "diagonal"):
            words = (
                "plan",
                "flag.png",
                "--strands",
                strands,
                "--rows",
                "5",
                "--worked",
                worked,
                *corpus.PLAN,
                "--out",
                OUT,
            )
            add("flags", words, picture)
    for title in WORDS:
        add("title", ("plan", "flag.png", "--grid", "--title", title, *corpus.PLAN, "--out", OUT), picture)
        add(
            "letters",
            ("plan", "--letters", title, "--strands", "8", "--rows", "12", *corpus.PLAN, "--out", OUT),
            dict,
        )
    for out in (
        "/dev/null",
        "/dev/null/x",
        "/proc/x",
        "flag.png",
        "flag.png/x",
        "a" * 300,
        "a/" * 3000,
        "\0",
        "",
        ".",
        "..",
        "/",
    ):
        add("out", ("plan", "flag.png", "--grid", *corpus.PLAN, "--out", out), picture)
        add("out", ("plan", "flag.png", "--grid", *corpus.PLAN, "--replace", "--out", out), picture)
        add(
            "out",
            ("batch", "o.csv", "--effort", "0.01", "--jobs", "1", "--out", out),
            lambda: {"o.csv": b"letters,strands,rows\nI,8,8\n"},
        )
        add("out", ("draw", "p.json", "--to", out), lambda: {"p.json": corpus.patterns()[0]})
    for path in (
        "/dev/zero",
        "/dev/urandom",
        "/dev/null",
        "/proc/self/mem",
        "/",
        "..",
        "",
        "\0",
        "\ud800",
        "nowhere",
    ):
        for words in (
            ("plan", path, *corpus.PLAN, "--out", OUT),
            ("check", path),
            ("show", path),
            ("draw", path, "--to", "a.svg"),
            ("stash", path),
            ("batch", path, "--jobs", "1", "--out", OUT),
            ("stash", "s.csv", "--import", path),
            ("stash", "s.csv", "--book", path),
            ("check", "p.json", "--text", path),
            ("plan", "--letters", "A", "--font", path, *corpus.PLAN, "--out", OUT),
            ("plan", "--letters", "A", "--stash", path, *corpus.PLAN, "--out", OUT),
        ):
            add("path", words, lambda: {"s.csv": corpus.STASH, "p.json": corpus.patterns()[0]}, ("s.csv",))
    return made


def drawn(seed: int, number: int) -> Case:
    """The case of that number: a sound input, damaged."""
    rng = random.Random(f"{seed}:{number}")
    case = rng.choices(
        (_pattern, _picture, _stash, _orders, _text, _flags, _letters), (32, 22, 17, 3, 6, 16, 4)
    )[0](rng)
    return _surrounded(case, random.Random(f"{seed}:{number}:around"))


def _surrounded(case: Case, rng: random.Random) -> Case:
    """The case, one time in three, among files in the way, pipes and links, on a terminal, under a mask."""
    if rng.random() > 0.34:
        return case
    names = sorted(case.files)
    odd = {rng.choice(names): rng.choice(ODD)} if names and rng.random() < 0.4 else {}
    writes = OUT in case.words and case.words[0] in ("plan", "blocks", "batch")
    mine = {name: name.encode() * 9 for name in rng.sample(MINE, rng.randint(1, 3))} if writes else {}
    former = writes and case.words[0] != "batch" and rng.random() < 0.6
    words = (*case.words, "--replace") if former and rng.random() < 0.8 else case.words
    around = Around(odd, mine, former, rng.random() < 0.4, rng.choice((0o022, 0o077, 0o002)))
    kept = tuple(name for name in case.kept if name not in odd)
    return replace(case, words=words, kept=kept, around=around)


def _pattern(rng: random.Random) -> Case:
    files = {"p.json": damage_json(rng, rng.choice(corpus.patterns())), "stash.csv": corpus.STASH}
    words = rng.choice(
        (
            ("check", "p.json"),
            ("check", "p.json"),
            ("show", "p.json"),
            ("show", "p.json", "--row", rng.choice(("1", "2", "99"))),
            (
                "draw",
                "p.json",
                "--to",
                OUT
                + rng.choice((".svg", ".chart.png", ".txt", ".csv", ".html", ".report.html", ".preview.png")),
            ),
            ("replan", "p.json", "--from-row", rng.choice(("2", "3")), "--left", "1=40cm", "--out", OUT),
            ("stash", "stash.csv", "--book", "p.json", "--yes"),
        )
    )
    return Case("pattern", words, files, ("stash.csv",))


def _picture(rng: random.Random) -> Case:
    name = rng.choice(sorted(corpus.pictures()))
    content = damage_bytes(rng, corpus.pictures()[name])
    if rng.random() < 0.1:
        content = damage_bytes(rng, corpus.pictures()[rng.choice(sorted(corpus.pictures()))])
    shape = ("--grid",) if rng.random() < 0.2 else ("--strands", "6", "--rows", "4")
    return Case("picture", ("plan", name, *shape, *corpus.PLAN, "--out", OUT), {name: content})


def _stash(rng: random.Random) -> Case:
    sound, name = rng.choice(((corpus.STASH, "s.csv"), (corpus.STASH, "s.csv"), (corpus.GPL, "s.gpl")))
    content = damage_bytes(rng, sound) if name == "s.gpl" else damage_cells(rng, sound)
    files = {
        name: content,
        "stash.csv": corpus.STASH,
        "flag.png": corpus.pictures()["flag.png"],
        "p.json": corpus.patterns()[1],
    }
    words = rng.choices(
        (
            ("stash", name),
            ("stash", name, "--near", rng.choice(WORDS)),
            ("stash", "stash.csv", "--import", name, "--yes"),
            ("stash", name, "--book", "p.json", "--yes"),
            (
                "plan",
                "flag.png",
                "--stash",
                name,
                "--strands",
                "5",
                "--rows",
                "4",
                *corpus.PLAN,
                "--out",
                OUT,
            ),
        ),
        (4, 2, 4, 3, 1),
    )[0]
    return Case("stash", words, files, ("stash.csv", name))


def _orders(rng: random.Random) -> Case:
    files = {"o.csv": damage_cells(rng, corpus.ORDERS), "flag.png": corpus.pictures()["flag.png"]}
    return Case("orders", ("batch", "o.csv", "--effort", "0.01", "--jobs", "1", "--out", OUT), files)


def _text(rng: random.Random) -> Case:
    which = rng.randrange(len(corpus.instructions()))
    files = {"p.json": corpus.patterns()[which], "i.txt": damage_bytes(rng, corpus.instructions()[which])}
    return Case("text", ("check", "p.json", "--text", "i.txt"), files)


def _flags(rng: random.Random) -> Case:
    command = rng.choice(
        (
            "plan",
            "plan",
            "plan",
            "blocks",
            "blocks",
            "check",
            "show",
            "draw",
            "gauge",
            "gauge",
            "stash",
            "replan",
            "batch",
        )
    )
    files = {
        "p.json": corpus.patterns()[rng.randrange(12)],
        "flag.png": corpus.pictures()["flag.png"],
        "s.csv": corpus.STASH,
        "o.csv": b"letters,strands,rows\nI,8,8\n",
    }
    begin = {
        "plan": rng.choice(
            (
                ["flag.png", "--strands", "6", "--rows", "4"],
                ["--letters", "I", "--strands", "8", "--rows", "8"],
            )
        ),
        "blocks": ["--groups", rng.choice(("navy 2, chalk 2", *WORDS)), "--rows", "6"],
        "check": ["p.json"],
        "show": ["p.json"],
        "draw": ["p.json", "--to", f"{OUT}.{rng.choice(('svg', 'txt', 'csv'))}"],
        "gauge": [rng.choice(("quay", *WORDS))],
        "stash": [rng.choice(("s.csv", "s.csv", *WORDS))],
        "replan": [
            "p.json",
            "--from-row",
            rng.choice(("2", *NUMBERS)),
            "--left",
            rng.choice(("1=40cm", *WORDS)),
        ],
        "batch": ["o.csv"],
    }[command]
    # What would make a case long comes last, so that it holds whatever was drawn before.
    end = {
        "plan": [*corpus.PLAN, "--switching-rows", "0", "--out", OUT],
        "blocks": ["-q", "--out", OUT],
        "batch": ["--effort", "0.01", "--jobs", "1", "-q", "--out", OUT],
    }
    drawn_words = flag_words(rng, command)
    return Case(
        "flags",
        (command, *begin, *drawn_words, *end.get(command, [])),
        files,
        ("p.json", "flag.png", "o.csv"),
    )


def _letters(rng: random.Random) -> Case:
    text = "".join(rng.choice("RCIl♥é1&ß İ\u0301漢م\u202e") for _ in range(rng.randint(1, 4)))
    title = ("--title", rng.choice(WORDS)) if rng.random() < 0.5 else ()
    return Case(
        "letters",
        ("plan", "--letters", text, "--strands", "8", "--rows", "10", *title, *corpus.PLAN, "--out", OUT),
    )
