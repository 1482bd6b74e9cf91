"""The bench page beside other devices, other sites, another server; and its questions."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from bench_page import Page, said, served

from fringe.archive.store.order import list_sessions
from fringe.bench.settings import Settings
from fringe.errors import Refused
from fringe.judge.state.visits import Work
from sample_visits import full_surface


def test_names_are_text(browser, reader, tmp_path, picture, made_fit):
    """A surface's name and a file's name that look like markup are shown as they are."""
    bad = "<img src=x onerror=document.title='caught'>"
    full_surface(tmp_path / "shop", bad)
    photo = tmp_path / "<b onclick=1>.png"
    photo.write_bytes(picture())
    page = Page(browser, "desktop")
    with served(tmp_path / "shop", reader=reader) as server:
        page.open(server.urls[0])
        page.says("facts", bad)
        page.send(photo)
        page.seen("working")
        reader.start()
        page.says("working-text", "<b onclick=1>.png")
        reader.finish(Refused(bad))
        page.says("hint", bad)
        assert browser.js("return document.title") == "Bench: shop"
        assert browser.js("return document.querySelectorAll('[onerror], [onclick]').length") == 0
        assert browser.complaints() == []


def test_a_device_is_let_in_by_its_pass(browser, surface, reader, tmp_path):
    """In the network the door is shut; a wrong pass is told, the scanned one opens, once."""
    passes = []
    page = Page(browser, "phone")
    with served(tmp_path / "shop", reader=reader, network=True, new_pass=passes.append) as server:
        page.open(server.urls[0])
        page.get("pass").send_keys("wrong")
        page.click("go")
        page.says("trouble", "That is not the pass on the screen.")
        browser.driver.get(f"{server.urls[0]}#{passes[0]}")
        page.says("facts", "concave 1")
        assert browser.driver.current_url == server.urls[0]
        assert len(passes) == 2
        browser.driver.delete_all_cookies()
        browser.driver.get("about:blank")
        browser.driver.get(f"{server.urls[0]}#{passes[0]}")
        page.says("trouble", "That is not the pass on the screen.")


def test_what_another_device_changes_is_shown_before_anything_is_logged(
    browser, surface, reader, tmp_path, photo
):
    """Where the bench is turned elsewhere, what was typed goes, and a message says so."""
    full_surface(tmp_path / "shop", "concave 2")
    page = Page(browser, "phone")
    with served(tmp_path / "shop", reader=reader) as server:
        page.open(server.urls[0])
        page.choose("surface", "concave 1")
        page.says("facts", "concave 1: ")
        page.get("minutes").send_keys("30")
        server.desk.set(Settings("concave 2"))
        page.look()
        page.says("trouble", "The bench was turned to concave 2.")
        assert "What was typed here for concave 1 was not logged." in page.text("trouble")
        assert page.get("minutes").get_attribute("value") == ""
        page.click("read-it")
        assert not page.get("trouble").is_displayed()
        page.get("minutes").send_keys("45")
        server.desk.log(server.desk.view()["visit"], said("polish", 30.0))
        page.look()
        page.says("trouble", "The visit of concave 2 was logged elsewhere.")
        assert browser.complaints() == []
        # a photograph that was taken for a visit which is gone by then is asked about
        server.desk.log(server.desk.view()["visit"], said("polish", 20.0))
        page.send(photo)
        page.says("waiting", "not on the bench any more")
        assert server.desk.view()["shots"] == []
        page.click("waiting-send")
        page.wait.until(lambda _: len(server.desk.view()["shots"]) == 1)
        page.wait.until(lambda _: not page.get("waiting").is_displayed())


EVIL = """<!DOCTYPE html><title>evil</title>
<iframe name=hole></iframe>
<form id=f method=post action={url}api/desk target=hole enctype=text/plain>
<input name='{{"sense":"edge","x":"' value='"}}'></form>
<script>
const told = [];
const note = (name) => (value) => told.push(name + ':' + (value && value.type));
const image = (path) => new Promise((done) => {{
  const one = new Image(); one.onload = () => done('seen'); one.onerror = () => done('blind');
  one.src = '{url}' + path; }});
