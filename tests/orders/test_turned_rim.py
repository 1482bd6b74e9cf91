"""Edges of works whose rim is turned, drawn by a renderer of their own: where the face ends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from rims_drawn import Rim, drawn, encoded
from scipy import ndimage

from fringe.optics.form import form_quantities
from fringe.optics.lamps import lamp
from fringe.optics.zernike import zernike_matrix
from fringe.orders import turned_rim
from fringe.orders.edge.by_rings import edge_by_rings
from fringe.orders.edge.find import find_edge
from fringe.orders.fit.solve import solve
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.turned_rim import BAND, TOO_FINE, beyond_edge
from fringe.orders.turned_rim import Rim as Seen
from fringe.photo.ellipse import Edge
from fringe.photo.load import photo_from_array
from fringe.synth import random_scene, render

RADIUS = 150.0


def rim(rng: np.random.Generator, turn: float, width: float, **more: object) -> Rim:
    """A work of some fringes with a rim that is turned by so much."""
    return Rim(
        power=float(rng.uniform(2, 5)) * float(rng.choice([-1, 1])),
        tilt=float(rng.uniform(1.5, 3)),
        turn=turn * float(rng.choice([-1, 1])),
        width=width,
        law=str(rng.choice(["power", "cosine"])),
        radius=RADIUS,
        turned_to=float(rng.uniform(0, 2 * math.pi)),
        **more,  # type: ignore[arg-type]
    )


def seen(
    work: Rim, share: float, rng: np.random.Generator, sharpened: float = 0.0
) -> tuple[Seen, Edge]:
    """What is made of an edge that was found at a share of the radius, and that edge."""
    image, (cx, cy) = drawn(work, rng)
    smooth = ndimage.gaussian_filter(image.astype(float), 1.0)
    sharper = np.clip(image + sharpened * (image - smooth), 0, 255)
    photo = photo_from_array(np.rint(sharper).astype(np.uint8), "rim")
    edge = Edge(cx, cy, share * RADIUS, share * RADIUS, u_px=0.3)
    return beyond_edge(photo, edge, solve(photo, edge), found=True), edge


@pytest.mark.parametrize(
    ("turn", "width", "surround"), [(0.6, 0.05, "dark"), (2.0, 0.08, "plate"), (1.0, 0.06, "cloth")]
)
def test_fringes_beyond_the_edge_move_it_out(
    turn: float, width: float, surround: str, rng: np.random.Generator
) -> None:
    """An edge found where the turned zone begins: the face's edge, and the form to it."""
    chamfer_px = float(rng.choice([0.0, 4.0]))
    work = rim(rng, turn, width, surround=surround, chamfer_px=chamfer_px, chamfer_level=0.3)
    found, _ = seen(work, 1 - 0.9 * width, rng)
    power, irregularity = work.truth()
    model = found.solution.fit.model
    form = form_quantities(model.terms, model.values)
    assert math.sqrt(found.edge.a * found.edge.b) == pytest.approx(RADIUS, rel=0.005)
    assert abs(form.power) == pytest.approx(power, abs=0.05)
    assert form.irregularity_pv == pytest.approx(irregularity, rel=0.15)


@pytest.mark.parametrize(
    ("chamfer_px", "level", "sharpened"), [(5.0, 0.05, 0.0), (2.0, 1.0, 0.0), (5.0, 0.9, 0.8)]
)
def test_an_edge_without_fringes_beyond_stays(
    chamfer_px: float, level: float, sharpened: float, rng: np.random.Generator
) -> None:
    """A chamfer, dark or bright, and the halo of a sharpened edge: edge and form stay as found."""
    work = rim(rng, 0.0, 0.1, chamfer_px=chamfer_px, chamfer_level=level)
    found, edge = seen(work, 1.0, rng, sharpened)
    assert found == Seen(edge, found.solution)
    assert max(term[0] for term in found.solution.fit.model.terms) <= 44


def test_a_wide_bright_bevel_under_a_soft_lens_is_no_rim(rng: np.random.Generator) -> None:
    """Fringes fade there as if they went on too fine for the pixels, but do not crowd before."""
    work = rim(rng, 0.0, 0.1, chamfer_px=5.0, chamfer_level=1.3, glint=0.2, blur_px=1.8)
    work = replace(work, power=6.0, tilt=1.5, radius=140.0, noise=0.006)
    image, (cx, cy) = drawn(work, rng)
    photo = photo_from_array(image, "bevel")
    edge = Edge(cx + 0.4, cy - 0.3, 140.4, 139.8, 20.0, 0.3)
    found = beyond_edge(photo, edge, solve(photo, edge), found=True)
    assert math.sqrt(found.edge.a * found.edge.b) == pytest.approx(140.0, abs=1.0)
    assert found.warnings == ()


