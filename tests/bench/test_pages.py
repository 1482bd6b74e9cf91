"""Requests to the bench page, as a browser and as somebody else would send them."""

from __future__ import annotations

import re

import pytest
from bench_page import said

from fringe.bench.guard import Guard
from fringe.bench.pages import MOST_UPLOAD, SCRIPTS, make_app
from sample_visits import power_reading

HOST = "127.0.0.1:8740"
ORIGIN = f"http://{HOST}"


class Client:
    """Sends requests as the page itself does, unless told otherwise."""

    def __init__(self, app, token):
        self.client = app.test_client(use_cookies=True)
        self.headers = {"Host": HOST, "Origin": ORIGIN, "X-Fringe-Token": token}

    def __call__(self, method, path, *, without=(), headers=(), **words):
        sent = {k: v for k, v in self.headers.items() if k not in without} | dict(headers)
        if method == "GET" and "Origin" not in dict(headers):
            sent.pop("Origin", None)
        return self.client.open(path, method=method, headers=sent, **words)


@pytest.fixture
def guard():
    guard = Guard(["127.0.0.1", "localhost"])
    guard.port = 8740
    return guard


@pytest.fixture
def ask(desk, guard):
    return Client(make_app(desk, guard), guard.token)


@pytest.fixture
def locked(desk):
    """A page for the network, and the passes that were shown."""
    passes = []
    guard = Guard(["127.0.0.1"], needs_pass=True, new_pass=passes.append)
    guard.port = 8740
    return Client(make_app(desk, guard), guard.token), passes


def put(ask, data, name="rings.png", **words):
    return ask("PUT", "/api/shots", data=data, headers={"X-File-Name": name}, **words)


def test_the_page_needs_nothing_from_outside(ask):
    """Page, style and scripts name no other site, and the page brings its token."""
    page = ask("GET", "/").text
    assert re.search(r'<meta name="fringe-token" content="[\w-]{32}">', page)
    for path in ("/", "/bench.css", *(f"/{name}" for name in SCRIPTS)):
        answer = ask("GET", path)
        assert answer.status_code == 200
        text = answer.text.replace("http://www.w3.org/2000/svg", "")  # a name, not an address
        assert not re.search(r"https?:|(?:src|href)=[\"']?//|@import|url\(", text)


