"""Steep plates with a flat back: what they hide, when it is warned of, and how it is counted."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fringe.optics.lamps import lamp
from fringe.optics.view import lost_through_flat_back
from fringe.optics.zernike import zernike_terms
from fringe.orders.by_eye import by_eye
from fringe.orders.doubts import flat_back_doubt, places
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.photo.load import photo_from_array
from fringe.synth import Form, Scene, render

SODIUM = lamp("sodium")
RADIUS_MM = 500.0
TERMS = zernike_terms(4)


def test_share_that_is_hidden_follows_snell() -> None:
    """1 - cos(theta), sin(theta) = n r / R: 11 % at r/R 0.3, all from r/R = 1 / n on (analytic)."""
    assert lost_through_flat_back(30.0, 100.0) == pytest.approx(1 - math.sqrt(1 - 0.45**2))
    assert lost_through_flat_back(30.0, 100.0) == pytest.approx(0.107, abs=5e-4)
    assert lost_through_flat_back(100 / 1.5, 100.0) == lost_through_flat_back(90.0, 100.0) == 1.0


@pytest.mark.parametrize(("contact", "share"), [("centre", 1.0), ("edge", 0.0)])
def test_power_loses_its_share_at_the_centre_alone(contact: str, share: float) -> None:
    """N rho^2 loses N times the rim's share, N (1 - rho^2) nothing, to first order (analytic)."""
    power, semi = 5.0, 0.05 * RADIUS_MM
    rho2 = np.sum(np.square(places()), axis=0)
    gap = power * (rho2 if contact == "centre" else 1 - rho2)
    found = flat_back_doubt(TERMS, gap, semi, RADIUS_MM).of_power(TERMS.index((2, 0)))
    lost = lost_through_flat_back(semi, RADIUS_MM)
    assert found == pytest.approx(share * power * lost, abs=0.01 * power * lost)


@pytest.mark.parametrize(
    ("ratio", "back", "text", "said"),
    [
        (0.066, "", "rings 3 centre", None),
        (0.068, "", "rings 3 centre", "power would read 0.52 % low at an index of 1.5"),
        (0.3, "", "rings 3", "power would read 11 % low"),
        (0.3, "flat", "rings 3 centre", "with a flat back: power may read 11 % low"),
        (0.3, "concentric", "rings 3 centre", None),
        (0.3, "", "rings 3 edge", None),
        (0.7, "", "rings 3 centre", "no fringes are seen at the rim"),
    ],
)
def test_warned_of_where_it_matters(ratio: float, back: str, text: str, said: str | None) -> None:
    """Over 0.5 % at the rim, r/R = 0.0667 at an index of 1.5, one line says it (analytic)."""
    options = ReadOptions(
        SODIUM, diameter_mm=2 * ratio * RADIUS_MM, plate_radius_mm=RADIUS_MM, plate_back=back
    )
    lines = [one for one in by_eye(text, options).quality.warnings if "steep plate" in one]
    assert len(lines) == (said is not None)
    assert all(said is not None and said in one for one in lines)


def test_flat_back_on_record_widens_the_power(rng: np.random.Generator) -> None:
    """Part `plate_back` is N times the rim's share for a flat back, else absent (analytic)."""
    power = rng.uniform(3, 6)
    scene = Scene(300, 300, form=Form(power=power, min_gap_nm=0.0), lamp=SODIUM)
    photo = photo_from_array(render(scene, int(rng.integers(2**31))).image, "rendered")
    parts = {}
    for back in ("flat", "concentric", ""):
        options = ReadOptions(SODIUM, scene.edge, 100.0, RADIUS_MM, sense="centre", plate_back=back)
        parts[back] = read(photo, options).power_u_parts
        assert ReadOptions.from_json(SODIUM, options.to_json()).plate_back == back
    lost = lost_through_flat_back(50.0, RADIUS_MM)
    assert parts["flat"]["plate_back"] == pytest.approx(power * lost, rel=0.05)
    assert "plate_back" not in parts["concentric"] | parts[""]
    assert parts["concentric"] == parts[""]
