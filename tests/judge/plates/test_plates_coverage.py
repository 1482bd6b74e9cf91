"""The interval of a plate's radius holds the truth as often as it says, whatever its visits are.

The truth is simulated here by formulas of its own: sagittas by Pythagoras, gaps as differences of
sagittas.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fringe.judge.pair.contacts import Contact, Piece
from fringe.judge.plates.evidence import PlateCertificate, PlateSagitta
from fringe.judge.plates.network import PlateRadii, plate_radii
from fringe.optics.spherometer import circle_of_feet
from fringe.quantity import Source, half_width

U_SIZE_MM, U_BALL_MM, U_READING_UM, SCATTER_UM = 0.01, 0.0005, 0.4, 0.3
NM, U_NM = 589.3, 0.2
PLATES = 250


def sagitta_um(radius_mm: float, contact_mm: float, form: str, ball_mm: float) -> float:
    """Height over the circle of ball centres, which lie on a sphere smaller or larger by b."""
    of_centres = radius_mm - ball_mm if form == "concave" else radius_mm + ball_mm
    return 1e3 * (of_centres - math.sqrt(of_centres**2 - contact_mm**2))


def fringes(convex_mm: float, concave_mm: float, diameter_mm: float, wavelength_nm: float) -> float:
    """Rim less centre of the gap of two caps laid together, in fringes; for shallow caps."""
    r = diameter_mm / 2
    caps = [one - math.sqrt(one**2 - r**2) for one in (convex_mm, concave_mm)]
    return (caps[0] - caps[1]) * 1e6 * 2 / wavelength_nm


def simulated(rng: np.random.Generator, *, common: bool) -> tuple[PlateRadii, dict[str, float]]:
    """Two plates with visits, and their true radii; the gauge errs alike each time or anew."""
    nominal = rng.uniform(1500, 4000)
    truth = {name: nominal + rng.normal(0, 0.5) for name in ("P", "Q")}
    forms = {"P": "convex", "Q": "concave"}
    gauge = replace(
        circle_of_feet(120.0, 6.0), u_contact_mm=U_SIZE_MM, u_ball_mm=U_BALL_MM, name="S"
    )
    contact = 60.0 + rng.normal(0, U_SIZE_MM)
    ball = 3.0 + rng.normal(0, U_BALL_MM)
    u_certificate = rng.uniform(0.1, 0.6)
    certificates = [
        PlateCertificate("P", "certificate", rng.normal(truth["P"], u_certificate), u_certificate)
    ]
    sagittas = []
    for name, form in forms.items():
        height = sagitta_um(truth[name], contact, form, ball)
        always = rng.normal(0, U_READING_UM, 2)
        for visit in range(rng.integers(1, 5)):
            on_plate, on_flat = always if common else rng.normal(0, U_READING_UM, 2)
            zero = on_flat + rng.normal(0, SCATTER_UM, 3)
            read = height + on_plate + rng.normal(0, SCATTER_UM, 3)
            label = f"{name}, visit {visit}"
            sagittas.append(
                PlateSagitta(name, form, label, tuple(read), tuple(zero), gauge, U_READING_UM)
            )
    handling = rng.normal()
    light = NM + rng.normal(0, U_NM)
    contacts = []
    for visit in range(rng.integers(0, 4)):
        power = fringes(truth["P"], truth["Q"], 140.0, light)
        read = power + rng.normal(0, 0.03) + 0.04 * handling
        shared = ((Source("handling", "P and Q"), 0.04),)
        contacts.append(
            Contact(f"contact {visit}", "P", "Q", read, 0.03, 140.0, NM, U_NM, "sodium", shared)
        )
    pieces = [Piece(name, form, nominal, 150.0) for name, form in forms.items()]
    return plate_radii(pieces, certificates, sagittas, contacts), truth


@pytest.mark.parametrize("common", [True, False])
def test_the_interval_of_a_radius_holds_the_truth(rng, common):
    """Of two plates with certificate, spherometer and contacts, 93 % of the intervals hold."""
    inside, contradictions = [], 0
    for _ in range(PLATES):
        found, truth = simulated(rng, common=common)
        for name, true in truth.items():
            value, u = found.radius(name)
            inside.append(abs(value - true) <= half_width(u))
        contradictions += bool(found.held.contradictions)
    assert np.mean(inside) >= 0.93
    assert contradictions <= 0.03 * PLATES  # one in a hundred is said to contradict itself
