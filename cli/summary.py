"""What ``hitchgrid plan`` prints when it is done."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.text import Text

from cli.console import out, say, show_band, swatch, table
from pipeline.band.pattern import Pattern
from pipeline.materials.lengths import Cut, thread_use
from pipeline.order.units import spell_length
from pipeline.plan import Plan
from pipeline.report import Report, looks, thin_parts, verdict


def show_summary(made: Plan, report: Report, folder: Path) -> None:
    """Show the band, the verdict, the threads, the work and where the files are."""
    pattern = made.pattern
    show_band(pattern)
    out.print(Text(verdict(report), "bold" if report.unmade else "bold green"))
    say((*looks(report), *thin_parts(report), *report.fit_said, *report.notes))
    out.print(thread_table(pattern, made.cuts))
    say(work_sentences(report))
    if report.suggestions:
        out.print(Text("What would help, best first:", "bold"))
        say(f"  {suggestion.sentence}" for suggestion in report.suggestions[:5])
    out.print(Text(f"The result is in {folder}: sheet.pdf to print, worksheet.html to tie from.", "dim"))


def work_sentences(report: Report) -> list[str]:
    """Hours, difficulty, price and what sharing did to the longest strand."""
    said: list[str] = []
    if report.hours is not None and report.grade is not None:
        quick, calm = report.hours
        span = f"{quick:.1f}" if quick == calm else f"{quick:.1f} to {calm:.1f}"
        why = ", ".join(harder.reason for harder in report.grade.reasons)
        difficulty = f"Difficulty: {report.grade.name}{f' ({why})' if why else ''}."
        said.append(f"{report.knots} knots, {span} hours of tying. {difficulty}")
    longest, cost = report.longest_strand_mm, report.price
    if longest is not None and longest.after_sharing < longest.before_sharing:
        said.append(
            f"The longest strand takes {spell_length(longest.after_sharing)}; it would be "
            f"{spell_length(longest.before_sharing)} without shared tying."
        )
    if cost is not None and cost.used:
        unknown = f", {', '.join(cost.unknown)} not counted" if cost.unknown else ""
        said.append(f"Thread for {cost.used:.2f}; the skeins it opens cost {cost.skeins:.2f}{unknown}.")
    return said


def thread_table(pattern: Pattern, cuts: Sequence[Cut]) -> object:
    """Strands, metres and the longest piece of each thread that hangs in the band or is laid in."""
    rows = []
    for use in thread_use(pattern, tuple(cuts)):
        thread, strands = pattern.threads[use.thread], pattern.strands.count(use.thread)
        figures = f"{use.metres:.1f}", spell_length(use.longest_mm)
        rows.append((swatch(thread.colour, 4), thread.name, strands, *figures))
    columns = ("", "thread", "strands", "metres", "longest piece")
    return table(f"{len(pattern.strands)} strands", columns, rows)
