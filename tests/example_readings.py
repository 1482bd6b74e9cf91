"""The example without the reader: each photograph's reading is made from its truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fringe.demo.scenario import Scenario, SurfaceSpec, VisitSpec
from fringe.optics.spheres import radius_difference_mm
from fringe.orders.reading import FormFit, Quality, Reading
from fringe.photo.ellipse import Edge

U95 = 0.01


def truth_of(photograph: Path) -> dict[str, Any]:
    """The truth that lies beside a shipped photograph."""
    values = json.loads(photograph.with_suffix(".json").read_text(encoding="utf-8"))
    assert isinstance(values, dict)
    return values


def true_reading(photograph: Path) -> Reading:
    """What a perfect reader would say of a photograph."""
    truth = truth_of(photograph)
    scene, power = truth["scene"], truth["power_fringes"]
    terms = ((0, 0), (2, 0), (2, 2))
    values = np.array([power / 2, power / 2, truth["irregularity_fringes"] / 2])
    shape = scene["plate_radius_mm"], scene["diameter_mm"], truth["wavelength_nm"], scene["work"]
    return Reading(
        truth["wavelength_nm"],
        Quality(0.8, 0.97, 0.02),
        power_fringes=power,
        power_u95_fringes=U95,
        sense=truth["sense"],
        sense_source="given",
        irregularity_fringes=truth["irregularity_fringes"],
        irregularity_u95_fringes=U95,
        radius_difference_mm=radius_difference_mm(power, *shape),
        radius_difference_u95_mm=U95,
        edge=Edge(**truth["edge"]),
        edge_source="found",
        form=FormFit(terms, values, np.diag([1e-8, (U95 / 4) ** 2, 1e-6])),
        power_u_parts={"fit": U95 / 1.96},
    )


def without_reader(
    function: Callable[[Any], Any], tasks: Sequence[Any], pool: object
) -> Iterator[Any]:
    """Stand in for `fringe.parallel.in_order`: true readings, and no drawing."""
    for task in tasks:
        yield true_reading(task.path), b"a picture"


def visits(scenario: Scenario) -> list[tuple[SurfaceSpec, VisitSpec]]:
    """Every visit of a scenario with its surface."""
    return [(surface, visit) for surface in scenario.surfaces for visit in surface.visits]
