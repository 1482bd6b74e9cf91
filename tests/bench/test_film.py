"""A film of one contact on the bench: its frames are read, logged and kept as one."""

from __future__ import annotations

import io
import shutil
import sys
from dataclasses import replace

import numpy as np
import pytest
from bench_page import said, served
from filming import film
from PIL import Image

from fringe.archive.store.order import list_sessions
from fringe.archive.store.read import open_session
from fringe.bench.desk import Desk
from fringe.bench.film import apart, together
from fringe.bench.guard import Guard
from fringe.bench.pages import make_app
from fringe.bench.settings import Settings
from fringe.errors import BadInput, Refused
from fringe.photo.frames import frame_files
from fringe.synth import Form, Scene, render_sequence, shift_steps
from sample_visits import power_reading

POWER = 3.0  # of the contact that is filmed [fringes]


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """Eight frames of a contact that is pressed."""
    rng = np.random.default_rng(5)
    scene = Scene(280, 280, diameter_mm=150.0, form=Form(power=POWER, tilt=1.0))
    shots = render_sequence(scene, rng, shift_steps(8, rng, tilt=0.1))
    return film(tmp_path_factory.mktemp("film") / "press.mp4", [one.image for one in shots])


@pytest.fixture(scope="module")
def frames(clip):
    """The frames of the clip that are read, as files."""
    return [(one.name, one.data) for one in frame_files([clip])]


def burst_reading():
    return replace(power_reading(POWER, 0.1, "centre").reading, frames=8)


def last_visit(surface):
    return open_session(list_sessions(surface.folder)[-1].place).visit


def kept_of(visit):
    return [(one.file_name, one.data) for one in visit.photographs]


def test_a_film_from_phone_to_record(phone, surface, tmp_path, clip, frames):
    """A film is read as one contact, shown by its first frame, and its frames are logged."""
    page = phone
    with served(tmp_path / "shop") as server:
        page.open(server.urls[0])
        page.choose("sense", "at the centre")
        page.send(clip, by="film")
        page.seen("result")
        page.says("label", ", 8 frames")
        assert float(page.text("value")) == pytest.approx(POWER, abs=0.05)
        assert page.text("u95").startswith("± ")
        page.seen("fit-lines")
        assert page.browser.wide() == 0
        page.click("log-button")
        page.says("logged", "concave 1: visit 1 is in the record")
        assert page.browser.complaints() == []
    visit = last_visit(surface)
    assert kept_of(visit) == frames
    (logged,) = visit.readings
    assert (logged.photographs, logged.reading.frames) == (tuple(range(1, 9)), 8)
    assert logged.options["burst"] is True
    assert visit.inputs["burst"] is True


def test_a_film_beside_a_photograph(desk, reader, surface, clip, frames, picture):
    """Each has its own reading of its own photographs; undo brings the frames back."""
    desk.set(Settings("concave 1", None, "centre"))
    photo = picture()
    desk.add(photo, "rings.png")
    reader.finish(power_reading(POWER, 0.1, "centre").reading)
    first = desk.add(clip.read_bytes(), "press.mp4")
    assert desk.add(clip.read_bytes(), "the same.mp4") == first
    job = reader.start()
    assert [(one.file_name, one.data) for one in job.frames] == frames
    reader.finish(burst_reading())
    visit_id = desk.view()["visit"]
    desk.log(visit_id, said())
    visit = last_visit(surface)
    assert kept_of(visit) == [("rings.png", photo), *frames]
    assert [one.photographs for one in visit.readings] == [(1,), tuple(range(2, 10))]
    assert [one.options.get("burst") for one in visit.readings] == [None, True]
    assert not visit.inputs.get("burst")
    desk.undo(visit_id)
    assert [one["frames"] for one in desk.view()["shots"]] == [1, 8]
    desk.log(desk.view()["visit"], said())  # nothing is asked of frames that were taken back


def test_a_refused_film_is_kept_whole(desk, reader, surface, clip, frames):
    """Each frame is in the record with the reason."""
    desk.add(clip.read_bytes(), "press.mp4")
    reader.finish(Refused("the camera moved"))
    desk.log(desk.view()["visit"], said())
    visit = last_visit(surface)
    assert kept_of(visit) == frames
    assert {one.refusal for one in visit.photographs} == {"the camera moved"}
    assert visit.inputs["burst"] is True


