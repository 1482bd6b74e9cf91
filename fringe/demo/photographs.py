"""Render the example's photographs from its truth; needed only when the scenario changes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from fringe.demo.scenario import PhotographSpec, Scenario, SurfaceSpec, VisitSpec
from fringe.errors import BadInput
from fringe.files import make_folders, reason
from fringe.optics.lamps import lamp
from fringe.optics.spheres import power_fringes
from fringe.synth.files import save
from fringe.synth.rendering import render
from fringe.synth.request import Request, request_scene
from fringe.synth.scene import Scene

SIZE = "1200x1000"
QUALITY = 92


def true_power_fringes(
    scenario: Scenario, surface: SurfaceSpec, visit: VisitSpec, photograph: PhotographSpec
) -> float:
    """Power that a photograph shows: of the two radii, and of warmth that is left [fringe]."""
    plate, truth = scenario.true_plate_radius_mm(surface), visit.truth
    wavelength = lamp(visit.lamp or surface.lamp).wavelength_nm
    settled = power_fringes(
        truth.radius_mm - plate, plate, surface.diameter_mm, wavelength, surface.form
    )
    return settled + truth.warm_fringes * math.exp(-photograph.after_minutes / truth.warm_minutes)


def photograph_scene(
    scenario: Scenario, surface: SurfaceSpec, visit: VisitSpec, photograph: PhotographSpec
) -> Scene:
    """Everything that one photograph shows, but for the camera's noise."""
    # work, camera and dust stay where they are through a visit
    seed = visit.photographs[0].seed
    scene = request_scene(
        Request(
            seed=seed,
            size=SIZE,
            lamp=visit.lamp or surface.lamp,
            power=true_power_fringes(scenario, surface, visit, photograph),
            tilt=photograph.tilt,
            tilt_angle=photograph.tilt_angle,
            diameter_mm=surface.diameter_mm,
            plate_radius_mm=scenario.true_plate_radius_mm(surface),
            work=surface.form,
            camera_distance_mm=scenario.camera_distance_mm,
            contrast=0.8,
            uneven=1.4,
            dust=12,
            quality=QUALITY,
            **visit.truth.form,  # type: ignore[arg-type]
        )
    )
    # a work is never exactly in the middle of the picture
    shift = (seed * 37 % 61 - 30, seed * 53 % 41 - 20)
    centre = ((scene.width - 1) / 2 + shift[0], (scene.height - 1) / 2 + shift[1])
    return replace(scene, centre_px=centre)


def render_photographs(scenario: Scenario, folder: Path) -> Iterator[Path]:
    """Render every photograph, with its truth beside it; the same scenario, the same bytes.

    Parameters
    ----------
    scenario : Scenario
    folder : Path
        Where to write; it is made if it is not there. Older ones are written over.

    Yields
    ------
    Path
        Of each photograph, when it is written.

    Raises
    ------
    BadInput
        If the folder cannot be made or written.
    """
    try:
        make_folders(folder)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be made: {reason(error)}") from error
    for surface in scenario.surfaces:
        for visit in surface.visits:
            for photograph in visit.photographs:
                scene = photograph_scene(scenario, surface, visit, photograph)
                yield save(render(scene, photograph.seed), folder / photograph.file)
