"""Every example of the README and of the help runs as it stands, and every command is told of."""

from __future__ import annotations

import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
import typer

from cli.main import app, run

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GROUP = typer.main.get_command(app)
COMMANDS: dict[str, object] = dict(GROUP.commands)  # type: ignore[attr-defined]
QUICK = {
    "plan": ("--effort", "0.01", "--no-advice", "--rows", "30"),
    "batch": ("--effort", "0.01"),
    "choices": ("--effort", "0.01", "--strands", "9", "--colours", "2", "--jobs", "1"),
}
"""Flags that make an example quick and change nothing else about it."""


def of_readme() -> list[str]:
    blocks = re.findall(r"^ *```console\n(.*?)^ *```", README, re.MULTILINE | re.DOTALL)
    lines = (line.strip() for block in blocks for line in block.splitlines())
    return [line.removeprefix(".venv/bin/") for line in lines if "hitchgrid " in line]


def of_help(name: str) -> list[str]:
    said = " ".join(str(COMMANDS[name].help).split())  # type: ignore[attr-defined]
    return [part.split(" Example:")[0].strip() for part in said.split("Example: ")[1:]]


SERVING = "hitchgrid desk"
"""Runs until somebody ends it; ``tests/desk`` does."""
ALL = {*of_readme(), *(example for name in COMMANDS for example in of_help(name))}
EXAMPLES = sorted(example for example in ALL if not example.startswith(SERVING))


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the samples and one finished result, as after the first tour."""
    folder = tmp_path_factory.mktemp("desk")
    shutil.copytree(ROOT / "sample_images", folder / "sample_images")
    orders = folder / "sample_images" / "regatta_orders.csv"
    orders.write_text("".join(orders.read_text().splitlines(keepends=True)[:3]))  # the first two will do
    words = ("plan", "sample_images/pennant.png", "--strands", "24", *QUICK["plan"])
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        with pytest.raises(SystemExit) as stop:
            run((*words, "-q"))
    assert stop.value.code == 0
    threads = sorted(
        set(re.findall(r'"name": "([^"]+)", "colour"', (folder / "output/pennant/pattern.json").read_text()))
    )
    rows = "".join(f"{name},#000000,90\n" for name in threads)
    (folder / "threads.csv").write_text(f"name,colour,metres\n{rows}")
    return folder


def test_there_are_examples() -> None:
    assert len(of_readme()) >= 3
    assert all(of_help(name) for name in COMMANDS)


@pytest.mark.parametrize("example", EXAMPLES)
def test_an_example_runs(
    example: str, desk: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    program, *words = shlex.split(example)
    assert program == "hitchgrid"
    monkeypatch.chdir(desk)
    monkeypatch.setenv("HOME", str(desk))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    out = (
        ("--out", str(desk / "tried" / str(EXAMPLES.index(example))))
        if words[0] in ("plan", "blocks", "choices")
        else ()
    )
    words = [fitting(word, desk) if before == "--left" else word for before, word in pairwise(["", *words])]
    sure = ("--yes",) if words[0] == "stash" and "--book" in words else ()
    with pytest.raises(SystemExit) as stop:
        run((*words, *QUICK.get(words[0], ()), *out, *sure))
    assert stop.value.code == 0, capsys.readouterr().err


def fitting(left: str, desk: Path) -> str:
    """POSITION=LENGTH with a length that any strand of the band here can have left at two thirds of it."""
    with (desk / "output/pennant/cut-list.csv").open() as file:
        shortest = min(float(line["length_mm"]) for line in csv.DictReader(file))
    return f"{left.partition('=')[0]}={0.4 * shortest:.0f}mm"


def test_the_readme_names_every_command_and_no_other() -> None:
    named = re.findall(r"hitchgrid ([a-z]+)", README)
    assert set(named) == set(COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_help_is_short(name: str) -> None:
    told = str(COMMANDS[name].help).strip()  # type: ignore[attr-defined]
    first = told.splitlines()[0]
    assert len(first) <= 110 and first.endswith((".", "?", "leave."))
    assert len(told) <= 700
    for parameter in COMMANDS[name].params:  # type: ignore[attr-defined]
        assert parameter.name == "help" or parameter.help, f"{name} {parameter.name} has no help"


PAGES = [
    p for room in (".", "docs", "sample_images", "benchmarks", "output") for p in (ROOT / room).glob("*.md")
]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_to_files(path: Path) -> None:
    targets = re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8"))
    lost = [
        t
        for t in targets
        if "://" not in t and not t.startswith("mailto:") and not (path.parent / t).exists()
    ]
    assert not lost


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_of_shells(shell: str) -> None:
    """The script that a shell needs is printed, and asking it for ``hitchgrid dr`` offers ``draw``."""
    script = asked(f"_HITCHGRID_COMPLETE=source_{shell}")
    assert "hitchgrid" in script and f"complete_{shell}" in script
    offered = asked(
        f"_HITCHGRID_COMPLETE=complete_{shell}",
        "COMP_WORDS=hitchgrid dr",
        "COMP_CWORD=1",
        "_TYPER_COMPLETE_ARGS=hitchgrid dr",
        "_TYPER_COMPLETE_FISH_ACTION=get-args",
    )
    assert "draw" in offered
    assert "plan" not in offered


def asked(*environment: str) -> str:
    """What the program prints when a shell asks it in this manner."""
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv = ['hitchgrid']; from cli.main import run; run()"],
        env={**os.environ, **dict(item.split("=", 1) for item in environment)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout
