"""The pages in a real browser: stepping, undoing, coming back, and nothing sent or complained about."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.band.handed import for_left_hand
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


def test_two_bands_from_one_page_keep_their_own_places(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import Select

    said = told_steps(pennant())
    driver = browser()
    open_page(driver, worksheet_html(pennant()), tmp_path)
    press(driver, Keys.SPACE, Keys.SPACE)
    driver.find_element("id", "another").click()
    assert text(driver, "now") == said[0].text, "the second band starts afresh"
    driver.execute_script("document.activeElement.blur()")
    press(driver, Keys.SPACE)
    driver.refresh()
    assert text(driver, "now") == said[1].text
    Select(driver.find_element("id", "copy")).select_by_value("1")
    assert text(driver, "now") == said[2].text
    driver.refresh()
    assert text(driver, "now") == said[2].text
    check_quiet(driver, tmp_path)


@pytest.mark.parametrize("left_handed", [False, True])
def test_active_knots_are_in_sight_on_a_small_phone(
    left_handed: bool, browser: Browser, tmp_path: Path
) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser(width=320, height=568)
    band = pennant(4)
    open_page(driver, worksheet_html(for_left_hand(band) if left_handed else band), tmp_path)
    for _ in range(24):
        seen = driver.execute_script(
            "const strip = document.getElementById('strip'), box = strip.getBoundingClientRect();"
            "const lines = [...strip.querySelectorAll('svg > line')];"  # under each knot of the step
            "return [lines.length > 0, lines.some(l => { const r = l.getBoundingClientRect();"
            "return r.left >= box.left - 1 && r.right <= box.right + 1; })]"
        )
        assert seen == [True, True]
        press(driver, Keys.SPACE)


def test_a_turned_phone_keeps_the_active_knots_in_sight(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser(width=640, height=360)
    open_page(driver, worksheet_html(chequers("rows", strands=24, rows=6)), tmp_path)
    for _ in range(20):
        press(driver, Keys.SPACE)
    size = {"width": 320, "height": 640, "deviceScaleFactor": 1, "mobile": True}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    seen = driver.execute_async_script(
        "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => {"
        "const strip = document.getElementById('strip'), box = strip.getBoundingClientRect();"
        "done([...strip.querySelectorAll('svg > line')].some(l => {"
        "const r = l.getBoundingClientRect(); return r.left >= box.left && r.right <= box.right; })); }));"
    )
    assert seen


def test_the_whole_band_shows_where_the_maker_is(browser: Browser, tmp_path: Path) -> None:
    """Pixels of the map: the leftmost column is the first row, its left edge at the bottom."""
    from selenium.webdriver.common.keys import Keys

    driver = browser(width=1200, height=900)
    band = pennant()
    open_page(driver, worksheet_html(band), tmp_path)
    assert "row 1 of 8" in text(driver, "map-says")
    for _ in range(sum(1 for step in told_steps(band) if step.step.row < 6)):
        press(driver, Keys.SPACE)
    assert "row 7 of 8" in text(driver, "map-says")
    shown = driver.execute_script(
        "const m = document.getElementById('map');"
        "const { data, width } = m.getContext('2d').getImageData(0, 0, m.width, m.height);"
        "const at = (row, cell) => {"
        "  const x = Math.floor((row + 0.5) * m.width / 8);"
        "  const y = Math.floor(m.height - (cell + 0.5) * m.height / 7);"
        "  return [...data.slice(4 * (y * width + x), 4 * (y * width + x) + 4)]; };"
        "return [at(5, 0), at(5, 1), at(3, 0), at(3, 1), at(3, 4)]"
    )
    sail, deep = [0xF4, 0xF1, 0xE8, 255], [0x1B, 0x2A, 0x59, 255]
    assert shown == [sail, deep, sail, deep, sail], "rows 6 and 4 of the pennant"
    canvas = driver.find_element("id", "map")
    from selenium.webdriver.common.action_chains import ActionChains

    ActionChains(driver).move_to_element_with_offset(
        canvas, -canvas.size["width"] // 2 + 3, 0
    ).click().perform()
    assert text(driver, "label") == "Row 1"
    check_quiet(driver, tmp_path)


def test_the_beginning_is_open_at_first_and_the_end_at_last(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser(width=1200, height=900)
    band = pennant()
    open_page(driver, worksheet_html(band), tmp_path)
    state = "return ['before', 'after'].map(id => document.getElementById(id).open)"
    assert driver.execute_script(state) == [True, False]
    assert "Cut list" in driver.find_element("id", "before").text
    press(driver, Keys.SPACE)
    driver.refresh()
    assert driver.execute_script(state) == [False, False], "who comes back goes on tying"
    for _ in told_steps(band):
        press(driver, Keys.SPACE)
    assert driver.execute_script(state) == [False, True]
    assert (
        "One finger" in driver.find_element("id", "after").text
        or "one finger" in driver.find_element("id", "after").text
    )


def test_each_line_says_what_it_shows_and_when_to_look_back(browser: Browser, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    driver = browser()
    open_page(driver, worksheet_html(pennant(3)), tmp_path)
    looks = {name: set() for name in ("shows", "check", "measure", "again")}
    for _ in told_steps(pennant(3)):
        for name, found in looks.items():
            found.add(text(driver, name))
        press(driver, Keys.SPACE)
    assert "Shows: 7 sailcloth." in looks["shows"]
    assert any(said.startswith("Look back. Order after row 5, left to right:") for said in looks["check"])
    assert any(said.startswith("Measure after row ") for said in looks["measure"])
    assert "as rows 1–8: time 2 of 2" in looks["again"]


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
    assert "1 of 3 cells" in driver.find_element("class name", "sentence").text
    check_quiet(driver, tmp_path)
