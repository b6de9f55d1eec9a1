"""The rooms of the house stand in one order, and imports point down it only: no circle, nothing upwards."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]

ORDER = (
    "errors",
    "limits",
    "literals",
    "processes",
    "colour",
    "files",
    "band",
    "routing",
    "drawer",
    "materials",
    "order",
    "motif",
    "design",
    "blocks",
    "verdict",
    "advice",
    "instructions",
    "plan",
    "report",
    "writers",
    "bundle",
    "choices",
    "batch",
)
"""From the ground up; a room may use those named before it."""
MOST_AT_ROOT = 10


def _modules() -> dict[str, Path]:
    """Every module of the pipeline by its dotted name without ``pipeline.``."""
    return {
        ".".join(path.relative_to(ROOT / "pipeline").with_suffix("").parts): path
        for path in sorted((ROOT / "pipeline").rglob("*.py"))
    }


def _imports(path: Path) -> set[str]:
    """The names of our own modules that a file imports anywhere, for types too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


def _rank(module: str) -> int:
    return ORDER.index(module.split(".")[0])


def test_every_room_has_its_place_and_the_root_stays_small() -> None:
    modules = [name for name in _modules() if name != "__init__"]
    assert {name.split(".")[0] for name in modules} <= set(ORDER)
    assert sum("." not in name for name in modules) <= MOST_AT_ROOT


def test_imports_between_rooms_point_down() -> None:
    upwards = [
        f"{name} imports {other}"
        for name, path in _modules().items()
        if name != "__init__"
        for other in sorted(_imports(path))
        if other.startswith("pipeline.")
        and other.removeprefix("pipeline.").split(".")[0] in ORDER
        and _rank(other.removeprefix("pipeline.")) > _rank(name)
    ]
    assert upwards == []


def test_no_circle_within_a_room() -> None:
    modules = _modules()
    uses = {
        name: {o.removeprefix("pipeline.") for o in _imports(path)} & modules.keys() - {name}
        for name, path in modules.items()
    }
    done: set[str] = set()
    while rest := {name for name in uses if name not in done}:
        free = {name for name in rest if uses[name] <= done}
        assert free, f"modules import each other in a circle: {sorted(rest)}"
        done |= free


def test_the_pipeline_neither_prints_nor_knows_the_command_line() -> None:
    for name, path in _modules().items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = {getattr(node.func, "id", "") for node in ast.walk(tree) if isinstance(node, ast.Call)}
        assert "print" not in calls, f"{name} prints"
        assert not {i for i in _imports(path) if i.split(".")[0] in ("typer", "cli", "rich")}, name


def test_the_checker_shares_no_code_with_the_router() -> None:
    checker = _imports(ROOT / "pipeline" / "verdict" / "feasibility.py")
    assert not {name for name in checker if name.startswith("pipeline.routing")}
