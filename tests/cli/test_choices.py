"""What a flag offers is what the library takes."""

from __future__ import annotations

from typing import get_args

import pytest

from cli.main import run
from pipeline.literals import EaseName, Paper
from pipeline.routing import Ease
from pipeline.writers.chart import PAPERS


def test_the_names_are_those_of_the_library() -> None:
    assert get_args(EaseName) == tuple(Ease)
    assert get_args(Paper) == tuple(PAPERS)


@pytest.mark.parametrize(
    ("flag", "known"),
    [
        ("--worked", "rows"), ("--ease", "light"), ("--share", "full"), ("--fit", "cover"),
        ("--reduce", "photo"), ("--fill", "centre"),
    ],
)  # fmt: skip
def test_a_word_that_is_no_choice_is_told_with_those_that_are(
    flag: str, known: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        run(("plan", "--letters", "I", flag, "moored"))
    said = capsys.readouterr().err
    assert stop.value.code == 2
    assert flag in said and known in said and said.count("\n") == 1
