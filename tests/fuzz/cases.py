"""From a seed and a number to a case: files to lay out, a command to run, and what may be written."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from tests.fuzz import corpus
from tests.fuzz.around import OUT, Case, surrounded
from tests.fuzz.mutate import NUMBERS, WORDS, damage_bytes, damage_cells, damage_json, flag_words

SOUND, SOUND_IN_ODD_SURROUNDINGS = 0.1, 0.6
"""Shares of the cases whose input is left sound, so that commands go through to their end."""


def fixed() -> list[Callable[[], Case]]:
    """Every hostile file through every command that reads its kind."""
    made: list[Callable[[], Case]] = []

    def add(
        kind: str,
        words: tuple[str, ...],
        files: Callable[[], Mapping[str, bytes]],
    ) -> None:
        made.append(lambda: Case(kind, words, files()))

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
        add("pattern", ("stash", "stash.csv", "--book", name, "--yes"), with_stash)
    for name, content in corpus.HOSTILE_STASHES.items():
        others = {"flag.png": corpus.pictures()["flag.png"], "stash.csv": corpus.STASH}
        lay = lambda name=name, content=content, others=others: {name: content(), **others}  # noqa: E731
        add("stash", ("stash", name), lay)
        add("stash", ("stash", name, "--near", "#123456"), lay)
        add("stash", ("stash", "stash.csv", "--import", name, "--yes"), lay)
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
            add("path", words, lambda: {"s.csv": corpus.STASH, "p.json": corpus.patterns()[0]})
    return made


def drawn(seed: int, number: int) -> Case:
    """The case of that number: a sound input, mostly damaged, two times in five in odd surroundings."""
    rng, around = random.Random(f"{seed}:{number}"), random.Random(f"{seed}:{number}:around")
    odd = around.random() < 0.4
    sound = rng.random() < (SOUND_IN_ODD_SURROUNDINGS if odd else SOUND)
    harm = _left if sound else _harmed
    makers = (_pattern, _picture, _stash, _orders, _text, _flags, _letters)
    case = rng.choices(makers, (32, 22, 17, 3, 6, 16, 4))[0](rng, harm)
    return surrounded(case, around) if odd else case


Damage = Callable[[random.Random, bytes], bytes]
Harm = Callable[[random.Random, Damage, bytes], bytes]


def _left(rng: random.Random, damage: Damage, data: bytes) -> bytes:
    return data


def _harmed(rng: random.Random, damage: Damage, data: bytes) -> bytes:
    return damage(rng, data)


def _pattern(rng: random.Random, harm: Harm) -> Case:
    files = {"p.json": harm(rng, damage_json, rng.choice(corpus.patterns())), "stash.csv": corpus.STASH}
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
    return Case("pattern", words, files)


def _picture(rng: random.Random, harm: Harm) -> Case:
    name = rng.choice(sorted(corpus.pictures()))
    content = harm(rng, damage_bytes, corpus.pictures()[name])
    if rng.random() < 0.1:
        content = damage_bytes(rng, corpus.pictures()[rng.choice(sorted(corpus.pictures()))])
    shape = ("--grid",) if rng.random() < 0.2 else ("--strands", "6", "--rows", "4")
    return Case("picture", ("plan", name, *shape, *corpus.PLAN, "--out", OUT), {name: content})


def _stash(rng: random.Random, harm: Harm) -> Case:
    sound, name = rng.choice(((corpus.STASH, "s.csv"), (corpus.STASH, "s.csv"), (corpus.GPL, "s.gpl")))
    content = harm(rng, damage_bytes if name == "s.gpl" else damage_cells, sound)
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
    return Case("stash", words, files)


def _orders(rng: random.Random, harm: Harm) -> Case:
    files = {"o.csv": harm(rng, damage_cells, corpus.ORDERS), "flag.png": corpus.pictures()["flag.png"]}
    return Case("orders", ("batch", "o.csv", "--effort", "0.01", "--jobs", "1", "--out", OUT), files)


def _text(rng: random.Random, harm: Harm) -> Case:
    which = rng.randrange(len(corpus.instructions()))
    files = {
        "p.json": corpus.patterns()[which],
        "i.txt": harm(rng, damage_bytes, corpus.instructions()[which]),
    }
    return Case("text", ("check", "p.json", "--text", "i.txt"), files)


COMMANDS = (
    *("plan", "plan", "plan", "blocks", "blocks", "check", "show", "draw"),
    *("gauge", "gauge", "stash", "replan", "batch", "choices"),
)
LAST = {
    "plan": (*corpus.PLAN, "--switching-rows", "0", "--out", OUT),
    "blocks": ("-q", "--out", OUT),
    "batch": ("--effort", "0.01", "--jobs", "1", "-q", "--out", OUT),
    "choices": ("--effort", "0.01", "--jobs", "1", "-q", "--out", OUT),
}
"""What would make a case long comes last, so that it holds whatever was drawn before."""


def _flags(rng: random.Random, harm: Harm) -> Case:
    command = rng.choice(COMMANDS)
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
        "choices": ["flag.png", "--grid"],
    }[command]
    drawn_words = flag_words(rng, command) if harm is _harmed else []
    return Case("flags", (command, *begin, *drawn_words, *LAST.get(command, ())), files)


def _letters(rng: random.Random, harm: Harm) -> Case:
    text = "".join(rng.choice("RCIl♥é1&ß İ\u0301漢م\u202e") for _ in range(rng.randint(1, 4)))
    title = ("--title", rng.choice(WORDS)) if rng.random() < 0.5 else ()
    return Case(
        "letters",
        ("plan", "--letters", text, "--strands", "8", "--rows", "10", *title, *corpus.PLAN, "--out", OUT),
    )
