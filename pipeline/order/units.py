"""Lengths as people write them: "16 cm", "160mm", "6 1/2 in"."""

from __future__ import annotations

import re
from fractions import Fraction

from pipeline.errors import InputError
from pipeline.limits import ANY_LENGTH_MM, Bounds

MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "″": 25.4}
"""Millimetres per unit; the inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
_SPELLED = {"inch": "in", "inches": "in", "millimetres": "mm", "centimetres": "cm", "metres": "m"}
_LENGTH = re.compile(
    r"""\s*(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)?        # 16  6.5  6,5
        (?:[\s-]*(?P<fraction>\d+/[1-9]\d*))?          # 1/2
        \s*(?P<unit>[a-z"″]*)\.?\s*""",
    re.VERBOSE,
)
_WRITE = "Write it as 160mm, 16cm or 6.3in."


def parse_length(
    text: str, place: str = "a length", bounds: Bounds = ANY_LENGTH_MM, likely: Bounds | None = None
) -> float:
    """Return the millimetres of ``text``, which lie within ``bounds``.

    Raises InputError, naming ``place``, for anything that is not a length. A number other than 0 without
    a unit is refused with a question: the unit that brings it to what is ``likely``, else millimetres.

    >>> parse_length("16 cm"), parse_length("6 1/2 in")
    (160.0, 165.1)
    """
    match = _LENGTH.fullmatch(text.lower()) if len(text) <= 60 else None
    unit = match["unit"] if match else ""
    unit = _SPELLED.get(unit, unit)
    if match is None or unit not in (*MM_PER, "") or not (match["number"] or match["fraction"]):
        raise InputError(f"{place}: {text[:60]!r} is not a length.", _WRITE)
    number = float((match["number"] or "0").replace(",", ".")) + float(Fraction(match["fraction"] or "0"))
    if number and not unit:
        raise InputError(f"{place}: {text.strip()} has no unit.", _question(text.strip(), number, likely))
    millimetres = round(number * MM_PER[unit or "mm"], 6)
    if millimetres not in bounds:
        least, most = spell_flag(bounds.least), spell_flag(bounds.most)
        raise InputError(f"{place}: {text[:60]!r} is out of range.", f"It can be from {least} to {most}.")
    return millimetres


def _question(text: str, number: float, likely: Bounds | None) -> str:
    units = ("mm", "cm", "in")
    unit = next((u for u in units if likely is not None and number * MM_PER[u] in likely), "mm")
    name = {"mm": "millimetres", "cm": "centimetres", "in": "inches"}[unit]
    others = " and ".join(other for other in units if other != unit)
    return f"Are {name} meant? Then write {text}{unit}; other units are {others}."


def spell_length(millimetres: float) -> str:
    """Write a length as makers measure it: millimetres below 10 cm, centimetres to 2 m, metres above.

    >>> spell_length(75), spell_length(1234), spell_length(18000)
    ('75 mm', '123.4 cm', '18.00 m')
    """
    if millimetres < 100:
        return f"{millimetres:.0f} mm"
    return f"{millimetres / 10:.1f} cm" if millimetres < 2000 else f"{millimetres / 1000:.2f} m"


def spell_flag(millimetres: float) -> str:
    """Write a length as it is typed after a flag.

    >>> spell_flag(13), spell_flag(2500)
    ('13mm', '2.5m')
    """
    return f"{millimetres / 1000:g}m" if millimetres >= 1000 else f"{millimetres:g}mm"
