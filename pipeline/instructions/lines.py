"""Written instructions as lines under their headings, and what they say before the first knot."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.instructions import grammar, words
from pipeline.limits import MOST_STRANDS

MAX_THREADS = 200
HINT = "Undo the last change to that line, or write the instructions again."


@dataclass(frozen=True, slots=True)
class Line:
    """A line with its continuations; ``number`` is that of its first line in the file, from 1."""

    number: int
    text: str


def refuse(line: Line, what: str) -> InputError:
    """The error that says what is wrong with a line; a long quotation is cut."""
    what = what if len(what) <= 200 else f"{what[:200]}…"
    return InputError(f"line {line.number} of the instructions: {what}.", HINT)


def parts_of(text: str) -> dict[str, list[Line]]:
    """The lines under each heading; the title and its underline come before them."""
    parts: dict[str, list[Line]] = {}
    lines = list(logical_lines(text))
    for line in lines[2:]:
        expected = words.HEADINGS[len(parts)] if len(parts) < len(words.HEADINGS) else None
        if line.text in words.HEADINGS and line.text not in parts:
            later = words.HEADINGS[len(parts) :]
            if line.text != expected and not (line.text in later and "Work" in parts):
                raise refuse(line, f"the part {line.text!r} comes where {expected!r} should")
            parts[line.text] = []
        elif parts:
            parts[next(reversed(parts))].append(line)
        else:
            raise refuse(line, f"the part {expected!r} should begin here")
    if "Work" not in parts:
        raise InputError(
            f"the instructions lack the part {words.HEADINGS[len(parts)]!r}.",
            "Name a text that hitchgrid wrote.",
        )
    return parts


def logical_lines(text: str) -> Iterator[Line]:
    """Lines with their indented continuations; numbers are those of the first line, from 1."""
    number, parts = 0, [""]
    for n, raw in enumerate(text.split("\n"), start=1):
        line = raw.rstrip()
        if line.startswith(" ") and parts[0]:
            parts.append(line.strip())
            continue
        if parts[0]:
            yield Line(number, " ".join(parts))
        number, parts = n, [line.strip()]
    if parts[0]:
        yield Line(number, " ".join(parts))


def threads_of(lines: list[Line]) -> dict[int, str]:
    """How each thread is called, by its index; threads that no strand has are not listed."""
    names: dict[int, str] = {}
    for line in lines:
        match = grammar.THREAD.fullmatch(line.text)
        if match is None:
            continue
        if len(names) >= MAX_THREADS:
            raise refuse(line, f"there are more than {MAX_THREADS} threads")
        if int(match[1]) <= max(names, default=-1) + 1 or match[2] in names.values():
            raise refuse(line, "the list of threads is damaged")
        names[int(match[1]) - 1] = match[2]
    return names


def starting_order(lines: list[Line], threads: Mapping[int, str]) -> tuple[int, ...]:
    """The thread index at each starting position."""
    for line in lines:
        match = grammar.START.fullmatch(line.text)
        if match is not None:
            order = expanded(line, match[1], threads, MOST_STRANDS)
            if len(order) != int(match[2]) or len(order) < 2:
                raise refuse(line, f"the order lists {len(order)} strands and says {match[2]}")
            return tuple(order)
    raise InputError("the instructions do not tell the order at the start.", HINT)


def expanded(line: Line, text: str, threads: Mapping[int, str], most: int) -> list[int]:
    """Expand "2 navy, 1 chalk" to thread indices."""
    order: list[int] = []
    for part in text.split(", "):
        match = grammar.COUNTED.fullmatch(part)
        if match is None:
            raise refuse(line, f"{part!r} is not a number and a thread")
        count = int(match[1])
        if len(order) + count > most:
            raise refuse(line, f"there are more than {most} strands")
        order += [thread_called(line, match[2], threads)] * count
    return order


def listed(line: Line, text: str, most: int) -> list[int]:
    """Expand "1, 4–6" to numbers."""
    numbers: list[int] = []
    for part in text.split(", "):
        match = grammar.SPANNED.fullmatch(part)
        if match is None:
            raise refuse(line, f"{part!r} is no strand")
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first or len(numbers) + last - first >= most:
            raise refuse(line, f"there are more than {most} strands")
        numbers += range(first, last + 1)
    return numbers


def thread_called(line: Line, name: str, threads: Mapping[int, str]) -> int:
    """The index of a thread by what it is called."""
    for index, called in threads.items():
        if called == name:
            return index
    raise refuse(line, f"there is no thread {name!r}")
