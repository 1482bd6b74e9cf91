"""The library as `fringe help python` shows it to those who program."""

from __future__ import annotations

import ast
import contextlib
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from commandline import blocks
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Plate, add_surface
from fringe.archive.store.write import log_visit
from fringe.help import topic_text
from fringe.synth import Form, Scene, render, save
from sample_visits import START, full_surface, hours, power_reading

EXAMPLE = blocks(topic_text("python"), "python")[0]


def test_ten_statements() -> None:
    """The example has ten statements or less."""
    assert len(ast.parse(EXAMPLE).body) <= 10


def test_the_example_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The example reads and logs a photograph rightly, and gives gap and visits as xarray's."""
    monkeypatch.chdir(tmp_path)
    scene = Scene(500, 500, form=Form(power=3.5, tilt=1.0), diameter_mm=150.0, seed=7)
    save(render(scene), "contact.png")
    surface = full_surface(tmp_path / "shop")
    log_visit(surface, Visit(readings=(power_reading(5.0),)), now=hours(1))
    convex = replace(surface, name="convex 1", form="convex", plate=Plate("plate 8", 3048.6, 0.2))
    log_visit(
        add_surface(tmp_path / "shop", convex, now=START),
        Visit(readings=(power_reading(2.0),)),
        now=hours(1),
    )
    names: dict[str, object] = {}
    with contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(EXAMPLE, "python.md", "exec"), names)
    gap, visits = names["gap_nm"], names["visits"]
    assert isinstance(gap, xr.DataArray)
    assert isinstance(visits, xr.Dataset)
    # half a wavelength for each of 3.5 fringes, and the tilt's on one side (analytic)
    assert float(gap.max()) == pytest.approx((3.5 + 1.0 + 0.07) * 589.2 / 2, rel=0.02)
    assert np.isnan(gap.values[0, 0])
    assert visits.power_fringes.values == pytest.approx([5.0, 3.5], abs=0.1)
    assert re.match(r"3\.[45]\d* ± 0\.\d+ fringes\n2 ", said.getvalue())
