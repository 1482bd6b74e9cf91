"""The folder that the example leaves: what it replaces, and what it never touches."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from calling import refused
from example_readings import true_reading
from example_run import everything
from fringe.demo import Demo, run_demo
from fringe.demo.folder import MARKER, built, check_target
from fringe.errors import BadInput, Refused


def test_a_strange_folder_is_never_touched(
    true_readings: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that the example did not make is refused in one line and stays as it was."""
    other = tmp_path / "other"
    other.mkdir()
    (other / "notes.txt").write_text("mine", encoding="utf-8")
    line = refused(capsys, "demo", "--out", other)
    assert "--out" in line
    assert everything(tmp_path) == {"other/notes.txt": b"mine"}


def test_a_file_of_ones_own_in_it_is_never_touched(
    demo: Demo, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a file was added to an earlier run's folder, that is refused and stays whole."""
    (demo.folder / "shop" / "notes.txt").write_text("mine", encoding="utf-8")
    before = everything(demo.folder)
    assert "shop/notes.txt" in refused(capsys, "demo", "--out", demo.folder)
    assert everything(demo.folder) == before


def test_a_file_that_was_changed_is_never_touched(
    demo: Demo, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a file of an earlier run was edited, the folder is refused and stays whole."""
    with demo.guide.open("a", encoding="utf-8") as guide:
        guide.write("my remark\n")
    before = everything(demo.folder)
    assert "START-HERE.txt was changed" in refused(capsys, "demo", "--out", demo.folder)
    assert everything(demo.folder) == before


@pytest.mark.parametrize("content", ["", "[]", '{"sha256": 3}', "{"])
def test_a_damaged_marker_is_none(demo: Demo, content: str) -> None:
    """Without a sound marker, a folder is a strange one."""
    (demo.folder / MARKER).write_text(content, encoding="utf-8")
    with pytest.raises(BadInput, match="did not make it"):
        run_demo(demo.folder)


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    """A folder that holds nothing may be used."""
    (tmp_path / "empty").mkdir()
    check_target(tmp_path / "empty")
    with built(tmp_path / "empty") as work:
        (work / "one.txt").write_text("one", encoding="utf-8")
    assert sorted(everything(tmp_path)) == [f"empty/{MARKER}", "empty/one.txt"]


def _file(at: Path) -> None:
    at.write_text("mine", encoding="utf-8")


def _link(at: Path) -> None:
    (at.parent / "elsewhere").mkdir()
    at.symlink_to(at.parent / "elsewhere")


@pytest.mark.parametrize("put", [_file, _link])
def test_what_is_no_folder_is_never_touched(
    put: Callable[[Path], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file or a link in the place of the folder is refused and stays."""
    put(tmp_path / "demo")
    before = sorted(tmp_path.rglob("*"))
    assert "is not a folder" in refused(capsys, "demo", "--out", tmp_path / "demo")
    assert sorted(tmp_path.rglob("*")) == before


def test_a_folder_that_one_stands_in_is_not_replaced(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The folder is not pulled from under somebody's feet."""
    monkeypatch.chdir(demo.folder / "shop")
    assert "you are in that folder" in refused(capsys, "demo", "--out", "..")


def test_a_missing_folder_above_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the folder above is missing, one line says so, and nothing is made."""
    assert "there is no folder" in refused(capsys, "demo", "--out", tmp_path / "no" / "demo")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("fault", [Refused("no fringes"), KeyboardInterrupt(), OSError(28, "full")])
def test_a_run_that_fails_leaves_the_earlier_one(
    demo: Demo, fault: BaseException, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A refusal, an interrupt or a full disk: what was there stays, and no scraps beside it."""
    before = everything(demo.folder)

    def fail(function: Any, tasks: Any, pool: Any) -> Any:
        yield true_reading(tasks[0].path), b"a picture"
        raise fault

    monkeypatch.setattr("fringe.demo.run.in_order", fail)
    with pytest.raises((Refused, KeyboardInterrupt, BadInput)):
        run_demo(demo.folder)
    assert everything(demo.folder) == before
    assert os.listdir() == ["demo"]


def test_a_folder_is_in_place_only_when_it_is_whole(tmp_path: Path) -> None:
    """While the folder is being built, nothing of it can be seen in its place."""
    out = tmp_path / "demo"
    with built(out) as work:
        (work / "half.txt").write_text("half", encoding="utf-8")
        assert not out.exists()
    assert sorted(everything(out)) == [MARKER, "half.txt"]
