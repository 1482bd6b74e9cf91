"""The sodium doublet's beat in contrast.

Sources
-------
READ   HyperPhysics, phyopt/Na.html: "The line at 589.0 has twice the intensity of the line at
       589.6 nm."
READ   problem at wizedu 264170: mirror moved 0.29 mm between consecutive patterns at 589 nm;
       arms that differ by 1.7 mm.
RUN    beat and minimum contrast from the printed wavelengths.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fringe.optics.lamps import lamp


def test_lines_have_two_to_one():
    """The table's D2 shines twice as much as its D1 (published)."""
    d2, d1 = lamp("sodium").lines
    assert d2.wavelength_nm < d1.wavelength_nm
    assert d2.weight / d1.weight == 2


def test_contrast_comes_back_every_0_581_mm_of_path():
    """Contrast peaks at 0.58137 mm of path, a mirror or gap travel of 0.29 mm (published)."""
    opd = np.arange(0.4e6, 0.75e6, 5.0)
    peak = opd[np.argmax(lamp("sodium").contrast(opd))]
    assert peak / 1e6 == pytest.approx(0.58137, abs=5e-5)
    assert peak / 2e6 == pytest.approx(0.29, abs=0.005)


def test_least_contrast_is_a_third_at_a_gap_of_0_1453_mm():
    """The first minimum is 1/3 for 2:1, at 0.2907 mm of path (analytic)."""
    opd = np.arange(0, 0.58e6, 5.0)
    contrast = lamp("sodium").contrast(opd)
    assert contrast.min() == pytest.approx(1 / 3, abs=5e-4)
    assert opd[np.argmin(contrast)] / 1e6 == pytest.approx(0.2907, abs=5e-5)


def test_contrast_between_follows_the_two_wave_sum():
    """V = sqrt(5 + 4 cos phi) / 3 for lines of 2:1, phi the phase of the beat (analytic)."""
    opd = np.linspace(0, 1.2e6, 50)
    d2, d1 = (replace(line, fwhm_nm=0.0) for line in lamp("sodium").lines)
    phi = 2 * np.pi * opd * (1 / d2.wavelength_nm - 1 / d1.wavelength_nm)
    contrast = replace(lamp("sodium"), lines=(d2, d1)).contrast(opd)
    np.testing.assert_allclose(contrast, np.sqrt(5 + 4 * np.cos(phi)) / 3, atol=1e-9)


def test_splitting_from_the_mirror_problem():
    """The table's lines give the problem's travel of 0.29 mm, to its two digits (published)."""
    d2, d1 = lamp("sodium").lines
    travel = d1.wavelength_nm * d2.wavelength_nm / (d1.wavelength_nm - d2.wavelength_nm) / 2e6
    assert round(travel, 2) == 0.29


def test_one_shared_wavelength_would_cost_two_parts_in_ten_thousand():
    """Plain and weighted mean of the lines are 589.29376 and 589.19420 nm (analytic)."""
    sodium = lamp("sodium")
    plain = sum(line.wavelength_nm for line in sodium.lines) / 2
    assert plain == pytest.approx(589.29376, abs=5e-6)
    assert sodium.wavelength_nm == pytest.approx(589.19420, abs=5e-6)
