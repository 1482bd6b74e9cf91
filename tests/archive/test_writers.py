"""Many writers at once, killed writers, full disks: every session is whole or not there."""

from __future__ import annotations

import errno
import os
import platform
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from fringe.archive.store import claim, write
from fringe.archive.store.order import list_sessions, survey
from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive
from fringe.errors import BadInput
from sample_visits import full_surface, full_visit, hours, plain_visit

# A process that has loaded everything starts writers, each time a line tells how many.
NURSERY = """
import os, sys
import numpy as np
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from fringe.archive.store.surface import load_surface
from fringe.archive.store.write import log_visit
from sample_visits import full_visit, plain_visit
surface = load_surface(Path(sys.argv[2]))
visits = [plain_visit(), full_visit(np.random.default_rng(int(sys.argv[3])))]
log_visit(surface, visits[1])
print("ready", flush=True)
for line in sys.stdin:
    writers, count, full = map(int, line.split())
    children = []
    for _ in range(writers):
        child = os.fork()
        if child == 0:
            while count:
                # one line is one write, so that lines of several writers stay apart
                os.write(1, log_visit(surface, visits[full]).name.encode() + b"\\n")
                count -= 1
            os._exit(0)
        children.append(child)
    os.write(1, f"pid {children[-1]}\\n".encode())
    for child in children:
        os.waitpid(child, 0)
    os.write(1, b"done\\n")
"""
TESTS = Path(__file__).parents[1]
KILLED = 12


@pytest.fixture
def surface(tmp_path):
    """A surface with every field of its record."""
    return full_surface(tmp_path / "shop")


class Nursery:
    """Starts writers and hears what they tell."""

    def __init__(self, surface, rng):
        words = [sys.executable, "-c", NURSERY, TESTS, surface.folder, str(rng.integers(1 << 30))]
        self.process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout.readline() == "ready\n"

    def start(self, writers, count, *, full):
        """Start writers that log a count of sessions each (-1: without end)."""
        self.process.stdin.write(f"{writers} {count} {int(full)}\n")
        self.process.stdin.flush()

    def lines(self):
        """Yield what is told until the writers are gone."""
        while (line := self.process.stdout.readline().strip()) != "done":
            assert line
            yield line


@pytest.fixture
def nursery(surface, rng):
    """A nursery of writers; it has logged one session itself."""
    made = Nursery(surface, rng)
    yield made
    made.process.kill()
    made.process.communicate()


@pytest.mark.parametrize(("writers", "count"), [(50, 1), (4, 6)])
def test_writers_at_the_same_time(surface, nursery, writers, count):
    """Fifty programs that log at once, or some that log in a row: every session is there once."""
    nursery.start(writers, count, full=False)
    told = [line for line in nursery.lines() if line.endswith(".h5")]
    sessions = list_sessions(surface.folder)
    assert len(set(told)) == writers * count
    assert set(told) == {session.place.name for session in sessions[1:]}
    # nobody was killed, so no number is left out either
    assert [session.sequence for session in sessions] == list(range(1, writers * count + 2))
    written = [session.written_number for session in sessions]
    assert written == [session.number for session in sessions] == list(range(1, len(sessions) + 1))
    found = check_archive(surface.folder.parent)
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())


def test_killed_writers(surface, nursery, rng):
    """Killed writers leave every session that they told of, all whole, and no other file.

    `tests/benchmarks/kill.py` kills a thousand.
    """
    told = []
    for _ in range(KILLED):
        nursery.start(1, -1, full=True)
        for line in nursery.lines():
            if line.startswith("pid "):
                time.sleep(float(rng.uniform(0, 0.2)))  # into the middle of some session
                os.kill(int(line.split()[1]), signal.SIGKILL)
            else:
                told.append(line)
    found = survey(surface.folder)
    assert found.problems == ()
    names = {session.place.name for session in found.sessions[1:]}
    assert set(told) <= names
    # a writer may be killed between publishing and telling: one more each at most
    assert len(names) <= len(told) + KILLED
    sequences = [session.sequence for session in found.sessions]
    assert len(set(sequences)) == len(sequences)
    # a visit that never was written takes no number
    written = [session.written_number for session in found.sessions]
    assert written == list(range(1, len(found.sessions) + 1))
    checked = check_archive(surface.folder.parent)
    assert (checked.problems, checked.unknown) == ((), ())
    assert all(path.name.startswith(".") for path in checked.leftovers)


