"""Many photographs at once: in order, each error with its file, on cores or on a cluster."""

from __future__ import annotations

import multiprocessing
import os
import socket
import sys
import time
from pathlib import Path

import pytest

import fringe
import stand_ins
from fringe.archive.views.photographs import read_photographs
from fringe.errors import BadInput, Refused
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.parallel import cores, in_order, read_many, run_many, shared_pool


@pytest.fixture
def photos(tmp_path):
    """Make files of these names."""

    def make(*names):
        for name in names:
            (tmp_path / name).write_bytes(name.encode())
        return [tmp_path / name for name in names]

    return make


def powers(readings):
    return [one if isinstance(one, Refused) else one.power_fringes for one in readings]


@pytest.mark.parametrize("workers", [1, 2])
def test_answers_come_in_order(photos, workers):
    """Readings stand in the order of the photographs, refused ones among them with their file."""
    paths = photos("3.0.jpg", "1.0.jpg", "blank.jpg", "2.0.jpg")
    found = powers(read_many(paths, stand_ins.by_name, workers=workers))
    assert found[:2] + found[3:] == [3.0, 1.0, 2.0]
    assert isinstance(found[2], Refused)
    assert str(found[2]) == "blank.jpg: no fringes to be seen"


@pytest.mark.parametrize("workers", [1, 2])
def test_the_first_that_is_no_photograph_is_named(photos, workers):
    """Of several files that are none, the first in their order is the one in the line."""
    paths = photos("1.0.jpg", "none-b.jpg", "none-a.jpg")
    with pytest.raises(BadInput, match=r"^none-b\.jpg: is not a picture$"):
        read_many(paths, stand_ins.by_name, workers=workers)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_fault_of_the_program_names_the_file(photos, workers):
    """What nobody foresaw is not swallowed, and says at which file it happened."""
    paths = photos("1.0.jpg", "bug.jpg")
    with pytest.raises(ZeroDivisionError) as caught:
        read_many(paths, stand_ins.by_name, workers=workers)
    assert caught.value.__notes__ == [f"while reading {paths[1]}"]


def test_two_are_read_at_once(photos):
    """Two workers are two processes that work at the same time: each waits for the other."""
    first, second = run_many(stand_ins.meet, photos("a.jpg", "b.jpg"), workers=2)
    assert first != second


def test_nobody_stands_idle():
    """Of many items each is done once, in order, and this process does its share of them."""
    found = run_many(stand_ins.slowly, list(range(60)), workers=2)
    assert [number for number, _ in found] == list(range(60))
    processes = [process for _, process in found]
    assert len(set(processes)) == 2
    assert processes.count(os.getpid()) >= 2


@pytest.mark.parametrize("workers", [1, 2])
def test_each_item_is_told(workers):
    """Whoever does an item, the caller is told how many are done, of how many."""
    told = []
    run_many(abs, [-1, -2, -3], workers=workers, tell=lambda *count: told.append(count))
    assert told == [(1, 3), (2, 3), (3, 3)]


@pytest.mark.parametrize("workers", [None, 1])
def test_results_as_they_come(workers):
    """Results come in the order of the items, in this process or by others."""
    assert list(in_order(abs, [-3, 2, -1, 0, 5], workers=workers)) == [3, 2, 1, 0, 5]
    assert list(in_order(abs, [-3], workers=workers)) == [3]
    assert list(in_order(abs, [], workers=workers)) == []


def test_calls_share_a_pool(monkeypatch):
    """The processes of one call do the next one's work, too, and end with the pool."""
    monkeypatch.setattr("fringe.parallel.cores", lambda: 2)
    with shared_pool() as pool:
        first, later = (
            {process for process, _ in in_order(stand_ins.threads, range(8), pool=pool)}
            for _ in range(2)
        )
        assert len(first | later) <= 2
        assert os.getpid() not in first | later
        with pytest.raises(ValueError, match="invalid literal"):
            list(in_order(int, ["1", "x"], pool=pool))
    assert multiprocessing.active_children() == []
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)
    with shared_pool() as pool:
        assert pool is None


def test_a_workers_error_is_the_callers():
    """What a worker raises arrives as it was raised, and no process is left behind."""
    with pytest.raises(ValueError, match="invalid literal"):
        list(in_order(int, ["1", "x"], workers=2))
    with pytest.raises(BadInput, match=r"killed.*--workers 1"):
        list(in_order(stand_ins.die, ["1.0.jpg", "2.0.jpg"], workers=2))
    assert multiprocessing.active_children() == []


def test_an_interrupt_ends_the_workers():
    """Who stops listening need not wait: the workers are ended with what they are doing."""
    results = in_order(time.sleep, [0, 600, 600], workers=2)
    assert next(results) is None
    start = time.monotonic()
    results.close()
    assert time.monotonic() - start < 60
    assert multiprocessing.active_children() == []


def test_one_pool():
    """No other file starts processes, but for the bench page's one reader that may hang."""
    package = Path(fringe.__file__).parent
    words = ("ProcessPool", "multiprocessing", "os.fork", "Popen")
    users = {
        str(path.relative_to(package))
        for path in sorted(package.rglob("*.py"))
        if any(word in path.read_text(encoding="utf-8") for word in words)
    }
    assert users == {"parallel.py", "bench/worker.py"}


