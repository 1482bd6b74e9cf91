"""`fringe log` of one surface in a shop, with a stand-in for the reading of photographs."""

from __future__ import annotations

from pathlib import Path

import pytest

from fringe.cli import main
from fringe.errors import Refused
from sample_visits import FRINGES_ALONE, full_surface, power_reading


@pytest.fixture(scope="module", autouse=True)
def _known_fits(known_fits: None) -> None:
    """What is tried here is what becomes of a reading."""


@pytest.fixture(autouse=True)
def _one_core(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in this process: others take longer to start than to read the few photographs here.

    Nor could a stand-in of a test be sent to them; tests/test_parallel.py tries several.
    """
    monkeypatch.setattr("fringe.parallel.cores", lambda: 1)


@pytest.fixture
def surface(tmp_path, monkeypatch):
    """A surface in an archive `shop` of the working folder."""
    monkeypatch.chdir(tmp_path)
    return full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)


@pytest.fixture
def photos(tmp_path, monkeypatch, surface, rng):
    """Photographs whose name says their power, m for minus; `blank...` is refused."""

    def stand_in(photographs, options):
        stand_in.options = options
        path = Path(photographs[0].file_name)
        if path.name.startswith("blank"):
            raise Refused(f"{path.name}: no fringes to be seen; focus on the work")
        power = float(path.stem.replace("m", "-"))
        sense = "edge" if power < 0 else "centre"
        return power_reading(power, 0.1, sense).reading

    monkeypatch.setattr("fringe.archive.views.photographs.read_kept", stand_in)

    def make(*names):
        for name in names:
            (tmp_path / name).write_bytes(rng.bytes(500))
        return names

    make.reader = stand_in
    return make


@pytest.fixture
def run(capsys, surface):
    """Run `fringe log` for the surface; return status, standard output and standard error."""

    def call(*words):
        with pytest.raises(SystemExit) as stop:
            main(["log", "shop/concave 1", *words])
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    call.printed = lambda: capsys.readouterr().out
    return call
