"""``hitchgrid check``: replay a pattern file and say whether it is legal and what it shows."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.flags import flag


def command(
    pattern: Annotated[Path, typer.Argument(help="A pattern.json file.", show_default=False)],
    text: Annotated[Path | None, flag("Tie what this instructions file says, and compare.")] = None,
) -> None:
    """Replay a pattern knot by knot: is it legal, and what does it show?

    Example: hitchgrid check output/pennant/pattern.json
    """
    from rich.text import Text

    from cli.console import out, show_band
    from pipeline.band.reading import read_pattern
    from pipeline.errors import PatternError
    from pipeline.files.channels import label
    from pipeline.verdict.feasibility import check

    document = read_pattern(pattern)
    verdict = check(document)
    show_band(document)
    out.print(
        Text.assemble(
            ("legal", "bold"),
            f": {len(document.strands)} strands, {document.knot_count} knots; "
            f"{verdict.made} of {verdict.cells} cells show what was wanted.",
        )
    )
    for cell in verdict.unmade[:20]:
        wanted, shown = (document.threads[t].name for t in (cell.wanted, cell.shown))
        out.print(
            f"  section {cell.section + 1}, row {cell.row + 1}, position {cell.position + 1}: "
            f"wanted {wanted}, shows {shown}"
        )
    if len(verdict.unmade) > 20:
        out.print(f"  … and {len(verdict.unmade) - 20} more")
    if text is not None:
        from pipeline.instructions.compare import compare, read_text

        differences = compare(read_text(text), document)
        if differences:
            raise PatternError(
                f"{label(text)} ties another band: {differences[0]}", "Write the instructions again."
            )
        out.print("The instructions tie this very band. Their cuts, ends and cautions were not compared.")