@pytest.mark.parametrize("path", ["/", "/api/desk", "/bench.js", "/nowhere"])
def test_every_answer_is_locked_down(ask, path):
    """Each answer forbids other sites to frame, load or keep it, and scripts from elsewhere."""
    headers = ask("GET", path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "no-store"
    assert "Access-Control-Allow-Origin" not in headers


def test_a_photograph_is_put_and_read(ask, reader, picture):
    """A photograph that is sent is on the desk, and its preview and answer can be asked for."""
    values = put(ask, picture(), "rings%20%C3%A4.png").json
    assert values["added"] == values["shots"][0]["id"]
    assert values["shots"][0]["name"] == "rings ä.png"
    preview = ask("GET", f"/api/shots/{values['added']}/preview.jpg")
    assert (preview.mimetype, preview.data[:2]) == ("image/jpeg", b"\xff\xd8")
    reader.start()
    reader.finish(power_reading(1.5).reading)
    assert ask("GET", "/api/desk").json["answer"]["value"] == "+1.50"


def test_looking_again_says_only_what_is_new(ask, picture):
    """A device that has seen the latest state is told so in a few bytes."""
    changed = ask("GET", "/api/desk").json["changed"]
    same = ask("GET", f"/api/desk?since={changed}").json
    assert same == {"changed": changed, "same": True}
    put(ask, picture())
    assert len(ask("GET", f"/api/desk?since={changed}").json["shots"]) == 1


CHANGES = [
    ("PUT", "/api/shots"),
    ("PUT", "/api/look"),
    ("POST", "/api/desk"),
    ("POST", "/api/log"),
    ("POST", "/api/undo"),
    ("POST", "/api/taken"),
    ("POST", "/api/surfaces"),
    ("POST", "/api/instruments"),
    ("POST", "/api/tolerance"),
    ("POST", "/api/shots/x/place"),
    ("POST", "/api/shots/x/time"),
    ("POST", "/api/visits/1/correct"),
    ("POST", "/api/visits/1/strike"),
    ("DELETE", "/api/shots/x"),
    ("POST", "/api/shots/x/edge"),
    ("POST", "/api/shots/x/apart"),
    ("POST", "/api/together"),
]


@pytest.mark.parametrize(
    "change",
    [
        {"without": ("X-Fringe-Token",)},
        {"headers": {"X-Fringe-Token": "guess"}},
        {"without": ("Origin",)},
        {"headers": {"Origin": "http://evil.example"}},
        {"headers": {"Host": "evil.example:8740", "Origin": "http://evil.example:8740"}},
        {"headers": {"Sec-Fetch-Site": "cross-site"}},
    ],
)
def test_other_sites_change_nothing(ask, desk, picture, change):
    """A change without token, from another origin or to another name is refused unseen."""
    before, data = desk.changed, picture()
    for method, path in CHANGES:
        answer = ask(method, path, data=data, **change)
        assert answer.status_code in (403, 421), path
        assert set(answer.json) == {"error"}
    assert desk.changed == before


@pytest.mark.parametrize("path", ["/", "/api/desk", "/api/progress.png"])
def test_other_sites_see_nothing(ask, path):
    """A page of another site gets neither the page nor the desk nor a picture."""
    cross = ask("GET", path, headers={"Sec-Fetch-Site": "cross-site"})
    assert (cross.status_code, set(cross.json)) == (403, {"error"})
    other = ask("GET", path, headers={"Host": "evil.example:8740"})
    assert (other.status_code, set(other.json)) == (421, {"error"})


def test_plain_forms_of_other_sites_are_refused(ask, desk):
    """A form can send no token and no JSON type: neither kind of body is taken."""
    before = desk.settings
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        answer = ask("POST", "/api/desk", data='{"sense": "edge"}', content_type=kind)
        assert answer.status_code == 400
    assert desk.settings == before


def test_uploads_are_bounded(ask, desk):
    """A photograph that is too large is refused by its length alone."""
    answer = put(ask, b"x" * (MOST_UPLOAD + 1))
    assert answer.status_code == 413
    assert "larger than 50 MB" in answer.json["error"]
    assert desk.view()["shots"] == []


def test_words_are_bounded(ask):
    """Values that are far longer than anybody types are refused."""
    assert ask("POST", "/api/desk", json={"surface": "x" * 50_000}).status_code == 413
    assert ask("POST", "/api/desk", json={"lamp": "x" * 500}).status_code == 400


@pytest.mark.parametrize("path", ["/api/desk", "/api/log", "/enter"])
def test_deep_nesting_is_refused_like_other_nonsense(ask, path):
    """Lists within lists, deeper than any parser goes, are one line and no error of ours."""
    for deep in ("[" * 19_000, '{"a":' * 3_800, "[" * 9_000 + "]" * 9_000):
        answer = ask("POST", path, data=deep, content_type="application/json")
        assert (answer.status_code, list(answer.json)) == (400, ["error"])


def test_what_is_no_picture_is_one_line(ask):
    """An upload that is no photograph is answered by one line that names it."""
    answer = put(ask, b"<html>", "../page.html")
    assert answer.status_code == 400
    line = "page.html: is not a JPEG, PNG, TIFF or HEIC picture; export the photograph as one"
    assert answer.json["error"] == line


@pytest.mark.parametrize(
    "values",
    [
        {}, [], {"cx": "a", "cy": 1, "a": 2, "b": 2, "angle_deg": 0},
        {"cx": 1, "cy": 1, "a": -2, "b": 2, "angle_deg": 0},
        {"cx": 1e400, "cy": 1, "a": 2, "b": 2, "angle_deg": 0},
        {"cx": 1, "cy": 1, "a": 2, "b": 2, "angle_deg": 0, "u_px": "x"}, {"edge": "left"},
    ],
)  # fmt: skip
def test_an_edge_that_is_none(ask, reader, picture, values):
    """An edge that is no ellipse is refused, and nothing is read with it."""
    identity = put(ask, picture()).json["added"]
    assert ask("POST", f"/api/shots/{identity}/edge", json=values).status_code == 400
    assert len(reader.orders) == 1


def test_a_dragged_edge_is_put_in_order(ask, reader, picture):
    """An edge whose second axis became the longer one is turned, and carries how sure it is."""
    identity = put(ask, picture()).json["added"]
    sent = {"cx": 30, "cy": 31, "a": 20, "b": 25, "angle_deg": 10, "u_px": 0.8}
    assert ask("POST", f"/api/shots/{identity}/edge", json=sent).status_code == 200
    edge = reader.start().options.edge
    assert (edge.a, edge.b, edge.angle_deg % 180, edge.u_px) == (25, 20, 100, 0.8)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"minutes": "soon"}, "is not a number"),
        ({"minutes": "-5"}, "cannot be"),
        ({"minutes": "inf"}, "is not a number"),
        ({"on_top": "both"}, "not work or tool"),
        ({"minutes": "30", "other_minutes": "40"}, "which was on top first"),
        ({"other_minutes": "40", "on_top": "work"}, "which was on top first"),
        ({"rested": "-5"}, "cannot be"),
        ({"temperature": "warm"}, "is not a number"),
        ({"temperature": "200"}, "200 °C cannot be; -20 to 60 °C"),
        ({"rested": "5"}, "minutes since the lap: nothing was read"),
        ({"removed": "3"}, "write for example 3mm"),
        ({"pits": "some"}, "not gone or left"),
        ({"visit": "another"}, "not on the bench any more"),
    ],
)
def test_a_log_that_says_nonsense(ask, desk, surface, values, says):
    """Numbers that are none, and another visit, are refused and nothing is written."""
    sent = {"visit": desk.view()["visit"], "stage": "polish"} | values
    answer = ask("POST", "/api/log", json=sent)
    assert answer.status_code == 400
    assert says in answer.json["error"]
    assert list(surface.folder.glob("*.h5")) == []


