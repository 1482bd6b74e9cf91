"""The bench page as a person handles it in a browser, and a bench that serves it."""

from __future__ import annotations

import re
import threading
from contextlib import contextmanager

import pytest

from browser import DESKTOP, PHONE, Wait
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.serve import BenchServer

SIZES = {"desktop": DESKTOP, "phone": PHONE}


class Page:
    """The page as a person handles it."""

    def __init__(self, browser, size):
        self.browser = browser
        self.phone = size == "phone"
        self.wait = Wait(browser.driver)

    def open(self, url):
        # an earlier test's page would go on asking its server, which is gone, and complain of it
        self.browser.driver.get("about:blank")
        self.browser.size(SIZES["phone" if self.phone else "desktop"], phone=self.phone)
        self.browser.colours("light")
        self.browser.complaints()
        self.browser.requests()
        self.browser.driver.get(url)

    def get(self, identity):
        return self.browser.driver.find_element("id", identity)

    def text(self, identity):
        return self.get(identity).text

    def seen(self, identity):
        """Wait until something is to be seen."""
        self.wait.until(lambda _: self.get(identity).is_displayed())
        return self.get(identity)

    def says(self, identity, words):
        """Wait until something says these words."""
        self.wait.until(lambda _: words in self.text(identity))

    def seconds(self):
        """How long the page says that the reading has been going on."""
        return int(re.search(r", (\d+) s", self.text("working-text"))[1])

    def look(self):
        """Have the page look at the desk now, as it does when the phone wakes up."""
        self.browser.js("document.dispatchEvent(new Event('visibilitychange'))")

    def click(self, identity):
        one = self.get(identity)
        self.browser.js("arguments[0].scrollIntoView({block: 'center'})", one)
        one.click()

    def choose(self, identity, words):
        from selenium.webdriver.support.ui import Select

        self.says(identity, words)
        Select(self.get(identity)).select_by_visible_text(words)
        self.wait.until(lambda _: "busy" not in self.get_body_class())

    def get_body_class(self):
        return self.browser.js("return document.body.className")

    def send(self, *paths, by="files"):
        self.get(by).send_keys("\n".join(map(str, paths)))

    def edge(self):
        """The edge as the page has it in numbers."""
        return [
            float(self.browser.js("return document.getElementById(arguments[0]).value", one))
            for one in ("edge-cx", "edge-cy", "edge-a", "edge-b")
        ]

    def edge_becomes(self, expected, within):
        """Wait until the edge is where it was dragged to, and no further."""
        self.wait.until(lambda _: self.edge() == pytest.approx(expected, abs=within))

    def handle(self, number):
        """Middle of a handle on the screen: 0 the centre, 1 and 2 the half axes."""
        one = self.browser.driver.find_elements("css selector", ".handle .knob")[number]
        self.browser.js("arguments[0].scrollIntoView({block: 'center'})", one)
        box = self.browser.js(
            "const b = arguments[0].getBoundingClientRect();"
            "return [b.x + b.width / 2, b.y + b.height / 2]",
            one,
        )
        return [round(one) for one in box]

    def drag(self, number, dx, dy):
        """Drag a handle, with the finger on a phone and with the mouse elsewhere."""
        x, y = self.handle(number)
        places = [(x, y), (x + dx // 2, y + dy // 2), (x + dx, y + dy)]
        if self.phone:
            for kind, place in zip(("touchStart", "touchMove", "touchMove"), places, strict=True):
                points = [{"x": place[0], "y": place[1]}]
                self.touch(kind, points)
            self.touch("touchEnd", [])
        else:
            self.mouse("mousePressed", *places[0])
            for place in places[1:]:
                self.mouse("mouseMoved", *place)
            self.mouse("mouseReleased", *places[-1])

    def touch(self, kind, points):
        words = {"type": kind, "touchPoints": points}
        self.browser.driver.execute_cdp_cmd("Input.dispatchTouchEvent", words)

    def mouse(self, kind, x, y):
        words = {"type": kind, "x": x, "y": y, "button": "left", "buttons": 1, "clickCount": 1}
        self.browser.driver.execute_cdp_cmd("Input.dispatchMouseEvent", words)


def said(stage=None, minutes=None, on_top=None, **more):
    """What is said of a visit on the page."""
    spell = {"minutes": () if minutes is None else (minutes,)}
    return VisitRequest(stage=stage, on_top=() if on_top is None else (on_top,), **spell, **more)


@contextmanager
def served(archive, **words):
    """A bench that serves an archive until the block ends."""
    server = BenchServer(archive, **words)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.close()
        thread.join(600)
        assert not thread.is_alive()
