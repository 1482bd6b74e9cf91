"""The glass table against the page that it was taken from.

Source
------
READ   R. Greer, properties of mirror glasses, fpi-protostar.com/bgreer/properties.htm (1999/2003,
       companion to a magazine article; hobby grade). Density, Young's modulus, expansion,
       conductivity, specific heat.
RUN    diffusivity k / (rho c) [mm^2/s].
RUN    index of the crown at 546.07 nm, from the dispersion formula of refractiveindex.info.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

ROWS = {  # g/cm3, GPa, 1e-7/K, W/mK, kJ/kgK, mm2/s
    "borosilicate": (2.23, 65.5, 32.5, 1.13, 0.75, 0.676),
    "fused-silica": (2.2, 73, 5.5, 1.38, 0.74, 0.848),
    "plate-glass": (2.5, 73, 86, 0.75, 0.73, 0.411),
    "zero-expansion": (2.52, 90.2, -0.2, 1.63, 0.85, 0.761),
    "bk7": (2.51, 81.5, 71, 1.13, 0.85, 0.530),
}


@pytest.fixture(scope="module")
def table() -> dict[str, dict[str, float]]:
    """Return the shipped glass table."""
    return tomllib.loads((files("fringe.calibration") / "glasses.toml").read_text("utf-8"))


@pytest.mark.parametrize("name", ROWS)
def test_row_is_the_printed_one(table, name):
    """Each glass has the printed figures, in the table's units (published)."""
    density, youngs, expansion, conductivity, heat, _ = ROWS[name]
    glass = table[name]
    assert glass["density_kg_m3"] == pytest.approx(1000 * density)
    assert glass["youngs_gpa"] == youngs
    assert glass["expansion_per_k"] == pytest.approx(1e-7 * expansion)
    assert glass["conductivity_w_mk"] == conductivity
    assert glass["heat_j_kgk"] == pytest.approx(1000 * heat)


@pytest.mark.parametrize("name", ROWS)
def test_diffusivity_follows(table, name):
    """Conductivity over density and heat gives the diffusivity, to its digits (analytic)."""
    glass = table[name]
    diffusivity = glass["conductivity_w_mk"] / (glass["density_kg_m3"] * glass["heat_j_kgk"])
    assert diffusivity * 1e6 == pytest.approx(ROWS[name][5], abs=5e-4)


def test_each_value_lies_in_the_spread_of_its_readings(table):
    """Where several readings were found, the value used lies within them (published)."""
    spreads = 0
    for glass in table.values():
        for quantity, (low, high) in glass.get("spread", {}).items():
            assert low < high
            assert low <= glass[quantity] <= high
            spreads += 1
    assert spreads >= 10


def test_crown_index_is_that_of_the_dispersion_formula(table):
    """The crown's index at 546.07 nm is 1.518722 (analytic)."""
    assert table["bk7"]["index"] == pytest.approx(1.518722, abs=5e-7)
