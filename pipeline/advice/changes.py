"""A plan under one change: what the advice asks for when it looks for what would make more cells."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.advice.advise import Change, ChangeKind, Replanned
from pipeline.advice.taking import under
from pipeline.band.pattern import Gauge
from pipeline.design.design import design
from pipeline.design.model import Design
from pipeline.design.pose import gauge_for, pose, space_of
from pipeline.errors import HitchgridError
from pipeline.literals import HAND_OVERS_OF, Working, other_way, working
from pipeline.order.asked import PictureSource, Request, Tying
from pipeline.routing import Question, Routed


@dataclass(frozen=True, slots=True, eq=False)
class Redesign:
    """A planned band that can be posed again under a change (see ``advise.Pose``)."""

    asked: Request
    drawn: Design
    problem: Question
    wanted: NDArray[np.int64]
    solution: Routed

    def under(self, change: Change) -> Replanned | None:
        """Return the problem under ``change``, or None where it makes no sense or cannot be drawn."""
        try:
            return self._under(change)
        except HitchgridError:
            return None

    def _under(self, change: Change) -> Replanned | None:
        match change.kind:
            case ChangeKind.SWITCHING_ROWS:
                pitch = self._gauge.row_pitch_mm
                return self._same(
                    f"up to {change.amount} switching rows",
                    f"at most {change.amount * pitch:.0f} mm more length and "
                    f"{change.amount * (self.drawn.strands - 1) // 2} more knots",
                )
            case ChangeKind.JOINS:
                return self._same(
                    f"up to {change.amount} thread changes at joins", f"{2 * change.amount} more ends to hide"
                )
            case ChangeKind.EASE:
                if change.ease is None or not self._working.led:
                    return None
                same = self._same(
                    f"hand-overs: {HAND_OVERS_OF[change.ease.value]}", "more hand-overs in mid-row"
                )
                return replace(same, problem=self.problem.eased(change.ease), present=None)
            case ChangeKind.WITHOUT_THREAD:
                return self._without(change.thread)
            case ChangeKind.SELVEDGE:
                return self._selvedge(change.amount)
            case ChangeKind.MIRRORED:
                return self._mirrored()
            case ChangeKind.STRANDS:
                if self._is_grid or self.asked.tying.start_order is not None:
                    return None
                wider = change.amount * self._gauge.strand_pitch_mm
                return self._redrawn(
                    change,
                    f"{self.drawn.strands + change.amount} strands instead of {self.drawn.strands}",
                    f"{change.amount} more strands to cut, and the band becomes {wider:.0f} mm wider",
                )
            case ChangeKind.OTHER_ORDER:
                now, other = self._working.words, working(other_way(self.drawn.worked)).words
                return self._redrawn(
                    change, f"{other} instead of {now}", "another way of working, and cells of another shape"
                )
            case ChangeKind.TURNED:
                if not isinstance(self.asked.artwork, PictureSource) or self._is_grid:
                    return None
                return self._redrawn(
                    change, "the picture turned by a quarter", "the picture lies along the band"
                )

    @property
    def _gauge(self) -> Gauge:
        return gauge_for(self.asked.band, self.asked.drawer)

    @property
    def _working(self) -> Working:
        return working(self.drawn.worked)

    @property
    def _is_grid(self) -> bool:
        artwork = self.asked.artwork
        return isinstance(artwork, PictureSource) and artwork.grid

    def _same(self, label: str, price: str) -> Replanned:
        return Replanned(
            self.problem, self.wanted, label, price, off_picture=self.drawn.beyond, present=self.solution
        )

    def _redrawn(self, change: Change, label: str, price: str) -> Replanned:
        """Draw the design anew; its threads are kept to those of the band as it is."""
        names, ground = [thread.name for thread in self.drawn.threads], self.drawn.ground
        same = self.asked._replace(band=replace(self.asked.band, strands=self.drawn.strands))
        artwork, band, drawer, tying = under(change, same)
        space = space_of(artwork, band, gauge_for(band, drawer))
        kept = replace(drawer, only=tuple(names), colours=None, include=tuple(names), ground=names[ground])
        drawn = design(artwork, space, kept)
        return Replanned(*pose(drawn, band, tying), label, price, off_picture=drawn.beyond)

    def _posed(
        self, kinds: NDArray[np.int64], label: str, price: str, tying: Tying | None = None
    ) -> Replanned:
        drawn = replace(self.drawn, kinds=kinds)
        posed = pose(drawn, self.asked.band, tying or self.asked.tying)
        return Replanned(*posed, label, price, off_picture=drawn.beyond)

    def _selvedge(self, amount: int) -> Replanned | None:
        if self.asked.tying.start_order is not None or amount % self._working.step:
            return None  # cells would become places without a knot
        kinds = np.pad(self.drawn.kinds, ((0, 0), (amount, amount)), constant_values=-1)
        return self._posed(
            kinds,
            f"a selvedge of {amount} free {'cell' if amount == 1 else 'cells'} at each edge",
            f"{2 * amount} more strands, and edges in mixed colours",
        )

    def _mirrored(self) -> Replanned | None:
        if not isinstance(self.asked.artwork, PictureSource):
            return None  # letters would read backwards
        if self.drawn.strands % self._working.step:
            return None  # mirrored, its cells would fall between the knots
        order = self.asked.tying.start_order
        tying = replace(self.asked.tying, start_order=None if order is None else order[::-1])
        return self._posed(
            self.drawn.kinds[:, ::-1].copy(), "the picture mirrored", "it faces the other way", tying
        )

    def _without(self, thread: int | None) -> Replanned | None:
        if thread is None:
            return None
        names = [t.name for t in self.drawn.threads]
        if len(names) < 2 or not (self.drawn.wanted == thread).any():
            return None
        bounds = list(self.problem.at_most)
        bounds[thread] = 0
        problem = replace(self.problem, at_most=tuple(bounds))
        label, price = f"without {names[thread]}", "its cells show the nearest of the others"
        return Replanned(problem, self.wanted, label, price, off_picture=self.drawn.beyond)
