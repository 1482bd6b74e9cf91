"""Answers to requests: the page, the state of the desk, and changes that a device makes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from flask import Flask, Response, make_response, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.http import parse_cookie

from fringe.archive.views.asked import Asked, UnknownStage
from fringe.archive.views.visit_request import VisitRequest
from fringe.bench.desk import Desk, FullBench, OtherVisit
from fringe.bench.film import apart, together
from fringe.bench.guard import Guard, NotAllowedError
from fringe.bench.shots import time_today
from fringe.bench.typed import (
    MOST_WORDS,
    change_of_taken,
    edge_of,
    place_of,
    sent_values,
    settings_of,
    surface_record,
    text_of,
    tolerances,
    visit_request,
)
from fringe.bench.typed_records import instrument_record
from fringe.bench.words import bench_words
from fringe.errors import FringeError
from fringe.format import capital

if TYPE_CHECKING:
    from fringe.bench.live import LiveViews

MOST_UPLOAD = 50_000_000
_PARTS = (
    "asking",
    "course",
    "draft",
    "edge",
    "live",
    "look",
    "more",
    "outbox",
    "place",
    "record",
    "taken",
    "talk",
)
SCRIPTS = tuple(f"{name}.js" for name in ("bench", "enter", *_PARTS))
_OPEN = ("/", "/enter", "/bench.css", "/enter.js")  # what a device sees before it is let in
_REPORT_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


def make_app(desk: Desk, guard: Guard, fingerprint: Sequence[str] = ()) -> Flask:
    """Make the application.

    Parameters
    ----------
    desk : Desk
        What the page shows and changes.
    guard : Guard
        Who may ask; its port must be set before the first request.
    fingerprint : sequence of str
        Rows of the certificate's fingerprint, where the page is encrypted.
    """
    app = Flask("fringe.bench", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MOST_UPLOAD
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    _add_guard(app, guard)
    _add_page(app, desk, guard, fingerprint)
    _add_desk(app, desk)
    _add_shots(app, desk)
    _add_live(app, desk)
    _add_more(app, desk)
    _add_records(app, desk)
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


def most_body(guard: Guard, path: str, headers: Mapping[str, str]) -> int:
    """How many bytes a request may bring; a device that was not let in brings no more than a pass.

    Parameters
    ----------
    guard : Guard
    path : str
    headers : mapping of str to str
        By their names in small letters.
    """
    if path == "/enter":
        return MOST_WORDS
    cookies = parse_cookie(headers.get("cookie", ""))
    return MOST_UPLOAD if guard.admitted(cookies.get(guard.cookie)) else 0


def _add_page(app: Flask, desk: Desk, guard: Guard, fingerprint: Sequence[str]) -> None:
    @app.get("/")
    def page() -> str:
        if not guard.admitted(request.cookies.get(guard.cookie)):
            return render_template("enter.html.j2", fingerprint=fingerprint)
        return render_template("page.html.j2", token=guard.token, archive=desk.archive.name)

    @app.post("/enter")
    def enter() -> Response:
        device = guard.enter(text_of(sent_values(), "pass", 100) or "", request.remote_addr or "")
        response = _json({"welcome": True})
        response.set_cookie(  # `Strict`: no other site sends it
            guard.cookie,
            device,
            httponly=True,
            samesite="Strict",
            path="/",
            secure=guard.scheme == "https",
        )
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
        desk.set(settings_of(sent_values()))
        return _json(desk.view())

    @app.post("/api/taken")
    def taken() -> Response:
        desk.set_taken(change_of_taken(sent_values()))
        return _json(desk.view())

    @app.post("/api/log")
    def log() -> Response:
        values = sent_values()
        visit = text_of(values, "visit", 100) or ""
        return _json({"logged": desk.log(visit, visit_request(values)), **desk.view()})

    @app.post("/api/undo")
    def undo() -> Response:
        undone = desk.undo(text_of(sent_values(), "visit", 100) or "")
        return _json({"undone": undone, **desk.view()})

    @app.post("/api/visits/<int:number>/correct")
    def correct(number: int) -> Response:
        values = sent_values()
        said = visit_request(values, replaces=str(number))
        desk.change_visit(
            text_of(values, "surface", 1000) or "", said, text_of(values, "sense", 20)
        )
        return _json(desk.view())

    @app.post("/api/visits/<int:number>/strike")
    def strike(number: int) -> Response:
        values = sent_values()
        why = VisitRequest(strike=str(number), remark=text_of(values, "remark", 5000))
        desk.change_visit(text_of(values, "surface", 1000) or "", why, None)
        return _json(desk.view())

    @app.get("/api/progress.png")
    def progress_picture() -> Response:
        from fringe.bench.pictures import progress_png

        return Response(progress_png(desk), mimetype="image/png")


def _add_more(app: Flask, desk: Desk) -> None:
    from fringe.bench import more

    @app.get("/api/pair")
    def pair() -> Response:
        return _json(more.pair_answer(desk, request.args.get("with", "")))

    @app.get("/api/plan")
    def plan() -> Response:
        return _json(more.plan_answer(desk))

    @app.post("/api/surfaces")
    def surface() -> Response:
        values = sent_values()
        name, form = text_of(values, "name", 1000) or "", text_of(values, "form", 20) or ""
        made = more.add_surface(desk, name, form, surface_record(values))
        return _json({"made": made.name, **desk.view()})

    @app.post("/api/tolerance")
    def tolerance() -> Response:
        values = sent_values()
        more.change_tolerance(desk, text_of(values, "surface", 1000) or "", tolerances(values))
        return _json(desk.view())


def _add_records(app: Flask, desk: Desk) -> None:
    from fringe.bench import records

    @app.get("/api/instruments")
    def instruments() -> Response:
        return _json(records.instruments_answer(desk))

    @app.get("/api/instruments/<kind>/<name>")
    def instrument(kind: str, name: str) -> Response:
        return _json(records.instrument_answer(desk, kind, name))

    @app.post("/api/instruments")
    def put_on_record() -> Response:
        values = sent_values()
        name, record = instrument_record(values)
        replace = text_of(values, "replace", 10) is not None
        made = records.put_on_record(desk, name, record, replace=replace)
        return _json({"made": made.name, **desk.view(), **records.instruments_answer(desk)})

    @app.get("/api/report.html")
    def report() -> Response:
        _, html = records.report_answer(desk, request.args.get("with", ""))
        policy = {"Content-Security-Policy": _REPORT_POLICY}
        return make_response(html, 200, {"Content-Type": "text/html; charset=utf-8", **policy})

    @app.get("/api/report.pdf")
    def pdf() -> Response:
        paper = request.args.get("paper", "A4")
        name, data = records.report_pdf(desk, request.args.get("with", ""), paper)
        shown = f"inline; filename*=UTF-8''{quote(name, safe='')}.pdf"
        return Response(data, mimetype="application/pdf", headers={"Content-Disposition": shown})

    @app.get("/api/settling.png")
    def settling_picture() -> Response:
        from fringe.bench.pictures import settling_png

        return Response(settling_png(desk), mimetype="image/png")

    @app.post("/api/shots/<identity>/place")
    def place(identity: str) -> Response:
        desk.set_place(identity, place_of(sent_values()))
        return _json(desk.view())


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

    @app.post("/api/together")
    def read_together() -> Response:
        desk.regroup(together)
        return _json(desk.view())

    @app.post("/api/shots/<identity>/apart")
    def read_apart(identity: str) -> Response:
        desk.regroup(lambda shots: apart(shots, identity))
        return _json(desk.view())

    @app.post("/api/shots/<identity>/edge")
    def edge(identity: str) -> Response:
        desk.set_edge(identity, edge_of(sent_values()))
        return _json(desk.view())

    @app.post("/api/shots/<identity>/time")
    def time(identity: str) -> Response:
        now = datetime.now().astimezone()
        desk.set_time(identity, time_today(text_of(sent_values(), "time", 20) or "", now))
        return _json(desk.view())

    @app.get("/api/shots/<identity>/preview.jpg")
    def preview(identity: str) -> Response:
        return Response(desk.shot(identity).preview, mimetype="image/jpeg")

    @app.get("/api/shots/<identity>/lines.png")
    def lines(identity: str) -> Response:
        from fringe.bench.pictures import fit_layer

        return Response(fit_layer(desk, identity), mimetype="image/png")

    @app.get("/api/shots/<identity>/fit.png")
    def fit(identity: str) -> Response:
        from fringe.bench.pictures import fit_png

        return Response(fit_png(desk, identity), mimetype="image/png")


def _add_live(app: Flask, desk: Desk) -> None:
    @cache
    def views() -> LiveViews:
        from fringe.bench.live import LiveViews  # loads what reads photographs

        return LiveViews(desk)

    @app.put("/api/look")
    def look() -> Response:
        viewer = request.headers.get("X-Viewer", "")[:40]
        photo_px = request.headers.get("X-Photo-Width", default=0, type=int)
        return _json(views().seen(request.get_data(cache=False), viewer, photo_px))


def _add_errors(app: Flask) -> None:
    @app.errorhandler(NotAllowedError)
    def not_allowed(error: NotAllowedError) -> Response:
        return _json({"error": str(error)}, error.status)

    @app.errorhandler(Asked)
    def asked(error: Asked) -> Response:
        questions = [capital(bench_words(f"{one.text}; {one.option}")) for one in error.questions]
        return _json({"error": bench_words(str(error)), "asked": questions}, 422)

    @app.errorhandler(UnknownStage)
    def unknown_stage(error: UnknownStage) -> Response:
        text = bench_words(str(error))
        return _json({"error": text, "asked": [capital(text)], "stage": True}, 422)

    @app.errorhandler(FringeError)
    def bad_input(error: FringeError) -> Response:
        # a device keeps a photograph that found no room, or another visit, and asks what to do
        status = 409 if isinstance(error, FullBench | OtherVisit) else 400
        return _json({"error": bench_words(" ".join(str(error).split()))}, status)

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> Response:
        if error.code == 413:
            limit = f"{MOST_UPLOAD / 1e6:.0f} MB"
            what = f"the file is larger than {limit}; send a JPEG, or film a few seconds"
            return _json({"error": what}, 413)
        return _json({"error": error.name}, error.code or 500)


def _json(values: Mapping[str, Any], status: int = 200) -> Response:
    text = json.dumps(values, allow_nan=False, ensure_ascii=False)
    return make_response(text, status, {"Content-Type": "application/json; charset=utf-8"})
