"""What ``hitchgrid plan`` prints when it is done."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from rich.text import Text

from cli.console import band_preview, out, swatch, table
from cli.units import spell_length
from pipeline.pattern import Pattern
from pipeline.plan import Plan


def show_summary(made: Plan, folder: Path) -> None:
    """Show the band, the verdict, the threads and where the files are."""
    pattern, verdict = made.pattern, made.verdict
    out.print(band_preview(pattern))
    out.print(Text(_verdict(made), "bold green" if verdict.complete else "bold"))
    for note in (*made.design.notes, *made.skeins.sentences()):
        out.print(Text(note))
    out.print(_threads(pattern, made))
    if verdict.unmade and made.advice is not None and made.advice.suggestions:
        out.print(Text("What would make more cells, best first:", "bold"))
        for suggestion in made.advice.suggestions[:5]:
            out.print(Text(f"  {suggestion.sentence}"))
    out.print(Text(f"The result is in {folder}: sheet.pdf to print, worksheet.html to tie from.", "dim"))


def _verdict(made: Plan) -> str:
    verdict = made.verdict
    if verdict.complete:
        return f"Every one of the {verdict.cells} cells can be made."
    gap = made.verdict.colour_error - made.lower_bound
    how_good = (
        "proved best"
        if gap <= 1e-6 * max(1.0, verdict.colour_error)
        else f"within {100 * gap / verdict.colour_error:.0f} % of what could be possible at all"
    )
    return (
        f"{verdict.made} of {verdict.cells} cells can be made; {len(verdict.unmade)} show another thread "
        f"(colour error {verdict.colour_error:.1f}, {how_good})."
    )


def _threads(pattern: Pattern, made: Plan) -> object:
    strands = Counter(pattern.strands)
    metres: Counter[int] = Counter()
    longest: dict[int, float] = {}
    for cut in made.cuts:
        for length, thread in zip(cut.pieces_mm, cut.piece_threads, strict=True):
            metres[thread] += length / 1000  # type: ignore[assignment]
            longest[thread] = max(longest.get(thread, 0.0), length)
    return table(
        f"{len(pattern.strands)} strands",
        ("", "thread", "strands", "metres", "longest piece"),
        (
            (
                swatch(thread.colour, 4),
                thread.name,
                strands[i],
                f"{metres[i]:.1f}",
                spell_length(longest[i]) if i in longest else "–",
            )
            for i, thread in enumerate(pattern.threads)
        ),
    )
