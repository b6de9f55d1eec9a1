"""``hitchgrid choices``: several bands of one picture or text on a sheet, to choose from by looking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cli.flags import taking
from pipeline.order.options import OF_CHOICES

if TYPE_CHECKING:
    from pipeline.choices.offers import Asked, Choice, Settled
    from pipeline.order.request import Order

SETTLED: dict[str, Settled] = {"worked": "worked", "turn": "turn", "ease": "ease", "hand-overs": "ease"}
"""What is the same in every band once it is asked for."""


@taking(OF_CHOICES)
def command(texts: Mapping[str, str]) -> None:
    """Plan several bands that differ in what matters, and show them on one sheet to choose from.

    The sheet, choices.html, fills while you wait. Ctrl-C ends with the bands that are there.

    Example: hitchgrid choices sample_images/pennant.png --wrist 16cm
    """
    from cli.console import say
    from pipeline.choices.offers import offered
    from pipeline.choices.planning import EFFORT
    from pipeline.choices.sheet import SHEET
    from pipeline.files.collection import claimed
    from pipeline.files.folder import folder_name
    from pipeline.order.given import Given, flag
    from pipeline.order.request import parse

    given, order = Given(texts, flag, OF_CHOICES), parse(texts, options=OF_CHOICES)
    effort = order.search.effort if "effort" in given else EFFORT
    replace, quiet, jobs = given.yes("replace"), given.yes("quiet"), given.whole("jobs") or 0
    folder = Path(given.text("out") or Path("output") / f"{folder_name(order.title)}-choices")
    asked = offered(order.request(), settled=[settled for name, settled in SETTLED.items() if name in given])
    kept: list[str] = []
    with claimed(folder, SHEET, order.files, replace=replace):
        shown = _plan(asked, order, folder, kept, jobs=jobs, effort=effort, quiet=quiet)
    if not quiet:
        _show(shown, folder)
        say(dict.fromkeys(kept))


def _plan(
    asked: Sequence[Asked],
    order: Order,
    folder: Path,
    kept: list[str],
    *,
    jobs: int,
    effort: float,
    quiet: bool,
) -> tuple[Choice, ...]:
    """Plan all, fill the sheet as they come, and write the folders of what is shown in the end.

    ``kept`` hears of files of the maker's that were in the way.
    """
    from cli.console import Watch, err
    from cli.interrupt import halting
    from pipeline.choices.planning import plan_choices, unbeaten
    from pipeline.choices.sheet import choice_files, sheet
    from pipeline.files.collection import put
    from pipeline.files.folder import write_result

    title, stash, seed = order.title, order.drawer.stash, order.search.seed
    done: list[Choice] = []
    page = folder / "choices.html"
    with halting(quiet) as halted, Watch(quiet) as watch:
        watch.stage("planning the bands")
        watch.advising(0, len(asked), "")
        for choice in plan_choices(asked, jobs=jobs, effort=effort, seed=seed, halted=halted):
            done.append(choice)
            waiting = max(1, len(asked) - len(done))
            kept += put(folder, sheet(title, done, len(done), waiting=waiting, stash=stash))
            if len(done) == 1 and not quiet and err.is_terminal:
                err.print(f"The sheet fills while you wait: {page}")
            watch.advising(len(done), len(asked), choice.key)
        shown = unbeaten(done)
        watch.stage("writing the sheet")
        for choice in shown:
            kept += write_result(folder / choice.key, choice_files(choice), replace=True)
        kept += put(folder, sheet(title, done, len(done), stash=stash))
    return shown


def _show(shown: Sequence[Choice], folder: Path) -> None:
    from rich.text import Text

    from cli.console import out, table
    from pipeline.choices.sheet import likeness_words

    rows = ((c.key, likeness_words(c), f"{c.figures.hours:.1f}", c.figures.grade.name) for c in shown)
    out.print(table(f"{len(shown)} bands to choose from", ("band", "likeness", "hours", "difficulty"), rows))
    out.print(Text(f"Look at them in {folder / 'choices.html'}; each is in a folder of its name.", "dim"))
