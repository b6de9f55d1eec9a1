"""How commands read their words and show their help: briefly, unless all of it is asked for."""

from __future__ import annotations

import re
from typing import Any, NoReturn

import typer
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
        if _asks_for_help(args) and not ctx.resilient_parsing:
            _show_help(ctx, everything=ALL in args)
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
        hidden, options = 0, getattr(self.callback, "options", {})
        for param in self.get_params(ctx):
            option = options.get((param.name or "").replace("_", "-"))
            record = param.get_help_record(ctx)
            if option is not None and not option.common and not ctx.meta.get(ALL):
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
    named = option.shown if option.argument else flag
    return named, f"{option.help} [{without}]" if without else option.help


def _asks_for_help(words: list[str]) -> bool:
    """Whether any word before -- asks for help."""
    return bool({ALL, "--help", "-h"} & set(words[: words.index("--")] if "--" in words else words))


def _show_help(ctx: Any, *, everything: bool = False) -> NoReturn:
    """Show the help and end; reading --help as typer does would import pydantic first."""
    ctx.meta[ALL] = everything
    typer.echo(ctx.get_help())
    raise typer.Exit


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


_MEANT = {
    "int_parsing": "is not a whole number",
    "float_parsing": "is not a number",
    "greater_than_equal": "is too small; the least is {ge:g}",
    "less_than_equal": "is too large; the most is {le:g}",
}
"""What is wrong with a value, by the type of error that pydantic names."""


def usage(fault: Any) -> str:
    """The sentence for what typer could not read, in our words, with the help that tells more."""
    command = fault.ctx.command_path if fault.ctx is not None else "hitchgrid"
    found: list[Any] = getattr(fault.__cause__, "errors", list)()
    if found and fault.param is not None:
        flag = fault.param.opts[-1] if fault.param.opts else fault.param.name
        what = _MEANT.get(found[0]["type"], "")
        text = what.format(**found[0].get("ctx", {})) or found[0]["msg"].removeprefix("Value error, ").rstrip(
            "."
        )
        value = f"{str(found[0]['input'])[:60]!r} "
        text = f"{flag}: {text if text.startswith(value) else value + text}"
    else:
        text = str(fault.format_message()).rstrip(".")
    return f"{text}{'' if text.endswith('?') else '.'} See {command} --help." if text else ""


class Group(TyperGroup):
    """The commands, in the order in which a maker meets them."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words before a command."""
        if args[:1] == ["--version"]:
            from importlib.metadata import version

            print(f"hitchgrid {version('hitchgrid')}")
            raise typer.Exit
        if ctx.resilient_parsing:  # a shell that completes words
            return super().parse_args(ctx, args)
        if args[:1] in (["--help"], ["-h"], []):
            _show_help(ctx)
        if args[0] in self.commands and _asks_for_help(args):
            self.commands[args[0]].make_context(args[0], args[1:], parent=ctx)
        return super().parse_args(ctx, args)

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the commands first: nobody opens the help for the flags of the program itself."""
        with formatter.section("Commands"):
            commands: Any = self.commands
            helps = ((name, str(commands[name].help).strip()) for name in self.list_commands(ctx))
            formatter.write_dl([(name, text.partition("\n")[0]) for name, text in helps])
        formatter.write_paragraph()
        formatter.write_text(f"What a command takes: {ctx.command_path} COMMAND --help")
        formatter.write_text(f"Which version this is: {ctx.command_path} --version")
