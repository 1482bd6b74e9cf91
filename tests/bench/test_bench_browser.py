"""The bench page in a real browser, on desktop and phone, with real and with slow readings."""

from __future__ import annotations

import re
import socket
from contextlib import ExitStack
from dataclasses import replace
from urllib.request import urlopen

import pytest
from bench_page import Page, said, served

from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.bench.settings import Settings
from fringe.errors import Refused
from fringe.format import plus_minus
from fringe.synth import Form, Scene, render, save
from sample_visits import FRINGES_ALONE


def test_from_photograph_to_record(phone, surface, tmp_path, rng):
    """A real photograph is read, judged, and logged whole, with the numbers that were shown."""
    page = phone
    power = float(rng.uniform(2.5, 4.0))
    scene = Scene(
        500,
        500,
        radius_px=205.0,
        diameter_mm=150.0,
        plate_radius_mm=3048.6,
        work="concave",
        form=Form(power=power, tilt=1.0),
        seed=int(rng.integers(1000)),
    )
    photo = save(render(scene), tmp_path / "contact 1.jpg")
    with served(tmp_path / "shop") as server:
        page.open(server.urls[0])
        page.says("facts", "concave 1: concave, radius 3048 mm, aperture 150 mm")
        page.choose("sense", "at the centre")
        page.send(photo, by="camera")
        page.seen("result")
        assert "Contact at the centre" in page.text("sense-text")
        value = page.text("value")
        shown = f"{value} {page.text('u95')}"
        assert float(value) == pytest.approx(power, abs=0.3)
        assert page.text("verdict-text") == "Proven outside the tolerance"
        assert re.match(r"Next: (grind|polish)", page.text("next"))
        page.get("stage-name").send_keys("polish")
        page.get("minutes").send_keys("40")
        page.click("log-button")
        page.says("logged", "concave 1: visit 1 is in the record")
        page.says("history", shown)
        complaints, requests = page.browser.complaints(), page.browser.requests()
    assert complaints == []
    assert {url.split("/")[2] for url in requests} == {f"127.0.0.1:{server.guard.port}"}
    (session,) = list_sessions(surface.folder)
    visit = open_session(session.place).visit
    assert visit.photographs[0].data == photo.read_bytes()
    assert visit.photographs[0].file_name == "contact 1.jpg"
    reading = visit.readings[0].reading
    scale = reading.wavelength_nm / FRINGES_ALONE.wavelength_nm
    power_u95 = (scale * reading.power_fringes, scale * reading.power_u95_fringes)
    assert plus_minus(*power_u95, signed=True) == shown
    assert (visit.work.stage, visit.work.minutes) == ("polish", 40.0)


def test_a_slow_reading(phone, bench, reader, photo, made_fit, surface):
    """While a reading runs its seconds go on and nothing can be sent twice; then all is free."""
    page = phone
    page.open(bench.urls[0])
    page.says("hint", "Take a photograph of the fringes.")
    page.send(photo)
    page.seen("working")
    reader.start()
    page.says("working-text", "Reading rings.png, ")
    first = page.seconds()
    page.wait.until(lambda _: page.seconds() > first)
    for button in ("again", "auto", "log-button"):
        assert not page.get(button).is_enabled()
        page.browser.js("arguments[0].click()", page.get(button))
    page.send(photo)  # the same once more
    page.wait.until(lambda _: page.get("files").is_enabled())
    assert len(reader.orders) == 1
    assert len(bench.desk.view()["shots"]) == 1
    reader.finish(made_fit)
    page.says("value", "+1.50")
    assert not page.get("working").is_displayed()
    page.get("remark").send_keys("looked at it")
    page.browser.js("const b = document.getElementById('log-button'); b.click(); b.click()")
    page.says("logged", "visit 1 is in the record")
    assert len(list_sessions(surface.folder)) == 1
    assert page.browser.complaints() == []


def test_the_sense_is_asked_for(phone, bench, reader, photo, made_fit):
    """Where the contact is not known the page asks; the answer is read with, and asks no more."""
    page = phone
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(replace(made_fit, sense="unknown"))
    page.says("label", "Power, sign unknown")
    page.click("sense-edge")
    page.seen("working")
    assert reader.start().options.sense == "edge"
    reader.finish(replace(made_fit, sense="edge", power_fringes=-1.5))
    page.says("value", "−1.50")
    assert not page.get("ask-sense").is_displayed()


