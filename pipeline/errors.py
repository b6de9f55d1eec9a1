"""The one family of errors that a maker may meet.

Every error carries one sentence (what is wrong, and where) and one thing to try next. The command
line prints both on standard error and exits with ``exit_code``; anything that is not a
``HitchgridError`` is a fault of ours and keeps its traceback.
"""

from __future__ import annotations


class HitchgridError(Exception):
    """A problem that the maker can act on.

    ``message`` names what and where in one sentence; ``hint`` says what to try next.
    """

    exit_code = 2

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        end = "" if self.message.endswith((".", "!", "?", "…")) or not self.hint else "."
        return f"{self.message}{end} {self.hint}".strip()


class InputError(HitchgridError):
    """A flag, a picture, a stash or any other input that cannot be used."""


class PatternError(HitchgridError):
    """A pattern file that is not valid or not legal; ``place`` is such as ``sections[2].rows[14]``."""

    def __init__(self, message: str, hint: str = "", place: str = "") -> None:
        super().__init__(f"{place}: {message}" if place else message, hint)
        self.place = place


class ImpossibleError(HitchgridError):
    """The request is understood and cannot be met; the message says because of what."""


class OutputError(HitchgridError):
    """A result that cannot be written where it was asked for."""
