"""The live view: what the bench says of a frame, and photographs and bursts that it takes."""

from __future__ import annotations

import base64
import hashlib
import re
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from bench_page import Page, served
from live_frames import GREEN, Frame, draw, jpeg

from browser import opened_browser
from fringe.bench import live
from fringe.bench.guard import Guard
from fringe.bench.live import MOST_BYTES, LiveViews
from fringe.bench.pages import make_app
from fringe.bench.settings import Settings
from fringe.errors import BadInput
from fringe.photo.bundle import MARK, MOST_FRAMES, bundled, frames_of_bundle

CLEAR = Frame(640, 480, 320.0, 240.0, 200.0, 4.0, exposure=0.5, noise=0.01)


@pytest.fixture(scope="module")
def pressed():
    """Frames of a contact that is pressed: the phase goes on."""
    return [jpeg(draw(replace(CLEAR, phase=0.045 * k, seed=k)), 92) for k in range(24)]


@pytest.fixture
def views(desk):
    return LiveViews(desk)


def keys(answer):
    return [one["key"] for one in answer["hints"]]


def test_a_frame_is_looked_at(views, pressed, monkeypatch):
    """A clear one is ready, with its outline; the next one tells that the fringes move."""
    first = views.seen(pressed[0], "a")
    assert (keys(first), first["ready"], first["moving"]) == (["ready"], True, False)
    assert first["size"] == [640, 480]
    assert first["edge"]["a"] == pytest.approx(200, rel=0.03)
    assert keys(views.seen(pressed[4], "b")) == ["ready"]  # another device's view
    second = views.seen(pressed[4], "a")
    assert (keys(second), second["ready"], second["moving"]) == (["moving"], False, True)
    monkeypatch.setattr(live, "MOST_VIEWERS", 2)
    for viewer in "bc":
        views.seen(pressed[0], viewer)
    assert not views.seen(pressed[0], "a")["moving"]  # it is long forgotten


def test_the_lamp_is_held_against_the_colour(desk, views):
    """Green fringes under the sodium lamp of the surface are asked about, orange ones are not."""
    green = views.seen(jpeg(draw(replace(CLEAR, colour=GREEN)), 92), "a")
    assert keys(green) == ["lamp"]
    assert green["hints"][0]["text"].startswith("The fringes look green, and sodium (589.")
    desk.set(Settings("concave 1", "mercury-green"))
    assert keys(views.seen(jpeg(draw(replace(CLEAR, colour=GREEN)), 92), "a")) == ["ready"]


def test_fine_rings_are_judged_by_the_photograph(views):
    """Rings that are too fine for the frame may be broad enough in the photograph."""
    data = jpeg(draw(replace(CLEAR, power=28.0, tilt=(0.0, 0.0))), 92)
    assert keys(views.seen(data, "a")) == ["fine"]
    assert keys(views.seen(data, "a", 4000)) == ["ready"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no frame"),
        (b"\x89PNG\r\n", "no frame"),
        (bytes(MOST_BYTES + 1), "too large a frame"),
        (jpeg(np.zeros((1600, 1400, 3), np.uint8)), "too large a frame"),
    ],
)
def test_what_is_no_frame_is_refused(desk, data, words):
    """What is no JPEG, or a large one, is refused in a line before it is decoded."""
    guard = Guard(["127.0.0.1"])
    guard.port = 8740
    headers = {"Host": "127.0.0.1:8740", "Origin": "http://127.0.0.1:8740"}
    client = make_app(desk, guard).test_client()
    headers |= {"X-Fringe-Token": guard.token, "X-Photo-Width": "many"}
    answer = client.put("/api/look", data=data, headers=headers)
    assert answer.status_code == 400
    assert words in answer.json["error"]


