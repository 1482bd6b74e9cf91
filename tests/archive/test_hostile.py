"""Files that were made to harm, or that another program or a newer version made."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys

import h5py
import numpy as np
import pytest

from fringe.archive.store.digest import CONTENT_ATTRIBUTE, SEAL_BYTES, content_digest, seal
from fringe.archive.store.order import survey
from fringe.archive.store.read import open_session, read_summary
from fringe.errors import BadInput


@pytest.fixture
def forge(path):
    """Change the session through HDF5 and seal it again, as a forger would."""

    def change(function):
        path.write_bytes(path.read_bytes()[:-SEAL_BYTES])
        with h5py.File(path, "r+") as file:
            function(file)
            try:
                digest = content_digest(file)
            except (BadInput, ValueError, OSError):
                digest = "0" * 64
            file.attrs[CONTENT_ATTRIBUTE] = digest
        body = path.read_bytes()
        path.write_bytes(body + seal(body))

    return change


def replaced(name, make):
    """A change that puts another object in the place of a variable."""

    def change(file):
        del file[name]
        make(file, name)

    return change


def attribute(name, value, group="/"):
    """A change that sets an attribute."""
    return lambda file: file[group].attrs.__setitem__(name, value)


def gone(name, group="/"):
    """A change that removes an attribute or a member."""

    def change(file):
        if name in file[group].attrs:
            del file[group].attrs[name]
        else:
            del file[group][name]

    return change


def huge(file, name):
    """A variable that claims four terabytes and holds nothing."""
    file.create_dataset(name, (1 << 39,), "f8", chunks=(1 << 20,))


def virtual(file, name):
    """A variable whose values lie in another file."""
    layout = h5py.VirtualLayout((2,), "f8")
    layout[:] = h5py.VirtualSource("/etc/hostname", "x", (2,))
    file.create_virtual_dataset(name, layout)


def filtered(file, name):
    """A variable that needs a filter which no session uses."""
    file.create_dataset(name, data=np.zeros(2), chunks=(2,), scaleoffset=3)


IN_THE_TABLE = [
    replaced("power_fringes", lambda f, n: f.__setitem__(n, h5py.ExternalLink("/etc/passwd", "/"))),
    replaced("power_fringes", lambda f, n: f.__setitem__(n, h5py.SoftLink("/wavelength_nm"))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, data=["a", "b"])),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, (2,), h5py.ref_dtype)),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, (2,), h5py.vlen_dtype("f8"))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, (2,), np.dtype([("a", "f8")]))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, (2,), np.dtype(("f8", (3,))))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, data=np.zeros((2, 2)))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, data=np.zeros(3))),
    replaced("power_fringes", lambda f, n: f.create_dataset(n, data=h5py.Empty("f8"))),
    replaced("power_fringes", lambda f, n: f.create_group(n)),
    replaced("power_fringes", lambda f, n: f.create_dataset(
        n, (2,), "f8", external=[("/etc/hostname", 0, 16)])),
    replaced("power_fringes", huge),
    replaced("power_fringes", virtual),
    replaced("power_fringes", filtered),
    replaced("sense", lambda f, n: f.create_dataset(n, data=[0, 7])),
    attribute("readings", 3),
    attribute("readings", -1),
    attribute("readings", 1 << 40),
    attribute("readings", 2.5),
    attribute("readings", "two"),
    attribute("schema", "another"),
    attribute("schema", 3),
    attribute("schema_version", 0),
    attribute("schema_version", 1.5),
    attribute("schema_version", [1, 1]),
    attribute("when", "yesterday"),
    attribute("when", "2026-03-14T09:30:00"),
    attribute("logged_at", 3.0),
    attribute("session_id", np.void(b"abc")),
    attribute("work_minutes", -3.0),
    attribute("work_minutes", "long"),
    attribute("work_on_top", "both"),
    attribute("remarks", "x" * 5_000_000),
    attribute("work_stage", np.array(["a", "b"], "S1")),
    gone("schema"),
    gone("schema_version"),
    gone("session_id"),
    gone("logged_at"),
]  # fmt: skip
IN_THE_REST = [
    replaced("reading_2", lambda f, n: f.__setitem__(n, h5py.ExternalLink("/etc/passwd", "/"))),
    replaced("reading_2", lambda f, n: f.__setitem__(n, h5py.SoftLink("/reading_1"))),
    replaced("reading_2", lambda f, n: f.create_dataset(n, data=1.0)),
    replaced("photograph_1/data", huge),
    replaced("photograph_1/data", lambda f, n: f.create_dataset(n, data=np.zeros(4, "u1"))),
    replaced("photograph_1/data", lambda f, n: f.create_dataset(n, data=np.zeros(4, "f8"))),
    replaced("reading_1/gap_nm", lambda f, n: f.create_dataset(n, data=np.zeros((2, 2)))),
    replaced("reading_1/term_n", lambda f, n: f.create_dataset(n, data=np.zeros(2))),
    replaced("reading_1/term_n", lambda f, n: f.__setitem__(n, h5py.SoftLink("/nowhere"))),
    gone("data", "photograph_1"),
    gone("sha256", "photograph_1"),
    gone("reading_2"),
    gone("photograph_2"),
    gone("spherometer_2"),
    gone("surface"),
    gone("name", "surface"),
    gone("piece", "spherometer_1"),
    attribute("options", "[1]", "reading_1"),
    attribute("options", "{", "reading_1"),
    attribute("options", "[" * 100_000, "reading_1"),
    attribute("warnings", 3, "reading_1"),
    attribute("inputs", "nothing"),
    attribute("radius_mm", -1.0, "surface"),
    attribute("form", "flat", "surface"),
    attribute("tolerance_power_fringes", -1.0, "surface"),
    attribute("tolerance_rule", "by eye", "surface"),
    attribute("sha256", "0" * 64, "photograph_1"),
    lambda file: file.__setitem__("reading_1/loop", file["/"]),
    lambda file: [file.__setitem__(f"surface/loop_{i}", file["/"]) for i in range(9)],
    lambda file: file.__setitem__("more", h5py.ExternalLink("/etc/passwd", "/")),
]


@pytest.mark.parametrize("change", IN_THE_TABLE, ids=range(len(IN_THE_TABLE)))
def test_hostile_tables(path, forge, change):
    """List and opening refuse it in one line with the file's name, and other visits remain."""
    forge(change)
    for read in (read_summary, open_session):
        with pytest.raises(BadInput, match=re.escape(path.name)) as caught:
            read(path)
        assert "\n" not in str(caught.value)
    assert len(survey(path.parent).problems) == 1


