"""A real browser for tests of pages: headless Chromium, watched for errors and requests.

Tests that use it are skipped where Chromium or its driver is not installed.
"""

from __future__ import annotations

import base64
import json
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

DESKTOP, PHONE = (1280, 900), (390, 844)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
)
# width, height of paper [inch]: ISO 216, and the American letter
PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}

# Relative luminance and contrast ratio of text on the page, WCAG 2.2
CONTRASTS = """
function luminance(colour) {
  const part = colour.match(/[\\d.]+/g).slice(0, 3).map(Number).map(c => c / 255)
    .map(c => c <= 0.04045 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4));
  return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2];
}
function ground(element) {
  for (let e = element; e; e = e.parentElement) {
    const colour = getComputedStyle(e).backgroundColor;
    if (!/^rgba\\(.*, 0\\)$/.test(colour) && colour !== 'transparent') return colour;
  }
  return 'rgb(255, 255, 255)';
}
const found = [];
const kinds = 'h1, h2, h3, p, a, th, td, li, caption, figcaption, label, button, summary,'
  + ' input, select';
for (const e of document.querySelectorAll(kinds)) {
  if (!(e.textContent.trim() || e.value) || !e.checkVisibility() || e.disabled) continue;
  if (getComputedStyle(e).clipPath !== 'none') continue;
  const pair = [luminance(getComputedStyle(e).color), luminance(ground(e))].sort((a, b) => b - a);
  found.push((pair[0] + 0.05) / (pair[1] + 0.05));
}
return Math.min(...found);
"""


# Patience is counted in looks at the page, each followed by a rest, so that a slow or busy machine,
# where a look takes longer, has more of it: some twenty seconds where nobody else works.
LOOKS, REST_S, REST_LOOKS = 200, 0.1, 4


class Wait:
    """Looks at a page again and again until something is so."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver

    def until(self, so: Callable[[Any], Any]) -> Any:
        """Return what `so` makes of the driver once that counts as true; fail after `LOOKS`."""
        from selenium.common.exceptions import NoSuchElementException

        for _ in range(LOOKS):
            start = time.monotonic()
            # whatever is asked, the page itself must answer: that is what takes the longer
            self.driver.execute_script("return document.readyState")
            with suppress(NoSuchElementException):
                if found := so(self.driver):
                    return found
            time.sleep(max(REST_S, REST_LOOKS * (time.monotonic() - start)))
        pytest.fail(f"not so after {LOOKS} looks at the page")


class Browser:
    """Chromium with what a test wants to know of it."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver
        self.marks = 0

    def size(self, size: tuple[int, int], *, phone: bool = False) -> None:
        """Set the page's own size [px], the window's frame left aside."""
        self.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {
                "width": size[0],
                "height": size[1],
                "deviceScaleFactor": 2 if phone else 1,
                "mobile": phone,
            },
        )
        self.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": phone})

    def colours(self, scheme: str) -> None:
        """Prefer `light` or `dark`."""
        feature = {"name": "prefers-color-scheme", "value": scheme}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})

    def js(self, script: str, *arguments: Any) -> Any:
        """Run a function's body in the page."""
        return self.driver.execute_script(script, *arguments)

    def complaints(self) -> list[str]:
        """Return what the console said since the last call, warnings included.

        The log comes late on a busy machine, so a last word of our own is awaited.
        """
        self.marks += 1
        last = f"all is said: {self.marks}"
        self.js("console.debug(arguments[0])", last)
        found: list[str] = []
        give_up = time.monotonic() + 300
        while time.monotonic() < give_up:
            found += [entry["message"] for entry in self.driver.get_log("browser")]
            others = [line for line in found if last not in line]
            if len(others) < len(found):
                return others
            time.sleep(0.02)
        raise TimeoutError(f"the console never said {last!r}")

    def requests(self) -> list[str]:
        """Return the addresses asked for since the last call; data inside the page aside."""
        found = []
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                found.append(message["params"]["request"]["url"])
        return [url for url in found if not url.startswith(("data:", "blob:"))]

    def picture(self, path: Path, *, whole: bool = False) -> None:
        """Save what is to be seen, or the whole page, as a PNG."""
        got = self.driver.execute_cdp_cmd(
            "Page.captureScreenshot", {"captureBeyondViewport": whole}
        )
        path.write_bytes(base64.b64decode(got["data"]))

    def pdf(self, paper: str) -> bytes:
        """Print the page."""
        width, height = PAPERS[paper]
        got = self.driver.execute_cdp_cmd(
            "Page.printToPDF",
            {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": True},
        )
        return base64.b64decode(got["data"])

    def tree(self) -> list[dict[str, Any]]:
        """Return role and name of everything that a screen reader is told of."""
        nodes = self.driver.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
        return [
            {"role": node.get("role", {}).get("value"), "name": node.get("name", {}).get("value")}
            for node in nodes
            if not node.get("ignored")
        ]

    def contrast(self) -> float:
        """Return the least contrast of any text that is to be seen; 1 is none, 21 the most."""
        return float(self.js(CONTRASTS))

    def wide(self) -> int:
        """How many pixels the page is wider than the window; 0 where nothing has to be pushed."""
        return int(
            self.js("const d = document.documentElement; return d.scrollWidth - d.clientWidth")
        )


def find_browser() -> tuple[str, str]:
    """Return the programs of Chromium and its driver; skip the test without them."""
    pytest.importorskip("selenium")
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if browser is None or driver is None:
        pytest.skip("Chromium and chromium-driver are not installed")
    return browser, driver


@contextmanager
def opened_browser(folder: Path, *flags: str) -> Iterator[Browser]:
    """Start a browser with a fresh profile in a folder, and end it; `flags` are for this one."""
    program, driver_program = find_browser()
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in (*FLAGS, *flags, f"--user-data-dir={folder}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(driver_program))
    try:
        driver.set_page_load_timeout(600)
        driver.get("about:blank")
        browser = Browser(driver)
        browser.requests()  # those of the page that Chromium opens with
        yield browser
    finally:
        driver.quit()
