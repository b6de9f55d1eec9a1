"""``hitchgrid desk``: the whole job on one page in the browser, served to this machine alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def command(
    port: Annotated[int, typer.Option(help="Port to listen on; any free one without.", min=0, max=65535)] = 0,
    open_page: Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")] = True,
    stash: Annotated[
        Path | None,
        typer.Option(help="Your drawer, a CSV list of threads.", show_default="a list of its own"),
    ] = None,
    out: Annotated[Path, typer.Option(help="Folder in which finished bands are kept.")] = Path("output"),
) -> None:
    """Do the whole job on one page in the browser: motif, threads, wrist, bands to choose from, files.

    The page is served to this machine alone until Ctrl-C. Whatever is on it is kept.

    Example: hitchgrid desk --port 8080 --no-open
    """
    from cli.desk.serve import serve

    serve(port, stash, out, open_page=open_page)
