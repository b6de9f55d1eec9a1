"""The command that asks for a band: what a maker would type to have it planned again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

from pipeline.drawer.stash import spell_names
from pipeline.files.channels import shell
from pipeline.literals import HAND_OVERS_OF
from pipeline.order.asked import Artwork, Band, Drawer, Request, Tying, option_of
from pipeline.order.options import NAMED, Kind, Option

ALWAYS = ("worked", "hand-overs")
"""Said though it be usual."""
SPELLED: dict[str, Callable[[Any], object]] = {
    "across": lambda direction: direction == "across",
    "crop": lambda parts: ",".join(f"{part:g}" for part in parts),
    "gauge": lambda gauge: gauge if isinstance(gauge, str) else f"{gauge:g}mm",
    "hand-overs": lambda ease: HAND_OVERS_OF[ease.value],
    "margin": lambda share: f"{100 * share:g}",
}
"""How a value is told to an option that does not hold it as it is."""


def command(asked: Request, *, stash: Path | None = None) -> str:
    """Return the line for a shell, quoted; ``stash`` is the file that the drawer's threads were read from.

    Only what differs from the defaults is said, but always size, way of working and hand-overs.

    >>> from pipeline.drawer.stash import builtin_stash
    >>> from pipeline.order.asked import PictureSource
    >>> buoy, drawer = PictureSource(Path("buoy.png")), Drawer(builtin_stash(), colours=3)
    >>> command(Request(buoy, Band(strands=20, wrist_mm=160), drawer))
    'hitchgrid plan buoy.png --strands 20 --worked rows --wrist 160mm --colours 3 --hand-overs few'
    """
    words = [word for part in asked for word in _said(part, stash)]
    return shell(["hitchgrid", "plan", *words])


def _said(part: Artwork | Band | Drawer | Tying, stash: Path | None) -> Iterator[str]:
    """Words for what a part of the request has otherwise than usual."""
    for field in fields(part):
        option, value = NAMED.get(option_of(field.name)), getattr(part, field.name)
        if field.name == "stash":
            value = stash
        if option is None or value is None or (value == field.default and option.name not in ALWAYS):
            continue
        spell = SPELLED.get(option.name)
        yield from _words(option, value if spell is None else spell(value))
        if option.name == "border" and value != "lines":
            yield from ("--border-kind", value)


def _words(option: Option, value: Any) -> Iterator[str]:
    flag = f"--{option.name}"
    if option.kind is Kind.SWITCH:
        yield flag if value else f"--{option.opposite}"
    elif option.kind is Kind.COUNTS:
        for name, count in value.items():
            yield from (flag, f"{name}={count}")
    else:
        if option.kind is Kind.NAMES:
            text = spell_names(name or "*" for name in value)
        else:
            text = f"{value:g}mm" if option.kind is Kind.LENGTH else f"{value}"
        if option.argument:
            yield f"./{text}" if text.startswith("-") else text
        else:
            yield from (flag, text) if not text.startswith("-") else (f"{flag}={text}",)
