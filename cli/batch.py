"""``hitchgrid batch``: many orders from one list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import flags
from pipeline import limits
from pipeline.order.options import Group

if TYPE_CHECKING:
    from pipeline.batch.listing import Line
    from pipeline.batch.work import Outcome, Shop
    from pipeline.materials.workshop import ThreadTotal


def command(
    orders: Annotated[Path, typer.Argument(help="A list of orders, CSV.", show_default=False)],
    stash: flags.Stash = None,
    out: Annotated[Path, typer.Option(help="Folder of all results.", rich_help_panel=Group.RESULT)] = Path(
        "output/orders"
    ),
    jobs: Annotated[
        int,
        typer.Option(
            help="Orders planned at the same time; 0 is one a core.",
            min=int(limits.JOBS.least),
            max=int(limits.JOBS.most),
            rich_help_panel=Group.RESULT,
        ),
    ] = 0,
    scheduler: Annotated[
        str | None,
        typer.Option(
            help="Run them on the Dask cluster of this scheduler.",
            metavar="ADDRESS",
            show_default=False,
            rich_help_panel=Group.RESULT,
        ),
    ] = None,
    effort: flags.Effort = 1.0,
    seed: flags.Seed = 0,
    quiet: flags.Quiet = False,
) -> None:
    """Plan every order of a list, and one cutting plan for all of them.

    The list has a line for each band; its header names what the flags of hitchgrid plan are called, such as
    letters or picture, strands, wrist and threads, and copies. Run it again after an interruption: finished
    orders are not planned twice.

    Example: hitchgrid batch sample_images/regatta_orders.csv --stash sample_images/club_stash.csv --jobs 2
    """
    from cli.console import say, watching
    from pipeline.batch.listing import read_lines
    from pipeline.batch.told import LIST, SHEET, SKEINS, orders_csv, skeins_csv
    from pipeline.batch.work import Shop
    from pipeline.drawer.stash import builtin_stash, read_stash
    from pipeline.errors import InputError
    from pipeline.files.collection import claimed, put
    from pipeline.materials.workshop import cut_all
    from pipeline.writers.workshop import cutting_sheet_pdf

    lines, refused = read_lines(orders)
    owned = read_stash(stash) if stash else builtin_stash()
    shop = Shop(out.absolute(), owned, effort, seed)
    outcomes: list[Outcome] = []
    with claimed(shop.out, (LIST, SKEINS, SHEET), (orders, stash)), watching(quiet) as watch:
        watch.stage("planning the orders")
        with _running(lines, shop, jobs, scheduler) as running:
            for outcome in running:
                outcomes.append(outcome)
                watch.advising(len(outcomes), len(lines), outcome.line.title)
        found = cut_all((piece for outcome in outcomes for piece in outcome.all_pieces), owned)
        bands = sum(outcome.line.copies for outcome in outcomes if outcome.done)
        kept = put(
            shop.out,
            {
                LIST: orders_csv(outcomes, refused),
                SKEINS: skeins_csv(found),
                SHEET: cutting_sheet_pdf(found, bands),
            },
        )
    failed = [(line.number, line.error) for line in refused]
    failed += [(outcome.line.number, outcome.error) for outcome in outcomes if not outcome.done]
    of = len(outcomes) + len(refused)
    if not quiet:
        resumed = sum(outcome.resumed for outcome in outcomes)
        before = f" ({resumed} finished before)" if resumed else ""
        _show(found, f"{of - len(failed)} of {of} orders done{before}; see {LIST} and {SHEET} in {out}.")
        say(kept)
    if failed:
        number, error = min(failed)
        raise InputError(
            f"{len(failed)} of {of} orders failed, first line {number}: {error}",
            f"All are told in {out / LIST}; correct the list and run it again.",
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


def _show(found: Sequence[ThreadTotal], said: str) -> None:
    from rich.text import Text

    from cli.console import out, swatch, table

    def figure(amount: float | None, spelled: str) -> str:
        return "–" if amount is None else spelled.format(amount)

    out.print(
        table(
            "All orders together",
            ("", "thread", "metres", "owned", "skeins", "to buy", "to pay"),
            (
                (
                    swatch(total.thread.colour, 4),
                    total.thread.name,
                    f"{total.metres:.1f}",
                    figure(total.thread.metres, "{:.1f}"),
                    len(total.skeins),
                    figure(total.buy, "{}"),
                    figure(total.to_pay, "{:.2f}"),
                )
                for total in found
            ),
        )
    )
    out.print(Text(said))
