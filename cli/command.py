"""How commands read their words and show their help: briefly, unless all of it is asked for."""

from __future__ import annotations

import re
from typing import Any

from typer.core import TyperCommand, TyperGroup

from pipeline.errors import InputError
from pipeline.order.options import NAMED, NOT_AN_OPTION, SAME_OPTION, Kind, Option

ALL = "--help-all"
_NUMBER = re.compile(r"\d+([.,]\d+)?")
_REST_OF_A_LENGTH = re.compile(r"(\d+/[1-9]\d*)?\s*(mm|cm|m|in|inch|inches|\"|″)?", re.IGNORECASE)


class Command(TyperCommand):
    """A command that knows other spellings of its flags, and shows the common ones first."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words; raises InputError where a slip is plain to see."""
        if ALL in args:
            ctx.meta[ALL] = True
            args = ["--help"]
        return super().parse_args(ctx, self._mended(args))

    def _mended(self, words: list[str]) -> list[str]:
        """The words with every flag in the spelling it has here."""
        flags = {name for param in self.params for name in (*param.opts, *param.secondary_opts)}
        mended: list[str] = []
        for i, word in enumerate(words):
            if word == "--":
                return mended + words[i:]
            name, equals, value = word.partition("=")
            if name.startswith("--") and name not in flags:
                other = SAME_OPTION.get(name[2:].lower().replace("_", "-"))
                if other is not None and f"--{other}" in flags:
                    name = f"--{other}"
                elif name[2:] in NOT_AN_OPTION:
                    raise InputError(f"there is no flag {name}.", f"{NOT_AN_OPTION[name[2:]]}.")
            _whole_length(name, words[i + 1 : i + 3])
            mended.append(f"{name}{equals}{value}")
        return mended

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the flags under their headings; without ``--help-all`` the common ones."""
        sections: dict[str, list[tuple[str, str]]] = {}
        hidden = 0
        for param in self.get_params(ctx):
            option = NAMED.get((param.name or "").replace("_", "-"))
            record = param.get_help_record(ctx)
            if option is not None and not option.common and ALL not in ctx.meta:
                hidden += 1
            elif record is not None:
                panel = getattr(param, "rich_help_panel", None) or "Also"
                sections.setdefault(panel, []).append(
                    record if option is None else _record(option, record[0])
                )
        for heading, records in sections.items():
            with formatter.section(heading):
                formatter.write_dl(records)
        if hidden:
            formatter.write_paragraph()
            formatter.write_text(f"{hidden} more flags: {ctx.command_path} {ALL}")


def _record(option: Option, flag: str) -> tuple[str, str]:
    """A line of help: the flag, what it does, and what is done without it."""
    without = option.otherwise or ("" if option.kind is Kind.SWITCH else option.usual)
    named = option.shown if option.metavar == "SOURCE" else flag
    return named, f"{option.help} [{without}]" if without else option.help


def _first(command: Any) -> str:
    """The first line of a command's help."""
    return str(command.help).strip().partition("\n")[0]


def _whole_length(flag: str, following: list[str]) -> None:
    """Refuse a length that the shell has cut in two, as in --wrist 6 1/4in."""
    option = NAMED.get(flag[2:]) if flag.startswith("--") else None
    if option is None or option.kind is not Kind.LENGTH or len(following) < 2:
        return
    number, rest = following
    if _NUMBER.fullmatch(number) and rest and _REST_OF_A_LENGTH.fullmatch(rest):
        raise InputError(
            f"{flag}: {number} {rest} is one length and needs quotes.", f'Write {flag} "{number} {rest}".'
        )


class Group(TyperGroup):
    """The commands, in the order in which a maker meets them."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the commands first: nobody opens the help for the flags of the program itself."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, _first(self.get_command(ctx, name))) for name in self.list_commands(ctx)]
            )
        formatter.write_paragraph()
        formatter.write_text(f"What a command takes: {ctx.command_path} COMMAND --help")
