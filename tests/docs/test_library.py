"""The examples of the library's page run as they stand."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def test_the_examples_of_the_library_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    tried = doctest.testfile(str(ROOT / "docs" / "library.md"), module_relative=False, verbose=False)
    assert tried.attempted > 40
    assert tried.failed == 0