def test_the_daily_job_in_four_taps(phone, bench, reader, photo, picture, made_fit):
    """Photograph (and the camera's own button), contact, log: what was advised is filled in."""
    page, desk = phone, bench.desk
    for power, request in ((30.0, said()), (20.0, said("polish", 40.0, "work"))):
        desk.set(Settings("concave 1", None, "centre"))
        desk.add(picture(), "before.png")
        reader.finish(replace(made_fit, power_fringes=power))
        desk.log(desk.view()["visit"], request)
    page.open(bench.urls[0])
    advised = desk.view()["advised"]
    page.send(photo, by="camera")  # two taps: the button here, and the camera's
    page.seen("working")
    reader.finish(replace(made_fit, sense="unknown"))
    page.says("label", "Power, sign unknown")
    place = "return document.getElementById(arguments[0]).getBoundingClientRect()"
    lowest = page.browser.js(f"{place}.top", "take")
    # the page goes there by itself, so that no swipe is needed
    page.wait.until(lambda _: 0 < page.browser.js(f"{place}.bottom", "sense-centre") < lowest)
    page.get("sense-centre").click()
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    words = f"{advised['stage']} {advised['minutes']} min, {advised['on_top']} on top"
    page.says("log-bar", f"Log: {words}")
    assert page.browser.js(f"{place}.bottom", "log-bar") <= page.browser.js("return innerHeight")
    page.get("log-bar").click()
    page.says("logged", "visit 3 is in the record")
    row = desk.view()["history"][0]
    assert (row["stage"], float(row["minutes"])) == (advised["stage"], advised["minutes"])


def test_without_a_camera(phone, bench, surface):
    """Rings by eye and spherometer readings are typed one after the other, and judged at once."""
    page = phone
    page.open(bench.urls[0])
    page.click("measure-heading")
    page.browser.js("for (const id of ['eye-box', 'sag-box']) document.getElementById(id).open = 1")
    for piece, reading in (("zero", "0"), ("plate", "808"), ("work", "807,5")):
        page.browser.js("document.querySelector(`[data-piece=${arguments[0]}]`).click()", piece)
        page.get("sag-number").send_keys(f"{reading}\n")
        page.says("sag-rows", reading.replace(",", "."))
    page.seen("result")
    page.click("sag-drop")
    page.says("taken-hint", "Give readings on the work as well".lower()[5:])
    page.get("eye-number").send_keys("1.5\n")
    page.says("eye-said", "rings 1.5 unknown")
    page.browser.driver.refresh()
    page.says("eye-said", "rings 1.5 unknown")
    assert page.browser.wide() == 0
    assert page.browser.complaints() == []


def test_the_edge_is_dragged(page, bench, reader, photo, made_fit):
    """The edge follows finger and mouse, and the photograph is read anew with it."""
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.start()
    reader.finish(made_fit)
    page.says("value", "+1.50")
    assert page.edge() == [200.0, 200.0, 170.0, 170.0]
    assert not page.get("again").is_enabled()
    per_pixel = 400 / page.get("preview").size["width"]
    within = 1.5 * per_pixel
    page.drag(1, -40, 0)
    half = 170 - 40 * per_pixel
    page.edge_becomes([200, 200, half, half], within)
    assert page.edge()[2] == page.edge()[3]
    page.drag(0, 20, 10)
    centre = [200 + 20 * per_pixel, 200 + 10 * per_pixel]
    page.edge_becomes([*centre, half, half], within)
    page.drag(2, 0, -20)
    page.edge_becomes([*centre, half, half - 20 * per_pixel], within)
    page.says("edge-hint", "Dashes")
    wanted = page.edge()
    page.click("again")
    page.seen("working")
    edge = reader.start().options.edge
    assert [edge.cx, edge.cy, edge.a, edge.b] == pytest.approx(wanted, abs=0.1)
    assert 0.3 < edge.u_px < 3
    reader.finish(made_fit)
    page.wait.until(lambda _: not page.get("working").is_displayed())
    page.says("edge-hint", "put by hand")
    page.click("auto")
    page.seen("working")
    assert reader.start().options.edge == "auto"


