"""What a chamfer makes of a work's diameter, and of what is read over it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from rims_drawn import Rim, drawn

import fringe
from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.optics.spheres import power_fringes
from fringe.orders.chamfer import face_mm, u_face_mm
from fringe.orders.options import ReadOptions, StatedOptions
from fringe.photo.load import photo_from_array


def test_a_chamfer_is_taken_off_on_both_sides() -> None:
    """The face of 150 mm with bevels of 0.5 mm is 149 mm across; without a word it is all of it."""
    assert face_mm(150.0, 0.5) == 149.0
    assert face_mm(150.0, 0.0) == face_mm(150.0, None) == 150.0


@pytest.mark.parametrize("chamfer", [-0.1, 40.0, math.nan, math.inf])
def test_what_is_no_chamfer_is_refused(chamfer: float) -> None:
    """Less than nothing, or so much that hardly a face is left."""
    with pytest.raises(BadInput, match="--chamfer"):
        face_mm(150.0, chamfer)
    with pytest.raises(BadInput, match="diameter over all"):
        StatedOptions(chamfer_mm=0.5).options(lamp("sodium"))


def test_what_is_known_of_the_diameter() -> None:
    """A chamfer that is told is good to a tenth; one that is not may be there, narrow (analytic).

    A width that is anything from nothing to w with equal chance puts the diameter off by twice
    that, whose mean square is 4/3 w^2. Where somebody stated how well it is known, that counts.
    """
    assert u_face_mm(149.0, 0.5) == pytest.approx(0.1)
    assert u_face_mm(150.0, 0.0) == 0.0
    assert u_face_mm(150.0, 0.0, 0.2) == 0.2
    assert u_face_mm(149.0, 0.5, 0.2) == pytest.approx(math.hypot(0.1, 0.2))
    for diameter, width in ((8.0, 0.1), (25.0, 0.2), (60.0, 0.3), (150.0, 0.5), (400.0, 0.5)):
        assert u_face_mm(diameter, None) == pytest.approx(math.sqrt(4 / 3) * width)
        assert u_face_mm(diameter, None, 0.01) == 0.01


@pytest.mark.usefixtures("known_fits")
@pytest.mark.parametrize("level", [0.05, 0.5])
def test_a_told_chamfer_gives_the_radius_of_the_face(
    level: float, rng: np.random.Generator
) -> None:
    """A work with a chamfer of a twentieth of its radius, drawn by another renderer, edge found.

    Told, the radius difference is right within its interval; with the diameter over all alone it
    is too small by the squared ratio of the diameters (analytic).
    """
    step, plate_mm, face, light = -1.5, 900.0, 57.0, lamp("sodium")
    power = power_fringes(step, plate_mm, face, light.wavelength_nm, "convex")
    tilt = float(rng.uniform(0.5, 2.0))
    work = Rim(power, tilt, 0.0, 0.1, "power", 160.0, 0.7, chamfer_px=8.0, chamfer_level=level)
    chamfer = 8.0 / 160.0 * face / 2
    photo = photo_from_array(drawn(work, rng)[0], "bevelled")
    sizes = {"diameter_mm": face + 2 * chamfer, "plate_radius_mm": plate_mm}
    told = fringe.read(photo, lamp=light, sense="centre", chamfer_mm=chamfer, **sizes)
    assert told.radius_difference_mm is not None
    assert told.radius_difference_u95_mm is not None
    assert abs(told.radius_difference_mm - step) < told.radius_difference_u95_mm < 0.04 * 1.5
    whole = fringe.read(photo, lamp=light, sense="centre", **sizes)
    assert whole.power_fringes == pytest.approx(told.power_fringes, rel=1e-6)
    ratio = (face / (face + 2 * chamfer)) ** 2
    assert whole.radius_difference_mm == pytest.approx(ratio * told.radius_difference_mm, rel=1e-3)


def test_options_keep_the_chamfer() -> None:
    """What is kept with a reading comes back: face, chamfer and how well the face is known."""
    said = StatedOptions(diameter_mm=150.0, chamfer_mm=0.5).options(lamp("sodium"))
    assert (said.diameter_mm, said.chamfer_mm, said.u_diameter_mm) == (149.0, 0.5, 0.1)
    assert ReadOptions.from_json(said.lamp, said.to_json()) == said
    typed = fringe.read_options(lamp="sodium", diameter="150mm", chamfer="0.5mm")
    assert typed == said
    assert fringe.read_options(lamp="sodium", diameter_mm=150, chamfer_mm=0).u_diameter_mm == 0.0
