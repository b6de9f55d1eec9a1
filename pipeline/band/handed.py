"""The pattern for the other hand: left and right exchanged, the picture left as it is.

A band seen in a mirror is a legal band, but its letters are mirrored too. There are two ways for a
maker who works from right to left to get the letters right, and both use :func:`mirrored`:

- *from the far side*: seen from the opposite side of the board a band is turned half round, not
  mirrored. What ran from left to right runs from right to left, a forward knot is seen as a backward one,
  and the letters, upside down while one works, read right when the band is picked up. Any finished
  pattern can be read that way; ``mirrored(pattern)`` is what is seen from there.
- *planned for the left hand*: plan the picture mirrored, and tie ``mirrored`` of that plan; the two cancel
  in the picture and the first row starts at the right edge.
"""

from __future__ import annotations

from pipeline.band.pattern import End, Ends, Pattern, Row, Section


def mirrored(pattern: Pattern) -> Pattern:
    """Exchange left and right in every knot, in the starting order and at the ends; the rest stays.

    Twice gives back the same pattern.

    >>> from pipeline.band.example import two_rows
    >>> mirrored(two_rows()).strands
    (1, 1, 1, 0)
    """
    last = len(pattern.strands) - 2

    def row(row: Row) -> Row:
        return Row(knots=tuple((last - p, knot.mirrored) for p, knot in row.knots), wanted=row.wanted)

    sections = tuple(
        Section(kind=s.kind, worked=s.worked, rows=tuple(row(r) for r in s.rows)) for s in pattern.sections
    )
    ends = Ends(start=_end(pattern.ends.start, last + 1), finish=_end(pattern.ends.finish, last + 1))
    return pattern.model_copy(update={"strands": pattern.strands[::-1], "sections": sections, "ends": ends})


def _end(end: End, last: int) -> End:
    folded = tuple(sorted((last - other, last - one) for one, other in end.folded))
    taper = None if end.taper is None else end.taper[::-1]
    return end.model_copy(update={"folded": folded, "taper": taper})
