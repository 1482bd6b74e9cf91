"""Answers to requests: the page, the state of the desk, and changes that a device makes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any
from urllib.parse import unquote

from flask import Flask, Response, abort, make_response, render_template, request
from werkzeug.exceptions import HTTPException

from fringe.bench.desk import Desk, FullBench, OtherVisit
from fringe.bench.guard import Guard, NotAllowedError
from fringe.bench.settings import Settings
from fringe.errors import BadInput, FringeError
from fringe.judge.state.visits import ON_TOP, Work, split_spell
from fringe.photo.ellipse import Edge

MOST_UPLOAD = 50_000_000
SCRIPTS = ("bench.js", "course.js", "draft.js", "edge.js", "enter.js", "outbox.js", "talk.js")
_MOST_WORDS = 20_000
_OPEN = ("/", "/enter", "/bench.css", "/enter.js")  # what a device sees before it is let in
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


def make_app(desk: Desk, guard: Guard) -> Flask:
    """Make the application.

    Parameters
    ----------
    desk : Desk
        What the page shows and changes.
    guard : Guard
        Who may ask; its port must be set before the first request.
    """
    app = Flask("fringe.bench", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MOST_UPLOAD
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    _add_guard(app, guard)
    _add_page(app, desk, guard)
    _add_desk(app, desk)
    _add_shots(app, desk)
    _add_errors(app)
    return app


def _add_guard(app: Flask, guard: Guard) -> None:
    def check() -> None:
        guard.check_origin(request.method, request.headers)  # type: ignore[arg-type]
        if request.path not in _OPEN and not guard.admitted(request.cookies.get(guard.cookie)):
            raise NotAllowedError("this device has not been let in; load the page again", 401)
        if request.method not in ("GET", "HEAD") and request.path != "/enter":
            guard.check_token(request.headers)  # type: ignore[arg-type]

    def add_headers(response: Response) -> Response:
        for name, value in _HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    app.before_request(check)
    app.after_request(add_headers)


def _add_page(app: Flask, desk: Desk, guard: Guard) -> None:
    @app.get("/")
    def page() -> str:
        if not guard.admitted(request.cookies.get(guard.cookie)):
            return render_template("enter.html.j2")
        return render_template("page.html.j2", token=guard.token, archive=desk.archive.name)

    @app.post("/enter")
    def enter() -> Response:
        device = guard.enter(_text(_values(), "pass", 100) or "", request.remote_addr or "")
        response = _json({"welcome": True})
        # no `Secure`: the page is served without TLS; `Strict`: no other site sends it
        response.set_cookie(guard.cookie, device, httponly=True, samesite="Strict", path="/")
        return response

    def static_file(name: str, kind: str) -> Response:
        from importlib.resources import files

        data = files("fringe.bench").joinpath("static", name).read_bytes()
        return Response(data, mimetype=kind)

    app.add_url_rule("/bench.css", "css", lambda: static_file("bench.css", "text/css"))
    for name in SCRIPTS:
        app.add_url_rule(f"/{name}", name, lambda name=name: static_file(name, "text/javascript"))


def _add_desk(app: Flask, desk: Desk) -> None:
    @app.get("/api/desk")
    def view() -> Response:
        since = request.args.get("since", type=int)
        if since is not None and since == desk.changed:
            return _json({"changed": since, "same": True})
        return _json(desk.view())

    @app.post("/api/desk")
    def change() -> Response:
        values = _values()
        desk.set(
            Settings(
                surface=_text(values, "surface", 1000),
                lamp=_text(values, "lamp", 200),
                sense=_text(values, "sense", 20) or "auto",
                camera_distance_mm=_length(values, "camera_distance"),
                camera=_text(values, "camera", 200),
            )
        )
        return _json(desk.view())

    @app.post("/api/log")
    def log() -> Response:
        values = _values()
        logged = desk.log(
            _text(values, "visit", 100) or "",
            _work(values),
            temperature_c=_number(values, "temperature"),
            remarks=_text(values, "remark", 5000),
            by=_text(values, "by", 200),
        )
        return _json({**desk.view(), "logged": logged})

    @app.get("/api/progress.png")
    def progress_picture() -> Response:
        from fringe.bench.pictures import progress_png

        return Response(progress_png(desk), mimetype="image/png")


def _add_shots(app: Flask, desk: Desk) -> None:
    @app.put("/api/shots")
    def add() -> Response:
        name = unquote(request.headers.get("X-File-Name", ""))
        visit = request.headers.get("X-Visit")
        identity = desk.add(request.get_data(cache=False), name, visit)
        return _json({**desk.view(), "added": identity})

    @app.delete("/api/shots/<identity>")
    def remove(identity: str) -> Response:
        desk.remove(identity)
        return _json(desk.view())

    @app.post("/api/shots/<identity>/edge")
    def edge(identity: str) -> Response:
        desk.set_edge(identity, _edge(_values()))
        return _json(desk.view())

    @app.get("/api/shots/<identity>/preview.jpg")
    def preview(identity: str) -> Response:
        return Response(desk.shot(identity).preview, mimetype="image/jpeg")

    @app.get("/api/shots/<identity>/fit.png")
    def fit(identity: str) -> Response:
        from fringe.bench.pictures import fit_png

        return Response(fit_png(desk, identity), mimetype="image/png")


def _add_errors(app: Flask) -> None:
    @app.errorhandler(NotAllowedError)
    def not_allowed(error: NotAllowedError) -> Response:
        return _json({"error": str(error)}, error.status)

    @app.errorhandler(FringeError)
    def bad_input(error: FringeError) -> Response:
        # a device keeps a photograph that found no room, or another visit, and asks what to do
        status = 409 if isinstance(error, FullBench | OtherVisit) else 400
        return _json({"error": " ".join(str(error).split())}, status)

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> Response:
        if error.code == 413:
            limit = f"{MOST_UPLOAD / 1e6:.0f} MB"
            return _json({"error": f"the photograph is larger than {limit}; send a JPEG"}, 413)
        return _json({"error": error.name}, error.code or 500)


def _json(values: Mapping[str, Any], status: int = 200) -> Response:
    text = json.dumps(values, allow_nan=False, ensure_ascii=False)
    return make_response(text, status, {"Content-Type": "application/json; charset=utf-8"})


def _values() -> dict[str, object]:
    """The JSON object that a device sent."""
    if (request.content_length or 0) > _MOST_WORDS:
        abort(413)
    try:
        values = json.loads(request.get_data(cache=False)) if request.is_json else None
    except (ValueError, RecursionError):  # no JSON, or nested deeper than anything of ours
        values = None
    if not isinstance(values, dict):
        raise BadInput("the page sent something else than it should; load it again")
    return values


def _work(values: Mapping[str, Any]) -> Work:
    """Work since the last visit; a second number of minutes is with the other piece on top."""
    minutes = [_number(values, "minutes"), _number(values, "other_minutes")]
    on_top = _text(values, "on_top", 20)
    pieces = [on_top]
    if minutes[1] is not None:
        pieces += [piece for piece in ON_TOP if piece != on_top]
    if minutes[1] is not None and (minutes[0] is None or on_top not in ON_TOP):
        raise BadInput(
            "a spell with both pieces on top: say the minutes and which was on top first"
        )
    spell = split_spell([m for m in minutes if m is not None], [p for p in pieces if p is not None])
    return Work(_text(values, "stage", 200), rested_minutes=_number(values, "rested"), **spell)


def _text(values: Mapping[str, Any], name: str, longest: int) -> str | None:
    value = values.get(name)
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > longest:
        raise BadInput(f"{name}: must be text, and not too long")
    return value.strip() or None


def _number(values: Mapping[str, Any], name: str) -> float | None:
    text = _text(values, name, 40)
    if text is None:
        return None
    try:
        number = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput(f"{name}: {text!r} is not a number")
    return number


def _length(values: Mapping[str, Any], name: str) -> float | None:
    from fringe.units import positive_length_mm

    text = _text(values, name, 40)
    return None if text is None else positive_length_mm(text, name.replace("_", " "))


def _edge(values: Mapping[str, Any]) -> Edge | str:
    kind = values.get("edge")
    if kind in ("auto", "none"):
        return str(kind)
    numbers = [values.get(name) for name in ("cx", "cy", "a", "b", "angle_deg")]
    if not all(isinstance(n, int | float) and math.isfinite(n) for n in numbers):
        raise BadInput("edge: its place and size must be numbers")
    cx, cy, a, b, angle = (float(n) for n in numbers if n is not None)
    if min(a, b) <= 0:
        raise BadInput("edge: its size must be greater than zero")
    # dragged by hand on a reduced picture: good to a pixel or so, which the page tells
    u_px = values.get("u_px", 1.0)
    if not isinstance(u_px, int | float) or not 0 <= u_px < 1000:
        raise BadInput("edge: how well it is known must be a number of pixels")
    if a < b:
        a, b, angle = b, a, angle + 90.0
    return Edge(cx, cy, a, b, (angle + 90.0) % 180.0 - 90.0, float(u_px))
