"""Shared tying of a band that repeats: every repeat is tied by the same knots."""

from __future__ import annotations

from pipeline.band.network import Repeat
from pipeline.band.pattern import Pattern, Section
from pipeline.band.replay import replay
from pipeline.literals import Level
from pipeline.materials.sharing import Late, never, share


def share_alike(
    pattern: Pattern, repeat: Repeat | None, level: Level, *, margin: float | None = None, late: Late = never
) -> Pattern:
    """Share the tying of one repeat, and tie all of them so; rows before and after stay as they are.

    ``repeat``: rows counted over all sections of the pattern; None shares the whole band; ``late`` as in
    ``share``. Which strand ties moves on from repeat to repeat wherever strands of a thread have changed
    places, so what one repeat shares out, the next ones share out further.
    """
    if repeat is None:
        return share(pattern, level, margin=margin, late=late)
    rows = [row for section in pattern.sections for row in section.rows]
    once = {
        "strands": replay(pattern)[repeat.first].before,
        "sections": _cut(pattern, repeat.first, repeat.first + repeat.rows),
        "joins": (),
    }
    shared = share(pattern.model_copy(update=once), level, margin=margin, late=late)
    knots = [row.knots for section in shared.sections for row in section.rows]
    for i in range(repeat.rows * repeat.times):
        at = repeat.first + i
        rows[at] = rows[at].model_copy(update={"knots": knots[i % repeat.rows]})
    return pattern.with_rows(rows)


def _cut(pattern: Pattern, first: int, stop: int) -> tuple[Section, ...]:
    """The sections, or parts of them, that rows ``first`` … ``stop`` − 1 lie in."""
    parts, begin = [], 0
    for section in pattern.sections:
        rows = section.rows[max(0, first - begin) : max(0, stop - begin)]
        begin += len(section.rows)
        if rows:
            parts.append(section.model_copy(update={"rows": rows}))
    return tuple(parts)
