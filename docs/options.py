"""Writes ``docs/options.md`` from the options that are declared: ``python docs/options.py``."""

from __future__ import annotations

from pathlib import Path

from pipeline.order.options import COLUMNS, COPIES, OPTIONS, SAME_OPTION, Group, Kind, Option
from pipeline.order.units import spell_flag

HEAD = """# All that can be asked for

Written by `python docs/options.py` from `pipeline/order/options.py`, as the help is. A flag of
`hitchgrid plan`, a column of a list of orders (`hitchgrid batch`) and a field of a form are the same option.

- Lengths carry their unit: `16cm`, `160mm`, `6.3in`, `"6 1/4in"`.
- Names have commas or semicolons between; a name that holds one stands in double quotes.
- In a column or a field a switch is `yes` or `no`.
"""


def page() -> str:
    """The page as text."""
    parts = [HEAD]
    for group in Group:
        options = [option for option in (*OPTIONS, COPIES) if option.group is group]
        if options:
            parts.append(f"## {group}\n\n| flag | what it does | without it | column |\n|---|---|---|---|\n")
            parts[-1] += "".join(_line(option) for option in options)
    parts.append(f"## Also understood\n\n{_spellings()}\n")
    return "\n".join(parts)


def _line(option: Option) -> str:
    flag = option.shown if option.argument else f"--{option.name} {option.shown}".strip()
    if option is COPIES:
        flag = ""
    if option.kind is Kind.SWITCH and option.usual == "yes":
        flag += f" / --{option.opposite}"
    without = option.otherwise or option.usual or "–"
    column = f"`{option.name}`" if option in COLUMNS else "–"
    cells = (f"`{flag}`" if flag else "–", option.help + _between(option), without, column)
    row = " | ".join(cell.replace("|", r"\|") for cell in cells)
    return f"| {row} |\n"


def _between(option: Option) -> str:
    words = " or ".join(f"`{word}`" for word in option.words) if option.kind is Kind.WHOLE else ""
    if option.bounds is None or (option.kind is Kind.LENGTH and option.bounds.most > 1e5):
        return ""
    least, most = option.bounds.least, option.bounds.most
    if option.kind is Kind.LENGTH:
        return f" {spell_flag(least)} to {spell_flag(most)}."
    return f" {least:g} to {most:,.12g}{f', or {words}' if words else ''}."


def _spellings() -> str:
    return ", ".join(f"`--{other}` for `--{name}`" for other, name in SAME_OPTION.items()) + "."


if __name__ == "__main__":
    Path(__file__).with_suffix(".md").write_text(page(), encoding="utf-8")
