"""Seeded damage: to bytes, to JSON documents, to cells of a list, to the words of a command."""

from __future__ import annotations

import importlib
import json
import random
from collections.abc import Sequence
from enum import StrEnum
from functools import cache
from typing import Any, Literal, get_args, get_origin, get_type_hints

import typer

from cli.main import app

GROUP = typer.main.get_command(app)

NUMBERS = (
    "0",
    "1",
    "2",
    "-1",
    "-0",
    "10000",
    "99999999999999999999",
    "1e309",
    "nan",
    "inf",
    "-inf",
    "0x10",
    "٣",
    "²",
    "1.5",
    "1,5",
)
WORDS = (
    "",
    " ",
    "\t",
    "*",
    ",",
    ",,",
    "=1+1",
    '=HYPERLINK("x")',
    "@sum",
    "+1",
    "-",
    "--",
    "--help",
    "-h",
    "a" * 5000,
    "\x1b[31mred",
    "\x07",
    "\u202eevan",
    "\u2066x",
    "\ufeff",
    "\ud800",
    "\x00",
    "é\u0301\u0301\u0301",
    "★",
    "👩‍👩‍👧",
    "مرسى",
    "漢字",
    "<script>alert(1)</script>",
    "</title>",
    "[bold]x[/]",
    "[/]",
    "{{ 7*7 }}",
    "${HOME}",
    "$(id)",
    "%s%n",
    "../../etc/passwd",
    "/dev/zero",
    "/dev/null",
    "/",
    ".",
    "..",
    "~",
    "con",
    "navy",
    "chalk",
    "navy,chalk",
    "navy,*",
    "navy=3",
    "navy=-3",
    "navy 4, chalk 3",
    "1-2 left",
    "2-1 right and 3-3 left",
    "16cm",
    "6 1/2 in",
    "7 parsecs",
    "1km",
    "0mm",
    "1/0 in",
    "adult-medium",
    "0.7mm",
    "0,0,1,1",
    "0,0,nan,1",
    "#1b2a59",
    "#ggg",
    "10x40=18mmx60mm",
    "0x0=0mmx0mm",
    "40,12=390mm",
    "0,0=1mm",
    "1=140cm",
    "240tex",
)