def test_an_edge_that_no_fit_follows_is_found_by_rings(rng: np.random.Generator) -> None:
    """One and a half fringes over a seventh of the radius: the edge, from a pixel or two off."""
    work = replace(rim(rng, 1.6, 0.14, chamfer_px=4.0, chamfer_level=0.3), law="cosine")
    image, (cx, cy) = drawn(work, rng)
    edge = Edge(cx + 0.6, cy - 0.4, 0.99 * RADIUS, 0.99 * RADIUS)
    found = edge_by_rings(photo_from_array(image, "rim"), edge)
    assert found is not None
    assert found.is_turned
    assert math.sqrt(found.edge.a * found.edge.b) == pytest.approx(RADIUS, rel=0.002)
    assert math.hypot(found.edge.cx - cx, found.edge.cy - cy) < 0.3


@pytest.mark.parametrize(("turn", "surround"), [(1.8, "dark"), (-2.4, "plate")])
def test_a_broad_rim_is_followed_from_where_it_begins(
    turn: float, surround: str, rng: np.random.Generator
) -> None:
    """Rings about a curve a sixth within the edge, and off its middle, lead to the edge."""
    work = replace(rim(rng, turn, 0.15, surround=surround), law="cosine", power=2.0)
    image, (cx, cy) = drawn(work, rng)
    curve = Edge(cx + 0.7, cy - 0.5, 0.845 * RADIUS, 0.835 * RADIUS, 30.0)
    found = edge_by_rings(photo_from_array(image, "rim"), curve)
    assert found is not None
    assert found.is_turned
    assert math.sqrt(found.edge.a * found.edge.b) == pytest.approx(RADIUS, rel=0.002)
    assert found.edge.a - found.edge.b < 0.6
    assert math.hypot(found.edge.cx - cx, found.edge.cy - cy) < 0.3


def test_a_rim_that_fades_before_a_cell_as_bright(rng: np.random.Generator) -> None:
    """Its light differs round the work, not in the mean: there the face ends, not the fringes."""
    work = replace(rim(rng, 2.0, 0.05, surround="cell"), law="power", power=2.5, tilt=1.5)
    image, (cx, cy) = drawn(work, rng)
    found = edge_by_rings(photo_from_array(image, "rim"), Edge(cx, cy, 143.0, 143.0))
    assert found is not None
    assert found.is_turned
    assert math.sqrt(found.edge.a * found.edge.b) == pytest.approx(RADIUS, rel=0.002)


def test_a_plain_work_is_placed_by_its_light(rng: np.random.Generator) -> None:
    """Where the rim is not turned rings tell less than light and fringes: a view of 24 degrees."""
    work = replace(rim(rng, 0.0, 0.1), power=4.0, tilt=0.6)
    image, (cx, cy) = drawn(work, rng)
    found = edge_by_rings(photo_from_array(image, "plain"), Edge(cx, cy, RADIUS, RADIUS))
    assert found is not None
    assert not found.is_turned
    rng = np.random.default_rng([710004, 2])
    scene = random_scene(rng, "oval")
    photo = photo_from_array(render(scene, rng).image, "oval")
    edge = find_edge(photo).edge
    assert edge.a == pytest.approx(scene.edge.a, rel=0.005)
    assert edge.b == pytest.approx(scene.edge.b, rel=0.005)


def test_a_turned_rim_on_a_form_of_high_degree(rng: np.random.Generator) -> None:
    """What is not round leaves the low form behind toward the rim; the rings keep to the fit's."""
    radius, side = 300.0, 760
    x, y = (np.indices((side, side))[::-1] - side / 2) / radius
    rho = np.hypot(x, y)
    turned = 1.6 * np.clip(1 - (1 - rho) / 0.04, 0, None) ** 2
    coma = zernike_matrix(((5, 1),), x, y)[..., 0]
    order = -9 * rho**2 + 3 * y + 0.3 * coma + turned
    light = np.where(rho < 1, 0.4 * (1 - 0.8 * np.cos(2 * np.pi * order)), 0.04)
    light = ndimage.gaussian_filter(light, 0.8) + rng.normal(0, 0.005, light.shape)
    photo = photo_from_array(encoded(light), "coma")
    edge = Edge(side / 2, side / 2, radius, radius)
    fit = beyond_edge(photo, edge, solve(photo, edge), found=False).solution.fit
    rows = np.stack([np.ones_like(rho), rho**2], axis=-1)[rho < 1]
    truth = np.linalg.lstsq(rows, (-9 * rho**2 + turned)[rho < 1], rcond=None)[0][1]
    form = form_quantities(fit.model.terms, fit.model.values)
    assert abs(form.power) == pytest.approx(-truth, abs=0.05)


