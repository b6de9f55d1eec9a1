"""Touching up a design: the maker points at single cells and gives them another thread, or frees them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.design.model import Design
from pipeline.errors import InputError


@dataclass(frozen=True, slots=True)
class Touch:
    """A cell by its row and position, from 0, and the thread it shall show; None asks for nothing there."""

    row: int
    position: int
    thread: str | None


FIRM = 4.0
"""How much more a touched cell weighs than a plain one; from our own looking, no source."""


def touched(drawn: Design, touches: Sequence[Touch]) -> Design:
    """The design with what its maker touched; of two touches of one cell the later counts.

    In rows that repeat, all repeats are touched. A cell that is given a thread is of a kind of its own: a
    plain area of that thread, ``FIRM`` times as dear to spoil, in which nothing else serves.

    Raises InputError for a cell that the design does not have, or a thread that is not among its own.
    """
    if not touches:
        return drawn
    kinds = drawn.kinds.copy()
    index = {thread.name: i for i, thread in enumerate(drawn.threads)}
    own, plain = len(drawn.costs), slice(len(index))
    for touch in touches:
        if not (0 <= touch.row < kinds.shape[0] and 0 <= touch.position < kinds.shape[1]):
            raise InputError(
                f"the picture has no cell at row {touch.row + 1}, position {touch.position + 1}.",
                f"It has {kinds.shape[0]} rows of {kinds.shape[1]} cells.",
            )
        if touch.thread is not None and touch.thread not in index:
            raise InputError(f"the band has no thread {touch.thread!r}.", f"It has {', '.join(index)}.")
        kind = -1 if touch.thread is None else own + index[touch.thread]
        kinds[_rows(drawn, touch.row), touch.position] = kind
    return replace(
        drawn,
        kinds=kinds,
        costs=np.vstack([drawn.costs, FIRM * drawn.costs[plain]]),
        serves=np.vstack([drawn.serves, np.eye(len(index), dtype=np.bool_)]),
        floor=None if drawn.floor is None else np.concatenate([drawn.floor, drawn.floor[plain]]),
        light=None if drawn.light is None else np.vstack([drawn.light, drawn.light[plain]]),
    )


def _rows(drawn: Design, row: int) -> slice:
    """The row, with its like in every repeat."""
    repeat = drawn.repeat
    if repeat is None or not repeat.first <= row < repeat.stop:
        return slice(row, row + 1)
    return slice(repeat.first + (row - repeat.first) % repeat.rows, repeat.stop, repeat.rows)