@pytest.mark.parametrize("change", IN_THE_REST, ids=range(len(IN_THE_REST)))
def test_hostile_parts(path, forge, change):
    """Opening refuses it in one line with the file's name."""
    forge(change)
    with pytest.raises(BadInput, match=re.escape(path.name)) as caught:
        open_session(path)
    assert "\n" not in str(caught.value)


def test_a_newer_schema_is_refused(path, forge):
    """A session of a later schema is refused, and the line says what to do."""
    forge(attribute("schema_version", 2))
    for read in (read_summary, open_session):
        with pytest.raises(BadInput, match=r"schema version 2 is newer .* use a newer fringe"):
            read(path)


def test_names_of_a_later_version_are_passed_over(path, forge):
    """Attributes, variables and groups that are not known yet do no harm."""
    true = open_session(path)

    def change(file):
        file.attrs["colour"] = "grey"
        file.create_dataset("humidity", data=[0.4, 0.5])
        file.create_group("interferogram_1").attrs["x"] = 1

    forge(change)
    session = open_session(path)
    assert session.summary == true.summary
    assert session.visit.photographs == true.visit.photographs


@pytest.mark.parametrize(
    "data", [b"", b"\x89HDF\r\n\x1a\n", b"hello " * 100, bytes(4096), b"\x89PNG\r\n\x1a\n" * 64]
)
def test_files_that_are_no_hdf5(path, data):
    """Whatever bears a session's name is refused in one line with the file's name."""
    for content in (data, data + seal(data)):
        path.write_bytes(content)
        for read in (read_summary, open_session):
            with pytest.raises(BadInput, match=re.escape(path.name)) as caught:
                read(path)
            assert "\n" not in str(caught.value)


def test_other_things_with_a_sessions_name(path, tmp_path):
    """Folders, links and pipes are not taken for sessions."""
    folder = path.parent
    (folder / "0002_20260314T093000Z_aaaaaa.h5").mkdir()
    (folder / "0003_20260314T093000Z_aaaaaa.h5").symlink_to(path)
    os.mkfifo(folder / "0004_20260314T093000Z_aaaaaa.h5")
    found = survey(folder)
    assert [s.place for s in found.sessions] == [path]
    with pytest.raises(BadInput, match="no such session"):
        open_session(folder / "0002_20260314T093000Z_aaaaaa.h5")


