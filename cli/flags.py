"""The flags that several commands share, with their help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PICTURE, THREADS, BAND, TYING, CUTTING, RESULT = (
    "Picture and letters",
    "Threads",
    "The band",
    "Tying",
    "Cutting and ends",
    "Result",
)
"""Headings under which the help lists flags."""

Stash = Annotated[
    Path | None, typer.Option(help="Your threads: CSV or GIMP palette.", rich_help_panel=THREADS)
]
Wrist = Annotated[
    str | None,
    typer.Option(help="Wrist as 16cm, 6.3in or a size such as adult-medium.", rich_help_panel=BAND),
]
Slack = Annotated[str, typer.Option(help="Ease: how much longer than the wrist.", rich_help_panel=BAND)]
Gauge = Annotated[
    str | None,
    typer.Option(help="A saved swatch, a thread preset or a diameter as 0.7mm.", rich_help_panel=BAND),
]
Start = Annotated[str, typer.Option(help="How the band starts.", metavar="STYLE", rich_help_panel=CUTTING)]
Finish = Annotated[str, typer.Option(help="How the band ends.", metavar="STYLE", rich_help_panel=CUTTING)]
Taper = Annotated[bool, typer.Option("--taper", help="Pinch the ends.", rich_help_panel=CUTTING)]
Tail = Annotated[
    str | None, typer.Option(help="Length that hangs free at each end.", rich_help_panel=CUTTING)
]
Longest = Annotated[
    str, typer.Option(help="Longest base strand you like to work with.", rich_help_panel=CUTTING)
]
Margin = Annotated[
    int | None, typer.Option(help="Per cent cut in reserve.", min=0, max=200, rich_help_panel=CUTTING)
]
Title = Annotated[str | None, typer.Option(help="Name of the band.", rich_help_panel=RESULT)]
Out = Annotated[
    Path | None,
    typer.Option(help="Folder of the result.", show_default="output/TITLE", rich_help_panel=RESULT),
]
Replace = Annotated[bool, typer.Option("--replace", help="Replace a former result.", rich_help_panel=RESULT)]
Effort = Annotated[
    float, typer.Option(help="How hard to search; 1 is usual.", min=0.01, max=100, rich_help_panel=RESULT)
]
Seed = Annotated[int, typer.Option(help="Another search.", min=0, max=2**31, rich_help_panel=RESULT)]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing.", rich_help_panel=RESULT)]