def test_a_part_of_the_face_has_no_end(rng: np.random.Generator) -> None:
    """About another middle fringes end here and there, or are lost from within: no edge."""
    image, (cx, cy) = drawn(replace(rim(rng, 0.0, 0.1), power=3.0, tilt=1.5), rng)
    photo = photo_from_array(image, "part")
    for off, radius in ((60.0, 80.0), (40.0, 120.0), (-70.0, 100.0)):
        assert edge_by_rings(photo, Edge(cx + off, cy, radius, radius)) is None


def test_a_band_without_fringes_may_be_a_rim(rng: np.random.Generator) -> None:
    """Two and a half fringes over two pixels show none: told, and both are left open."""
    work = replace(rim(rng, 2.5, 0.014), law="cosine", power=2.5)
    found, _ = seen(work, 1 - 0.013, rng)
    assert found.warnings == (BAND,)
    assert found.solution.rim_errors is not None
    assert np.abs(found.solution.rim_errors).max() > 1.0
    assert found.edge.u_px > 0.45 * (RADIUS - found.edge.a)


def test_fringes_too_fine_for_the_pixels(rng: np.random.Generator) -> None:
    """Three fringes over four pixels: told, and the interval of B holds the truth."""
    work = replace(rim(rng, 3.0, 0.025, chamfer_px=0.0), law="cosine")
    image, _ = drawn(work, rng)
    reading = read(photo_from_array(image, "rim"), ReadOptions(lamp("hene")))
    off = (reading.irregularity_fringes or 0.0) - work.truth()[1]
    assert TOO_FINE in reading.quality.warnings
    assert abs(off) < (reading.irregularity_u95_fringes or 0.0)


def test_a_band_as_bright_as_the_fringes(rng: np.random.Generator) -> None:
    """A chamfer of the fringes' mean light may be a turned rim: it counts, and is told."""
    work = rim(rng, 0.0, 0.1, chamfer_px=6.0, chamfer_level=1.0, glint=0.0)
    found, edge = seen(work, 1.0, rng)
    assert found.warnings == (BAND,)
    assert found.edge == replace(edge, u_px=found.edge.u_px)
    assert 2.0 < found.edge.u_px < 4.0


def test_a_turned_zone_that_the_fit_missed(rng: np.random.Generator) -> None:
    """Within an edge that is given, whatever the first fit takes for dirt: B by its interval."""
    work = rim(rng, 2.5, 0.09)
    image, (cx, cy) = drawn(work, rng)
    edge = Edge(cx, cy, RADIUS, RADIUS)
    reading = read(photo_from_array(image, "rim"), ReadOptions(lamp("hene"), edge=edge))
    power, irregularity = work.truth()
    assert reading.edge == edge
    assert abs(reading.power_fringes or 0.0) == pytest.approx(power, abs=0.06)
    assert reading.irregularity_fringes == pytest.approx(irregularity, rel=0.15)


def test_noisy_fringes_are_not_fitted_twice(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fine fringes drowned by noise near the rim: the fit of all of it is not taken for lost."""
    x, y = np.meshgrid(np.arange(420) - 209.0, np.arange(420) - 211.0)
    rho = np.hypot(x, y) / 200
    fringes = 110 * (1 - 0.35 * np.cos(2 * np.pi * (31 * rho**2 + x / 90)))
    image = np.where(rho < 1, fringes, 20) + rng.normal(0, 14, x.shape)
    photo = photo_from_array(image.clip(0, 255).astype(np.uint8), "noisy")
    edge = Edge(209.0, 211.0, 200.0, 200.0)
    solution = solve(photo, edge)
    rings = turned_rim.follow_rim(photo, edge, solution.fit, 0.82, 1.1)
    assert np.median(rings.explained[:10]) < 0.9
    monkeypatch.setattr(turned_rim, "_fit_within", lambda *_: pytest.fail("fitted again"))
    beyond_edge(photo, edge, solution, found=False)
