"""The report in a real browser: quiet, alone, readable by eye, keyboard, reader and on paper."""

from __future__ import annotations

import base64
import re

import pytest

from browser import DESKTOP, PAPERS, PHONE, opened_browser
from fringe.judge.tolerance.verdict import Tolerance, surface_verdict
from fringe.judge.uncertainty.sources import Bench, measured_of
from fringe.show.figures.overlay import overlay_figure
from fringe.show.figures.style import COLUMN_IN
from fringe.show.reports.report import ReportFigure, report_html

RECORD = {
    "name": "Convex no. 2",
    "form": "convex",
    "radius_mm": 3048.0,
    "diameter_mm": 150.0,
    "tolerance": {"power_fringes": 1.0, "wavelength_nm": 546.07, "rule": "guard95"},
}


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    with opened_browser(tmp_path_factory.mktemp("profile")) as browser:
        yield browser


@pytest.fixture(scope="module")
def write(tmp_path_factory, made_reading, made_photo, made_visits):
    """Write a report with these warnings and lines; return its address."""

    def make(warnings=("dust near the rim",), **latest):
        figure_of = made_reading(0.6, tilt=(3.0, 1.0), u95=0.08, warnings=warnings)
        return _written(
            tmp_path_factory.mktemp("report"), figure_of, made_photo, made_visits(), latest
        )

    return make


@pytest.fixture(scope="module")
def address(write):
    return write()


def _written(folder, reading, made_photo, rows, more):
    latest = {
        "reading": reading.to_json(),
        "verdict": surface_verdict(
            measured_of(reading, Bench()), Tolerance(power_fringes=1.0)
        ).to_json(),
        "photographs": [{"file_name": "rings.jpg", "sha256": "3f" * 32}],
        **more,
    }
    drawn = overlay_figure(made_photo(reading), reading, width_in=COLUMN_IN, enlarged=False)
    figure = ReportFigure.of(drawn, "the fit", "Fit")
    html = report_html(RECORD, rows, latest, {"overlay": figure})
    path = folder / "report.html"
    path.write_text(html, encoding="utf-8")
    return path.as_uri()


@pytest.fixture
def page(browser, address):
    """The report, freshly opened at the size of a desktop."""
    browser.size(DESKTOP)
    browser.colours("light")
    browser.complaints()
    browser.requests()
    browser.driver.get(address)
    return browser


def test_it_is_quiet_and_alone(page, address):
    """The console has nothing to say, and no address but the page's own is asked for."""
    assert page.complaints() == []
    assert page.requests() == [address]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESKTOP, PHONE])
def test_it_can_be_read(page, size, scheme):
    """All text has a contrast of 4.5 or more (WCAG 2.2, 1.4.3), and nothing is wider than it."""
    page.size(size, phone=size == PHONE)
    page.colours(scheme)
    assert page.contrast() >= 4.5
    assert page.wide() == 0
    dark = page.js("return matchMedia('(prefers-color-scheme: dark)').matches")
    ground = page.js("return getComputedStyle(document.body).backgroundColor")
    assert dark == (scheme == "dark")
    assert (ground == "rgb(255, 255, 255)") == (scheme == "light")


def test_keys_lead_through_it(page):
    """Tab starts at the way to the verdict, shows where it is, and reaches all that scrolls."""
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    stops = page.js("return document.querySelectorAll('a, .scroll, figure input').length")
    seen = []
    for _ in range(stops):
        ActionChains(page.driver).send_keys(Keys.TAB).perform()
        seen.append(
            page.js(
                "const e = document.activeElement, s = getComputedStyle(e.closest('label') ?? e);"
                "const box = e.getBoundingClientRect();"
                "return [e.tagName, e.className, parseFloat(s.outlineWidth), box.left >= 0]"
            )
        )
    assert seen[0][:2] == ["A", "skip"]
    assert sum("scroll" in one[1] for one in seen) == page.js(
        "return document.querySelectorAll('.scroll').length"
    )
    assert all(width >= 2 and in_view for _, _, width, in_view in seen)


