"""``hitchgrid batch``: many orders from one list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from cli.flags import taking
from pipeline.order.options import OF_BATCH

if TYPE_CHECKING:
    from pipeline.batch.listing import Line
    from pipeline.batch.work import Outcome, Shop
    from pipeline.materials.workshop import ThreadTotal


@taking(OF_BATCH)
def command(texts: Mapping[str, str]) -> None:
    """Plan every order of a list, and one cutting plan for all of them.

    The list has a line for each band; its header names what the flags of hitchgrid plan are called, such as
    letters or picture, strands, wrist and threads, and copies. Run it again after an interruption: finished
    orders are not planned twice.

    Example: hitchgrid batch sample_images/regatta_orders.csv --stash sample_images/club_stash.csv --jobs 2
    """
    from cli.console import Watch
    from pipeline.batch.listing import read_lines
    from pipeline.batch.told import LIST, SHEET, SKEINS, orders_csv, skeins_csv
    from pipeline.batch.work import Shop
    from pipeline.drawer.stash import read_stash
    from pipeline.errors import InputError
    from pipeline.files.collection import claimed, put
    from pipeline.materials.workshop import cut_all
    from pipeline.order.given import Given, flag
    from pipeline.writers.workshop import cutting_sheet_pdf

    given = Given(texts, flag, OF_BATCH)
    orders, stash, out = (given.text(name) for name in ("orders", "stash", "out"))
    if orders is None:
        raise InputError("no list of orders is named.", "Name one: hitchgrid batch orders.csv")
    lines, refused = read_lines(Path(orders))
    inputs = Path(orders), Path(stash) if stash else None
    owned, folder = read_stash(inputs[1]), Path(out or "output/orders")
    shop = Shop(folder.absolute(), owned, given.number("effort") or 1.0, given.whole("seed") or 0)
    quiet = given.yes("quiet")
    outcomes: list[Outcome] = []
    with claimed(shop.out, (LIST, SKEINS, SHEET), inputs), Watch(quiet) as watch:
        watch.stage("planning the orders")
        with _running(lines, shop, given.whole("jobs") or 0, given.text("scheduler")) as running:
            for outcome in running:
                outcomes.append(outcome)
                watch.advising(len(outcomes), len(lines), outcome.line.title)
        found = cut_all((piece for outcome in outcomes for piece in outcome.all_pieces), owned)
        sheet = cutting_sheet_pdf(found, sum(outcome.line.copies for outcome in outcomes if outcome.done))
        kept = put(shop.out, {LIST: orders_csv(outcomes, refused), SKEINS: skeins_csv(found), SHEET: sheet})
    failed = [(line.number, line.error) for line in refused]
    failed += [(outcome.line.number, outcome.error) for outcome in outcomes if not outcome.done]
    of = len(outcomes) + len(refused)
    if not quiet:
        resumed = sum(outcome.resumed for outcome in outcomes)
        before = f" ({resumed} finished before)" if resumed else ""
        said = f"{of - len(failed)} of {of} orders done{before}; see {LIST} and {SHEET} in {folder}."
        _show(found, [said, *kept])
    if failed:
        number, error = min(failed)
        raise InputError(
            f"{len(failed)} of {of} orders failed, first line {number}: {error}",
            f"All are told in {folder / LIST}; correct the list and run it again.",
        )


@contextmanager
def _running(
    lines: Sequence[Line], shop: Shop, jobs: int, scheduler: str | None
) -> Iterator[Iterator[Outcome]]:
    """The outcomes as they come, from this machine or from a cluster."""
    from pipeline.batch.cluster import on_cluster
    from pipeline.batch.work import run_lines, run_on_present_backend

    if scheduler is None:
        yield run_lines(lines, shop, jobs=jobs)
    else:
        with on_cluster(scheduler):
            yield run_on_present_backend(lines, shop)


def _show(found: Sequence[ThreadTotal], said: Sequence[str]) -> None:
    from cli.console import out, say, swatch, table

    def figure(amount: float | None, spelled: str) -> str:
        return "–" if amount is None else spelled.format(amount)

    rows = []
    for total in found:
        thread, owned = total.thread, figure(total.thread.metres, "{:.1f}")
        figures = f"{total.metres:.1f}", owned, len(total.skeins), figure(total.buy, "{}")
        rows.append((swatch(thread.colour, 4), thread.name, *figures, figure(total.to_pay, "{:.2f}")))
    columns = ("", "thread", "metres", "owned", "skeins", "to buy", "to pay")
    out.print(table("All orders together", columns, rows))
    say(said)
