"""Damage is noticed: any byte, any value, without this program and with it."""

from __future__ import annotations

import dataclasses
import hashlib
import re
import shutil
import subprocess

import h5py
import numpy as np
import pytest

from fringe.archive.store.digest import SEAL_BYTES, content_digest, seal, seal_problem
from fringe.archive.store.read import open_session, read_summary, session_files
from fringe.archive.store.surface import change_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_session, check_surface
from fringe.errors import BadInput
from sample_visits import full_visit, plain_visit


def test_seal_needs_no_program(path):
    """The last line names the SHA-256 of all bytes before it."""
    data = path.read_bytes()
    line = data[-128:].decode()
    assert line.startswith("\n")
    assert line.endswith("\n")
    assert hashlib.sha256(data[:-128]).hexdigest() in line


def test_shell_proves_the_seal(path):
    """`head` and `sha256sum`, as the description says, give the digest on the last line."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    command = f"head -c -128 '{path}' | sha256sum"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=True)
    assert done.stdout.split()[0].encode() in path.read_bytes()[-SEAL_BYTES:]


def test_any_flipped_bit_is_found(path, rng):
    """One bit, anywhere: the check names the file, and opening it is refused."""
    whole = path.read_bytes()
    places = {0, 8, 511, 512, len(whole) - 129, len(whole) - 128, len(whole) - 60, len(whole) - 1}
    places |= set(rng.integers(0, len(whole), 300).tolist())
    for place in sorted(places):
        data = bytearray(whole)
        data[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(data)
        found = check_session(path)
        assert found is not None, place
        assert path.name in found
        with pytest.raises(BadInput, match=re.escape(path.name)):
            open_session(path)
    path.write_bytes(whole)
    assert check_session(path) is None


def beside_the_photographs(path) -> np.ndarray:
    """Places in a session's file where something else lies than bytes of a photograph."""
    free = np.ones(path.stat().st_size - SEAL_BYTES, bool)
    with h5py.File(path) as file:
        for name in ("photograph_1/data", "photograph_2/data"):
            for i in range(file[name].id.get_num_chunks()):
                chunk = file[name].id.get_chunk_info(i)
                free[chunk.byte_offset : chunk.byte_offset + chunk.size] = False
    return np.flatnonzero(free)