def test_a_visit_is_logged(ask, desk, surface):
    """A visit with a decimal comma is written, and told by its number and name."""
    sent = {"visit": desk.view()["visit"], "stage": "polish", "minutes": "12,5"}
    logged = ask("POST", "/api/log", json=sent).json["logged"]
    (path,) = surface.folder.glob("*.h5")
    assert logged == {
        "visit": 1,
        "session": path.stem,
        "surface": "concave 1",
        "verdict": None,
        "next": "remeasure",
        "problems": [],
    }
    assert desk.view()["history"][0]["work"] == "polish 12.5 min"


def test_a_split_spell_is_logged(ask, desk, surface):
    """Minutes with the other piece on top make one visit with both parts; the rest is kept."""
    sent = {"visit": desk.view()["visit"], "stage": "9um", "minutes": "30", "on_top": "tool"}
    ask("POST", "/api/log", json=sent | {"other_minutes": "12,5"})
    work = desk.view()["history"][0]["work"]
    assert work == "9um 42.5 min, tool 30 + work 12.5"


@pytest.mark.parametrize(
    ("values", "question", "answer"),
    [
        ({"minutes": "2000"}, "2000 min is more than a day of work", {"yes": True}),
        ({"stage": "pad 7"}, "'pad 7' is no stage that is known", {"stage_is": "polish"}),
    ],
)
def test_what_is_hardly_meant_is_asked(ask, desk, surface, values, question, answer):
    """The record's questions come to the page, in its words; once answered the visit is kept."""
    sent = {"visit": desk.view()["visit"], "stage": "polish"} | values
    asked = ask("POST", "/api/log", json=sent)
    assert asked.status_code == 422
    (text,) = asked.json["asked"]
    assert question in text
    assert "--" not in text
    assert asked.json.get("stage", False) == ("stage_is" in answer)
    assert list(surface.folder.glob("*.h5")) == []
    assert ask("POST", "/api/log", json=sent | answer).json["logged"]["visit"] == 1


