"""``hitchgrid choices``: several bands of one picture or text on a sheet, to choose from by looking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cli.flags import taking
from pipeline.order.options import OF_CHOICES

if TYPE_CHECKING:
    from pipeline.choices import Asked, Choice, Settled

SETTLED: dict[str, Settled] = {"worked": "worked", "turn": "turn", "ease": "ease", "hand-overs": "ease"}
"""What is the same in every band once it is asked for."""


@taking(OF_CHOICES)
def command(texts: Mapping[str, str]) -> None:
    """Plan several bands that differ in what matters, and show them on one sheet to choose from.

    The sheet, choices.html, fills while you wait. Ctrl-C ends with the bands that are there.

    Example: hitchgrid choices sample_images/pennant.png --wrist 16cm
    """
    from pipeline.choices import EFFORT, offered
    from pipeline.files.folder import folder_name
    from pipeline.order.given import Given, flag
    from pipeline.order.request import parse

    given, order = Given(texts, flag, OF_CHOICES), parse(texts, options=OF_CHOICES)
    effort = order.search.effort if "effort" in given else EFFORT
    replace, quiet, jobs = given.yes("replace"), given.yes("quiet"), given.whole("jobs") or 0
    folder = Path(given.text("out") or Path("output") / f"{folder_name(order.title)}-choices")
    asked = offered(
        order.artwork,
        order.band,
        order.drawer.drawer(),
        order.tying,
        settled=[settled for name, settled in SETTLED.items() if name in given],
    )
    _free(folder, replace)
    shown = _plan(asked, order.title, folder, order.drawer.stash, jobs, effort, order.search.seed, quiet)
    if not quiet:
        _show(shown, len(asked), folder)


def _free(folder: Path, replace: bool) -> None:
    """Refuse a folder that the sheet could not be written to."""
    from pipeline.choices import LIST
    from pipeline.errors import OutputError
    from pipeline.files.single import write_file

    try:
        folder.mkdir(parents=True, exist_ok=True)
        present = sorted(path.name for path in folder.iterdir())
    except OSError as error:
        raise OutputError(f"cannot write to {folder}: {error.strerror}.", "Choose another --out.") from None
    if present and LIST not in present:
        raise OutputError(f"{folder} holds other files ({present[0]}, …).", "Name a new folder with --out.")
    if present and not replace:
        raise OutputError(f"{folder} already holds choices.", "Add --replace, or name another --out.")
    write_file(folder / LIST, "[]\n", replace=True)  # marks the folder, also if this run is ended


def _plan(
    asked: Sequence[Asked],
    title: str,
    folder: Path,
    stash: Path | None,
    jobs: int,
    effort: float,
    seed: int,
    quiet: bool,
) -> tuple[Choice, ...]:
    """Plan all, fill the sheet as they come, and write the folders of what is shown in the end."""
    from cli.console import err, watching
    from cli.interrupt import halting
    from pipeline.choices import choice_files, plan_choices, sheet, unbeaten
    from pipeline.files.folder import write_result
    from pipeline.files.single import write_file

    done: list[Choice] = []
    page = folder / "choices.html"
    with halting(quiet) as halted, watching(quiet) as watch:
        watch.stage("planning the bands")
        watch.advising(0, len(asked), "")
        for choice in plan_choices(asked, jobs=jobs, effort=effort, seed=seed, halted=halted):
            done.append(choice)
            waiting = max(1, len(asked) - len(done))
            write_file(
                page, sheet(title, done, len(done), waiting=waiting, stash=stash)[page.name], replace=True
            )
            if len(done) == 1 and not quiet and err.is_terminal:
                err.print(f"The sheet fills while you wait: {page}", markup=False)
            watch.advising(len(done), len(asked), choice.key)
        shown = unbeaten(done)
        watch.stage("writing the sheet")
        for choice in shown:
            write_result(folder / choice.key, choice_files(choice), replace=True)
        for name, content in sheet(title, done, len(done), stash=stash).items():
            write_file(folder / name, content, replace=True)
    return shown


def _show(shown: Sequence[Choice], planned: int, folder: Path) -> None:
    from rich.text import Text

    from cli.console import out, table

    rows = (
        (c.key, f"{c.figures.made} of {c.figures.cells}", f"{c.figures.hours:.1f}", c.figures.grade)
        for c in shown
    )
    out.print(
        table(f"{len(shown)} bands to choose from", ("band", "cells made", "hours", "difficulty"), rows)
    )
    out.print(Text(f"Look at them in {folder / 'choices.html'}; each is in a folder of its name.", "dim"))