def test_a_list_never_shows_a_flipped_value(path, rng):
    """A list, which does not prove the whole file, shows what was written or refuses.

    It leaves out the digest of a photograph whose group is damaged, as it must not fail for that.
    """
    whole, true = path.read_bytes(), read_summary(path)
    places = beside_the_photographs(path)
    assert 10_000 < len(places) < len(whole) - 70_000
    refused = []
    for place in rng.choice(places, 200).tolist():
        data = bytearray(whole)
        data[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(data)
        try:
            found = read_summary(path)
            assert set(found.digests) <= set(true.digests), place
            assert dataclasses.replace(found, digests=true.digests) == true, place
        except BadInput as error:
            refused.append(str(error))
    assert refused
    assert all(path.name in line and "\n" not in line for line in refused)


@pytest.mark.parametrize("keep", [0, 1, 100, 127, 128, 129, 5000, -1, -128, -500])
def test_a_cut_file_is_found(path, keep):
    """A file that was cut short, by any length, is found by check and list, and named."""
    path.write_bytes(path.read_bytes()[:keep])
    assert path.name in (check_session(path) or "")
    for read in (read_summary, open_session):
        with pytest.raises(BadInput, match=re.escape(path.name)):
            read(path)


def test_bytes_added_are_found(path):
    """A file that something was appended to is found."""
    path.write_bytes(path.read_bytes() + b"x")
    assert path.name in (check_session(path) or "")


def test_a_forged_seal_does_not_hide_a_changed_value(path):
    """A value changed through HDF5, with a new seal, still contradicts the content's digest."""
    body = path.read_bytes()[:-SEAL_BYTES]
    path.write_bytes(body)
    with h5py.File(path, "r+") as file:
        file["power_fringes"][0] += 1.0
    body = path.read_bytes()
    path.write_bytes(body + seal(body))
    assert seal_problem(path) is None
    assert "content does not fit" in (check_session(path) or "")


def independent_digest(file: h5py.File) -> str:
    """The content's digest, written anew from the description alone."""
    left_out = {
        "content_sha256",
        "_NCProperties",
        "_Netcdf4Dimid",
        "_Netcdf4Coordinates",
        "CLASS",
        "NAME",
        "DIMENSION_LIST",
        "REFERENCE_LIST",
    }
    paths = []
    file.visit(paths.append)
    text = hashlib.sha256()
    for path in ["/", *sorted("/" + p for p in paths)]:
        item = file[path]
        name = item.attrs.get("NAME", b"")
        if name.startswith(b"This is a netCDF dimension but not a netCDF variable"):
            continue
        text.update(path.encode() + b"\n")
        for key in sorted(set(item.attrs) - left_out):
            value = item.attrs[key]
            if isinstance(value, str):
                value = value.encode()
            if isinstance(value, bytes):
                text.update(f"@{key} text {len(value)}\n".encode() + value)
            else:
                value = np.asarray(value)
                shape = "1" if value.size == 1 else ",".join(map(str, value.shape))
                text.update(f"@{key} {value.dtype.str} {shape}\n".encode() + value.tobytes())
        if isinstance(item, h5py.Dataset):
            shape = ",".join(map(str, item.shape))
            text.update(f"= {item.dtype.str} {shape}\n".encode() + item[()].tobytes())
    return text.hexdigest()


def test_the_description_of_the_digest_suffices(path):
    """A digest programmed from the description alone is the one in the file."""
    with h5py.File(path) as file:
        assert independent_digest(file) == file.attrs["content_sha256"].decode()


def test_content_survives_repacking(path, tmp_path):
    """Another program may pack the file anew; the content's digest stays the same."""
    other = tmp_path / "copy.h5"
    with h5py.File(path) as old, h5py.File(other, "w") as new:
        for name in old:
            old.copy(name, new)
        for name, value in old.attrs.items():  # texts become variable length, numbers big-endian
            if isinstance(value, bytes):
                value = value.decode()
            elif isinstance(value, np.ndarray):
                value = value.astype(value.dtype.newbyteorder(">"))
            new.attrs[name] = value
        true = old.attrs["content_sha256"].decode()
        assert content_digest(new) == true
        new["power_fringes"][0] = 0.0
        assert content_digest(new) != true


def test_a_sound_archive(surface, rng):
    """An archive that nobody touched has nothing to report."""
    log_visit(surface, full_visit(rng))
    log_visit(surface, plain_visit())
    change_surface(surface, note="n")
    found = check_archive(surface.folder.parent)
    assert (found.checked, found.problems, found.leftovers, found.unknown) == (4, (), (), ())


def test_a_missing_session_is_named(surface):
    """A session that later ones saw, and that is gone, is named."""
    first = log_visit(surface, plain_visit())
    log_visit(surface, plain_visit())
    assert check_surface(surface.folder).problems == ()
    first.unlink()
    (problem,) = check_surface(surface.folder).problems
    assert f"{first.stem} is missing" in problem


def test_a_damaged_session_is_not_called_missing(surface):
    """A damaged session is named once, as damaged."""
    first = log_visit(surface, plain_visit())
    log_visit(surface, plain_visit())
    first.write_bytes(first.read_bytes()[:-1])
    (problem,) = check_surface(surface.folder).problems
    assert first.name in problem
    assert "missing" not in problem


def test_renamed_and_foreign_files(surface):
    """A renamed session is a problem; leftovers and foreign files are listed apart."""
    first = log_visit(surface, plain_visit())
    renamed = first.rename(first.with_name("best.h5"))
    (surface.folder / ".0002.partial").write_bytes(b"half")
    (surface.folder / "notes.txt").write_text("hello")
    found = check_archive(surface.folder.parent)
    # the ledger has the old name, which the check of the renamed file tells already
    assert found.problems == (
        f"{renamed}: the file is named otherwise than its session, {first.stem}",
    )
    assert renamed in session_files(surface.folder)
    assert [p.name for p in found.leftovers] == [".0002.partial"]
    assert [p.name for p in found.unknown] == ["notes.txt"]


def test_damaged_and_missing_records(surface):
    """A record's damage, and a gap in its versions, are both named."""
    for note in ("b", "c"):
        change_surface(surface, note=note)
    (surface.folder / "surface-0002.json").unlink()
    path = surface.folder / "surface-0001.json"
    path.write_bytes(path.read_bytes().replace(b"3048.0", b"3047.0"))
    problems = check_surface(surface.folder).problems
    assert len(problems) == 2
    assert "surface-0001.json" in problems[0]
    assert "version 2" in problems[1]
