"""Photographs that arrive in a folder, by a clock that the tests turn."""

from __future__ import annotations

import os

import pytest

from fringe.errors import BadInput
from fringe.photo.arrivals import Arrivals


class Clock:
    """Seconds that pass only when they are told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += seconds


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def arrivals(tmp_path, clock):
    return Arrivals(tmp_path, settle_s=2.0, clock=clock)


def names(paths):
    return [path.name for path in paths]


def test_a_photograph_is_given_once_it_stands_still(tmp_path, arrivals, clock):
    """A file that grows is waited for; once it has stood still it is given, and only once."""
    path = tmp_path / "a.jpg"
    given = []
    for size in (100, 200, 300):
        path.write_bytes(b"x" * size)
        given += arrivals.ready()
        clock.wait(1.5)
    assert given == []
    assert arrivals.pending == 1
    assert names(arrivals.ready()) == []
    clock.wait(1.0)
    assert names(arrivals.ready()) == ["a.jpg"]
    clock.wait(100)
    assert arrivals.ready() == []
    assert arrivals.pending == 0


def test_an_empty_file_is_waited_for(tmp_path, arrivals, clock):
    """A file without a byte is never whole, however long it stands."""
    (tmp_path / "a.jpg").touch()
    for _ in range(5):
        assert arrivals.ready() == []
        clock.wait(60)


def test_what_is_there_at_the_start_is_old(tmp_path, clock):
    """Photographs of before the start are passed over, or taken when asked for."""
    (tmp_path / "old.png").write_bytes(b"x")
    new, both = (
        Arrivals(tmp_path, clock=clock),
        Arrivals(tmp_path, include_existing=True, clock=clock),
    )
    (tmp_path / "new.png").write_bytes(b"x")
    for one in (new, both):
        one.ready()
    clock.wait(5)
    assert names(new.ready()) == ["new.png"]
    assert sorted(names(both.ready())) == ["new.png", "old.png"]


def test_one_that_is_written_again_is_new(tmp_path, arrivals, clock):
    """A photograph that is replaced under its old name is given again."""
    path = tmp_path / "a.tif"
    given = []
    for size in (10, 20):
        path.write_bytes(b"x" * size)
        given += arrivals.ready()
        clock.wait(3)
        given += arrivals.ready()
    assert names(given) == ["a.tif", "a.tif"]


def test_only_photographs_count(tmp_path, arrivals, clock):
    """Other files, hidden and partial ones, and folders are not given; capitals do not matter."""
    for name in ("a.txt", ".b.jpg", "c.jpg.part", "d.JPG", "e.TiFF", "f"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "folder.jpg").mkdir()
    arrivals.ready()
    clock.wait(3)
    assert sorted(names(arrivals.ready())) == ["d.JPG", "e.TiFF"]


def test_the_oldest_comes_first(tmp_path, arrivals, clock, rng):
    """Photographs are given in the order in which they were written, not of their names."""
    order = [f"{letter}.jpg" for letter in rng.permutation(list("abcdef"))]
    for age, name in enumerate(order):
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (1e9 + age, 1e9 + age))
    arrivals.ready()
    clock.wait(3)
    assert names(arrivals.ready()) == order


def test_one_can_be_given_back(tmp_path, arrivals, clock):
    """A photograph that could not be opened yet comes again, with how long it has stood."""
    (tmp_path / "a.jpg").write_bytes(b"x")
    arrivals.ready()
    clock.wait(3)
    (path,) = arrivals.ready()
    assert arrivals.unchanged_s(path) == 3
    arrivals.return_again(path)
    assert arrivals.pending == 1
    assert arrivals.ready() == [path]


def test_a_folder_that_goes_is_waited_for(tmp_path, clock):
    """A card that is taken out gives nothing, and its photographs are new when it is back."""
    folder = tmp_path / "card"
    folder.mkdir()
    arrivals = Arrivals(folder, clock=clock)
    (folder / "a.jpg").write_bytes(b"x")
    arrivals.ready()
    folder.rename(tmp_path / "away")
    assert arrivals.ready() == []
    (tmp_path / "away").rename(folder)
    assert arrivals.ready() == []
    clock.wait(3)
    assert names(arrivals.ready()) == ["a.jpg"]


def test_no_folder(tmp_path):
    """A folder that is not there at the start is refused by its name."""
    with pytest.raises(BadInput, match="gone: there is no such folder"):
        Arrivals(tmp_path / "gone")
