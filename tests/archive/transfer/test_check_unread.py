"""A check vouches for nothing that it did not read, and for nothing that cannot be."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from multiprocessing import active_children
from pathlib import Path

import numpy as np
import pytest
from forging import rewritten

from fringe.archive.instruments import add_instrument
from fringe.archive.store.kept_summaries import state_of
from fringe.archive.store.order import survey
from fringe.archive.store.read import session_files
from fringe.archive.store.surface import find_surface, load_surface
from fringe.archive.store.write import log_visit
from fringe.archive.transfer import check
from fringe.archive.transfer.check import check_archive, check_session, check_surface
from fringe.archive.transfer.proved import Proved, proved_before
from fringe.archive.views.surface_list import surface_list
from fringe.archive.views.surface_state import surface_state
from fringe.parallel import WorkerKilled, in_order, shared_pool
from sample_visits import full_surface, full_visit, hours, plain_visit
from shared_files import copied_once

# As an ordinary user, for the superuser may read everything.
LOOK = """
import os, sys
from pathlib import Path
from fringe.archive.store.index import list_archive
from fringe.archive.transfer.check import check_archive
archive = Path(sys.argv[1])
check_archive(archive)  # loads all that an ordinary user may not be able to load
if os.getuid() == 0:
    os.setuid(65534)
for line in check_archive(archive).problems:
    print("check", line)
for entry in list_archive(archive).entries:
    for line in entry.problems:
        print("list", line)
"""


@pytest.fixture
def archive():
    """An archive of two surfaces that any user may read."""
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        archive = Path(place) / "shop"
        for name in ("one", "two"):
            made = full_surface(archive, name)
            log_visit(made, plain_visit(), now=hours(1))
        add_instrument(archive, "plate", "P", {"form": "convex", "radius_mm": 100.0})
        yield archive
        for one in archive.rglob("*"):
            one.chmod(0o755)


def looked(archive):
    """What an ordinary user is told by check and list."""
    done = subprocess.run(
        [sys.executable, "-c", LOOK, archive], capture_output=True, text=True, check=True
    )
    lines = [line.partition(" ") for line in done.stdout.splitlines()]
    return {kind: [rest for k, _, rest in lines if k == kind] for kind in ("check", "list")}


@pytest.mark.parametrize("mode", [0o000, 0o111, 0o444])
def test_a_folder_without_rights(archive, mode):
    """A surface's folder that may not be read or entered is a problem of check and list alike."""
    (archive / "one").chmod(mode)
    told = looked(archive)
    assert len(told["check"]) == 1
    assert told["check"][0].startswith(f"{archive / 'one'}: cannot be read: Permission denied")
    assert any(str(archive / "one") in line for line in told["list"])


@pytest.mark.parametrize("mode", [0o000, 0o111])
def test_instruments_without_rights(archive, mode):
    """A folder of instruments that may not be read is named as such."""
    (archive / "instruments").chmod(mode)
    told = looked(archive)["check"]
    assert told
    assert all("cannot be read: Permission denied" in line for line in told)


@pytest.mark.parametrize("pattern", ["*.h5", "surface-*.json"])
def test_a_file_without_rights(archive, pattern):
    """A session or record that may not be read is not called damaged."""
    (path,) = (archive / "one").glob(pattern)
    path.chmod(0)
    told = looked(archive)
    for lines in (told["check"], told["list"]):
        assert any(f"{path}: cannot be read: Permission denied" in line for line in lines)
        assert not any("cut short" in line or "damaged" in line for line in lines)


def four_surfaces(folder):
    """An archive `shop` of four surfaces with a visit each."""
    archive = folder / "shop"
    for name in "abcd":
        log_visit(full_surface(archive, name), plain_visit(), now=hours(1))


@pytest.fixture
def shop(tmp_path, tmp_path_factory):
    """Four surfaces with a visit each, that of the last one damaged."""
    copied_once(tmp_path_factory, tmp_path, four_surfaces)
    archive = tmp_path / "shop"
    (path,) = session_files(archive / "d")
    path.write_bytes(path.read_bytes()[:-200])
    return archive


@pytest.mark.parametrize("when", [0, 1])
def test_a_core_that_dies_is_replaced(shop, monkeypatch, when):
    """Where a process of the check is killed, what is left is checked all the same."""
    here = check_archive(shop)
    assert len(here.problems) >= 1

    def told(done, total):
        if done >= when and (children := active_children()):
            monkeypatch.undo()
            for child in children:
                child.kill()

    monkeypatch.setattr(check, "_MANY", 2)
    monkeypatch.setattr(check, "in_order_of", first_kills(told) if when == 0 else in_order)
    found = check_archive(shop, tell=told)
    assert (found.checked, found.problems) == (here.checked, here.problems)


