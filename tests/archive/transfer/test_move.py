"""Moving a surface between archives: every file as it was, or nothing moved at all."""

from __future__ import annotations

import dataclasses
import errno
import os

import numpy as np
import pytest

from fringe.archive.instruments import add_instrument, load_instrument
from fringe.archive.store.claim import held
from fringe.archive.store.index import list_archive
from fringe.archive.store.moves import interrupted_moves
from fringe.archive.store.read import open_session, session_files
from fringe.archive.store.surface import add_surface, change_surface, find_surface, list_surfaces
from fringe.archive.store.write import log_visit
from fringe.archive.transfer.check import check_archive, check_surface
from fringe.archive.transfer.move import move_surface
from fringe.errors import BadInput
from sample_visits import full_surface, full_visit, hours, plain_visit
from shared_files import copied_once


def shop_of_two(folder):
    """An archive `shop` of a surface with two records and two sessions."""
    surface = full_surface(folder / "shop")
    rng = np.random.default_rng(int(os.environ["FRINGE_TEST_SEED"]))
    log_visit(surface, full_visit(rng), now=hours(1))
    log_visit(surface, plain_visit(), now=hours(2))
    change_surface(surface, note="another")


@pytest.fixture
def surface(tmp_path, tmp_path_factory):
    """A surface with two records and two sessions."""
    copied_once(tmp_path_factory, tmp_path, shop_of_two)
    return find_surface(f"{tmp_path}/shop/concave 1")


def files(folder):
    """Name and bytes of every file that is part of the record."""
    return {p.name: p.read_bytes() for p in folder.iterdir() if not p.name.startswith(".")}


@pytest.fixture(params=["one disk", "another disk"])
def disk(request, monkeypatch, tmp_path):
    """Rename within one disk, or fail as between two."""
    if request.param == "another disk":
        real = os.rename

        def rename(old, new):
            archives = {
                os.fspath(path).removeprefix(os.fspath(tmp_path)).split(os.sep)[1]
                for path in (old, new)
            }
            if len(archives) > 1:
                raise OSError(errno.EXDEV, "Invalid cross-device link")
            real(old, new)

        monkeypatch.setattr("fringe.archive.transfer.move.os.rename", rename)
    return request.param


def test_everything_moves(surface, tmp_path, disk):
    """All files are at the new place as they were, sound, and nothing is left at the old one."""
    before, old = files(surface.folder), surface.folder
    moved = move_surface(surface, tmp_path / "other")
    assert files(moved.folder) == before
    assert moved.name == surface.name
    assert moved.folder.parent == tmp_path / "other"
    assert not old.exists()
    left = {p.name for p in old.parent.iterdir() if p.name != ".index"}
    assert left == {"README.txt", "ledger.jsonl"}
    found = check_surface(moved.folder)
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())
    assert find_surface(f"{tmp_path}/other/concave 1") == moved
    assert open_session(session_files(moved.folder)[0]).visit.readings


def test_visits_go_on_there(surface, tmp_path, disk):
    """The next visit is logged at the new place, under the next number."""
    moved = move_surface(surface, tmp_path / "other")
    path = log_visit(moved, plain_visit(), now=hours(3))
    assert path.name.startswith("0003_")


def test_its_instruments_come_along(surface, tmp_path):
    """Records of plate and lamp are copied, and those that are there stay as they are."""
    shop, other = tmp_path / "shop", tmp_path / "other"
    add_instrument(shop, "plate", "plate 7", {"form": "convex", "radius_mm": 3048.6})
    line = {"lines": [{"wavelength_nm": 589.0, "weight": 1.0}], "source": "label"}
    add_instrument(shop, "lamp", "sodium", line)
    add_instrument(other, "lamp", "sodium", line | {"source": "another"})
    move_surface(surface, other)
    assert load_instrument(other, "plate", "plate 7").values["radius_mm"] == 3048.6
    assert load_instrument(other, "lamp", "sodium").values["source"] == "another"
    assert load_instrument(shop, "plate", "plate 7")


def test_refused_moves(surface, tmp_path):
    """To where it is, over another of its name, and into a surface: refused, and it stays."""
    before = files(surface.folder)
    with pytest.raises(BadInput, match="in this archive already"):
        move_surface(surface, tmp_path / "shop")
    full_surface(tmp_path / "other")
    with pytest.raises(BadInput, match="already; use another name"):
        move_surface(surface, tmp_path / "other")
    with pytest.raises(BadInput, match="is a surface, not an archive"):
        move_surface(surface, list_surfaces(tmp_path / "other")[0])
    assert files(surface.folder) == before


@pytest.mark.parametrize("fault", ["copy", "place"])
def test_a_move_that_fails_moves_nothing(surface, tmp_path, monkeypatch, fault):
    """A full disk, or another program that takes the name meanwhile: all is where it was."""
    before = files(surface.folder)
    real = os.rename

    def rename(old, new):
        if os.sep + "shop" + os.sep in os.fspath(old) and os.sep + "other" in os.fspath(new):
            raise OSError(errno.EXDEV, "Invalid cross-device link")
        real(old, new)

    def full(source, target):
        raise OSError(errno.ENOSPC, "No space left on device")

    def taken(archive, draft, name):
        raise BadInput("somebody was faster")

    if fault == "copy":
        monkeypatch.setattr("fringe.archive.transfer.move.os.rename", rename)
        monkeypatch.setattr("fringe.archive.transfer.move.copy_whole", full)
    else:
        monkeypatch.setattr("fringe.archive.transfer.move.place_folder", taken)
    with pytest.raises(BadInput, match=r"No space left|somebody was faster"):
        move_surface(surface, tmp_path / "other")
    assert files(surface.folder) == before
    assert [p.name for p in (tmp_path / "other").iterdir()] == ["README.txt"]


