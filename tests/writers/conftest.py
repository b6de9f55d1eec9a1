"""A real browser for the pages, driven by selenium through Debian's or any other chromedriver on the path."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

Browser = Callable[..., Any]


def _found(*names: str) -> str | None:
    return next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    """Open a headless browser: ``browser(width=…, height=…, scripts=…)``; closed after the test.

    Without a browser the test is skipped, but never under CI, where it fails.
    """
    chromium, driver = _found("chromium", "chromium-browser", "google-chrome"), _found("chromedriver")
    if chromium is None or driver is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI needs chromium and chromedriver")
        pytest.skip("no chromium with chromedriver on this machine")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    opened: list[Any] = []

    def start(*, width: int = 390, height: int = 844, scripts: bool = True, dark: bool = False) -> Any:
        options = webdriver.ChromeOptions()
        options.binary_location = chromium
        for flag in (
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--disable-dev-shm-usage", f"--user-data-dir={tmp_path / f'profile{len(opened)}'}",
        ):  # fmt: skip
            options.add_argument(flag)
        if not scripts:
            options.add_experimental_option(
                "prefs", {"profile.managed_default_content_settings.javascript": 2}
            )
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        opened.append(webdriver.Chrome(options=options, service=Service(driver)))
        opened[-1].execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )
        if dark:
            features = [{"name": "prefers-color-scheme", "value": "dark"}]
            opened[-1].execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        return opened[-1]

    yield start
    for one in opened:
        one.quit()
