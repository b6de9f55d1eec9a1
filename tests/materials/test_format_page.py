"""The format page: its example is a legal pattern, and it names every key that a file may have."""

import json
import re
from pathlib import Path

import pytest

from pipeline.band.pattern import End, Gauge, Join, KnotLength, Pattern, PatternThread, Row, Section
from pipeline.band.reading import parse_pattern

PAGE = (Path(__file__).parents[2] / "docs" / "pattern-format.md").read_text(encoding="utf-8")


def test_the_example_is_legal():
    example = re.search(r"```json\n(.*?)```", PAGE, re.DOTALL)[1]
    pattern = parse_pattern(example)
    assert pattern.ends.start.folded == ((0, 3), (1, 2))
    assert json.loads(example)["version"] == pattern.version


@pytest.mark.parametrize("model", [Pattern, PatternThread, Section, Row, Gauge, KnotLength, End, Join])
def test_every_key_is_described(model):
    missing = [name for name in model.model_fields if f"`{name}`" not in PAGE and f'"{name}"' not in PAGE]
    assert missing == []