def killed_move(surface, tmp_path, monkeypatch, step):
    """Move a surface in a process that dies at a step; return the archive that it lies in."""
    child = os.fork()
    if child == 0:
        monkeypatch.setattr(f"fringe.archive.transfer.move.{step}", lambda *_: os._exit(9))
        move_surface(surface, tmp_path / "other")
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
    return tmp_path / ("shop" if step == "_bring" else "other")


MEET = {
    "find": lambda archive: find_surface(f"{archive}/concave 1"),
    "list": lambda archive: list_archive(archive),
    "check": lambda archive: check_archive(archive),
}


@pytest.mark.parametrize("step", ["_bring", "place_folder"])
@pytest.mark.parametrize("meet", list(MEET))
def test_a_killed_move_is_finished_or_undone(surface, tmp_path, monkeypatch, step, meet):
    """Killed before the folder crossed it is where it was, afterwards where it should be."""
    before, name = files(surface.folder), surface.folder.name
    archive = killed_move(surface, tmp_path, monkeypatch, step)
    assert not (archive / name).exists()
    MEET[meet](archive)
    assert files(archive / name) == before
    found = check_archive(archive)
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())


@pytest.mark.parametrize("step", ["_bring", "place_folder", "_copy_instruments"])
def test_a_killed_move_leaves_no_problem(surface, tmp_path, monkeypatch, step):
    """Killed at any step, neither archive has anything to say once somebody met the surface."""
    killed_move(surface, tmp_path, monkeypatch, step)
    for archive in ("shop", "other"):
        assert check_archive(tmp_path / archive).problems == ()
    (place,) = [p for p in (tmp_path / "shop", tmp_path / "other") if list_surfaces(p)]
    log_visit(find_surface(f"{place}/concave 1"), plain_visit(), now=hours(3))
    for archive in ("shop", "other"):
        assert check_archive(tmp_path / archive).problems == ()


def test_a_move_under_way_is_left_alone(surface, tmp_path, monkeypatch):
    """While somebody holds the hidden folder nobody else names it; the check says so."""
    archive = killed_move(surface, tmp_path, monkeypatch, "_bring")
    (hidden,) = interrupted_moves(archive)
    with held(hidden):
        (problem,) = check_archive(archive).problems
        assert "a move to another archive was interrupted, or is under way" in problem
        with pytest.raises(BadInput, match="a move was interrupted, `fringe check"):
            find_surface(f"{archive}/concave 1")
        assert hidden.is_dir()
    assert find_surface(f"{archive}/concave 1").folder.is_dir()


@pytest.mark.parametrize("name", ["x.moving", "surface-0001.json", "README.txt", "a.partial"])
def test_no_name_spoils_an_archive(surface, tmp_path, name):
    """A surface may be called like a file of the archive; all others are as they were."""
    made = add_surface(tmp_path / "shop", dataclasses.replace(surface, name=name))
    log_visit(made, plain_visit(), now=hours(1))
    assert len(list_surfaces(tmp_path / "shop")) == 2
    assert find_surface(f"{tmp_path}/shop/{name}").folder == made.folder
    assert find_surface(f"{tmp_path}/shop/concave 1").folder == surface.folder
    found = check_archive(tmp_path / "shop")
    assert (found.problems, found.leftovers, found.unknown) == ((), (), ())
    assert move_surface(made, tmp_path / "other").name == name


@pytest.mark.parametrize("name", ["x.moving", "surface-0001.json"])
def test_folders_that_earlier_versions_named_so(surface, tmp_path, name):
    """A surface whose folder bears such a name is a surface like any other."""
    place = tmp_path / "shop" / name
    made = add_surface(tmp_path / "shop", dataclasses.replace(surface, name=name))
    os.rename(made.folder, place)
    assert check_archive(tmp_path / "shop").problems == ()
    assert find_surface(f"{tmp_path}/shop/{name}").folder == place
    assert list_surfaces(tmp_path / "shop") == sorted([place, surface.folder])
    assert place.is_dir()


def test_what_others_put_there_is_not_lost(surface, tmp_path, disk):
    """A folder among a surface's files moves along, or the move is refused for it."""
    (surface.folder / "notes").mkdir()
    (surface.folder / "notes" / "a.txt").write_text("hello")
    place = surface.folder
    if disk == "one disk":
        place = move_surface(surface, tmp_path / "other").folder
    else:
        with pytest.raises(BadInput, match="notes in the surface's folder is not a file; take it"):
            move_surface(surface, tmp_path / "other")
    assert (place / "notes" / "a.txt").read_text() == "hello"


def test_odd_names(tmp_path):
    """A name that no folder takes as it is moves as well."""
    from fringe.archive.store.surface import Surface

    surface = add_surface(tmp_path / "shop", Surface("λ/4: größer..", "convex", 100.0, 20.0))
    moved = move_surface(surface, tmp_path / "other")
    assert find_surface(f"{tmp_path}/other/λ/4: größer..").folder == moved.folder