def test_the_edge_is_moved_by_keys(browser, bench, reader, photo, made_fit):
    """Arrow keys on a handle move the edge by a pixel, with shift by ten."""
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    page = Page(browser, "desktop")
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    handles = browser.driver.find_elements("css selector", ".handle")
    browser.js("arguments[0].focus()", handles[0])
    keys = ActionChains(browser.driver).send_keys(Keys.ARROW_RIGHT)
    keys.key_down(Keys.SHIFT).send_keys(Keys.ARROW_DOWN).key_up(Keys.SHIFT).perform()
    assert page.edge() == [201.0, 210.0, 170.0, 170.0]
    browser.js("arguments[0].focus()", handles[1])
    ActionChains(browser.driver).send_keys(Keys.ARROW_LEFT).perform()
    assert page.edge() == [201.0, 210.0, 169.0, 169.0]
    assert page.get("again").is_enabled()


def test_a_refusal_asks_for_the_edge(phone, bench, reader, photo):
    """A photograph that cannot be read says why, and offers a circle to be dragged."""
    page = phone
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(Refused("rings.png: the work's edge was not found"))
    page.says("hint", "rings.png: the work's edge was not found.")
    page.says("edge-hint", "Drag the circle onto the work's edge")
    page.drag(0, -380, 0)
    page.edge_becomes([0.0, 200.0, 168.0, 168.0], 1.0)  # no further than the photograph goes
    page.click("again")
    page.seen("working")
    assert reader.start().options.edge.a == pytest.approx(168.0)
    told = "rings.png: rings without an edge were found: read with --edge none, or give the edge"
    reader.finish(Refused(f"{told} with --edge CX,CY,R"))
    page.says("hint", "tap Rings without an edge, or drag the circle onto the edge.")
    page.click("no-edge")
    page.seen("working")
    assert reader.start().options.edge == "none"
    reader.finish(Refused("rings.png: no rings"))
    page.says("edge-hint", "Read without an edge")
    assert not page.get("overlay").is_displayed()


def test_several_photographs_settle(phone, bench, reader, tmp_path, picture, made_fit):
    """Photographs of one visit are listed with their powers, and their mean is the answer."""
    page = phone
    paths = [tmp_path / f"rings-{number}.png" for number in (1, 2, 3)]
    for path in paths:
        path.write_bytes(picture(100))
    page.open(bench.urls[0])
    page.send(*paths)
    page.wait.until(lambda _: len(reader.orders) == 3)
    for number in range(3):
        reader.finish(made_fit, number)
    page.says("label", "mean of 3 readings")
    rows = page.browser.driver.find_elements("css selector", "#course-rows tr")
    assert [row.text.split(" ", 1)[1] for row in rows] == [
        f"{path.name} +1.50 ± 0.10" for path in paths
    ]
    assert len(page.browser.driver.find_elements("css selector", "#course-plot .point")) == 3
    assert page.browser.wide() == 0
    page.click("remove")
    page.says("label", "mean of 2 readings")
    page.click("keep-last")
    page.wait.until(lambda _: page.text("label") == "Power")
    (shot,) = bench.desk.view()["shots"]
    assert shot["name"] == paths[1].name


def test_the_answer_is_read_from_two_metres(phone, bench, reader, photo, made_fit):
    """Figures are a centimetre tall on a phone (60 px at 6 a mm), their uncertainty half of it."""
    page = phone
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    capital = 0.72  # height of a figure, as a share of the type's size
    sizes = {
        name: capital * float(page.get(name).value_of_css_property("font-size")[:-2])
        for name in ("value", "u95", "verdict", "next")
    }
    assert sizes["value"] >= 60
    assert sizes["u95"] >= 30
    assert min(sizes["verdict"], sizes["next"]) >= 18


def test_it_can_be_read(page, bench, reader, photo, made_fit):
    """All text has a contrast of 4.5 or more (WCAG 2.2), and nothing is wider than the page."""
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    for scheme in ("light", "dark"):
        page.browser.colours(scheme)
        assert page.browser.contrast() >= 4.5
    reader.finish(made_fit)
    page.says("value", "+1.50")
    page.browser.js(
        "for (const d of document.querySelectorAll('details:not(#plan-box)')) d.open = true"
    )
    page.wait.until(lambda _: page.get("fit").is_displayed())
    for scheme in ("dark", "light"):
        page.browser.colours(scheme)
        assert page.browser.contrast() >= 4.5
    assert page.browser.wide() == 0
    page.browser.js("document.documentElement.style.fontSize = '200%'")
    assert page.browser.wide() == 0
    assert page.browser.complaints() == []