def test_a_visit_is_corrected_and_struck_out(ask, desk, surface):
    """What was said wrongly is put right under the visit's number, and a visit is taken out."""
    sent = {"visit": desk.view()["visit"], "stage": "polish", "minutes": "30"}
    ask("POST", "/api/log", json=sent)
    told = {"surface": "concave 1", "minutes": "45"}
    row = ask("POST", "/api/visits/1/correct", json=told).json["history"][0]
    assert (row["visit"], row["work"]) == (1, "polish 45 min")
    no_reason = ask("POST", "/api/visits/1/strike", json={"surface": "concave 1"})
    assert (no_reason.status_code, no_reason.json["error"]) == (400, "striking out: say why")
    why = {"surface": "concave 1", "remark": "another piece lay there"}
    row = ask("POST", "/api/visits/1/strike", json=why).json["history"][0]
    assert (row["struck"], row["next"]) == (True, "struck out: another piece lay there")
    gone = ask("POST", "/api/visits/4/strike", json=why)
    assert "they are listed under Progress" in gone.json["error"]
    assert len(list(surface.folder.glob("*.h5"))) == 3


def test_pictures(ask, desk, reader, picture, made_fit):
    """Fit and progress are drawn when there is something to draw, and refused before."""
    assert ask("GET", "/api/progress.png").status_code == 400
    identity = put(ask, picture(400)).json["added"]
    for name in ("fit", "lines"):
        assert ask("GET", f"/api/shots/{identity}/{name}.png").status_code == 400
    reader.start()
    reader.finish(made_fit)
    for _ in range(2):
        fit = ask("GET", f"/api/shots/{identity}/fit.png")
        assert (fit.status_code, fit.mimetype, fit.data[:4]) == (200, "image/png", b"\x89PNG")
    lines = ask("GET", f"/api/shots/{identity}/lines.png")
    assert (lines.status_code, lines.mimetype, lines.data[:4]) == (200, "image/png", b"\x89PNG")
    desk.log(desk.view()["visit"], said())
    assert ask("GET", "/api/progress.png").data[:4] == b"\x89PNG"


def test_without_a_pass_there_is_only_the_door(locked):
    """In the network a device sees the door alone until it is let in."""
    ask, _ = locked
    door = ask("GET", "/")
    assert (door.status_code, "Pass on the screen" in door.text) == (200, True)
    assert "fringe-token" not in door.text
    assert "concave" not in door.text
    for method, path in [*CHANGES, ("GET", "/api/desk"), ("GET", "/bench.js")]:
        assert ask(method, path).status_code == 401


def test_the_pass_opens_the_door(locked):
    """The right pass sets a cookie that scripts and other sites do not get, and opens the page."""
    ask, passes = locked
    wrong = ask("POST", "/enter", json={"pass": "wrong"})
    assert (wrong.status_code, "Set-Cookie" in wrong.headers) == (403, False)
    right = ask("POST", "/enter", json={"pass": passes[0]})
    cookie = right.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "fringe-token" in ask("GET", "/").text
    assert ask("GET", "/api/desk").status_code == 200
    assert ask("POST", "/enter", json={"pass": passes[0]}).status_code == 403


def test_another_site_cannot_use_the_door(locked):
    """A pass that another site sends is not even looked at."""
    ask, passes = locked
    answer = ask("POST", "/enter", json={"pass": passes[0]}, headers={"Origin": "http://a.example"})
    assert answer.status_code == 403
    assert len(passes) == 1


def test_errors_tell_nothing_of_the_inside(ask, desk, monkeypatch):
    """A fault of the program is answered without its text."""

    def broken():
        raise RuntimeError("secret /path")

    monkeypatch.setattr(desk, "view", broken)
    answer = ask("GET", "/api/desk")
    assert answer.status_code == 500
    assert "secret" not in answer.text