def damage_bytes(rng: random.Random, data: bytes) -> bytes:
    """Flip, cut, repeat, insert or overwrite, a few times."""
    body = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 12))):
        at = rng.randrange(len(body) + 1)
        kind = rng.randrange(7)
        if kind == 0 and body:
            body[at % len(body)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del body[at : at + rng.choice((1, 3, 40, 1000))]
        elif kind == 2:
            body[at:at] = bytes(rng.randrange(256) for _ in range(rng.choice((1, 4, 30))))
        elif kind == 3:
            piece = body[at : at + rng.choice((1, 8, 100))]
            body[at:at] = piece * rng.choice((1, 2, 50))
        elif kind == 4:
            del body[at:]
        elif kind == 5:
            body[at : at + 4] = rng.choice(
                (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\0\0\xff\xff")
            )
        else:
            body[at:at] = rng.choice(WORDS).encode("utf-8", "surrogatepass")
    return bytes(body)


def damage_json(rng: random.Random, data: bytes) -> bytes:
    """Replace, remove, repeat or rename values of a JSON document, and now and then its bytes."""
    if rng.random() < 0.25:
        return damage_bytes(rng, data)
    document = json.loads(data)
    for _ in range(rng.choice((1, 1, 1, 2, 5))):
        holder, key = rng.choice(list(_places(document)))
        kind = rng.randrange(6)
        if kind == 0:
            del holder[key]
        elif kind == 1 and isinstance(holder, list):
            holder.insert(key, holder[key])
        elif kind == 2 and isinstance(holder, list):
            other = rng.randrange(len(holder))
            holder[key], holder[other] = holder[other], holder[key]
        elif kind == 3 and isinstance(holder, dict):
            holder[rng.choice(("extra", key + "s", "name", "wanted"))] = holder[key]
        else:
            holder[key] = _value(rng, holder[key])
        if not document:
            break
    text = json.dumps(document, allow_nan=True, ensure_ascii=rng.random() < 0.5)
    return text.encode("utf-8", "surrogatepass")


def _places(document: Any) -> list[tuple[Any, Any]]:
    found: list[tuple[Any, Any]] = []
    rest = [document]
    while rest:
        here = rest.pop()
        keys = here.keys() if isinstance(here, dict) else range(len(here))
        for key in keys:
            found.append((here, key))
            if isinstance(here[key], (dict, list)):
                rest.append(here[key])
    return found


def _value(rng: random.Random, old: Any) -> Any:
    numbers = (
        0,
        1,
        2,
        3,
        -1,
        7,
        399,
        400,
        10**6,
        2**63,
        10**400,
        0.5,
        -0.0,
        1e-300,
        1e6,
        1e300,
        float("nan"),
        float("inf"),
    )
    kinds = (
        "forward",
        "backward",
        "forward-backward",
        "backward-forward",
        "rows",
        "diagonal",
        "picture",
        "switching",
        "plain",
        "loop",
        "tie",
        "braid",
        "larks-head",
        "#ffffff",
        "#000000",
    )
    others: tuple[Any, ...] = (None, True, False, [], {}, [[]], "", rng.choice(WORDS))
    if isinstance(old, bool) or old is None:
        return rng.choice((True, False, 0, 1, *others))
    if isinstance(old, (int, float)):
        return rng.choice((old + 1, old - 1, *numbers, *others))
    if isinstance(old, str):
        return rng.choice((*kinds, *WORDS, *others))
    return rng.choice((*numbers, *others, [old], [old] * 3))


def damage_cells(rng: random.Random, data: bytes) -> bytes:
    """Put other words into cells of a CSV list, move or repeat lines, and now and then damage its bytes."""
    if rng.random() < 0.3:
        return damage_bytes(rng, data)
    lines = [line.split(",") for line in data.decode().splitlines()]
    for _ in range(rng.choice((1, 1, 2, 3))):
        line = rng.choice(lines)
        at = rng.randrange(len(line))
        kind = rng.randrange(6)
        if kind == 0:
            line.append(rng.choice(WORDS))
        elif kind == 1 and len(line) > 1:
            del line[at]
        elif kind == 2:
            lines.insert(rng.randrange(len(lines) + 1), list(line))
        else:
            word = rng.choice(NUMBERS if rng.random() < 0.5 else WORDS)
            line[at] = f'"{word}"' if rng.random() < 0.2 else word
    end = rng.choice(("\n", "\n", "\r\n", "\r"))
    return end.join(
        rng.choice((",", ",", ";")).join(line) if rng.random() < 0.05 else ",".join(line) for line in lines
    ).encode("utf-8", "surrogatepass")


def flag_words(rng: random.Random, command: str, *, most: int = 3) -> list[str]:
    """Some flags of a command with words that may or may not fit."""
    words: list[str] = []
    options = [p for p in _parameters(command) if p.param_type_name == "option" and "--help" not in p.opts]
    for option in rng.sample(options, min(len(options), rng.randint(1, most))):
        words.append(rng.choice((*option.opts, *option.secondary_opts)))
        if not option.is_flag:
            choices = _choices(command, option.name)
            pool: Sequence[str] = (
                choices if choices and rng.random() < 0.6 else (NUMBERS if rng.random() < 0.4 else WORDS)
            )
            words.append(rng.choice(pool))
    if rng.random() < 0.1:
        words.insert(
            rng.randrange(len(words) + 1), rng.choice((*WORDS, "--no-such-flag", "-z", "--strands="))
        )
    return words


def _parameters(command: str) -> list[Any]:
    return list(GROUP.commands[command].params)  # type: ignore[attr-defined]


@cache
def _choices(command: str, name: str) -> tuple[str, ...]:
    kind = get_type_hints(importlib.import_module(f"cli.{command}").command)[name]
    if isinstance(kind, type) and issubclass(kind, StrEnum):
        return tuple(kind)
    return get_args(kind) if get_origin(kind) is Literal else ()
