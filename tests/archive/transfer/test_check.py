"""What a check finds beyond damaged bytes: units, strangers, instruments, and what still reads."""

from __future__ import annotations

import os
import shutil

import h5py
import pytest

from fringe.archive.instruments import add_instrument
from fringe.archive.store.digest import CONTENT_ATTRIBUTE, SEAL_BYTES, content_digest, seal
from fringe.archive.store.read import session_files
from fringe.archive.store.surface import change_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_session, check_surface
from fringe.archive.transfer.salvage import readable_parts, salvage
from fringe.parallel import run_apart
from sample_visits import full_surface, hours, plain_visit


def rewritten(path, change):
    """Change a session through HDF5, with digests that fit, as another program would."""
    path.write_bytes(path.read_bytes()[:-SEAL_BYTES])
    with h5py.File(path, "r+") as file:
        change(file)
        file.attrs[CONTENT_ATTRIBUTE] = content_digest(file)
    body = path.read_bytes()
    path.write_bytes(body + seal(body))


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("reading_1/gap_nm", "um"),
        ("wavelength_nm", "m"),
        ("reading_2/ring_radius_px", "mm"),
        ("spherometer_1/height_mm", "um"),
        ("ring_step_px2", "pixel"),
    ],
)
def test_units_must_be_those_of_the_name(path, name, units):
    """A variable whose unit is not the one that its name ends with is named."""
    rewritten(path, lambda file: file[name].attrs.__setitem__("units", units))
    problem = check_session(path)
    assert problem is not None
    assert problem.startswith(f"{path}: /{name} is in {units}, not in ")


def test_a_variable_without_a_unit(path):
    """A variable that lost its unit is named."""
    rewritten(path, lambda file: file["wavelength_nm"].attrs.__delitem__("units"))
    assert "/wavelength_nm is in no unit, not in nm" in (check_session(path) or "")


def test_a_session_of_another_surface(path):
    """A session that was copied to another surface's folder is named there."""
    other = full_surface(path.parents[1], "convex 2")
    shutil.copy(path, other.folder)
    (problem,) = check_surface(other.folder).problems
    assert path.name in problem
    assert "another surface, 'concave 1'" in problem
    assert check_surface(path.parent).problems == ()


def test_records_of_different_surfaces(surface):
    """A record that belongs to another surface is noticed, though it is whole."""
    other = full_surface(surface.folder.parent, "convex 2")
    change_surface(other, note="x", now=hours(1))
    shutil.copy(other.folder / "surface-0002.json", surface.folder)
    problems = check_surface(surface.folder).problems
    assert any("different surfaces" in problem for problem in problems)


def test_instruments_are_read(surface):
    """An instrument's record that makes no sense is named; sound ones are counted."""
    archive = surface.folder.parent
    plate = {"form": "convex", "radius_mm": 3048.6}
    path = add_instrument(archive, "plate", "P7", plate).path
    add_instrument(archive, "plate", "P8", plate)
    found = check_archive(archive)
    assert (found.checked, found.problems, found.unknown) == (3, (), ())
    path.write_text(path.read_text().replace("3048.6", "-1"))
    (path.parent / "notes.txt").write_text("hello")
    (path.parent / ".x.partial").write_bytes(b"")
    found = check_archive(archive)
    senseless, other = found.problems
    assert path.name in senseless
    assert "not the one that is in the ledger" in other
    assert [p.name for p in found.unknown] == ["notes.txt"]
    assert [p.name for p in found.leftovers] == [".x.partial"]


def test_what_still_reads(path, rng):
    """Whatever single byte is damaged, the parts that are named read, and most of them do."""
    whole = path.read_bytes()
    every = set(readable_parts(path))
    assert len(every) == 7  # visit, surface, readings, two photographs, two spherometers
    counts = []
    for place in rng.integers(0, len(whole) - SEAL_BYTES, 25).tolist():
        data = bytearray(whole)
        data[place] ^= 0xFF
        path.write_bytes(bytes(data))
        parts = readable_parts(path)
        assert set(parts) <= every
        counts.append(len(parts))
    # most of a session is its photographs, and one damaged byte is in one of them at most
    assert sum(count >= 6 for count in counts) > len(counts) / 2


def test_several_damaged_sessions(surface, rng):
    """What still reads is said of each damaged file, in the order in which they were found."""
    for hour in range(3):
        log_visit(surface, plain_visit(), now=hours(hour))
    first, second, third = session_files(surface.folder)
    first.write_bytes(first.read_bytes()[:-1])
    third.write_bytes(b"nothing")
    found = check_archive(surface.folder.parent)
    assert found.damaged == (first, third)
    readable = salvage(found.damaged)
    assert list(readable) == [first, third]
    assert readable[first] == ("the visit", "the surface's record")
    assert readable[third] == ()
    assert second not in readable


def test_a_file_that_kills_who_reads_it():
    """A process that dies of a file is replaced for the next one, and the death is no loss."""
    assert run_apart(os._exit, [3]) == [None]
    assert run_apart(abs, [-1, -2]) == [1, 2]
    assert run_apart(abs, []) == []
