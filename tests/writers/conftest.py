"""A real browser for the pages, driven by selenium through Debian's or any other chromedriver on the path."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest

Browser = Callable[..., Any]


def _found(*names: str) -> str | None:
    return next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture(scope="module")
def drivers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[bool], Any]]:
    """Drivers with and without scripts, started when first asked for and closed after the module."""
    chromium, driver = _found("chromium", "chromium-browser", "google-chrome"), _found("chromedriver")
    if chromium is None or driver is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI needs chromium and chromedriver")
        pytest.skip("no chromium with chromedriver on this machine")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    opened: dict[bool, Any] = {}

    def get(scripts: bool) -> Any:
        if scripts in opened:
            return opened[scripts]
        options = webdriver.ChromeOptions()
        options.binary_location = chromium
        for flag in (
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--disable-dev-shm-usage", f"--user-data-dir={tmp_path_factory.mktemp('profile')}",
        ):  # fmt: skip
            options.add_argument(flag)
        if not scripts:
            options.add_experimental_option(
                "prefs", {"profile.managed_default_content_settings.javascript": 2}
            )
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        opened[scripts] = webdriver.Chrome(options=options, service=Service(driver))
        return opened[scripts]

    yield get
    for one in opened.values():
        one.quit()


@pytest.fixture
def browser(drivers: Callable[[bool], Any]) -> Browser:
    """Get a headless browser as if new: ``browser(width=…, height=…, scripts=…, dark=…)``.

    Without a browser the test is skipped, but never under CI, where it fails.
    """

    def start(*, width: int = 390, height: int = 844, scripts: bool = True, dark: bool = False) -> Any:
        driver = drivers(scripts)
        driver.get("about:blank")
        driver.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": "file://", "storageTypes": "all"})
        for log in ("browser", "performance"):
            driver.get_log(log)
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        features = [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        return driver

    return start
