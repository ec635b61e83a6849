"""A headless Chromium for the sheet's tests; skipped loudly where there is none."""

from __future__ import annotations

import json
import shutil
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
)


@contextmanager
def browser() -> Iterator[Any]:
    """A browser that keeps a log of its console and of all requests."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip(
            "THE SHEET IS NOT TESTED IN A BROWSER: install chromium and chromium-driver (apt) to test it"
        )
    webdriver = pytest.importorskip(
        "selenium.webdriver", reason="THE SHEET IS NOT TESTED: pip install selenium"
    )
    options = webdriver.ChromeOptions()
    for flag in FLAGS:
        options.add_argument(flag)
    options.binary_location = CHROMIUM
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with warnings.catch_warnings():
        # the driver's own sockets are closed by its garbage collection
        warnings.simplefilter("ignore", ResourceWarning)
        driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
        try:
            yield driver
        finally:
            driver.quit()


class Page:
    """The sheet as a user has it before him."""

    def __init__(self, driver: Any, path: Path, size: tuple[int, int] = (1500, 950)) -> None:
        self.driver = driver
        self.resize(*size)
        for kind in ("browser", "performance"):
            driver.get_log(kind)
        driver.get(path.as_uri())
        deadline = time.monotonic() + 60
        while not self.run("return document.documentElement.dataset.ready"):
            assert time.monotonic() < deadline, driver.get_log("browser")
            time.sleep(0.02)

    def resize(self, width: int, height: int) -> None:
        told = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", told)

    def run(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def state(self, name: str) -> Any:
        return self.run("sheet.store.flush(); return sheet.state[arguments[0]]", name)

    def press(self, *keys: str) -> None:
        from selenium.webdriver import ActionChains

        for key in keys:
            ActionChains(self.driver).send_keys(key).perform()
        self.run("sheet.store.flush()")

    def click(self, selector: str) -> None:
        self.run("document.querySelector(arguments[0]).click(); sheet.store.flush()", selector)

    def text(self, selector: str) -> str:
        return str(self.run("return document.querySelector(arguments[0]).textContent", selector))

    def picture(self, name: str) -> str:
        """All pixels of a canvas."""
        return str(
            self.run("sheet.store.flush(); return document.getElementById(arguments[0]).toDataURL()", name)
        )

    def requests(self) -> list[str]:
        """Addresses that the page has asked for."""
        messages = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]

    def errors(self) -> list[str]:
        return [str(entry["message"]) for entry in self.driver.get_log("browser")]
