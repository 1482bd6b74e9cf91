"""Readings and visits as labelled arrays."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fringe.archive.store.session import Visit
from fringe.archive.store.write import log_visit
from fringe.archive.views.datasets import reading_dataset, visits_dataset
from fringe.errors import BadInput
from fringe.judge.state.visits import Work
from fringe.optics.zernike import zernike
from sample_visits import (
    FRINGES_ALONE,
    full_reading,
    full_surface,
    hours,
    plain_visit,
    power_reading,
)


def test_a_reading_with_its_gap(rng):
    """The map is the sum of the reading's terms at its places, from its lowest (analytic)."""
    reading = full_reading(rng).reading
    found = reading_dataset(reading, diameter_mm=150.0)
    assert found.gap_nm.dims == ("y", "x")
    assert (found.x.units, found.gap_nm.units) == ("mm", "nm")
    assert float(found.x[0]) == -75.0
    inside = found.gap_nm.stack(place=("y", "x")).dropna("place")
    u, v = inside.x.values / 75, inside.y.values / 75
    fringes = sum(
        value * zernike(n, m, u, v)
        for (n, m), value in zip(reading.form.terms, reading.form.values, strict=True)
    )
    nm = (fringes - fringes.min()) * reading.wavelength_nm / 2
    np.testing.assert_allclose(inside.values, nm, atol=0.05 * np.ptp(nm) / 100)


def test_a_readings_numbers(rng):
    """Each number and text of `fringe read --json` is there, with a unit; nulls are left out.

    So are the steps of a burst, along its frames.
    """
    reading = full_reading(rng).reading
    found = reading_dataset(reading)
    for name, value in reading.to_json().items():
        if isinstance(value, str):
            assert found.attrs[name] == value
        elif isinstance(value, int | float):
            assert float(found[name]) == value
            assert found[name].units == (
                "mm"
                if name.endswith("_mm")
                else "nm"
                if name.endswith("_nm")
                else "pixel2"
                if name.endswith("_px2")
                else "1"
            )
    assert found.x.units == "1"
    assert found.steps_fringes.dims == ("frame",)
    assert tuple(found.steps_fringes.values) == reading.steps_fringes
    np.testing.assert_array_equal(found.coefficient_fringes, reading.form.values)
    np.testing.assert_array_equal(found.covariance_fringes2, reading.form.covariance)
    terms = zip(found.n.values, found.m.values, strict=True)
    assert [tuple(map(int, term)) for term in terms] == list(reading.form.terms)
    bare = dataclasses.replace(reading, radius_difference_mm=None, steps_fringes=None)
    assert not {"radius_difference_mm", "steps_fringes"} & set(reading_dataset(bare))


def test_a_reading_without_form(rng):
    """Rings alone make no gap map, and are refused."""
    reading = dataclasses.replace(full_reading(rng).reading, form=None)
    with pytest.raises(BadInput, match="no form"):
        reading_dataset(reading)


def test_visits(tmp_path):
    """Visits stand in their order with their powers; what was not measured is NaN or empty."""
    surface = full_surface(tmp_path / "shop", tolerance=FRINGES_ALONE)
    log_visit(surface, Visit(work=Work("#600", 20.0), readings=(power_reading(5.0),)), now=hours(1))
    log_visit(surface, plain_visit(), now=hours(2))
    log_visit(surface, Visit(readings=(power_reading(1.0),)), now=hours(3))
    found = visits_dataset(surface)
    assert found.visit.values.tolist() == [1, 2, 3]
    np.testing.assert_array_equal(found.power_fringes, [5.0, np.nan, 1.0])
    assert found.power_fringes.units == "1"
    assert found.verdict.values.tolist() == ["outside", "", "inside"]
    assert found.stage.values.tolist() == ["#600", "", ""]
    assert found.hours_total.values == pytest.approx(1 / 3)
    assert found.attrs == {"surface": "concave 1", "wavelength_nm": 589.29}
    steps = np.diff(found.when.values) / np.timedelta64(1, "h")
    assert steps.tolist() == [1.0, 1.0]


def test_a_damaged_visit(tmp_path):
    """A session that cannot be read is refused by its file, not left out silently."""
    surface = full_surface(tmp_path / "shop")
    path = log_visit(surface, plain_visit(), now=hours(1))
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(BadInput, match=path.stem):
        visits_dataset(surface)


def test_no_visits(tmp_path):
    """A surface without a visit gives an empty set; one in no archive is refused."""
    surface = full_surface(tmp_path / "shop")
    assert visits_dataset(surface).sizes == {"visit": 0}
    with pytest.raises(BadInput, match="add it first"):
        visits_dataset(dataclasses.replace(surface, folder=None))
