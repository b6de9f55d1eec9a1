"""The shared generator itself: what it makes is legal, and the same seed gives the same pattern."""

from hypothesis import given, settings

from pipeline.band.pattern import render
from pipeline.band.reading import parse_pattern, problems
from tests.patterns import patterns, random_pattern


@settings(max_examples=60, deadline=None, derandomize=True)
@given(patterns())
def test_random_patterns_are_legal_and_survive_writing(pattern):
    assert list(problems(pattern)) == []
    assert parse_pattern(render(pattern)) == pattern


def test_same_seed_gives_the_same_pattern():
    assert [render(random_pattern(s)) for s in range(20)] == [render(random_pattern(s)) for s in range(20)]
