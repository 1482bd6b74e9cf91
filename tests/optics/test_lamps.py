"""Lamps: the table, and coherence against a direct sum over the spectrum."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp, Line, lamp, lamp_names, lamp_table


def coherence_by_sum(lines: tuple[Line, ...], opd_nm: np.ndarray) -> np.ndarray:
    """Degree of coherence by summing waves over the spectrum, no transform known."""
    total = np.zeros(opd_nm.shape, complex)
    power = 0.0
    for line in lines:
        sigma = line.fwhm_nm / math.sqrt(8 * math.log(2))
        x = np.linspace(-6, 6, 4001) if sigma else np.zeros(1)
        share = np.exp(-(x**2) / 2)
        share *= line.weight / share.sum()
        waves = np.exp(2j * np.pi * opd_nm[:, None] / (line.wavelength_nm + sigma * x))
        total += waves @ share
        power += share.sum()
    return total / power


@pytest.mark.parametrize("name", [*lamp_names(), "led:525:30", "led:630:18"])
def test_visibility_is_the_sum_over_the_spectrum(name):
    """Visibility times the mean wave equals a sum of waves over the lamp's spectrum (analytic).

    To 2 %: the closed form takes the spectrum as Gaussian in wave number, the sum in wavelength.
    """
    one = lamp(name)
    reach = 400_000.0 if math.isinf(one.coherence_length_nm) else one.coherence_length_nm
    opd = np.linspace(0, min(reach, 600_000.0), 60)
    waves = one.visibility(opd) * np.exp(2j * np.pi * opd / one.wavelength_nm)
    np.testing.assert_allclose(waves, coherence_by_sum(one.lines, opd), atol=0.02)


@pytest.mark.parametrize("name", [*lamp_names(), "led:470:25"])
def test_contrast_is_one_at_contact_and_never_more(name):
    """Contrast is 1 at zero path difference, within [0, 1] and even in it."""
    opd = np.linspace(-2e6, 2e6, 2001).reshape(3, -1)
    contrast = lamp(name).contrast(opd)
    assert contrast.shape == opd.shape
    assert contrast.min() >= 0
    assert contrast.max() <= 1 + 1e-12
    np.testing.assert_allclose(contrast.ravel(), contrast.ravel()[::-1], atol=1e-12)
    assert lamp(name).contrast(0.0) == pytest.approx(1.0)


def test_equal_lines_lose_all_contrast_at_half_a_beat():
    """Two equal narrow lines have no contrast where they are half a wave apart (analytic)."""
    pair = Lamp("pair", (Line(500.0, 1.0), Line(501.0, 1.0)), 0.0, "made up")
    assert pair.contrast(0.5 * 500.0 * 501.0) == pytest.approx(0.0, abs=1e-9)


def test_contrast_is_half_at_the_coherence_length():
    """The stated coherence length is the path at which a line's contrast is one half."""
    led = lamp("led:525:30")
    assert led.contrast(led.coherence_length_nm) == pytest.approx(0.5, abs=1e-12)
    laser = Lamp("ideal", (Line(633.0, 1.0),), 0.0, "made up")
    assert math.isinf(laser.coherence_length_nm)


def test_mean_wavelength_is_weighted_and_any_scale_of_weights_serves():
    """The mean wavelength follows the shares of the lines, not their scale (analytic)."""
    one = Lamp("x", (Line(500.0, 3.0), Line(600.0, 1.0)), 0.0, "made up")
    assert one.wavelength_nm == pytest.approx(525.0)
    scaled = Lamp("x", (Line(500.0, 0.03), Line(600.0, 0.01)), 0.0, "made up")
    assert scaled.wavelength_nm == pytest.approx(525.0)
    opd = np.linspace(0, 9e4, 7)
    np.testing.assert_allclose(scaled.visibility(opd), one.visibility(opd), atol=1e-12)


@pytest.mark.parametrize("name", lamp_names())
def test_each_lamp_of_the_table_is_complete(name):
    """Each lamp has lines in order of size, an uncertainty, a source and how far to trust it."""
    entry, one = lamp_table()[name], lamp(name)
    assert entry["trust"] in ("read", "memory")
    assert entry["source"]
    assert entry["note"]
    assert 0 < one.u_wavelength_nm < 1
    for line in entry["lines"]:
        assert 380 < line["air_nm"] < line["vacuum_nm"] < 780
        assert 0 < line["fwhm_nm"] <= 0.01


def test_sodium_uncertainty_spans_thin_and_self_absorbed_vapour():
    """Both the 2:1 and the 1:1 mean of the D lines lie within two standard uncertainties."""
    sodium = lamp("sodium")
    even = sum(line.wavelength_nm for line in sodium.lines) / 2
    span = even - sodium.wavelength_nm
    assert sodium.u_wavelength_nm == pytest.approx(span / math.sqrt(3), rel=0.02)


def test_names_are_read_in_any_case_and_leds_with_units():
    """`Sodium` and `led:525nm:30nm` name what they seem to name."""
    assert lamp(" Sodium ").name == "sodium"
    led = lamp("LED:525nm:30nm")
    assert led.lines == (Line(525.0, 1.0, 30.0),)
    assert led.u_wavelength_nm > 0


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("candle", "the lamps are sodium"),
        ("led:525", "PEAK_NM:FWHM_NM"),
        ("led:525:wide", "PEAK_NM:FWHM_NM"),
        ("led:525:30:2", "PEAK_NM:FWHM_NM"),
        ("led:5:1", "between 200 and 2000"),
        ("led:nan:30", "between 200 and 2000"),
        ("led:525:0", "full width"),
        ("led:525:nan", "full width"),
        ("led:525:400", "full width"),
    ],
)
def test_unknown_lamps_are_refused_in_one_line(name, words):
    """A lamp that is not there, or an LED without sense, is refused with the way out named."""
    with pytest.raises(BadInput, match=words) as error:
        lamp(name)
    assert "\n" not in str(error.value)


def test_a_wavelength_costs_no_numpy():
    """Looking a lamp's wavelength up loads no numpy."""
    code = (
        "import sys; from fringe.optics.lamps import lamp;"
        "lamp('sodium').wavelength_nm; lamp('led:525:30').coherence_length_nm;"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
