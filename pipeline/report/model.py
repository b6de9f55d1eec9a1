"""What a report holds: the keys of report.json, explained in ``docs/pattern-format.md``, typed and frozen.

Positions, rows and knots count from 0. Numbers are rounded to four decimals (0.0001 ΔE00) when the report is
made, so that every writer says the same; the same plan gives the same bytes.
"""

from __future__ import annotations

import json
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from pipeline.literals import EaseName
from pipeline.materials.price import Grade

Number = Annotated[float, AfterValidator(lambda value: round(value, 4) + 0.0)]  # no negative zero
Amount = Annotated[Number, Field(ge=0)]
Money = Annotated[float, Field(ge=0), AfterValidator(lambda value: round(value, 2))]
Count = Annotated[int, Field(ge=0)]
Colour = Annotated[str, Field(pattern="^#[0-9a-f]{6}$")]


class Part(BaseModel):
    """A part of a report: read-only; keys that a newer version adds are passed over.

    Each is made of the value of the same figures that a stage returned, or of what report.json says.
    """

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False, from_attributes=True)


class Cause(Part):
    """Why a cell is not made, in figures; see ``pipeline.verdict.reasons``."""

    kind: Literal["absent", "far", "conflict"]
    distance: Count = 0
    rows: Count = 0
    at_least: Number = 0.0
    found: Number | None = None


class UnmadeCell(Part):
    """A cell that shows another thread than the picture wants."""

    section: Count
    row: Count
    knot: Count
    position: Count
    wanted: Count
    shown: Count
    delta_e: Amount
    reason: str = ""
    why: Cause | None = None


class Suggested(Part):
    """A change and what it gave when the band was planned again."""

    change: str
    kind: str = ""
    price: str = ""
    cells: Count
    made: Count
    colour_error: Amount
    off_picture: Number = 0.0
    hand_overs: Count = 0

    @property
    def sentence(self) -> str:
        """The suggestion as one line for a person."""
        left = self.cells - self.made
        share = f"{min(99.9, 100 * self.made / max(1, self.cells)):.1f} %"
        gives = f"{self.made} of {self.cells} cells are made ({share})" if left else "every cell is made"
        return f"{self.change}: {gives}." + (f" It costs: {self.price}." if self.price else "")


class SwitchingLine(Part):
    """What so many switching rows give."""

    switching_rows: Count
    made: Count
    colour_error: Amount


class JoinsLine(Part):
    """What so many changes of thread at joins give."""

    joins: Count
    made: Count
    colour_error: Amount


class EaseGiven(Part):
    """What so many hand-overs in a row give."""

    ease: EaseName
    made: Count
    colour_error: Amount
    lower_bound: Number
    hand_overs: Count


class LikenessFound(Part):
    """How like its picture the band looks: mean differences, SSIM of lightness, and a word for it."""

    ciede2000: Amount
    hyab: Amount
    ssim: Number
    words: str


class ThinPart(Part):
    """A stroke or dot of the picture, about as thin as a cell, that the band breaks or loses."""

    what: Literal["stroke", "dot"]
    state: Literal["broken", "lost"]
    thread: Count | None
    seen: Amount
    rows: tuple[Count, Count]
    positions: tuple[Count, Count]


class ColourBecame(Part):
    """Which thread a colour of the picture became."""

    colour: Colour
    thread: Count
    delta_e: Amount
    cells: Count


class SkeinsOf(Part):
    """What a thread takes of the drawer; ``owned_m`` None: not known."""

    thread: Count
    needed_m: Amount
    owned_m: Amount | None
    skeins: Count
    buy: Count
    enough: bool


class LongestStrand(Part):
    """The longest strand before and after the tying is shared, and what sharing cannot beat, in mm."""

    before_sharing: Amount
    after_sharing: Amount
    bound: Amount


class Lengths(Part):
    """How many different lengths there are to cut."""

    before_sharing: Count
    after_sharing: Count


class Priced(Part):
    """The price of the thread, by length and by whole skeins, and the threads that have none."""

    used: Money
    skeins: Money
    unknown: tuple[str, ...]


class WristFit(Part):
    """How the wrist adds up, in figures and sentences."""

    wrist_mm: Amount
    usual: bool
    room_mm: Number
    gap_mm: Number
    tapers_mm: Amount
    knotted_mm: Amount
    said: tuple[str, ...] = ()


class GroupUse(Part):
    """A group of a band of colour blocks."""

    thread: Count
    strands: Count
    tied_per_strand: Amount


class Report(Part):
    """Everything that was found out about a band; what nobody looked for is not set.

    Raises ValueError for figures that contradict each other.
    """

    title: str = ""
    cells: Count
    made: Count
    unmade: Count
    colour_error: Amount
    lower_bound: Number = 0.0
    proved_best: bool = False
    gap_per_cent: Amount = 0.0
    stopped: Literal["done", "time", "interrupt"] = "done"
    switching_rows: Count = 0
    hand_overs: Count = 0
    same_thread_hand_overs: Count = 0
    joins: Count = 0
    thread_changes: Count = 0
    threads: tuple[str, ...] = ()
    period: Count | None = None
    trade_off: tuple[SwitchingLine, ...] = ()
    joins_trade_off: tuple[JoinsLine, ...] = ()
    eases: tuple[EaseGiven, ...] = ()
    suggestions: tuple[Suggested, ...] = ()
    tried_without_gain: tuple[Suggested, ...] = ()
    advice_effort: Amount = 0.0
    unmade_cells: tuple[UnmadeCell, ...] = ()
    likeness: LikenessFound | None = None
    lacking_threads: tuple[Count, ...] = ()
    thin_parts: tuple[ThinPart, ...] = ()
    threads_became: tuple[ColourBecame, ...] = ()
    skeins: tuple[SkeinsOf, ...] = ()
    longest_strand_mm: LongestStrand | None = None
    different_lengths: Lengths | None = None
    knots: Count | None = None
    hours: tuple[Amount, Amount] | None = None
    grade: Grade | None = None
    price: Priced | None = None
    fit: WristFit | None = None
    groups: tuple[GroupUse, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def fit_said(self) -> tuple[str, ...]:
        """How the wrist adds up, sentence by sentence, where that is known."""
        return () if self.fit is None else self.fit.said

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.made + self.unmade != self.cells or len(self.unmade_cells) not in (0, self.unmade):
            raise ValueError(f"{self.made} made and {self.unmade} unmade are not {self.cells} cells")
        if self.lower_bound > self.colour_error:
            raise ValueError(f"a bound of {self.lower_bound} above the colour error {self.colour_error}")
        return self

    def json_text(self) -> str:
        """The text of report.json: one key a line, and each entry of a list of objects on a line."""
        parts = []
        for key, value in self.model_dump(mode="json", exclude=ONLY_PLANNED - self.model_fields_set).items():
            text = json.dumps(value, ensure_ascii=False)
            if isinstance(value, list) and value and isinstance(value[0], dict):
                entries = ",\n    ".join(json.dumps(entry, ensure_ascii=False) for entry in value)
                text = f"[\n    {entries}\n  ]"
            parts.append(f"  {json.dumps(key)}: {text}")
        return "{\n" + ",\n".join(parts) + "\n}\n"


ONLY_PLANNED = {
    "thin_parts", "threads_became", "skeins", "longest_strand_mm", "different_lengths", "knots", "hours",
    "grade", "price", "fit", "groups", "notes",
}  # fmt: skip
"""What report.json holds only where it is known; all else is always there."""