def test_a_burst_is_frames_of_one_contact(desk, reader, pressed):
    """Eight of the frames are chosen, each as the camera's page made it, and read as one."""
    files = frames_of_bundle(bundled(pressed), "live-101500.frames")
    assert len(files) == 8
    assert all(one.data in pressed for one in files)
    identity = desk.add(bundled(pressed), "live-101500.frames")
    assert desk.add(bundled(pressed), "again.frames") == identity
    assert [one.data for one in reader.start().frames] == [one.data for one in files]
    (shot,) = desk.view()["shots"]
    assert (shot["frames"], shot["name"]) == (8, files[0].name)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frames: bundled(frames)[:-1], "no whole burst"),
        (lambda frames: MARK, "no whole burst"),
        (lambda frames: MARK + bytes(4), "no whole burst"),
        (lambda frames: bundled(frames[:1] * (MOST_FRAMES + 1)), "no whole burst"),
        (lambda frames: bundled([*frames, b"x"]), "cannot be decoded"),
        (lambda frames: bundled(frames[:4]), "shows 4 frames, and 5 are needed"),
        (
            lambda frames: bundled([*frames, jpeg(np.zeros((80, 64, 3), np.uint8))]),
            "differ in size",
        ),
    ],
)
def test_a_burst_that_is_none(desk, pressed, change, words):
    """One that is cut short, too long, or of something else puts nothing on the bench."""
    with pytest.raises(BadInput, match=words):
        desk.add(change(pressed[:6]), "live.frames")
    assert desk.view()["shots"] == []


@contextmanager
def camera_of(folder, frames, *more):
    """A browser whose camera sees these frames over and over."""
    film = folder / "camera.mjpeg"
    film.write_bytes(b"".join(frames))
    flags = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    )
    with opened_browser(folder / "profile", *flags, *more) as browser:
        yield Page(browser, "phone")


def spki_of(path):
    """Digest of the public key of a certificate: the one that a person accepted."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    key = x509.load_pem_x509_certificate(path.read_bytes()).public_key()
    info = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return base64.b64encode(hashlib.sha256(info).digest()).decode()


def test_from_the_view_to_the_bench(surface, reader, tmp_path, pressed, monkeypatch):
    """Over TLS, by a certificate that was accepted: the view says that the fringes move and takes
    the burst by itself; told not to, it waits for the shutter, and takes what it said."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with served(tmp_path / "shop", encrypted=True, reader=reader) as bench:
        accepted = f"--ignore-certificate-errors-spki-list={spki_of(bench.certificate.path)}"
        with camera_of(tmp_path, pressed, accepted) as page:
            page.open(bench.urls[0])
            page.says("facts", "concave 1")
            page.click("live-open")
            page.says("live-takes", "one photograph of 640 × 480 pixels for concave 1")
            page.says("live-hint", "Burst: ")
            page.wait.until(lambda _: bench.desk.view()["shots"])
            assert not page.get("live").is_displayed()
            assert bench.desk.view()["shots"][0]["frames"] >= 5
            page.wait.until(lambda _: "busy" not in page.get_body_class())
            page.click("live-open")
            page.click("live-auto")
            page.says("live-hint", "The fringes move: let them rest, or take a burst.")
            assert page.browser.wide() == 0
            page.click("live-shutter")
            page.wait.until(lambda _: len(bench.desk.view()["shots"]) == 2)
            assert not page.get("live").is_displayed()
            shot = bench.desk.view()["shots"][1]
            assert (shot["width"], shot["height"], shot["frames"]) == (640, 480, 1)
            assert page.browser.complaints() == []


def test_without_a_camera(phone, bench):
    """Where there is none, or the page is not encrypted, the reason is said with what serves."""
    page = phone
    page.open(bench.urls[0])
    page.says("facts", "concave 1")
    page.click("live-open")
    page.says("live-no", "No camera was found")
    assert page.get("live-own").is_displayed()
    assert not page.get("live-shutter").is_displayed()
    page.click("live-close")
    page.browser.js("Object.defineProperty(navigator, 'mediaDevices', {value: undefined})")
    page.click("live-open")
    page.says("live-no", "The browser gives its camera to encrypted pages only")
    assert page.browser.complaints() == []


def test_an_upload_says_how_far_it_is(phone, bench, picture, tmp_path):
    """On a slow network the button counts the share that has left."""
    page = phone
    page.open(bench.urls[0])
    page.says("facts", "concave 1")
    path = tmp_path / "large.png"
    path.write_bytes(picture(700))
    slow = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": 400_000}
    page.browser.driver.execute_cdp_cmd("Network.enable", {})
    page.browser.driver.execute_cdp_cmd("Network.emulateNetworkConditions", slow)
    try:
        page.send(path)
        page.wait.until(lambda _: re.match(r"Sending: [1-9]\d? %", page.text("camera-label")))
        page.says("camera-label", "Photograph")
    finally:
        fast = slow | {"uploadThroughput": -1}
        page.browser.driver.execute_cdp_cmd("Network.emulateNetworkConditions", fast)
    assert len(bench.desk.view()["shots"]) == 1
