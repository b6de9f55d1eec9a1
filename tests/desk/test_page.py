"""The whole job in a real browser: motif in, a band chosen, a cell touched up, the files out."""

from __future__ import annotations

import io
import os
import signal
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.desk.conftest import QUICK, ROOT, Running, start, until
from tests.desk.test_guard import flag
from tests.writers.conftest import Browser

AXE = Path(os.environ.get("AXE_CORE") or ROOT / ".axe/node_modules/axe-core/axe.min.js")
READY = "[data-choice][data-state=ready]"
BAND = "[data-band][data-state=ready]"


def find(driver: Any, selector: str) -> list[Any]:
    return list(driver.find_elements("css selector", selector))


def come_in(driver: Any, desk: Running) -> str:
    """Open the printed address, and a bench of its own with a band of few knots asked for."""
    driver.get(desk.address)
    until(lambda: "/bench/" in driver.current_url)
    bench = desk.enter()
    desk.ask("POST", f"{bench}/ask", QUICK)
    driver.get(f"http://127.0.0.1:{desk.port}{bench}")
    return bench


def put_motif(driver: Any, folder: Path) -> None:
    path = folder / "harbour_flag.png"
    path.write_bytes(flag())
    driver.find_element("css selector", "input[type=file]").send_keys(str(path))


def all_drawn(driver: Any) -> list[Any]:
    until(
        lambda: find(driver, READY) and not find(driver, "[data-state=waiting]"),
        said=lambda: driver.find_element("id", "said").text + driver.find_element("id", "sheet").text,
    )
    return find(driver, READY)


def script(driver: Any, code: str, *values: Any) -> Any:
    return driver.execute_script(code, *values)


def accessible(driver: Any) -> list[str]:
    """What axe-core finds wrong by WCAG 2.2 AA, with everything on the page unfolded."""
    if not AXE.exists():
        if os.environ.get("CI") == "true":
            pytest.fail("CI needs axe-core")
        return []
    script(driver, "document.querySelectorAll('details').forEach(d => d.open = true)")
    script(driver, AXE.read_text(encoding="utf-8"))
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = driver.execute_async_script(
        "const [tags, done] = arguments; axe.run(document, {runOnly: tags}).then(r => done(r.violations))",
        tags,
    )
    return [f"{v['id']}: {v['nodes'][0]['html']}" for v in found]


def quiet(driver: Any) -> None:
    """Nothing on the console: no fault, nothing that the policy had to stop."""
    assert driver.get_log("browser") == []


def test_from_motif_to_archive(desk: Running, browser: Browser, tmp_path: Path) -> None:
    driver = browser(width=1280, height=1000)
    bench = come_in(driver, desk)
    assert accessible(driver) == []
    put_motif(driver, tmp_path)
    drawn = all_drawn(driver)
    assert len({one.get_attribute("data-choice") for one in drawn}) == len(drawn) >= 3
    assert accessible(driver) == []
    drawn[0].click()
    until(lambda: find(driver, BAND))
    assert find(driver, BAND)[0].get_attribute("data-band") == drawn[0].get_attribute("data-choice")
    assert accessible(driver) == []

    # a cell is touched up, undone and redone
    shown = driver.find_element("css selector", ".whole img").get_attribute("src")
    cells = driver.find_element("id", "cells")
    cells.send_keys(" ")
    assert "marked" in driver.find_element("id", "cell-said").text
    thread = driver.find_element("id", "touch-thread")
    thread.find_elements("css selector", "optgroup option")[-1].click()
    driver.find_element("css selector", "[data-touch] button").click()
    picture = lambda: driver.find_element("css selector", ".whole img").get_attribute("src")  # noqa: E731
    until(lambda: find(driver, BAND) and picture() != shown)
    touched = picture()
    driver.find_element("css selector", "[data-way=undo]").click()
    until(lambda: picture() == shown)
    driver.find_element("css selector", "[data-way=redo]").click()
    until(lambda: picture() == touched)

    # the files
    archive = driver.find_element("css selector", "a[data-archive]").get_attribute("href")
    status, _, data = desk.ask("GET", archive.partition(str(desk.port))[2])
    assert status == 200
    with zipfile.ZipFile(io.BytesIO(data)) as files:
        names = {name.partition("/")[2] for name in files.namelist()}
        assert {"sheet.pdf", "worksheet.html", "chart.png", "cut-list.csv", "pattern.json"} <= names
        assert {name.partition("/")[0] for name in files.namelist()} == {"harbour-flag"}
    assert (desk.home / "output/harbour-flag/pattern.json").exists()
    until(lambda: find(driver, "#shelf li"))
    assert desk.ask("GET", f"{bench}/file/sheet.pdf")[2].startswith(b"%PDF")
    quiet(driver)


