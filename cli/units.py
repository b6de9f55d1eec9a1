"""Lengths as people write them: "16 cm", "160mm", "6 1/2 in"."""

from __future__ import annotations

import re
from fractions import Fraction

from pipeline.errors import InputError

MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "″": 25.4}
"""Millimetres per unit; the inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
LONGEST_MM = 1e6
_LENGTH = re.compile(
    r"""\s*(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)?        # 16  6.5  6,5
        (?:\s*(?P<fraction>\d+/[1-9]\d*))?             # 1/2
        \s*(?P<unit>[a-z"″]*)\s*""",
    re.VERBOSE,
)


def parse_length(text: str, flag: str = "a length") -> float:
    """Return the millimetres of ``text``; a bare number is millimetres.

    Raises InputError, naming ``flag``, for anything that is not a length above zero.

    >>> parse_length("16 cm"), parse_length("6 1/2 in")
    (160.0, 165.1)
    """
    match = _LENGTH.fullmatch(text.lower()) if len(text) <= 60 else None
    unit = match["unit"] or "mm" if match else ""
    if match is None or unit not in MM_PER or not (match["number"] or match["fraction"]):
        raise InputError(f"{flag}: {text[:60]!r} is not a length.", "Write it as 160mm, 16cm or 6.3in.")
    number = float((match["number"] or "0").replace(",", ".")) + float(Fraction(match["fraction"] or "0"))
    millimetres = round(number * MM_PER[unit], 6)
    if not 0 < millimetres <= LONGEST_MM:
        raise InputError(f"{flag}: {text[:60]!r} is out of range.", "Write it as 160mm, 16cm or 6.3in.")
    return millimetres


def spell_length(millimetres: float) -> str:
    """Write a length as makers measure it: millimetres below 10 cm, centimetres to 2 m, metres above.

    >>> spell_length(75), spell_length(1234), spell_length(18000)
    ('75 mm', '123.4 cm', '18.00 m')
    """
    if millimetres < 100:
        return f"{millimetres:.0f} mm"
    return f"{millimetres / 10:.1f} cm" if millimetres < 2000 else f"{millimetres / 1000:.2f} m"