def test_at_a_glance(phone, bench, reader, photo, picture, made_fit):
    """Bar, life and fitted lines are drawn; night is red on black and stays; a stand shows all."""
    page, browser = phone, phone.browser
    for power in (6.0, -3.0):
        sense = "centre" if power > 0 else "edge"
        bench.desk.set(Settings("concave 1", None, sense))
        bench.desk.add(picture(), "before.png")
        reader.finish(replace(made_fit, power_fringes=power, sense=sense))
        bench.desk.log(bench.desk.view()["visit"], said("polish", 20.0, "work"))
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    label = "return document.getElementById(arguments[0]).getAttribute('aria-label')"
    assert browser.js(label, "tolerance-bar") == "Power 1.5 ± 0.1 fringes; allowed are ±2"
    assert browser.js(label, "life") == "Power over 2 visits, from 6 to −3 fringes"
    loaded = "const i = document.getElementById('fit-lines'); return !i.hidden && i.naturalWidth"
    page.wait.until(lambda _: browser.js(loaded) == 400)
    page.click("lines-on")
    assert not page.get("fit-lines").is_displayed()
    page.click("night")
    browser.driver.refresh()
    page.says("value", "+1.50")
    assert browser.js("return getComputedStyle(document.body).backgroundColor") == "rgb(0, 0, 0)"
    assert browser.contrast() >= 4.5
    browser.size((844, 390), phone=True)
    browser.js("scrollTo(0, 0)")
    bottoms = "return arguments[0].map((id) => document.getElementById(id)"
    bottoms += ".getBoundingClientRect()).map((box) => [box.top, box.bottom])"
    places = browser.js(bottoms, ["verdict", "next", "value", "take"])
    assert max(bottom for _, bottom in places[:3]) <= places[3][0] + 1
    assert browser.wide() == 0
    assert browser.complaints() == []


def test_everything_has_a_name(phone, bench, reader, photo, made_fit):
    """A screen reader is told a name for every control and picture, and of every answer."""
    page = phone
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    page.browser.js(
        "for (const d of document.querySelectorAll('details:not(#plan-box)')) d.open = true"
    )
    tree = page.browser.tree()
    controls = [
        one for one in tree if one["role"] in ("button", "textbox", "combobox", "image", "region")
    ]
    assert len(controls) > 20
    assert [one for one in controls if not one["name"]] == []
    for label in ("surface", "lamp", "sense", "minutes", "camera", "files"):
        assert (
            page.browser.js(
                "return document.querySelectorAll(`label[for=${arguments[0]}]`).length", label
            )
            >= 1
        )
    assert page.browser.js("return document.getElementById('said').ariaLive") == "polite"


def test_photograph_comes_after_at_most_three_tab_stops(browser, bench):
    """Who has only keys reaches the camera at once."""
    from selenium.webdriver import ActionChains, Keys

    page = Page(browser, "desktop")
    page.open(bench.urls[0])
    page.says("facts", "concave 1")
    for _ in range(3):
        ActionChains(browser.driver).send_keys(Keys.TAB).perform()
        if browser.js("return document.activeElement.id") == "camera":
            break
    assert browser.js("return document.activeElement.id") == "camera"


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_the_page_is_no_wider_than_the_screen_with_large_text(browser, bench, size):
    """With letters twice as large, and on 320 px, nothing has to be pushed aside to be read."""
    page = Page(browser, size)
    page.open(bench.urls[0])
    page.says("facts", "concave 1")
    browser.js("document.documentElement.style.fontSize = '200%'")
    assert browser.js("return document.documentElement.scrollWidth <= innerWidth")
    browser.js("document.documentElement.style.fontSize = ''")
    browser.size((320, 640), phone=size == "phone")
    assert browser.js("return document.documentElement.scrollWidth <= innerWidth")


def test_idle_connections_keep_nobody_out(bench):
    """A hundred that only hold a connection open do not hinder a hundred and first."""
    place = ("127.0.0.1", bench.guard.port)
    with ExitStack() as held:
        for _ in range(100):
            held.enter_context(socket.create_connection(place))
        answer = urlopen(bench.urls[0], timeout=60)
        assert answer.status == 200
