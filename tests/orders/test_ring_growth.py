"""Rings of one spacing, and rings that crowd outward more than those between spheres."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fringe.errors import Refused
from fringe.optics.form import disc_grid
from fringe.optics.lamps import lamp
from fringe.optics.zernike import zernike_matrix, zernike_terms
from fringe.orders.edge.candidates import whole_frame
from fringe.orders.fit.field import cut_field
from fringe.orders.fit.model import OrderModel
from fringe.orders.fit.tiles import pyramid_tiles
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.ring_growth import growth_of_tiles, growth_warnings, ring_growth
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import FAMILIES, distractor, gap_model, random_scene
from fringe.synth.lookalikes import DISC_RADIUS

TERMS = (*zernike_terms(8), *((n, 0) for n in range(10, 45, 2)))
U, V, WEIGHT = (w.ravel() for w in disc_grid(24, 48))
ROWS = zernike_matrix(TERMS, U, V).reshape(-1, len(TERMS)) * np.sqrt(WEIGHT + 1e-9)[:, None]
Order = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


def model(order: Order) -> OrderModel:
    """Least-squares model of an order, on the terms of a reading."""
    target = order(U, V) * np.sqrt(WEIGHT + 1e-9)
    return OrderModel(TERMS, np.linalg.lstsq(ROWS, target, rcond=None)[0])


@pytest.mark.parametrize("away", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("exponent", [1.0, 3.0, 4.0])
def test_a_power_law_gives_its_exponent_and_centre(exponent: float, away: float) -> None:
    """Orders that grow as r^n about any centre: n within 0.05 and the centre within 0.03."""
    growth = ring_growth(model(lambda u, v: 8 * np.hypot(u - away, v) ** exponent))
    assert growth.is_no_sphere
    assert growth.exponent == pytest.approx(exponent, abs=0.05)
    assert growth.centre == pytest.approx([away, 0.0], abs=0.03)


@pytest.mark.parametrize("family", [name for name in FAMILIES if name != "field"])
def test_no_work_is_taken_for_something_else(family: str, rng: np.random.Generator) -> None:
    """Of spheres with tilt, aberrations, turned edges, zones, holes and bumps none is refused."""
    for _ in range(12):
        scene = random_scene(rng, family)
        odd = replace(
            scene.form,
            zone=rng.choice([-1, 0, 1]) * rng.uniform(0.25, 1.0),
            zone_radius=rng.choice([0.0, rng.uniform(0.3, 0.8)]),
            bump=rng.choice([-1, 0, 1]) * rng.uniform(0.3, 1.5),
            bump_place=(rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5)),
        )
        plain, bent = (gap_model(replace(scene, form=form)).fringes for form in (scene.form, odd))
        assert growth_warnings("work", model(plain), float(np.ptp(plain(U, V)))) == []
        # a heavy form of all these together may be warned of, and is not refused
        growth_warnings("work", model(bent), float(np.ptp(bent(U, V))))


@pytest.mark.parametrize(("power", "share", "tilt"), [(3, 0.4, 0), (2, 0.45, 0), (5, 0.4, 1)])
def test_spheres_that_a_form_makes_look_equally_spaced(
    power: float, share: float, tilt: float
) -> None:
    """Spherical form that flattens a contact outward: a power law of 1.1 to 1.6, and no refusal."""
    bent = model(lambda u, v: power * (u**2 + v**2) * (1 - share * (u**2 + v**2)) + tilt * u)
    growth = ring_growth(bent)
    assert growth.is_no_sphere
    assert growth.exponent < 1.6
    assert growth_warnings("work", bent, float(power)) == []


@pytest.mark.parametrize("kind", ["decentred_rings", "turning_marks"])
def test_rings_of_one_spacing_are_refused(kind: str, rng: np.random.Generator) -> None:
    """Marks and targets on a round piece, its edge given, give no reading."""
    photo = photo_from_array(distractor(kind, rng, (420, 380)), f"{kind}.jpg")
    radius = DISC_RADIUS * 190
    with pytest.raises(Refused, match=rf"^{kind}\.jpg: "):
        read(photo, ReadOptions(lamp("sodium"), edge=Edge(209.5, 189.5, radius, radius)))


def test_rings_that_crowd_are_warned_of() -> None:
    """An order that grows as r^4 may be a heavy spherical form: a warning with its exponent."""
    steep = model(lambda u, v: 8 * np.hypot(u, v) ** 4)
    (line,) = growth_warnings("rings", steep, 8.0)
    assert line.startswith("the rings crowd outward as the power 4.0 of the radius")
    assert growth_warnings("rings", steep, 2.0) == []  # too few to tell


def test_refusal_names_the_cause() -> None:
    """Eight rings of one spacing: the line says what has such rings."""
    with pytest.raises(Refused, match=r"^disc: the rings have one spacing, as marks of turning"):
        growth_warnings("disc", model(lambda u, v: 8 * np.hypot(u, v)), 8.0)


@pytest.mark.parametrize("kind", ["turning_marks", "record", "equal_rings", "root_rings"])
def test_marks_without_an_edge_are_refused(kind: str, rng: np.random.Generator) -> None:
    """Marks, grooves and targets read with no edge: refused, whatever says so first."""
    photo = photo_from_array(distractor(kind, rng, (420, 380)), f"{kind}.jpg")
    with pytest.raises(Refused, match=rf"^{kind}\.jpg: "):
        read(photo, ReadOptions(lamp("sodium"), edge="none"))


@pytest.mark.parametrize(("exponent", "told"), [(2.0, ""), (4.0, "the rings crowd outward")])
def test_local_frequencies_tell_the_exponent(exponent: float, told: str) -> None:
    """Nine rings without an edge: those at r^2 are read, r^4 is warned of or refused."""
    x, y = np.meshgrid(np.arange(400) - 190, np.arange(400) - 210)
    order = 9 * (np.hypot(x, y) / 200) ** exponent
    light = (120 * (1 + 0.8 * np.cos(2 * np.pi * order))).astype(np.uint8)
    try:
        warnings = read(
            photo_from_array(light, "field.png"), ReadOptions(lamp("sodium"), edge="none")
        ).quality.warnings
    except Refused:
        assert told
    else:
        assert [line[: len(told)] for line in warnings] == ([told] if told else [])


@pytest.mark.parametrize("exponent", [1.0, 2.0, 3.0])
def test_tiles_tell_the_exponent_of_rings_in_a_field(exponent: float) -> None:
    """Eighteen rings in a frame of 400 pixels: the exponent within 0.1."""
    x, y = np.meshgrid(np.arange(400) - 190, np.arange(400) - 212)
    light = 0.5 + 0.4 * np.cos(36 * np.pi * (np.hypot(x, y) / 290) ** exponent)
    photo = photo_from_array((255 * light).astype(np.uint8), "target.png")
    tiles = pyramid_tiles(cut_field(photo, whole_frame(photo), 1))
    growth = growth_of_tiles(tiles)
    assert growth.exponent == pytest.approx(exponent, abs=0.1)
    assert growth.agreement > 0.8
    assert growth.is_of_spheres == (exponent == 2)
