"""When photographs were taken: the camera's own note first, one clock for all."""

from __future__ import annotations

import os
from datetime import datetime, timedelta, timezone

import pytest
from PIL import Image

from fringe.errors import BadInput
from fringe.photo.when import camera_time, taken_text, times_min


@pytest.fixture
def photo(tmp_path):
    """Make a small photograph with the camera's notes and a file time."""

    def make(name, taken=None, offset=None, part=None, stamp=None):
        exif = Image.Exif()
        notes = {0x9003: taken, 0x9011: offset, 0x9291: part}
        exif.get_ifd(0x8769).update({key: value for key, value in notes.items() if value})
        path = tmp_path / name
        Image.new("L", (8, 8)).save(path, exif=exif)
        if stamp is not None:
            os.utime(path, (stamp, stamp))
        return path

    return make


def test_the_cameras_note(photo):
    """Date, part of a second and zone are those that the camera noted."""
    path = photo("a.jpg", "2026:03:14 09:30:15", "+01:00", "250")
    zone = timezone(timedelta(hours=1))
    assert camera_time(path) == datetime(2026, 3, 14, 9, 30, 15, 250000, zone)
    west = photo("b.jpg", "2026:03:14 09:30:15", "-03:30")
    assert camera_time(west).utcoffset() == timedelta(hours=-3, minutes=-30)
    assert camera_time(photo("c.jpg", "2026:03:14 09:30:15")).tzinfo is None


@pytest.mark.parametrize("taken", ["", "yesterday", "2026:13:14 09:30:15", "0000:00:00 00:00:00"])
def test_no_note(photo, taken):
    """A note that is missing or garbled is none."""
    assert camera_time(photo("a.jpg", taken or None)) is None


def test_a_file_that_is_no_picture(tmp_path):
    """No picture, no note; no file, one line."""
    (tmp_path / "a.jpg").write_bytes(b"not a picture")
    assert camera_time(tmp_path / "a.jpg") is None
    with pytest.raises(BadInput, match="no such photograph"):
        camera_time(tmp_path / "gone.jpg")


def test_minutes_by_the_camera(photo):
    """Analytic: minutes from the earliest, in the order given, over a change of zone."""
    paths = [
        photo("a.jpg", "2026:03:14 10:10:00", "+01:00"),
        photo("b.jpg", "2026:03:14 09:00:00", "+00:00"),
        photo("c.jpg", "2026:03:14 09:30:00", "+00:00", "500"),
    ]
    minutes, clock = times_min(paths)
    assert clock == "camera"
    assert minutes == pytest.approx([10.0, 0.0, 30 + 0.5 / 60])


def test_minutes_by_the_files(photo):
    """If one camera note is missing, all times are the files', never of two clocks."""
    paths = [
        photo("a.jpg", "2026:03:14 10:10:00", stamp=1e9),
        photo("b.jpg", None, stamp=1e9 + 300),
        photo("c.jpg", "2026:03:14 10:30:00", stamp=1e9 + 900),
    ]
    assert times_min(paths) == ([0.0, 5.0, 15.0], "file")
    mixed = [photo("d.jpg", "2026:03:14 10:10:00", "+01:00", stamp=1e9), paths[0]]
    assert times_min(mixed)[1] == "file"


def test_when_in_words(photo):
    """The camera's note is told as it stands; the file's time is told as the file's."""
    assert taken_text(photo("a.jpg", "2026:03:14 10:10:31")) == "2026-03-14 10:10"
    stamp = datetime(2026, 3, 14, 9, 30).timestamp()
    assert taken_text(photo("b.jpg", None, stamp=stamp)) == "file of 2026-03-14 09:30"
