"""Reads the texts that somebody gave, option by option; every refusal says where it stands."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from pipeline.drawer.stash import split_names
from pipeline.errors import InputError
from pipeline.limits import Bounds
from pipeline.literals import listed
from pipeline.order.options import NAMED, OPTIONS, SAME_OPTION, SAME_WORD, Kind, Option
from pipeline.order.units import parse_length

Where = Callable[[str], str]
"""How the place of an option is called, from its name."""
Word = TypeVar("Word", bound=str)
SHOWN = 60
"""Characters of a wrong text that are repeated to its writer."""
_YES, _NO = ("yes", "y", "true", "on", "x", "1"), ("no", "n", "false", "off", "0")


def flag(name: str) -> str:
    """Where an option of the command line stands."""
    return "the picture" if name == "picture" else f"--{name}"


def column(line: int) -> Where:
    """Where an option stands in a list, whose lines count from 1."""
    return lambda name: f"line {line}, column {name}"


def field(name: str) -> str:
    """Where an option stands in a form."""
    return f"field {name.replace('-', ' ')}"


class Given:
    """What was given for each option, as text; an empty text is nothing.

    Raises InputError for a name that is no option, one that is given under two names, and a text that is not
    of its option's kind, whether or not it is asked for later.
    """

    def __init__(self, texts: Mapping[str, str], where: Where, options: Iterable[Option] = OPTIONS) -> None:
        self.where = where
        known = {option.name: option for option in options}
        self._options = NAMED | known
        self._texts: dict[str, str] = {}
        for key, text in texts.items():
            name = canonical(key)
            if name not in known:
                raise InputError(f"{where(key[:SHOWN])}: there is no such option.", "Leave it out.")
            if text.strip():
                if name in self._texts:
                    raise InputError(f"{where(name)} is given twice.", "Give it once.")
                self._texts[name] = text
        for name in self._texts:
            if self._options[name].kind is not Kind.LENGTH:  # some may be called by the name of a size
                self.value(name)

    def value(self, name: str) -> Any:
        """What an option says, read by its kind; None for nothing, and for a word instead of a number."""
        option, text = self._options[name], self.text(name)
        if option.kind is Kind.CHOICE:
            return self.word(name, option.words)
        if text is None or text.strip().lower() in option.words:
            return None
        read: dict[Kind, Callable[[str], Any]] = {
            Kind.WHOLE: self.whole,
            Kind.NUMBER: self.number,
            Kind.LENGTH: self.length,
            Kind.SWITCH: self.yes,
            Kind.NAMES: self.names,
            Kind.COUNTS: self.counts,
        }
        return read.get(option.kind, self.text)(name)

    def __contains__(self, name: str) -> bool:
        return name in self._texts

    def text(self, name: str) -> str | None:
        """The text, or what is usual, or None."""
        return self._texts.get(name) or self._options[name].usual or None

    def word(self, name: str, known: tuple[Word, ...]) -> Word | None:
        """One of ``known`` words, in any case and in the spelling of either side of the ocean."""
        text = self.text(name)
        if text is None:
            return None
        tidy = "-".join(text.lower().split())
        found = next((word for word in known if word in (tidy, SAME_WORD.get(tidy))), None)
        if found is None:
            near = difflib.get_close_matches(tidy, known, n=1)
            hint = f"Did you mean {near[0]}? " if near else ""
            raise self.refusal(name, "is no choice.", f"{hint}Use {listed(known, 'or')}.")
        return found

    def whole(self, name: str) -> int | None:
        """A whole number within the option's bounds."""
        text = self.text(name)
        if text is None:
            return None
        tidy = text.strip()
        digits = tidy.removeprefix("-")
        if not (digits.isascii() and digits.isdecimal() and len(digits) <= 12):
            raise self.refusal(name, "is not a whole number.", self._between(name))
        return int(self._bounded(name, int(tidy)))

    def number(self, name: str) -> float | None:
        """A number within the option's bounds, with a decimal point or comma."""
        text = self.text(name)
        if text is None:
            return None
        try:
            number = float(text.strip().replace(",", "."))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise self.refusal(name, "is not a number.", self._between(name))
        return self._bounded(name, number)

    def length(self, name: str, likely: Bounds | None = None) -> float | None:
        """A length within the option's bounds, in mm."""
        text = self.text(name)
        bounds = self._options[name].bounds
        assert bounds is not None
        return None if text is None else parse_length(text, self.where(name), bounds, likely)

    def yes(self, name: str) -> bool:
        """A switch."""
        tidy = (self.text(name) or "no").strip().lower()
        if tidy not in (*_YES, *_NO):
            raise self.refusal(name, "is neither yes nor no.", "Write yes or no.")
        return tidy in _YES

    def names(self, name: str) -> tuple[str, ...] | None:
        """Names with commas or semicolons between; one that holds either stands in double quotes."""
        text = self.text(name)
        if text is None:
            return None
        parts = split_names(text)
        if not parts or not all(parts):
            raise self.refusal(name, "has an empty name.", "Write the names with commas between.")
        return parts

    def counts(self, name: str) -> dict[str, int]:
        """NAME=COUNT pairs."""
        found: dict[str, int] = {}
        for pair in self.names(name) or ():
            thread, equals, count = (part.strip() for part in pair.rpartition("="))
            if not equals or not thread or not (count.isascii() and count.isdecimal()) or len(count) > 6:
                raise self.refusal(name, "is not NAME=COUNT.", "Write it as navy=6.", pair)
            if thread in found:
                raise InputError(f"{self.where(name)}: {thread[:SHOWN]!r} is named twice.", "Name it once.")
            found[thread] = int(count)
        return found

    def refusal(self, name: str, what: str, hint: str, text: str | None = None) -> InputError:
        """The refusal of a text, which is repeated in part."""
        told = (self.text(name) or "") if text is None else text
        return InputError(f"{self.where(name)}: {told.strip()[:SHOWN]!r} {what}", hint)

    def _bounded(self, name: str, number: float) -> float:
        bounds = self._options[name].bounds
        if bounds is not None and number not in bounds:
            raise self.refusal(name, "is out of range.", self._between(name))
        return number

    def _between(self, name: str) -> str:
        option: Option = self._options[name]
        words = "".join(f" or {word}" for word in option.words)
        if option.bounds is None:
            return f"Give a number{words}."
        return f"Give {option.bounds.least:,g} to {option.bounds.most:,.12g}{words}."


def canonical(key: str) -> str:
    """The name of an option from any way to write it.

    >>> canonical("Switching_Rows"), canonical("colors")
    ('switching-rows', 'colours')
    """
    tidy = "-".join(key.strip().lower().replace("_", " ").replace("-", " ").split())
    return SAME_OPTION.get(tidy, tidy)
