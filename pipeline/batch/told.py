"""Lists of a batch: what became of each order, and what all of them are cut from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from pipeline.batch.listing import Refused
from pipeline.batch.work import Outcome
from pipeline.files.channels import csv_text
from pipeline.materials.workshop import ThreadTotal, strands_of, together

LIST, SKEINS, SHEET = "orders.csv", "skeins.csv", "skeins.pdf"
"""What became of each order, and what all of them are cut from: as a list and as a sheet to print."""


def orders_csv(outcomes: Iterable[Outcome], refused: Iterable[Refused]) -> str:
    """One line an order: where its result is and what it shows, or what was wrong."""
    told: dict[int, Sequence[object]] = {
        line.number: (line.number, f"line {line.number}", 1, "", "failed", 0, 0, 0, "", line.error)
        for line in refused
    }
    for outcome in outcomes:
        line = outcome.line
        told[line.number] = (
            line.number,
            line.title,
            line.copies,
            line.folder if outcome.done else "",
            "done" if outcome.done else "failed",
            outcome.cells,
            outcome.made,
            outcome.knots,
            f"{sum(piece.length_cm for piece in outcome.all_pieces) / 100:.2f}",
            outcome.error or outcome.note,
        )
    header = ("line", "title", "copies", "folder", "status", "cells", "made", "knots", "metres", "message")
    return csv_text(header, (told[number] for number in sorted(told)))


def skeins_csv(found: Iterable[ThreadTotal]) -> str:
    """The cutting plan: one line for the pieces of one length that one band gets from one skein."""
    return csv_text(
        ("thread", "skein", "length_cm", "owned", "pieces", "cut_cm", "band", "strands", "left_cm"),
        _cuts(found),
    )


def _cuts(found: Iterable[ThreadTotal]) -> Iterator[Sequence[object]]:
    owned = {True: "yes", False: "to buy", None: ""}
    for total in found:
        name = total.thread.name
        for i, skein in enumerate(total.skeins, start=1):
            for same in together(skein.pieces):
                cut = (len(same), same[0].length_cm, same[0].band, strands_of(same))
                yield (name, i, skein.length_cm, owned[skein.owned], *cut, skein.left_cm)
        for piece in total.too_long:
            yield (name, "", "", "no skein is so long", 1, piece.length_cm, piece.band, piece.strands, "")