def test_many_correct_and_log_at_once(surface, rng):
    """Whoever corrects, strikes or logs at once: numbers stay, none is shared, nothing is lost."""
    for i in range(4):
        log_visit(surface, plain_visit(f"first {i + 1}"), now=hours(i))
    children = []
    for k in range(16):
        child = os.fork()
        if child == 0:
            status = 1
            try:
                log_visit(surface, Visit(remarks=f"right {k}", replaces=str(k % 4 + 1)))
                log_visit(surface, plain_visit(f"new {k}"))
                status = 0
            finally:
                os._exit(status)
        children.append(child)
    ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    assert ends == [0] * 16
    found = survey(surface.folder)
    assert len(found.all_sessions) == 4 + 32
    assert [one.number for one in found.visits] == list(range(1, 21))
    for visit in found.visits[:4]:
        assert len(visit.sessions) == 5
        assert visit.sessions[0].remarks == f"first {visit.number}"
        assert visit.current.remarks.startswith("right ")
    for visit in found.visits[:4]:  # whoever did not know of another is settled by one more
        log_visit(surface, Visit(remarks="settled", replaces=str(visit.number)))
    assert check_archive(surface.folder.parent).problems == ()


@pytest.fixture
def limit():
    """Limit the size of files that this process may write, as a full disk would."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)

    def set_limit(size):
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))

    yield set_limit
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_without_the_systems_locks(surface, monkeypatch):
    """Where the file system has none, a file keeps others out; who was killed keeps nobody out."""
    monkeypatch.setattr(claim, "fcntl", None)
    lock = surface.folder / claim.LOCK_FILE
    with claim.held(surface.folder) as alone:
        assert alone
        with pytest.raises(BadInput, match=r"remove \.writing\.partial there"):
            log_visit_at_once(surface, monkeypatch)
        assert lock.exists()
    assert not lock.exists()
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    lock.write_text(f"{platform.node()} process {ended.pid}\n")
    assert log_visit(surface, plain_visit()).is_file()
    assert not lock.exists()
    lock.write_text("another-machine process 1\n")
    with pytest.raises(BadInput, match="which another-machine process 1 left"):
        log_visit_at_once(surface, monkeypatch)
    lock.unlink()
    assert [one.sequence for one in list_sessions(surface.folder)] == [1]


def log_visit_at_once(surface, monkeypatch):
    """Log a visit, without waiting for others."""
    patient = claim.held
    monkeypatch.setattr(write, "held", lambda folder: patient(folder, patience_s=0.0))
    try:
        log_visit(surface, plain_visit())
    finally:
        monkeypatch.setattr(write, "held", patient)


def test_a_lock_goes_with_its_folder(surface, monkeypatch):
    """A folder that is named otherwise meanwhile is free afterwards all the same."""

    def refused(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(claim.fcntl, "flock", refused)
    other = surface.folder.with_name("other")
    with claim.held(surface.folder) as alone:
        assert alone
        surface.folder.rename(other)
    assert not (other / claim.LOCK_FILE).exists()


@pytest.mark.parametrize("size", [0, 1000, 40_000])
def test_a_full_disk_leaves_nothing(surface, rng, limit, size):
    """A session that does not fit is refused in one line; the folder is as it was."""
    log_visit(surface, plain_visit(), now=hours(0))
    visit = full_visit(rng)
    before = {path: path.read_bytes() for path in surface.folder.iterdir()}
    limit(size)
    with pytest.raises(BadInput, match="cannot write: the file would pass the size limit"):
        log_visit(surface, visit)
    limit(resource.RLIM_INFINITY)
    assert {path: path.read_bytes() for path in surface.folder.iterdir()} == before
    log_visit(surface, visit)
    assert len(list_sessions(surface.folder)) == 2


@pytest.mark.parametrize("step", ["_session_draft", "_finished", "publish"])
def test_an_interrupted_writer_leaves_nothing(surface, monkeypatch, step):
    """Control-C in the middle of writing leaves no file."""
    before = sorted(surface.folder.iterdir())

    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"fringe.archive.store.write.{step}", interrupt)
    with pytest.raises(KeyboardInterrupt):
        log_visit(surface, plain_visit())
    assert sorted(surface.folder.iterdir()) == before


def test_a_folder_that_is_gone(surface):
    """Logging to a surface whose folder was removed is refused in one line."""

    shutil.rmtree(surface.folder)
    with pytest.raises(BadInput, match="cannot be read"):
        log_visit(surface, plain_visit())
    assert not surface.folder.exists()


def test_a_clock_that_goes_back(surface, rng):
    """Visits logged while the clock goes back, or stands, stay in order; none is written over."""
    times = [hours(h) for h in (5, 5, 3, -9000, 4, 5)]
    paths = [log_visit(surface, plain_visit(str(i)), now=t) for i, t in enumerate(times)]
    before = {path: path.read_bytes() for path in paths}
    assert len(before) == len(times)
    found = survey(surface.folder)
    assert [s.remarks for s in found.sessions] == [str(i) for i in range(len(times))]
    assert [s.sequence for s in found.sessions] == list(range(1, len(times) + 1))
    assert {path: path.read_bytes() for path in paths} == before
    assert check_archive(surface.folder.parent).problems == ()


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 300 kB."""
    place = tmp_path / "disk"
    place.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=300k", "none", str(place)]
    if shutil.which("mount") is None or subprocess.run(words, capture_output=True).returncode:
        pytest.skip("no disk can be made here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_fills_up(small_disk, rng):
    """On a disk that is full the visit is refused in one line, and all before it stay whole."""
    surface = full_surface(small_disk / "shop")
    logged = [log_visit(surface, full_visit(rng))]

    def fill_up():
        while True:
            logged.append(log_visit(surface, full_visit(rng)))

    with pytest.raises(BadInput, match="cannot write: the disk is full; nothing was kept"):
        fill_up()
    assert [s.place for s in list_sessions(surface.folder)] == logged
    found = check_archive(small_disk / "shop")
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())


