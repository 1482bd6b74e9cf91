"""The daily job on the bench page in WebKit, the engine of other phones; skipped where it is not.

Debian's packages `webkit2gtk-driver` and `xvfb`: WebKitWebDriver drives the MiniBrowser, which
needs a screen.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from contextlib import contextmanager
from pathlib import Path

import pytest

from browser import Wait
from sample_visits import power_reading

BROWSERS = ("webkit2gtk-4.1", "webkit2gtk-4.0", "webkitgtk-6.0")


def find_webkit():
    """Programs of the driver, the browser and the screen; skips where one is not installed."""
    pytest.importorskip("selenium")
    driver, screen = shutil.which("WebKitWebDriver"), shutil.which("Xvfb")
    libraries = (Path("/usr/lib") / f"{os.uname().machine}-linux-gnu", Path("/usr/libexec"))
    places = (one / name / "MiniBrowser" for one in libraries for name in BROWSERS)
    browser = next((str(place) for place in places if place.exists()), None)
    if driver is None or screen is None or browser is None:
        pytest.skip("WebKitWebDriver, MiniBrowser or Xvfb is not installed")
    return driver, browser, screen


@contextmanager
def screen_of(program):
    """A screen that nobody sees; its name."""
    read, write = os.pipe()
    command = [program, "-displayfd", str(write), "-screen", "0", "900x1200x24", "-nolisten", "tcp"]
    process = subprocess.Popen(command, pass_fds=[write], stderr=subprocess.DEVNULL)
    os.close(write)
    try:
        with os.fdopen(read) as told:
            number = told.readline().strip()
        assert number, "Xvfb opened no screen"
        yield f":{number}"
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def webkit(monkeypatch, tmp_path):
    driver, browser, screen = find_webkit()
    from selenium import webdriver
    from selenium.webdriver.webkitgtk.options import Options
    from selenium.webdriver.webkitgtk.service import Service

    with screen_of(screen) as display:
        monkeypatch.setenv("DISPLAY", display)
        monkeypatch.setenv("LIBGL_ALWAYS_SOFTWARE", "1")
        monkeypatch.setenv("HOME", str(tmp_path / "home"))
        options = Options()
        options.binary_location = browser
        options.add_argument("--automation")
        one = webdriver.WebKitGTK(options=options, service=Service(driver))
        try:
            yield one
        finally:
            one.quit()


@pytest.mark.filterwarnings("ignore:setting remote_server_addr:DeprecationWarning")
def test_the_daily_job(webkit, bench, reader, photo):
    """Photograph, contact, log, undo: each works, and nothing is wider than the screen."""
    wait = Wait(webkit)
    get = lambda identity: webkit.find_element("id", identity)  # noqa: E731
    webkit.get(bench.urls[0])
    wait.until(lambda _: "concave 1" in get("facts").text)
    get("files").send_keys(str(photo))
    wait.until(lambda _: reader.orders)
    reader.finish(power_reading(1.5, 0.1, "unknown").reading)
    wait.until(lambda _: get("result").is_displayed())
    assert get("value").text == "1.50"
    get("sense-centre").click()
    wait.until(lambda _: len(reader.orders) == 2)
    reader.finish(power_reading(1.5, 0.1, "centre").reading)
    wait.until(lambda _: get("value").text == "+1.50" and get("log-bar").is_displayed())
    wide = "return document.documentElement.scrollWidth <= innerWidth"
    assert webkit.execute_script(wide)
    get("log-bar").click()
    wait.until(lambda _: "visit 1 is in the record" in get("logged").text)
    get("undo").click()
    wait.until(lambda _: "Visit 1 of concave 1 is struck out" in get("logged").text)
    assert get("value").text == "+1.50"
