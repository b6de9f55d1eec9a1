"""Kinds of thread, and how a kind is named."""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass

from pipeline.errors import InputError


def diameter_mm(tex: float) -> float:
    """Diameter of a thread of that linear density (g/km), packed.

    d = 0.0375·√tex, F. T. Peirce's relation at a specific volume of 1.1 cm³/g.

    >>> round(diameter_mm(240), 2)
    0.58
    """
    return 0.0375 * math.sqrt(tex)


@dataclass(frozen=True, slots=True)
class Preset:
    """A kind of thread. ``diameter_mm`` is as worked; ``skein_m`` is None where lengths vary."""

    name: str
    skein_m: float | None
    tex: float
    diameter_mm: float


DEFAULT_PRESET = "six-strand embroidery cotton"

# Skein lengths of the cottons: as several retailers print them (8.7 yd, 25 m and 15 m). Diameters follow
# Peirce's relation, except embroidery cotton, whose six loose strands measure 0.71 mm as worked, and the
# last two, whose diameter is what they are sold by (so their tex is derived). A swatch overrules them all.
PRESETS: dict[str, Preset] = {
    preset.name: preset
    for preset in (
        Preset(DEFAULT_PRESET, 8.0, 240, 0.71),
        Preset("pearl cotton 5", 25.0, 200, 0.53),
        Preset("pearl cotton 3", 15.0, 333, 0.68),
        Preset("waxed polyester 1 mm", None, 800, 1.0),
        Preset("macramé cotton 2 mm", None, 2800, 2.0),
    )
}


def preset_named(text: str) -> Preset:
    """Return a preset by name, in any case, by a part that only one name has. Raises InputError."""
    wanted = folded(text)
    fits = [preset for name, preset in PRESETS.items() if wanted == folded(name)]
    fits = fits or [preset for name, preset in PRESETS.items() if wanted and wanted in folded(name)]
    if len(fits) != 1:
        raise InputError(f"{text[:60]!r} is not a kind of thread.", f"Known: {', '.join(PRESETS)}.")
    return fits[0]


def folded(text: str) -> str:
    """Fold case, accents, blanks and American spelling away, for comparing names.

    >>> folded("Slate  GRAY"), folded("six-strand embroidery cotton")
    ('slate grey', 'six-strand embroidery cotton')
    """
    flat = unicodedata.normalize("NFKD", text.casefold())
    words = "".join(c for c in flat if not unicodedata.combining(c)).split()
    return " ".join(word.replace("gray", "grey") for word in words)
