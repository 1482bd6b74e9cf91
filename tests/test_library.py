"""The library as `fringe help python` shows it to those who program."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from commandline import blocks
from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.help import topic_text
from fringe.synth import Form, Scene, render, save
from sample_visits import full_surface, hours, power_reading

EXAMPLE = blocks(topic_text("python"), "python")[0]


def test_ten_lines() -> None:
    """The example has ten lines of code or less."""
    assert len([line for line in EXAMPLE.splitlines() if line.strip()]) <= 10


def test_the_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The example reads a photograph rightly, and gives its gap and the visits as xarray's."""
    monkeypatch.chdir(tmp_path)
    scene = Scene(500, 500, form=Form(power=3.5, tilt=1.0), diameter_mm=150.0, seed=7)
    save(render(scene), "contact.png")
    surface = full_surface(tmp_path / "shop")
    log_visit(surface, Visit(readings=(power_reading(5.0),)), now=hours(1))
    names: dict[str, object] = {}
    with contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(EXAMPLE, "python.md", "exec"), names)
    gap, visits = names["gap"], names["visits"]
    assert isinstance(gap, xr.DataArray)
    assert isinstance(visits, xr.Dataset)
    # half a wavelength for each of 3.5 fringes, and the tilt's on one side (analytic)
    assert float(gap.max()) == pytest.approx((3.5 + 1.0 + 0.07) * 589.2 / 2, rel=0.02)
    assert np.isnan(gap.values[0, 0])
    assert visits.power_fringes.values.tolist() == [5.0]
    assert "±" in said.getvalue()
