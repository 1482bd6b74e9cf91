"""Visits are named by the coefficients that they keep: old ones, and by way of the index."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from formed import TERMS, fitted, places, turned, zone

from fringe.archive.store.index import list_archive
from fringe.archive.store.read import open_session, read_summary, session_files
from fringe.archive.store.session import Visit
from fringe.archive.store.surface import Surface, add_surface
from fringe.archive.store.write import log_visit
from fringe.archive.views.datasets import visits_dataset
from fringe.archive.views.surface_state import surface_state
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import sphere_form
from fringe.orders.reading import FormFit
from sample_visits import hours, power_reading

WAVE = 589.29
RHO, _ = places()


@pytest.fixture
def log(tmp_path: Path, rng: np.random.Generator):
    """Log a reading of a gap on a surface, and give the surface."""

    def logged(gap, *, used=0.97, options=None, sense="centre"):
        tolerance = Tolerance(1.0, 0.2, wavelength_nm=WAVE)
        surface = add_surface(
            tmp_path / "shop", Surface("slate", "concave", 60.0, 100.0, tolerance=tolerance)
        )
        values, covariance = fitted(gap, 0.01, rng)
        made = power_reading(0.3, 0.02, sense, WAVE)
        reading = dataclasses.replace(
            made.reading,
            form=FormFit(TERMS, values, covariance),
            irregularity_fringes=0.5,
            irregularity_u95_fringes=0.03,
            quality=dataclasses.replace(made.reading.quality, used_fraction=used),
        )
        one = dataclasses.replace(made, reading=reading, gap=None, options=options or {})
        log_visit(surface, Visit(readings=(one,)), now=hours(0))
        return surface

    return logged


def test_a_visits_form_is_named_from_its_file(log) -> None:
    """A raised zone and a turned edge come back from the file, in the row, its JSON and advice."""
    work = zone(RHO, 0.3, 0.5, 0.08) + turned(RHO, -0.4, 0.85, 2.0)
    surface = log(0.3 * RHO**2 - work)
    state = surface_state(surface)
    (row,) = state.rows
    assert [one.name for one in row.form] == ["edge turned down", "raised zone"]
    assert [one["name"] for one in row.to_json()["form"]] == ["edge turned down", "raised zone"]
    assert row.form[0].height_fringes == pytest.approx(-0.4, abs=0.06)
    assert "edge turned down" in state.next_step.reason
    (path,) = session_files(surface.folder)
    (logged,) = open_session(path).visit.readings
    assert logged.reading.features == read_summary(path).measured[0].features
    assert visits_dataset(surface).sizes["visit"] == 1


def test_the_index_keeps_what_was_named(log, tmp_path: Path) -> None:
    """By way of the index a visit's features are the same, to the last digit."""
    surface = log(0.3 * RHO**2 - zone(RHO, 0.3, 0.5, 0.08))
    later = 10**19
    for _ in range(2):
        listing = list_archive(tmp_path / "shop", now_ns=later)
    assert listing.read == 0
    (path,) = session_files(surface.folder)
    (measured,) = listing.entries[0].visits[0].measured
    assert measured.features == read_summary(path).measured[0].features
    assert [one.name for one in measured.features] == ["raised zone"]


def test_what_was_hardly_followed_is_not_named(log) -> None:
    """Where a fifth of the picture was left out, its form may be misread: no name."""
    surface = log(0.3 * RHO**2 - zone(RHO, 0.3, 0.5, 0.08), used=0.8)
    assert surface_state(surface).rows[0].form == ()


def test_a_steep_plates_sphere_is_taken_out(log) -> None:
    """On a steep plate power alone is no zone, by the radius that the reading was made with."""
    steep = {"plate_radius_mm": 60.0, "diameter_mm": 100.0}
    ball = 8.0 * sphere_form(RHO, 0 * RHO, 60.0, 100.0)
    assert surface_state(log(ball, options=steep)).rows[0].form == ()
