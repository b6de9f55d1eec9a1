"""The pages in a real browser: stepping, undoing, coming back, and nothing sent or complained about."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.band.pattern import Pattern
from pipeline.materials.lengths import cut_list
from pipeline.report import report_of_pattern
from pipeline.verdict.feasibility import check
from pipeline.writers.report_page import report_html
from pipeline.writers.worksheet import worksheet_html
from tests.patterns import random_pattern
from tests.writers.bands import HOSTILE, chequers, pennant, tiny
from tests.writers.conftest import Browser
from tests.writers.told import told_steps


def open_page(driver: Any, page: str, folder: Path) -> None:
    path = folder / "page.html"
    path.write_text(page, encoding="utf-8")
    driver.get(path.as_uri())


def text(driver: Any, name: str) -> str:
    return str(driver.execute_script("return document.getElementById(arguments[0]).textContent", name))


def press(driver: Any, *keys: str) -> None:
    from selenium.webdriver.common.action_chains import ActionChains

    for key in keys:
        ActionChains(driver).send_keys(key).perform()


def check_quiet(driver: Any, folder: Path) -> None:
    """No error on the console, and no request but for the page itself."""
    assert driver.get_log("browser") == []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        # Chromium's own start page also makes requests; ours are those that our document asks for.
        sent = message["method"] == "Network.requestWillBeSent"
        if sent and not message["params"]["documentURL"].startswith("chrome:"):
            url = message["params"]["request"]["url"]
            assert url.startswith((folder.as_uri(), "data:")), url


def test_step_undo_jump_reload(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    band = pennant()
    said = told_steps(band)
    driver = browser()
    open_page(driver, worksheet_html(band), tmp_path)
    assert text(driver, "now") == said[0].text
    press(driver, Keys.SPACE, Keys.ARROW_RIGHT)
    assert text(driver, "now") == said[2].text
    assert text(driver, "opening") == said[2].opening
    press(driver, "u")
    assert text(driver, "now") == said[1].text
    driver.find_element("id", "done").click()
    driver.find_element("id", "row").send_keys("5" + Keys.ENTER)
    fifth = next(s for s in said if s.step.row == 4)
    assert (text(driver, "label"), text(driver, "now")) == ("Row 5", fifth.text)
    driver.refresh()
    assert (text(driver, "label"), text(driver, "now")) == ("Row 5", fifth.text), "the place is kept"
    driver.find_element("id", "undo").click()
    assert text(driver, "now") == said[2].text, "undo goes back before the jump, after a reload as well"
    check_quiet(driver, tmp_path)


BANDS = {
    "diagonal": chequers("diagonal"),
    "tiny": tiny(),
    "joins": random_pattern(8, strands=5, rows=3, threads=4, worked="rows", sections=1, joins=6),
}


@pytest.mark.parametrize("band", BANDS.values(), ids=BANDS)
def test_to_the_end_and_back(band: Pattern, browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    said = told_steps(band)
    driver = browser(width=1200, height=900, dark=True)
    open_page(driver, worksheet_html(band), tmp_path)
    for step in said:
        assert text(driver, "now") == step.text
        shown = bool(driver.execute_script("return !document.getElementById('join').hidden"))
        assert shown == bool(step.step.joins)
        # The page ties the band itself; the tabs below the knots are the order after the step.
        numbers = driver.execute_script(
            "return [...document.querySelectorAll('#strip svg > text')].map(t => t.textContent)"
        )
        assert [int(n) - 1 for n in numbers[2::3]] == list(step.step.threads)
        press(driver, Keys.SPACE)
    assert text(driver, "label") == "All tied"
    assert not driver.find_element("id", "done").is_enabled()
    press(driver, Keys.ARROW_LEFT)
    assert text(driver, "now") == said[-1].text
    check_quiet(driver, tmp_path)


def test_the_place_is_kept_when_the_page_is_opened_again(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    band = pennant()
    driver = browser()
    open_page(driver, worksheet_html(band), tmp_path)
    press(driver, Keys.SPACE)
    driver.refresh()
    assert text(driver, "now") == told_steps(band)[1].text
    check_quiet(driver, tmp_path)


def test_go_to_finds_rows_and_steps(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser()
    for band, number, label in ((pennant(), "7", "Row 7"), (chequers("diagonal"), "3", "Step 3")):
        open_page(driver, worksheet_html(band), tmp_path)
        driver.find_element("id", "row").send_keys(number + Keys.ENTER)
        assert text(driver, "label").split(",")[0] == label
        assert label.split()[0].lower() == text(driver, "jump-unit")
    open_page(driver, worksheet_html(tiny()), tmp_path)  # rows 3 and 4 are told strand by strand
    driver.find_element("id", "row").send_keys("3" + Keys.ENTER)
    assert text(driver, "place").startswith("section 2 of 2")
    check_quiet(driver, tmp_path)


def test_two_bands_do_not_mix_their_places(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser()
    open_page(driver, worksheet_html(pennant()), tmp_path)
    press(driver, Keys.SPACE)
    open_page(driver, worksheet_html(pennant(2)), tmp_path)
    assert text(driver, "now") == told_steps(pennant(2))[0].text


@pytest.mark.parametrize("title", HOSTILE[:2])
def test_hostile_titles_run_nothing(title: str, browser: Browser, tmp_path: Path) -> None:
    band = tiny(title)
    named = band.threads[0].model_copy(update={"name": title})
    driver = browser()
    open_page(
        driver, worksheet_html(band.model_copy(update={"threads": (named, *band.threads[1:])})), tmp_path
    )
    assert driver.find_element("tag name", "h1").text.startswith(title[:10])
    assert driver.execute_script("return document.images.length") == 0
    check_quiet(driver, tmp_path)


def test_without_scripts_all_steps_can_be_read(browser: Browser, tmp_path: Path) -> None:
    band = pennant()
    driver = browser(scripts=False)
    open_page(driver, worksheet_html(band), tmp_path)
    shown = driver.find_element("tag name", "main").text
    for step in told_steps(band):
        assert step.text in shown
    assert "Tied, next" not in shown


def test_everything_has_a_name_and_the_focus_can_be_seen(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser()
    open_page(driver, worksheet_html(pennant()), tmp_path)
    tree = driver.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    active = ("button", "checkbox", "spinbutton", "progressbar", "image", "group", "status")
    for node in tree:
        if node.get("role", {}).get("value") in active and not node["ignored"]:
            named = node.get("name", {}).get("value") or node["role"]["value"] == "status"
            assert named, node["role"]
    for _ in range(8):
        press(driver, Keys.TAB)
        assert driver.execute_script(
            "const e = document.activeElement;"
            "return e === document.body || getComputedStyle(e).outlineStyle !== 'none'"
        )


def test_phone_needs_no_sideways_scrolling(browser: Browser, tmp_path: Path) -> None:
    driver = browser(width=360, height=640)
    band = pennant(4)
    report = report_html(report_of_pattern(band, check(band)), band)
    for page in (worksheet_html(chequers("rows", strands=24)), report):
        open_page(driver, page, tmp_path)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 360


def test_report_is_quiet_too(browser: Browser, tmp_path: Path) -> None:
    driver = browser(width=1200)
    band = tiny()
    open_page(driver, report_html(report_of_pattern(band, check(band)), band, cuts=cut_list(band)), tmp_path)
    assert "2 of 4 cells" in driver.find_element("class name", "sentence").text
    check_quiet(driver, tmp_path)