def test_a_film_outlives_the_program(desk, reader, tmp_path, clip, frames):
    """After a kill the frames are there and are read again; one that is damaged is told."""
    identity = desk.add(clip.read_bytes(), "press.mp4")
    for copy in ("whole", "damaged"):
        shutil.copytree(desk.archive, tmp_path / copy)
    again = Desk(tmp_path / "whole", reader)
    assert [(one.file_name, one.data) for one in again.shot(identity).photographs] == frames
    assert len(reader.start().frames) == 8
    last = desk.shot(identity).others[-1].sha256
    (tmp_path / "damaged" / ".bench" / f"{last}.photograph").write_bytes(b"")
    damaged = Desk(tmp_path / "damaged", reader).view()
    assert damaged["shots"] == []
    assert "this photograph of the bench was lost" in damaged["not_kept"]
    desk.remove(identity)
    assert list((desk.archive / ".bench").glob("*.photograph")) == []


def test_photographs_are_read_together(desk, reader, surface, picture):
    """Five photographs are one contact by a tap, in the order taken, and five again by another."""
    data = [picture() for _ in range(5)]
    for number, one in enumerate(data[:4]):
        desk.add(one, f"{number}.png")
    with pytest.raises(BadInput, match="a burst takes 5 photographs or more"):
        desk.regroup(together)
    desk.add(data[4], "4.png")
    desk.regroup(together)
    assert set(reader.given_up) == {0, 1, 2, 3, 4}
    assert [one.data for one in reader.start().frames] == data
    reader.finish(Refused("the camera moved"))
    desk.add(data[2], "again.png")
    (shot,) = desk.view()["shots"]
    assert (shot["frames"], shot["refusal"]) == (5, "the camera moved")
    desk.regroup(lambda shots: apart(shots, shot["id"]))
    shots = [desk.shot(one["id"]) for one in desk.view()["shots"]]
    assert [(one.name, one.data) for one in shots] == [
        (f"{number}.png", one) for number, one in enumerate(data)
    ]
    assert [(job.data, job.frames) for job, *_ in reader.orders[6:]] == [(one, ()) for one in data]
    assert {one.refusal for one in shots} == {""}
    desk.regroup(together)
    reader.finish(replace(burst_reading(), frames=5))
    desk.log(desk.view()["visit"], said())
    visit = last_visit(surface)
    assert [one.data for one in visit.photographs] == data
    assert {one.refusal for one in visit.photographs} == {None}
    (logged,) = visit.readings
    assert (logged.photographs, logged.options["burst"]) == ((1, 2, 3, 4, 5), True)


def test_together_by_a_tap(phone, bench, reader, picture, tmp_path):
    """The button is there from five photographs on, and in its place the one that undoes it."""
    page = phone
    page.open(bench.urls[0])
    paths = [tmp_path / f"{number}.png" for number in range(5)]
    for path in paths:
        path.write_bytes(picture())
    page.send(*paths[:4])
    page.says("shots", "4: ")
    assert not page.get("together").is_displayed()
    page.send(paths[4])
    page.seen("together")
    page.click("together")
    page.seen("apart")
    reader.start()
    page.says("working-text", "Reading 0.png, 5 frames, ")
    assert not page.get("together").is_displayed()
    reader.finish(replace(burst_reading(), frames=5))
    page.says("label", "Power, 5 frames")
    page.click("apart")
    page.says("shots", "5: ")
    assert page.browser.complaints() == []


def test_what_is_no_film_of_use_is_said(desk, tmp_path):
    """A film of too few frames, and one that is cut short, put nothing on the bench."""
    grey = [np.full((64, 64, 3), 90, np.uint8)] * 2
    short = film(tmp_path / "a.mp4", grey).read_bytes()
    with pytest.raises(BadInput, match=r"a\.mp4: shows 2 frames, and 5 are needed; film"):
        desk.add(short, "../a.mp4")
    with pytest.raises(BadInput, match=r"^ä{80}: is a clip that cannot be decoded"):
        desk.add(short[:60], "ä" * 300 + ".mp4")
    assert desk.view()["shots"] == []


def test_without_the_decoder(desk, clip, monkeypatch):
    """The answer to the request says what is missing, without a word of the command line."""
    guard = Guard(["127.0.0.1"])
    guard.port = 8740
    headers = {"Host": "127.0.0.1:8740", "Origin": "http://127.0.0.1:8740"}
    client = make_app(desk, guard).test_client()

    def put():
        sent = {**headers, "X-Fringe-Token": guard.token, "X-File-Name": "press.mp4"}
        return client.put("/api/shots", data=clip.read_bytes(), headers=sent)

    with monkeypatch.context() as without:
        without.setitem(sys.modules, "av", None)
        answer = put()
    assert answer.status_code == 400
    assert answer.json == {
        "error": "what reads a film (the extra `video`) is not installed at the computer; send "
        "photographs"
    }
    values = put().json
    (shot,) = values["shots"]
    assert (shot["id"], shot["frames"], shot["name"]) == (values["added"], 8, "press-00000ms.png")
    preview = client.get(f"/api/shots/{shot['id']}/preview.jpg", headers=headers).data
    assert Image.open(io.BytesIO(preview)).size == (280, 280)
