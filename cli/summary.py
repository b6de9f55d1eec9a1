"""What ``hitchgrid plan`` prints when it is done."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from rich.text import Text

from cli.console import band_preview, out, swatch, table
from pipeline.band.pattern import Pattern
from pipeline.materials.fit import size_mm
from pipeline.materials.price import grade, hours, price
from pipeline.order.units import spell_length
from pipeline.plan import Plan


def show_summary(made: Plan, pace_s: tuple[float, float] | float, folder: Path) -> None:
    """Show the band, the verdict, the threads, the work and where the files are."""
    pattern, verdict = made.pattern, made.verdict
    out.print(band_preview(pattern))
    out.print(Text(_verdict(made), "bold green" if verdict.complete else "bold"))
    fit = [] if made.fit is None else made.fit.sentences(size_mm(pattern)[1])
    for note in (*fit, *made.design.notes, *made.skeins.sentences()):
        out.print(Text(note))
    out.print(_threads(pattern, made))
    for sentence in _work(made, pace_s):
        out.print(Text(sentence))
    if verdict.unmade and made.advice is not None and made.advice.suggestions:
        out.print(Text("What would make more cells, best first:", "bold"))
        for suggestion in made.advice.suggestions[:5]:
            out.print(Text(f"  {suggestion.sentence}"))
    out.print(Text(f"The result is in {folder}: sheet.pdf to print, worksheet.html to tie from.", "dim"))


def _work(made: Plan, pace_s: tuple[float, float] | float) -> list[str]:
    """Hours, difficulty, price and what sharing did to the longest strand."""
    time, graded, cost = hours(made.pattern, pace_s), grade(made.pattern, made.cuts), price(made.skeins)
    span = f"{time.quick:.1f}" if time.quick == time.calm else f"{time.quick:.1f} to {time.calm:.1f}"
    why = ", ".join(reason.sentence for reason in graded.reasons)
    said = [
        f"{time.knots} knots, {span} hours of tying. Difficulty: {graded.name}{f' ({why})' if why else ''}."
    ]
    if graded.easier:
        said.append(f"Easier: {graded.easier}")
    sharing = made.sharing
    if sharing.longest_after_mm < sharing.longest_before_mm:
        said.append(
            f"The longest strand takes {spell_length(sharing.longest_after_mm)}; it would be "
            f"{spell_length(sharing.longest_before_mm)} without shared tying."
        )
    if cost.used:
        unknown = f", {', '.join(cost.unknown)} not counted" if cost.unknown else ""
        said.append(f"Thread for {cost.used:.2f}; the skeins it opens cost {cost.skeins:.2f}{unknown}.")
    return said


def _verdict(made: Plan) -> str:
    verdict = made.verdict
    if verdict.complete:
        return f"Every one of the {verdict.cells} cells can be made."
    gap = verdict.colour_error - made.lower_bound
    if gap <= 1e-6 * max(1.0, verdict.colour_error):
        how_good = "proved best"
    elif made.lower_bound > 0:
        share = 100 * gap / verdict.colour_error
        how_good = f"within {share:.0f} % of what could be possible at all"
    else:
        how_good = "the best that was found, not proved"
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