def first_kills(told):
    """A pool that is killed before its first answer."""

    def run(function, jobs):
        with shared_pool() as pool:
            pool.submit(abs, 1).result()  # its processes are there
            told(0, 0)
            yield from in_order(function, jobs, pool=pool)

    return run


def test_a_surface_that_kills_is_named(shop, monkeypatch):
    """A surface of which the process dies each time is a problem; the others are checked."""

    def dies(function, jobs):
        raise WorkerKilled("killed")
        yield

    def apart(function, jobs):
        return [None if job.folder.name == "b" else function(job) for job in jobs]

    here = check_archive(shop)
    monkeypatch.setattr(check, "_MANY", 2)
    monkeypatch.setattr(check, "in_order_of", dies)
    monkeypatch.setattr(check, "run_apart", apart)
    found = check_archive(shop)
    more = [line for line in found.problems if line not in here.problems]
    assert more[0].startswith(f"{shop / 'b'}: nothing in it was checked: the process that did")
    assert {*here.problems} <= {*found.problems}


@pytest.mark.parametrize("known", [False, True])
def test_a_file_that_goes_meanwhile(shop, known):
    """A file that is removed while its surface is checked is named, proven before or not."""
    surface = load_surface(shop / "a")
    log_visit(surface, plain_visit(), now=hours(2))
    second = session_files(surface.folder)[1]
    before = Proved(files={p.name: (state_of(p.lstat()), "0" * 64) for p in (second,)})

    def gone():
        second.unlink(missing_ok=True)

    found = check_surface(surface.folder, before if known else None, gone)
    assert any(str(second.stem) in line for line in found.problems)


def test_a_file_that_changes_meanwhile(shop):
    """What is written over while it is checked is not what was proven."""
    surface = load_surface(shop / "a")
    (path,) = session_files(surface.folder)
    whole = path.read_bytes()
    later = time.time_ns() - 10_000_000_000
    os.utime(path, ns=(later, later))
    found = check_surface(surface.folder)
    assert found.problems == ()
    path.write_bytes(whole[:-300] + bytes(300))
    os.utime(path, ns=(later, later))
    proved = proved_before(surface.folder)
    assert proved.digest_of(path) is None  # the time of its change cannot be set back
    assert check_surface(surface.folder, proved).problems


def shop_of_two(folder):
    """An archive `shop` of a surface with two visits that hold one of everything."""
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    made = full_surface(folder / "shop")
    log_visit(made, full_visit(rng), now=hours(1))
    log_visit(made, full_visit(rng), now=hours(2))


@pytest.fixture
def surface(tmp_path, tmp_path_factory):
    """A surface with one sound visit before the one that is made wrong."""
    copied_once(tmp_path_factory, tmp_path, shop_of_two)
    return find_surface(f"{tmp_path}/shop/concave 1")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("power_fringes", np.inf),
        ("power_u95_fringes", -0.5),
        ("power_fringes", 1e308),
        ("wavelength_nm", -589.0),
        ("radius_difference_mm", -np.inf),
    ],
)
def test_a_visit_of_nonsense_blocks_nothing(surface, name, value):
    """A visit with values that cannot be is named by its file and passed over; others stand."""
    path = session_files(surface.folder)[1]

    def change(file):
        file[name][0] = value

    rewritten(path, change)
    found = survey(surface.folder)
    assert [one.number for one in found.sessions] == [1]
    (problem,) = found.problems
    assert problem.startswith(f"{path}: ")
    assert name in problem
    assert len(surface_state(surface, alone=True).rows) == 1
    assert surface_list(surface.folder.parent, steps=True).problems == (problem,)
    # besides being nonsense it is not what was logged, which the ledger alone can tell
    changed = f"{path}: this file is not the one that is in the ledger"
    assert check_archive(surface.folder.parent).problems == (problem, changed)


def test_memory_is_bounded_whatever_a_file_claims(surface):
    """A file of a megabyte that unpacks to two gigabytes is refused before it is unpacked."""
    path = session_files(surface.folder)[0]

    def change(file):
        options = {"compression": "gzip", "chunks": (1 << 20,)}
        for i in range(4):
            group = file.create_group(f"reading_{50 + i}")
            group.create_dataset("gap", (1 << 26,), "u1", **options)

    rewritten(path, change)
    for claimed in (check_session(path), None):
        if claimed is not None:
            assert "larger than any session's, unpacked" in claimed


def test_a_photograph_is_proven_in_parts(surface):
    """A photograph much larger than what is read at once keeps the check's memory small."""
    from fringe.archive.store.session import Photograph, Visit

    data = np.random.default_rng(1).bytes(1 << 20) * 60
    path = log_visit(surface, Visit(photographs=(Photograph("a.tif", data),)), now=hours(3))
    del data
    code = (
        "import resource, sys; from pathlib import Path\n"
        "from fringe.archive.transfer.check import check_session\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "assert check_session(Path(sys.argv[1])) is None\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, path], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) < 45_000  # kB; the photograph alone is 61 440
