"""Flags made from the options that ``pipeline.order.options`` declares, and back to the texts they hold."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping
from typing import Annotated, Any

import typer

from pipeline.order.options import Kind, Option

Body = Callable[[Mapping[str, str]], None]
"""What a command does with the texts of its options by name."""


def taking(options: Iterable[Option]) -> Callable[[Body], Callable[..., None]]:
    """Make a command whose flags are ``options`` of a body that takes their texts."""
    listed = tuple(options)

    def of_body(body: Body) -> Callable[..., None]:
        def command(**flags: Any) -> None:
            body(texts(flags))

        parameters = [
            inspect.Parameter(
                option.name.replace("-", "_"),
                inspect.Parameter.KEYWORD_ONLY,
                default=None,
                annotation=annotation(option),
            )
            for option in listed
        ]
        command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
        command.__doc__, command.__module__ = body.__doc__, body.__module__
        command.options = {option.name: option for option in listed}  # type: ignore[attr-defined]
        return command

    return of_body


def annotation(option: Option) -> Any:
    """The annotation that makes a parameter the flag of ``option``: a text, several, or whether it is set."""
    if option.argument:
        said = typer.Argument(
            help=option.help, metavar=option.metavar, show_default=False, rich_help_panel=option.group.value
        )
        return Annotated[str | None, said]
    if option.kind is Kind.SWITCH:
        return Annotated[bool | None, _flag(option, *_switch(option))]
    return Annotated[list[str] | None if option.repeated else str | None, _flag(option)]


def _flag(option: Option, *names: str) -> Any:
    return typer.Option(
        *(names or (f"--{option.name}",)),
        help=option.help,
        metavar=None if option.kind is Kind.SWITCH else option.shown,
        show_default=False,
        rich_help_panel=option.group.value,
    )


def _switch(option: Option) -> tuple[str, ...]:
    """The names of a switch: a second one where it is usually on."""
    if option.name == "quiet":
        return "--quiet", "-q"
    if option.usual != "yes":
        return (f"--{option.name}",)
    return (f"--{option.name}/--{option.opposite}",)


def flag(help: str, *names: str, **more: Any) -> Any:
    """A flag of one command alone; what it is by default, its help says where it matters."""
    return typer.Option(*names, help=help, show_default=False, **more)


def texts(flags: Mapping[str, Any]) -> dict[str, str]:
    """What was given, as texts by the name of the option.

    >>> texts({"at_most": ["navy=3", "red, dark=2"], "trim": False, "rows": None})
    {'at-most': 'navy=3,"red, dark=2"', 'trim': 'no'}
    """
    given: dict[str, str] = {}
    for name, value in flags.items():
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, (list, tuple)):
            value = ",".join(_quoted(text) for text in value) or None
        if value is not None:
            given[name.replace("_", "-")] = value
    return given


def _quoted(text: str) -> str:
    return f'"{text}"' if {",", ";"} & set(text) and '"' not in text else text
