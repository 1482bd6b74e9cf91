"""The example: run whole once for all tests, and a copy of what that left for each."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from example_readings import without_reader
from example_run import Once, run_once
from fringe.demo import Demo
from known_fits import kept_fits
from shared_files import made_once


@pytest.fixture
def true_readings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the readings from the truth, draw no overlay and write empty pages for reports."""
    monkeypatch.setattr("fringe.demo.run.in_order", without_reader)
    monkeypatch.setattr(
        "fringe.demo.reports.in_order",
        lambda function, pages, pool: ["<!DOCTYPE html>"] * len(pages),
    )


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory) -> Once:
    """The example run whole, once for all tests that look at what that left."""
    with kept_fits(tmp_path_factory):
        found = made_once(tmp_path_factory, "demo", run_once)
    assert isinstance(found, Once)
    return found


@pytest.fixture
def demo(once: Once, true_readings: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Demo:
    """The example, run in a folder with a space in its name: a copy of its own for each test."""
    folder = shutil.copytree(once.folder, tmp_path / "a bench")
    monkeypatch.chdir(folder)
    return once.demo
