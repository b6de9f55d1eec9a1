"""The page of options and the help come from one place, and the help is short until all is asked for."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

from cli.main import run
from pipeline.order.options import OPTIONS

ROOT = Path(__file__).parents[2]


def helped(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as stop:
        run(words)
    assert stop.value.code == 0
    return capsys.readouterr().out


def test_the_page_is_what_the_options_say() -> None:
    page = runpy.run_path(str(ROOT / "docs" / "options.py"))["page"]()
    assert (ROOT / "docs" / "options.md").read_text(encoding="utf-8") == page, "run: python docs/options.py"


def test_help_shows_the_common_flags_and_all_of_them_on_demand(capsys: pytest.CaptureFixture[str]) -> None:
    short, whole = helped(capsys, "plan", "--help"), helped(capsys, "plan", "--help-all")
    for option in OPTIONS[1:]:
        named = re.compile(rf"--(no-)?{option.name}\b")
        assert named.search(whole)
        assert bool(named.search(short)) == option.common, option.name
    assert len(short.splitlines()) < 60 and "--help-all" in short
    assert "--help-all" not in whole


def test_a_word_too_few_shows_the_commands(capsys: pytest.CaptureFixture[str]) -> None:
    assert helped(capsys) == helped(capsys, "--help")
    assert "hitchgrid 0" in helped(capsys, "--version")


def test_help_imports_nothing_heavy() -> None:
    """What makes a help screen slow is an import; which ones are had is counted, not timed."""
    code = "import sys; from cli.main import run\ntry: run(['plan', '--help-all'])\nexcept SystemExit: pass\n"
    code += "print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    had = set(done.stderr.split())
    assert not had & {"numpy", "rich", "pydantic", "scipy", "numba", "PIL", "reportlab", "jinja2", "joblib"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--center",), "--fill centre"),
        (("--color", "navy"), "--colours"),
        (("--wrist", "155"), "155mm"),
        (("--wrist", "6", "1/4in"), '"6 1/4in"'),
        (("--room", "1", "cm"), '"1 cm"'),
        (("--finish", "plaits"), "braid"),
        (("--fit", "contian"), "contain"),
        (("--no-such-flag",), "--no-such-flag"),
        (("--trimm",), "--trim"),
    ],
)
def test_a_slip_leads_to_what_is_meant(
    words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        run(("plan", "--letters", "I", *words))
    told = capsys.readouterr().err
    assert stop.value.code == 2
    assert said in told and "alue error" not in told and told.count("\n") == 1