# As an ordinary user, for the superuser may write everywhere.
READ_ONLY = """
import email.parser  # who is no longer the superuser may not load it from there
import os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from fringe.archive.store.index import list_archive
from fringe.archive.store.surface import add_surface, load_surface
from fringe.archive.store.write import log_visit
from fringe.errors import BadInput
from sample_visits import full_surface, plain_visit
surface = load_surface(Path(sys.argv[2]))
archive = surface.folder.parent
list_archive(archive, now_ns=1 << 62)
if os.getuid() == 0:
    os.setuid(65534)
for write in (lambda: log_visit(surface, plain_visit()), lambda: full_surface(archive, "other")):
    try:
        write()
    except BadInput as error:
        print(error)
print(len(list_archive(archive, now_ns=1 << 62).entries))
"""


def test_a_folder_that_is_read_only():
    """Where writing is not permitted a visit is refused in one line; lists are right as ever."""
    with tempfile.TemporaryDirectory() as place:
        archive = Path(place) / "shop"
        surface = full_surface(archive)
        log_visit(surface, plain_visit())
        before = sorted(archive.rglob("*"))
        for folder in (surface.folder, archive):
            folder.chmod(0o555)
        Path(place).chmod(0o755)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, TESTS, surface.folder],
            capture_output=True,
            text=True,
            check=True,
        )
        for folder in (surface.folder, archive):
            folder.chmod(0o755)
        logging, adding, count = done.stdout.splitlines()
        assert logging.endswith("cannot write: writing is not permitted; nothing was kept")
        assert "cannot write" in adding
        assert count == "1"
        kept = {path for path in archive.rglob("*") if ".index" not in path.parts}
        assert sorted(kept) == before