@pytest.mark.parametrize("width", [320, 768, 1280, 1920])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_width_in_both_schemes(
    desk: Running, browser: Browser, tmp_path: Path, width: int, dark: bool
) -> None:
    driver = browser(width=width, height=900, dark=dark)
    driver.get(desk.address)
    until(lambda: "/bench/" in driver.current_url)
    bench = newest_with_band(desk)
    driver.get(f"http://127.0.0.1:{desk.port}{bench}")
    until(lambda: find(driver, BAND))
    assert accessible(driver) == []
    assert script(driver, "return document.documentElement.scrollWidth") <= width
    quiet(driver)


def newest_with_band(desk: Running) -> str:
    """A bench with a chosen band; made without the browser where there is none yet."""
    desk.enter()
    folder = desk.home / ".local/state/hitchgrid/desk"
    for path in sorted(folder.glob("*/band-*.png"), key=lambda p: p.stat().st_mtime, reverse=True):
        return f"/bench/{path.parent.name}"
    bench = desk.ask("POST", "/another")[1]["location"]
    desk.ask("POST", f"{bench}/ask", QUICK)
    assert desk.ask("POST", f"{bench}/motif?name=flag.png", flag())[0] == 204
    panel = until(
        lambda: page if b'data-state="ready"' in (page := desk.ask("GET", f"{bench}/panel/sheet")[2]) else 0
    )
    key = panel.partition(b'data-choice="')[2].partition(b'"')[0].decode()
    assert desk.ask("POST", f"{bench}/choose", {"key": key})[0] == 204
    until(lambda: b'data-state="ready"' in desk.ask("GET", f"{bench}/panel/band")[2])
    return str(bench)


def test_by_keyboard_alone(desk: Running, browser: Browser) -> None:
    """Every control is reached in turn, and shows that it is; letters go in and a band is chosen by keys."""
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    driver = browser(width=1280, height=1000)
    bench = come_in(driver, desk)
    desk.ask("POST", f"{bench}/ask", {"height": "5", "across": "no", "wrist": "adult-large"})

    def press(*keys: str) -> None:
        for key in keys:
            ActionChains(driver).send_keys(key).perform()

    def reach(selector: str) -> None:
        for _ in range(150):
            press(Keys.TAB)
            if script(driver, "return document.activeElement.matches(arguments[0])", selector):
                return
            assert script(
                driver,
                "const e = document.activeElement;"
                "return e === document.body || getComputedStyle(e).outlineStyle !== 'none'",
            ), script(driver, "return document.activeElement.outerHTML")
        raise AssertionError(f"{selector} is not reached")

    reach("#letters")
    press("R", "C", Keys.ENTER)
    all_drawn(driver)
    script(driver, "document.activeElement.blur()")
    reach(READY)
    press(Keys.ENTER)
    until(lambda: find(driver, BAND))
    reach("#cells")
    press(Keys.ARROW_RIGHT, Keys.ARROW_DOWN, Keys.SPACE)
    assert "marked" in driver.find_element("id", "cell-said").text
    reach("[data-archive]")
    quiet(driver)


def test_reload_and_two_tabs(desk: Running, browser: Browser, tmp_path: Path) -> None:
    driver = browser(width=1280, height=1000)
    come_in(driver, desk)
    first = driver.current_window_handle
    put_motif(driver, tmp_path)
    until(lambda: find(driver, READY))
    driver.refresh()  # in the middle
    assert find(driver, READY)
    driver.switch_to.new_window("tab")
    driver.get(desk.address)
    until(lambda: "/bench/" in driver.current_url)
    other = driver.current_url
    driver.switch_to.window(first)
    assert driver.current_url != other, "a second tab does not take the first one's bench"
    assert all_drawn(driver)
    driver.get(desk.address)
    until(lambda: "/bench/" in driver.current_url)
    assert find(driver, READY), "a tab comes back to its own bench"
    driver.switch_to.window(driver.window_handles[-1])
    driver.close()
    driver.switch_to.window(first)


def test_killed_in_the_middle_it_comes_back(browser: Browser, tmp_path: Path) -> None:
    running = start(tmp_path / "home")
    driver = browser(width=1280, height=1000)
    come_in(driver, running)
    put_motif(driver, tmp_path)
    until(lambda: find(driver, READY))
    keys = {one.get_attribute("data-choice") for one in find(driver, READY)}
    running.stop(signal.SIGKILL)
    again = start(tmp_path / "home")
    driver.get("about:blank")
    driver.get(again.address)
    until(lambda: "/bench/" in driver.current_url)
    drawn = {one.get_attribute("data-choice") for one in all_drawn(driver)}
    assert keys <= drawn, "the rest was planned when the desk was opened again"
    assert again.stop() == 0


def test_hostile_names_do_nothing(desk: Running, browser: Browser, tmp_path: Path) -> None:
    driver = browser(width=1280, height=1000)
    bench = come_in(driver, desk)
    name = "%3Cimg%20src=x%20onerror=alert(1)%3E%22%27.png"
    assert desk.ask("POST", f"{bench}/motif?name={name}", flag())[0] == 204
    desk.ask("POST", f"{bench}/ask", {"letters": "<b>&\"'"})
    driver.refresh()
    until(lambda: find(driver, ".taken img"))
    assert not find(driver, "img[onerror], b")
    quiet(driver)
