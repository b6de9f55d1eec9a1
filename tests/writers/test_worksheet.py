"""The worksheet's page as text: valid, closed, complete without scripts. The browser test is beside it."""

from __future__ import annotations

import json
import re
from html import unescape

import pytest
from hypothesis import given, settings

from pipeline.band.pattern import Pattern
from pipeline.colour import contrast
from pipeline.instructions.text import CAUTIONS, write_instructions
from pipeline.writers.ink import rgb
from pipeline.writers.pages import data_block
from pipeline.writers.worksheet import worksheet_html
from tests.patterns import patterns
from tests.writers.bands import HOSTILE, chequers, pennant, tiny
from tests.writers.pages import check_page, tags_of
from tests.writers.told import told_steps


def data_of(page: str) -> dict[str, object]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    return dict(json.loads(found[1]))


@settings(max_examples=20)
@given(patterns(max_strands=6, max_rows=4))
def test_page_is_valid_and_closed(pattern: Pattern) -> None:
    check_page(worksheet_html(pattern))


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_titles_and_names_stay_text(title: str) -> None:
    band = tiny(title)
    named = band.threads[0].model_copy(update={"name": title or "x"})
    page = worksheet_html(band.model_copy(update={"threads": (named, *band.threads[1:])}))
    check_page(page)
    assert not [tag for tag, _ in tags_of(page) if tag in ("img", "b", "x") and tag != "b"]
    assert page.count("<script") == page.count("</script>") == 2
    assert isinstance(data_of(page), dict)


def test_data_block_cannot_end_its_element() -> None:
    hostile = {"title": "</script><!-- & <script>"}
    block = data_block(hostile)
    assert not set("<>&") & set(block)
    assert json.loads(block) == hostile


@pytest.mark.parametrize("band", [pennant(), chequers("rows"), chequers("diagonal"), tiny()])
def test_all_steps_stand_in_the_plain_list(band: Pattern) -> None:
    text = unescape(re.sub(r"<[^>]+>", "", worksheet_html(band).partition('id="all"')[2]))
    for step in told_steps(band):
        assert step.text in text
        assert step.opening in text
    for caution in CAUTIONS:
        assert caution in unescape(worksheet_html(band))


@pytest.mark.parametrize("band", [pennant(2), chequers("diagonal", rows=12), tiny()])
def test_lines_are_numbered_as_in_the_written_instructions(band: Pattern) -> None:
    written = re.findall(r"^Order after (row|step) (\d+)", write_instructions(band), re.MULTILINE)
    labels = re.findall(r"<b>(Row|Step) (\d+)[^<]*</b>(.*)</li>", worksheet_html(band))
    checked = [(kind.lower(), number) for kind, number, rest in labels if "Order after" in rest]
    assert set(written) <= set(checked), "a folded passage of the text leaves checkpoints out"
    assert written[-1] == checked[-1]


@pytest.mark.parametrize("band", [pennant(), chequers("diagonal"), tiny()])
def test_script_data_ties_the_band(band: Pattern) -> None:
    """The page's knots are those of the steps."""
    data = data_of(worksheet_html(band))
    said = told_steps(band)
    shown = [step for line in data["lines"] for step in line["steps"]]  # type: ignore[attr-defined]
    assert [s["text"] for s in shown] == [s.text for s in said]
    assert [[k[0] for k in s["knots"]] for s in shown] == [[p for p, _ in s.step.knots] for s in said]
    assert sum(len(s["knots"]) for s in shown) == data["knots"]


def test_pages_of_different_bands_keep_different_places() -> None:
    keys = {data_of(worksheet_html(band))["key"] for band in (pennant(), pennant(2), pennant(title="x"))}
    assert len(keys) == 3
    assert worksheet_html(tiny()) == worksheet_html(tiny())


def test_colours_of_both_schemes_reach_the_contrast_of_wcag() -> None:
    """WCAG 2.2: text 4.5:1 (1.4.3), borders of controls and signs 3:1 (1.4.11)."""
    page = worksheet_html(tiny())
    light, dark = re.findall(r":root \{(.*?)\}", page, re.DOTALL)[:2]
    for scheme in (light, light + dark):
        colour = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", scheme))
        for ground in ("paper", "panel", "tint"):
            for text in ("ink", "soft", "deep", "signal"):
                assert contrast(rgb(colour[text]), rgb(colour[ground])) >= 4.5, (text, ground)
            assert contrast(rgb(colour["rule"]), rgb(colour[ground])) >= 3.0, ground
        assert contrast(rgb(colour["deep-ink"]), rgb(colour["deep"])) >= 4.5
