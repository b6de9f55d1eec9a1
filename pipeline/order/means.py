"""The time and memory that a band takes at least, and the refusal of one that takes more than there is.

A band that cannot be finished is better refused at once than after ten minutes, or by the system for want of
memory.
"""

from __future__ import annotations

import os
from bisect import bisect_right
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from pipeline.errors import ImpossibleError
from pipeline.limits import MOST_CHART_KNOTS, MOST_SAID

LEAST_BYTES, EACH_BYTES = 250_000_000, 6_000
"""Memory that a plan takes in all and for each of rows × strands: measured, on the small side."""


def refuse_beyond_means(
    rows: int,
    strands: int,
    *,
    seconds: float | None = None,
    finishing_s: Callable[[int], float] = lambda places: 0.0,
    memory: int | None = None,
) -> None:
    """Raise ImpossibleError for a band that cannot be finished in ``seconds`` (None: any) or in memory.

    ``finishing_s``: the seconds that so many places (rows × strands) take; ``memory``: bytes to be had, by
    default as the system says. The sentence tells the rows that can be done.

    >>> refuse_beyond_means(60, 24, seconds=10, finishing_s=lambda places: 0.001 * places)
    >>> refuse_beyond_means(5000, 400, seconds=60, finishing_s=lambda places: 0.001 * places)
    Traceback (most recent call last):
    pipeline.errors.ImpossibleError: 5000 rows of 400 strands take more than the 60 seconds there are. ...
    """
    if seconds is not None and finishing_s(rows * strands) > seconds:
        fits = bisect_right(range(rows), seconds, key=lambda r: finishing_s(r * strands)) - 1
        _refuse(rows, strands, fits, f"take more than the {max(0.0, seconds):.0f} seconds there are")
    there = available_bytes() if memory is None else memory
    if there is not None and LEAST_BYTES + EACH_BYTES * rows * strands > there:
        fits = (there - LEAST_BYTES) // (EACH_BYTES * strands)
        _refuse(rows, strands, fits, f"take more than the {_memory(there)} of memory there are")


def refuse_beyond_chart(rows: int, knots: int) -> None:
    """Raise ImpossibleError for a band of so many knots that no chart of it can be drawn.

    >>> refuse_beyond_chart(3000, 300_000)
    Traceback (most recent call last):
    pipeline.errors.ImpossibleError: a chart of 300,000 knots cannot be drawn, 100,000 is the most. ...
    """
    if knots > MOST_CHART_KNOTS:
        because = f"a chart of {knots:,} knots cannot be drawn, {MOST_CHART_KNOTS:,} is the most."
        raise ImpossibleError(because, _shorter(rows, MOST_CHART_KNOTS / knots))


def refuse_beyond_words(rows: int, knots: int, strands: int) -> None:
    """Raise ImpossibleError for a band that takes too long to be put into words."""
    if knots * strands > MOST_SAID:
        because = f"{knots:,} knots on {strands} strands are too many to be put into words."
        raise ImpossibleError(because, _shorter(rows, MOST_SAID / (knots * strands)))


def refuse_beyond_files(rows: int, knots: int, strands: int) -> None:
    """Raise ImpossibleError for a band that cannot be both charted and told; the rows it tells can be."""
    most = min(MOST_CHART_KNOTS, MOST_SAID // strands)
    if knots > most:
        because = (
            f"{knots:,} knots on {strands} strands cannot be drawn and told in words, {most:,} is the most."
        )
        raise ImpossibleError(because, _shorter(rows, most / knots))


def _shorter(rows: int, share: float) -> str:
    return f"Some {int(rows * share)} of its {rows} rows can be done."


def _refuse(rows: int, strands: int, fits: int, because: str) -> None:
    hint = (
        f"{fits} rows of so many strands can be done; or give it more."
        if fits > 0
        else "Not even one row can be done with so little: give it more."
    )
    raise ImpossibleError(f"{rows} rows of {strands} strands {because}.", hint)


def _memory(count: int) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(0, count) / 1e6:.0f} MB"


def available_bytes() -> int | None:
    """Memory that this process can still get, or None where the system does not tell."""
    found: list[int] = []
    with suppress(OSError, ValueError, StopIteration):
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        found.append(1024 * int(next(line for line in lines if line.startswith("MemAvailable:")).split()[1]))
    with suppress(OSError, ValueError):  # a container's share
        group = Path("/sys/fs/cgroup")
        most = int((group / "memory.max").read_text(encoding="ascii"))
        found.append(most - int((group / "memory.current").read_text(encoding="ascii")))
    with suppress(ImportError, OSError, ValueError):
        import resource

        soft, _ = resource.getrlimit(resource.RLIMIT_AS)
        if soft != resource.RLIM_INFINITY:
            used = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
            found.append(soft - used * os.sysconf("SC_PAGE_SIZE"))
    return max(0, min(found)) if found else None