(async () => {{
  await fetch('{url}api/desk').then(note('read'), note('read-blocked'));
  await fetch('{url}api/desk', {{mode: 'no-cors', method: 'POST', body: '{{"sense":"edge"}}'}})
    .then(note('post'), note('post-blocked'));
  await fetch('{url}api/desk', {{method: 'POST', headers: {{'X-Fringe-Token': 'x'}}, body: '{{}}'}})
    .then(note('token'), note('token-blocked'));
  told.push('image:' + await image('api/progress.png'));
  document.getElementById('f').submit();
  setTimeout(() => {{ document.title = told.join(' '); }}, 500);
}})();
</script>"""


def test_another_site_in_the_same_browser(browser, bench, reader, photo):
    """A page of another origin can neither read, see nor change the bench."""
    html = EVIL.format(url=bench.urls[0]).encode()

    class Evil(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(html)

        def log_message(self, *_):
            """Say nothing."""

    page = Page(browser, "desktop")
    page.open(bench.urls[0])
    page.says("facts", "concave 1")
    before = bench.desk.changed, bench.desk.settings
    with ThreadingHTTPServer(("127.0.0.1", 0), Evil) as site:
        threading.Thread(target=site.serve_forever, daemon=True).start()
        browser.driver.get(f"http://127.0.0.1:{site.server_port}/")
        page.wait.until(lambda driver: "image:" in driver.title)
        told = browser.driver.title.split()
        site.shutdown()
    assert [one.split(":")[0] for one in told] == [
        "read-blocked",
        "post-blocked",
        "token-blocked",
        "image",
    ]
    assert told[3] == "image:blind"
    assert (bench.desk.changed, bench.desk.settings) == before


def test_asked_taken_back_and_put_right(phone, bench, reader, photo, made_fit, surface):
    """What is hardly meant is asked; a logged visit is undone, logged again, and corrected."""
    page = phone
    page.open(bench.urls[0])
    page.send(photo)
    page.seen("working")
    reader.finish(made_fit)
    page.says("value", "+1.50")
    page.get("stage-name").send_keys("pad 7")
    page.get("minutes").send_keys("45")
    page.click("log-button")
    page.says("questions", "'pad 7' is no stage that is known")
    page.click("ask-no")
    assert list_sessions(surface.folder) == []
    page.click("log-button")
    page.seen("ask-polish")
    page.click("ask-polish")
    page.says("logged", "visit 1 is in the record")
    page.says("undo", "Undo visit 1 (")
    page.click("undo")
    page.says("value", "+1.50")
    assert page.get("minutes").get_attribute("value") == "45"
    page.click("log-button")
    page.seen("ask-polish")
    page.click("ask-polish")
    page.says("logged", "visit 2 is in the record")
    page.click("read-it")
    page.browser.js("document.querySelector('#history button').click()")
    page.says("put-right-heading", "Visit 2 of concave 1")
    page.get("right-minutes").send_keys("50")
    page.click("right-correct")
    page.says("history", "pad 7 (polish) 50 min")
    rows = page.browser.driver.find_elements("css selector", "#history tr")
    assert "struck out: taken back on the bench page" in rows[1].text
    assert page.browser.wide() == 0
    # what the record asks is an answer that a browser remarks upon
    assert [one for one in page.browser.complaints() if "422" not in one] == []


def test_a_bench_that_ends_loses_nothing(browser, surface, reader, tmp_path, photo, made_fit):
    """A server that is away is told; it comes back with the photographs, and gets what waited."""
    page = Page(browser, "phone")
    other = tmp_path / "other.png"
    with served(tmp_path / "shop", reader=reader) as server:
        page.open(server.urls[0])
        page.choose("sense", "at the centre")
        page.send(photo)
        page.seen("working")
        page.get("minutes").send_keys("30")
        port = server.guard.port
    page.look()
    page.says("trouble", "The bench does not answer")
    other.write_bytes(photo.read_bytes() + b" ")
    page.send(other)
    page.says("waiting", "A photograph of concave 1 waits here. It is sent as soon as")
    with served(tmp_path / "shop", reader=reader, port=port) as server:
        page.look()
        page.wait.until(lambda _: len(server.desk.view()["shots"]) == 2)
        page.wait.until(lambda _: not page.get("waiting").is_displayed())
        assert [one["name"] for one in server.desk.view()["shots"]] == ["rings.png", "other.png"]
        browser.driver.refresh()
        page.says("setup-line", "contact at the centre")
        assert page.get("minutes").get_attribute("value") == "30"
        reader.finish(made_fit, -1)
        reader.finish(made_fit, -2)
        page.says("value", "+1.50")
        page.click("log-button")
        page.says("logged", "visit 1 is in the record")
    (session,) = list_sessions(surface.folder)
    assert session.work == Work(None, 30.0)
    assert session.photographs == 2