def test_a_killed_worker_is_one_line(photos):
    """A worker that the system kills, as for want of memory, ends in one line with advice."""
    with pytest.raises(BadInput, match=r"killed.*--workers 1"):
        read_many(photos("1.0.jpg", "2.0.jpg"), stand_ins.die, workers=2)


def test_workers_do_not_crowd_each_other():
    """Each worker's numeric libraries keep to one thread, the workers being as many as cores."""
    found = dict(run_many(stand_ins.threads, [1, 2, 3], workers=2))
    others = [names for process, names in found.items() if process != os.getpid()]
    assert others == [["1", "1", "1"]]


def test_one_worker_stays_in_this_process():
    """One worker, or one photograph, needs no other process, so that anything can be called."""
    assert run_many(lambda _: os.getpid(), [1, 2], workers=1) == [os.getpid()] * 2
    assert run_many(lambda _: os.getpid(), [1]) == [os.getpid()]
    assert run_many(lambda _: os.getpid(), []) == []


def test_no_workers():
    """No workers cannot read anything."""
    with pytest.raises(BadInput, match="workers: 0"):
        run_many(stand_ins.threads, [1], workers=0)


def test_cores_are_those_of_this_process(monkeypatch):
    """As many workers are taken as this process may use cores, not as the machine has."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {3, 5, 7}, raising=False)
    assert cores() == 3


def test_a_visit_is_read_by_several(photos):
    """Photographs of a visit that are read side by side are logged as if one by one."""
    paths = photos("3.0.jpg", "blank.jpg", "1.0.jpg")
    (paths[0].parent / "again.jpg").write_bytes(paths[0].read_bytes())
    paths.append(paths[0].parent / "again.jpg")
    options = ReadOptions(lamp("sodium"))
    one, two = (
        read_photographs(
            paths, options, keep_refused=True, workers=workers, reader=stand_ins.of_kept
        )
        for workers in (1, 2)
    )
    assert [p.file_name for p in two[1]] == ["3.0.jpg", "blank.jpg", "1.0.jpg"]
    assert two[1] == one[1]
    assert [r.reading.power_fringes for r in two[0]] == [3.0, 1.0]
    assert [r.photographs for r in two[0]] == [(1,), (3,)]
    with pytest.raises(Refused, match=r"^blank\.jpg: no fringes"):
        read_photographs(paths, options, workers=2, reader=stand_ins.of_kept)


@pytest.fixture(scope="module")
def scheduler():
    """Address of a Dask scheduler with two workers on this machine."""
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    with (
        pytest.MonkeyPatch.context() as patch,
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster,
    ):
        patch.setattr("fringe.parallel._SECONDS", 300)  # it is there, however busy the machine
        yield cluster.scheduler_address


def test_a_cluster_answers_the_same(photos, scheduler):
    """A Dask cluster reads in the same order, with the same refusals and the same errors."""
    paths = photos("3.0.jpg", "blank.jpg", "1.0.jpg")
    found = powers(read_many(paths, stand_ins.by_name, scheduler=scheduler))
    assert [found[0], found[2]] == [3.0, 1.0]
    assert str(found[1]) == "blank.jpg: no fringes to be seen"
    with pytest.raises(BadInput, match=r"^none\.jpg: is not a picture$"):
        read_many(photos("none.jpg"), stand_ins.by_name, scheduler=scheduler)


def test_a_clusters_workers_work_at_once(photos, scheduler):
    """Two workers of a cluster read at the same time."""
    first, second = run_many(stand_ins.meet, photos("a.jpg", "b.jpg"), scheduler=scheduler)
    assert len({first, second, os.getpid()}) == 3


def test_a_clusters_dead_worker_is_one_line(photos, scheduler):
    """Workers of a cluster that are killed, again and again, end in one line with advice."""
    with pytest.raises(BadInput, match=r"worker processes were killed.*read fewer"):
        read_many(photos("1.0.jpg"), stand_ins.die, scheduler=scheduler)


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense://x", "tcp://", "\0"])
def test_no_cluster_there(monkeypatch, address):
    """An address where no scheduler answers is named in one line."""
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    monkeypatch.setattr("fringe.parallel._SECONDS", 1)
    with pytest.raises(BadInput, match="no Dask scheduler answers there") as caught:
        run_many(stand_ins.threads, [1], scheduler=address)
    assert str(caught.value).startswith(address)


def test_something_else_listens_there(monkeypatch):
    """What takes the call and never answers is no scheduler either; nor may it wait for ever."""
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    monkeypatch.setattr("fringe.parallel._SECONDS", 1)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        with pytest.raises(BadInput, match="no Dask scheduler answers there"):
            run_many(stand_ins.threads, [1], scheduler=address)


def test_dask_is_not_installed(monkeypatch):
    """Without the extra the line says how to get it."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInput, match=r"pip install 'fringe\[cluster\]'"):
        run_many(stand_ins.threads, [1], scheduler="tcp://127.0.0.1:9")