FUZZ = """
import sys
import numpy as np
from pathlib import Path
from fringe.archive.store.digest import SEAL_BYTES, seal
from fringe.archive.store.read import open_session, read_summary
from fringe.errors import BadInput
path, rng = Path(sys.argv[1]), np.random.default_rng(int(sys.argv[2]))
body = path.read_bytes()[:-SEAL_BYTES]
# the numbers of photographs say little: most damage goes to the structure around them
places = np.flatnonzero(np.frombuffer(body, np.uint8) != 0)
for _ in range(30):
    data = bytearray(body)
    for place in rng.choice(places, rng.integers(1, 6)):
        data[place] = rng.integers(256)
    path.write_bytes(bytes(data) + seal(bytes(data)))
    for read in (read_summary, open_session):
        try:
            read(path)
        except BadInput as error:
            assert path.name in str(error), error
print("survived")
"""


def test_random_damage_never_crashes(path, rng):
    """Random damage under a seal that fits ends in a line or a result, never in a crash."""
    done = subprocess.run(
        [sys.executable, "-c", FUZZ, path, str(rng.integers(1 << 30))],
        capture_output=True,
        text=True,
    )
    assert done.stdout == "survived\n", done.stderr


# What a hostile file may claim beside what the program itself takes.
ALLOWANCE = 180_000_000
LIMITED = """
import contextlib, io, json, os, resource, sys
from pathlib import Path
import h5netcdf, numpy, scipy.ndimage, PIL.Image, rich.console
import fringe.archive.transfer.check, fringe.archive.transfer.export
import fringe.archive.views.reread, fringe.archive.views.surface_state
import fringe.orders.read
from fringe.cli import main
taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (taken + int(sys.argv[1]),) * 2)
surface = sys.argv[2]
for words in (["progress", surface], ["reread", surface, "--workers", "1"],
              ["export", surface, "out.csv"], ["surface", "list", os.path.dirname(surface)]):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(words)
            status = 0
        except SystemExit as stop:
            status = stop.code or 0
    print(json.dumps([words[0], status, err.getvalue()]), flush=True)
print(json.dumps([fringe.archive.transfer.check.check_session(Path(sys.argv[3]))]))
"""


def bomb(size):
    """A photograph of so many zeros, packed a thousandfold, with a digest that fits."""

    def change(file):
        del file["photograph_1/data"]
        data = file["photograph_1"].create_dataset(
            "data", (size,), "u1", chunks=(1 << 20,), compression="gzip"
        )
        whole = hashlib.sha256()
        for start in range(0, size, 1 << 26):
            data[start : start + (1 << 26)] = 0
            whole.update(bytes(1 << 26))
        file["photograph_1"].attrs["sha256"] = whole.hexdigest()

    return change


def long_table(file):
    """A column of half a gigabyte where two cells belong."""
    del file["power_fringes"]
    file.create_dataset("power_fringes", (1 << 26,), "f8", chunks=(1 << 20,), fillvalue=1.0)


CLAIMS = {"bomb": bomb(3 << 26), "table": long_table}


@pytest.mark.skipif(not os.path.exists("/proc/self/statm"), reason="needs Linux")
@pytest.mark.parametrize("what", CLAIMS)
def test_what_a_file_claims_stays_bounded(path, forge, tmp_path, what):
    """Hundreds of megabytes claimed in a small file are refused in one line, and not taken."""
    forge(CLAIMS[what])
    assert path.stat().st_size < 3_000_000
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(ALLOWANCE), path.parent, path],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    *answers, (problem,) = map(json.loads, done.stdout.splitlines())
    # a photograph of zeros is one: it is proven a part at a time
    assert (problem is None) == (what == "bomb")
    assert problem is None or (path.name in problem and "\n" not in problem)
    assert [command for command, _, _ in answers] == ["progress", "reread", "export", "surface"]
    for command, status, err in answers:
        assert status == 0, (command, err)
        assert err.count("\n") <= 1
        # a list of visits has no need of the photographs
        assert (path.name in err) == (what != "bomb" or command in ("reread", "export"))