def test_a_screen_reader_is_told_all(page):
    """Landmarks, headings, pictures and tables reach the accessibility tree with their names."""
    tree = page.tree()

    def names(role):
        return [one["name"] for one in tree if one["role"] == role]

    assert names("image") == ["the fit"]
    assert names("heading")[:2] == ["Convex no. 2", "Proven inside the tolerance"]
    assert all(names("table"))
    for role in ("banner", "main", "navigation", "contentinfo"):
        assert len(names(role)) == 1


@pytest.mark.parametrize("paper", PAPERS)
def test_it_prints(page, paper):
    """A print has sheets of the paper's size [point], and the certificate fills one of them."""
    data = page.pdf(paper)
    width, height = (72 * side for side in PAPERS[paper])
    sheets = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert 2 <= len(sheets) <= 4
    for one in sheets:
        assert [float(side) for side in one] == pytest.approx([width, height], abs=1)
    assert sheets_of_certificate(page, paper) == 1


def sheets_of_certificate(page, paper):
    """Take the annex away and count the sheets of what is left."""
    page.js("document.querySelectorAll('main > section, footer').forEach(e => e.remove())")
    page.js("document.querySelector('.certificate').style.breakAfter = 'auto'")
    return len(re.findall(rb"/MediaBox", page.pdf(paper)))


def test_a_crowded_certificate_keeps_to_its_sheet(page, write):
    """Four warnings, a long next step and visits that were struck out fit the shortest paper."""
    long = (
        "the edge was found over 61 % of its length only, so look whether the line lies on the rim"
    )
    crowded = write(
        warnings=tuple(f"{long} ({k})" for k in range(4)),
        next_step=f"polish 30 min with the work on top: {long}; it is a trial, since {long}",
        since=["Work was logged after this reading: 25 min of polish."],
        struck=[f"2 visits struck out: visit 4 ({long}), visit 7 (the wrong plate)."],
        history="5d" * 32,
        content_sha256="c0" * 32,
        session_id="0012_20261007T100000Z_abc",
    )
    page.driver.get(crowded)
    assert sheets_of_certificate(page, "Letter") == 1


def test_a_tap_enlarges_a_picture(page):
    """A tap on a picture fills a phone's window with it, past its width; another puts it back."""
    page.size(PHONE, phone=True)
    narrow = page.js("return document.querySelector('figure img').clientWidth")
    page.js("document.querySelector('figure label').click()")
    assert page.js("return getComputedStyle(document.querySelector('figure')).position") == "fixed"
    assert page.js("return document.querySelector('figure img').clientWidth") > 2 * narrow
    page.js("document.querySelector('figure label').click()")
    assert page.js("return document.querySelector('figure img').clientWidth") == narrow


def test_tables_are_whole_on_a_phone(page):
    """No table is wider than a phone: rows of many cells stand as blocks of named lines."""
    page.size(PHONE, phone=True)
    cut = page.js(
        "return [...document.querySelectorAll('.scroll')]"
        ".filter(e => e.scrollWidth > e.clientWidth).map(e => e.getAttribute('aria-label'))"
    )
    assert cut == []
    roles = [one["role"] for one in page.tree()]
    assert roles.count("table") == page.js("return document.querySelectorAll('table').length")


def test_the_watch_notices(page, tmp_path):
    """The checks themselves would notice a broken page: a request, an error, pale text."""
    pixel = base64.b64encode(b"GIF89a").decode()
    bad = tmp_path / "bad.html"
    bad.write_text(
        "<p style='color:#ccc'>pale</p><img src='http://127.0.0.1:9/x.png'>"
        f"<img src='data:image/gif;base64,{pixel}'>"
        "<div style='width:3000px'>wide</div><script>nonsense()</script>"
    )
    page.driver.get(bad.as_uri())
    assert any("nonsense" in line for line in page.complaints())
    assert "http://127.0.0.1:9/x.png" in page.requests()
    assert page.contrast() < 4.5
    assert page.wide() > 0
