"""Fringes of coated faces: sharp dark lines of all beams, read as those of two are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from fringe.optics.lamps import lamp
from fringe.orders.checks import judge_fit
from fringe.orders.fit.profile import cosine_of, sharpness_of, wave
from fringe.orders.fit.solve import solve
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.ellipse import Edge
from fringe.photo.load import Photo, photo_from_array

Floats = NDArray[np.float64]
SIDE, FINE = 340, 3
EDGE = Edge(169.5, 171.0, 145.0, 145.0)


def coated(reflectance: float, order: Floats, rng: np.random.Generator) -> Photo:
    """Airy's light of a gap (Born & Wolf, Principles of Optics, section 7.6, from memory).

    I = F sin^2(d / 2) / (1 + F sin^2(d / 2)), F = 4 R / (1 - R)^2, under a slant of the light,
    the lens's blur and noise; stored as sRGB.
    """
    u, v = places()
    coefficient = 4 * reflectance / (1 - reflectance) ** 2
    sine = coefficient * np.sin(np.pi * order) ** 2
    light = 0.07 + 0.7 * sine / (1 + sine) * (1 + 1 / coefficient)
    light = np.where(np.hypot(u, v) < 1, light * (1 + 0.2 * u - 0.1 * v), 0.04)
    light = ndimage.gaussian_filter(light, 0.7 * FINE)
    light = light.reshape(SIDE, FINE, SIDE, FINE).mean(axis=(1, 3))
    light = (light + rng.normal(0, 0.008, light.shape)).clip(0, 1)
    stored = np.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return photo_from_array((255 * stored).astype(np.uint8), "coated")


def places() -> tuple[Floats, Floats]:
    """Places of the fine samples on the unit disc."""
    side = (np.arange(SIDE * FINE) + 0.5) / FINE - 0.5
    u, v = np.meshgrid((side - EDGE.cx) / EDGE.a, (side - EDGE.cy) / EDGE.a)
    return u, v


@pytest.mark.parametrize("reflectance", [0.35, 0.8])
def test_coated_faces_are_read(reflectance: float, rng: np.random.Generator) -> None:
    """Power and B of a sphere with astigmatism that leans; no word of fringes that are not."""
    u, v = places()
    power, tilt, bent = rng.uniform(3, 7), rng.uniform(0.5, 2), rng.uniform(0.1, 0.5)
    order = power * (u * u + v * v) + tilt * u + bent / 2 * (u * u - v * v) + rng.uniform(0, 1)
    reading = read(coated(reflectance, order, rng), ReadOptions(lamp("sodium"), edge=EDGE))
    assert reading.power_fringes == pytest.approx(power, abs=0.03)
    assert abs((reading.power_fringes or 0) - power) < (reading.power_u95_fringes or 0)
    assert abs((reading.irregularity_fringes or 0) - bent) < (reading.irregularity_u95_fringes or 0)
    assert (reading.irregularity_u95_fringes or 1) < 0.25
    assert not [text for text in reading.quality.warnings if "profile" in text]


def test_two_beams_stay_a_cosine(rng: np.random.Generator) -> None:
    """Bare glass: no sharpness is fitted. Bright lines, as of light through mirrors, are said."""
    u, v = places()
    photo = coated(0.02, 4 * (u * u + v * v) + 1.2 * u, rng)
    solution = solve(photo, EDGE)
    assert solution.fit.sharpness == 0
    for sharpness, count in ((-0.2, 0), (0.8, 0), (-0.8, 1)):
        sharp = replace(solution, fit=replace(solution.fit, sharpness=sharpness))
        assert len([text for text in judge_fit(photo, sharp) if "mirrors" in text]) == count


@pytest.mark.parametrize("sharpness", [-0.6, 0.0, 0.4, 0.8])
def test_a_profile_its_slope_and_its_inverse_agree(sharpness: float) -> None:
    """Against the sum of its harmonics, differences, and the cosine that it came from."""
    phase = np.linspace(-np.pi, np.pi, 4001)
    height, slope = wave(phase, sharpness)
    summed = sum(sharpness ** (k - 1) * np.cos(k * phase) for k in range(1, 200))
    np.testing.assert_allclose(height, summed, atol=1e-9)
    np.testing.assert_allclose(-np.gradient(height, phase)[1:-1], slope[1:-1], atol=2e-3)
    np.testing.assert_allclose(cosine_of(height, sharpness), np.cos(phase), atol=1e-9)
    assert sharpness_of(1 - 0.3 * height, phase) == pytest.approx(sharpness, abs=0.02)
