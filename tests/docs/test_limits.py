"""What is read at one sitting: functions of at most 60 lines and 7 parameters, files of under 400 lines."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
LINES, PARAMETERS, FILE_LINES = 60, 7, 400
ALLOWED = {
    "cli/draw.py command": "Typer reads a command's flags from its parameters",
    "cli/replan.py command": "Typer reads a command's flags from its parameters",
    "tests/fuzz/cases.py fixed": "a list of cases, one below the other",
    "tests/routing/test_closed.py closed": "a question, whose every quantity some test changes",
}
"""What is longer or takes more, and why; loops that numba compiles are apart, in a room of their own."""


def beyond(path: Path) -> Iterator[str]:
    """Every function of a file, and the file itself, that goes beyond a limit."""
    text = path.read_text(encoding="utf-8")
    name = str(path.relative_to(ROOT))
    if text.count("\n") >= FILE_LINES:
        yield name
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            taken = [arg.arg for arg in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if lines > LINES or len(set(taken) - {"self", "cls"}) > PARAMETERS:
                yield f"{name} {node.name}"


def test_what_goes_beyond_the_limits_is_named_with_its_reason() -> None:
    files = [
        path
        for room in ("pipeline", "cli", "tests", "benchmarks", "docs")
        for path in sorted((ROOT / room).rglob("*.py"))
        if ROOT / "pipeline/routing/loops" not in path.parents
    ]
    assert {found for path in files for found in beyond(path)} == set(ALLOWED)
