"""``hitchgrid batch``: many orders from one list."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import flags
from pipeline.order.options import Group


def command(
    orders: Annotated[Path, typer.Argument(help="A list of orders, CSV.", show_default=False)],
    stash: flags.Stash = None,
    out: Annotated[Path, typer.Option(help="Folder of all results.", rich_help_panel=Group.RESULT)] = Path(
        "output/orders"
    ),
    jobs: Annotated[
        int,
        typer.Option(help="Orders planned at the same time.", min=1, max=256, rich_help_panel=Group.RESULT),
    ] = 1,
    effort: flags.Effort = 1.0,
    seed: flags.Seed = 0,
    quiet: flags.Quiet = False,
) -> None:
    """Plan every order of a list, and one cutting plan for all of them.

    The list has a header of letters or picture, strands, worked, rows, wrist, threads (with semicolons
    between), colours, ground, ease, switching-rows, copies and title, as far as needed. Run it again after
    an interruption: finished orders are not planned twice.

    Example: hitchgrid batch sample_images/regatta_orders.csv --stash sample_images/club_stash.csv --jobs 2
    """
    from rich.text import Text

    from cli.console import out as terminal
    from cli.console import say, table, watching
    from pipeline.batch import LIST, SKEINS, Shop, orders_csv, read_orders, run_orders, skeins_csv, totals
    from pipeline.drawer.stash import builtin_stash, read_stash
    from pipeline.errors import InputError
    from pipeline.files.collection import claimed, put
    from pipeline.limits import USUAL_WRIST_MM

    listed, refused = read_orders(orders, _wrist)
    owned = read_stash(stash) if stash else builtin_stash()
    shop = Shop(orders.absolute().parent, out.absolute(), owned, USUAL_WRIST_MM, effort, seed)
    outcomes = list(refused)
    with claimed(shop.out, (LIST, SKEINS), (orders, stash)), watching(quiet) as watch:
        watch.stage("planning the orders")
        for outcome in run_orders(listed, shop, jobs=jobs):
            outcomes.append(outcome)
            watch.advising(len(outcomes) - len(refused), len(listed), outcome.order.title)
        found = totals(outcomes, owned)
        kept = put(shop.out, {LIST: orders_csv(outcomes), SKEINS: skeins_csv(found)})
    failed = [outcome for outcome in outcomes if not outcome.done]
    if not quiet:
        terminal.print(
            table(
                "All orders together",
                ("thread", "metres", "owned", "skeins", "to buy"),
                (
                    (
                        t.thread,
                        f"{t.metres:.1f}",
                        "–" if t.owned_m is None else f"{t.owned_m:.1f}",
                        len(t.cutting.skeins),
                        "–" if t.owned_m is None else t.cutting.new,
                    )
                    for t in found
                ),
            )
        )
        resumed = sum(outcome.resumed for outcome in outcomes)
        before = f" ({resumed} finished before)" if resumed else ""
        terminal.print(
            Text(
                f"{len(outcomes) - len(failed)} of {len(outcomes)} orders done{before}; "
                f"see {LIST} and {SKEINS} in {out}."
            )
        )
        say(kept)
    if failed:
        first = min(failed, key=lambda outcome: outcome.order.line)
        raise InputError(
            f"{len(failed)} of {len(outcomes)} orders failed, first line {first.order.line}: {first.error}",
            f"All are told in {out / LIST}; correct the list and run it again.",
        )


def _wrist(text: str) -> float | None:
    from pipeline.order.given import Given, flag
    from pipeline.order.request import read_band

    return read_band(Given({"wrist": text}, flag)).wrist_mm
