"""Bending of a disc by an axial temperature difference, and a slab's time constant.

Sources
-------
Derivation sag = alpha dT D^2 / (8 t). READ only that the ratio alpha/k is called the thermal
       distortion index (Opto-Mechanical Systems Design vol. 1, 4th ed., beside equation 3.17,
       which was blank in the excerpt).
RUN    the figures, D = 100 mm, t = 25 mm, 1 K, with the glass table's data.
RUN    tau = t^2 / (pi^2 a), t = 25 mm. READ te Marvelde (atm.udjat.nl): the first cosine term.
"""

from __future__ import annotations

import pytest

from fringe.optics.thermal import bending_nm, glass, slab_time_constant_s


@pytest.mark.parametrize(
    ("name", "nm", "fringes", "seconds"),
    [
        ("plate-glass", 430.0, 1.575, 154),
        ("bk7", 355.0, 1.300, 120),
        ("borosilicate", 162.5, 0.595, 94),
        ("fused-silica", 27.5, 0.101, 75),
        ("zero-expansion", -1.0, -0.004, 83),
    ],
)
def test_bending_and_settling(name, nm, fringes, seconds):
    """Bending for 1 K and the least time constant of each glass (analytic; 83 s ours)."""
    one = glass(name)
    height = bending_nm(one.expansion_per_k, 1.0, 100, 25)
    assert height == pytest.approx(nm, abs=0.05)
    assert 2 * height / 546.07 == pytest.approx(fringes, abs=5e-4)
    assert slab_time_constant_s(25, one.diffusivity_mm2_s) == pytest.approx(seconds, abs=0.5)


def test_a_tenth_of_a_kelvin_matters():
    """0.1 K bends 150 mm of borosilicate, 25 mm thick, by over 0.1 fringe (analytic)."""
    height = bending_nm(glass("borosilicate").expansion_per_k, 0.1, 150, 25)
    assert 2 * height / 589.3 > 0.1
