"""Pictures that were made to harm: one line, status 2, and a bounded share of the memory."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.photo.load import load_photo, photo_from_bytes
from hostile_photos import CASES, colour, saved

# What a picture may claim beside what the program itself takes.
ALLOWANCE = 350_000_000

# Every file goes through the whole command; what it prints is told, a line of JSON each.
DRIVER = """
import contextlib, io, json, os, resource, sys
from pathlib import Path
os.environ["OPENBLAS_NUM_THREADS"] = "1"
import PIL.Image, numpy, scipy.ndimage, tifffile
import fringe.orders.read, fringe.photo.load
from fringe.cli import main
taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (taken + int(sys.argv[1]),) * 2)
for name in sys.argv[2:]:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(["read", name, "--lamp", "sodium", "--edge", "none", "--json"])
            status = 0
        except SystemExit as stop:
            status = stop.code
    print(json.dumps([name, status, out.getvalue(), err.getvalue()]), flush=True)
"""


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    """What the command says of each file, all in one process of limited memory."""
    if not Path("/proc/self/statm").exists():
        pytest.skip("needs Linux")
    folder = tmp_path_factory.mktemp("hostile")
    for name, (make, _) in CASES.items():
        (folder / name).write_bytes(make())
    os.mkfifo(folder / "pipe.jpg")
    (folder / "folder.jpg").mkdir()
    done = subprocess.run(
        [sys.executable, "-c", DRIVER, str(ALLOWANCE), *CASES, *PLACES],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return {name: rest for name, *rest in map(json.loads, done.stdout.splitlines())}


PLACES = {
    "pipe.jpg": "no such file",
    "folder.jpg": "folder",
    "/dev/zero": "no such file",
    "gone.jpg": "no such file",
    "x" * 300 + ".jpg": "cannot be read",
    "../../../../etc/shadow-of-nothing": "no such file",
}
REFUSED = {name: words for name, (_, words) in CASES.items() if words is not None} | PLACES
READ = [name for name, (_, words) in CASES.items() if words is None]


@pytest.mark.parametrize("name", REFUSED)
def test_a_hostile_picture_is_one_line(answers, name):
    """It is refused with status 2 and one line that names the file and the reason."""
    status, out, err = answers[name]
    assert status == 2
    assert err.startswith("fringe: ")
    assert err.count("\n") == 1
    assert len(err) < 300 + len(name)
    assert Path(name).name in err
    assert REFUSED[name] in err
    assert json.loads(out) == {"error": err.removeprefix("fringe: ").rstrip("\n")}


@pytest.mark.parametrize("name", READ)
def test_an_odd_picture_is_read(answers, name):
    """(analytic) A picture of an odd kind is read: r^2 / 300 px^2 of phase are 600 pi a ring."""
    status, out, err = answers[name]
    assert (status, err) == (0, "")
    # 16 shades or none, the step of the rings is the same within a part in a hundred
    assert json.loads(out)["ring_step_px2"] == pytest.approx(600 * np.pi, rel=0.01)


@pytest.mark.parametrize("name", [name for name in READ if name.startswith("exif-")])
def test_garbage_in_the_metadata_changes_nothing(tmp_path, name):
    """Garbage where EXIF data should be leaves the pixels as they are."""
    (tmp_path / name).write_bytes(CASES[name][0]())
    plain = photo_from_bytes(saved(colour(), "JPEG"), "plain")
    found = load_photo(tmp_path / name)
    np.testing.assert_array_equal(found.light, plain.light)


@pytest.mark.parametrize(
    ("name", "words"), [("palette.png", "palette"), ("glass.png", "transparent")]
)
def test_what_a_picture_lacks_is_told(name, words):
    """A palette and transparency are named in the notes."""
    (note,) = photo_from_bytes(CASES[name][0](), name).notes
    assert words in note


@pytest.mark.parametrize("name", ["alpha.png", "glass.png"])
def test_transparency_hides_nothing(name):
    """The colours under a transparent layer are the picture's own."""
    plain = photo_from_bytes(saved(colour(), "PNG"), "plain")
    np.testing.assert_array_equal(photo_from_bytes(CASES[name][0](), name).light, plain.light)


SEVERAL = [name for name, words in REFUSED.items() if words == "several pictures"]


@pytest.mark.parametrize("name", SEVERAL)
def test_several_pictures_are_never_guessed_from(name):
    """A file of several pictures is refused by the library, too, by its name."""
    with pytest.raises(BadInput, match=rf"^{name}: holds several pictures"):
        photo_from_bytes(CASES[name][0](), name)
