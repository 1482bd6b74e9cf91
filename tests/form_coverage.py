"""Rendered works of which one asks whether every interval of their reading holds the truth.

Works with a form and perfect spheres, whose irregularity is nothing: there dirt and noise have
only room upward, and an interval that is too small proves good glass bad.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fringe.errors import Refused
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.reading import Reading
from fringe.photo.load import photo_from_array
from fringe.synth import Scene, random_scene, render

FAMILIES = ("clean", "dirty", "low_power", "led", "oval")
EDGES = ("given", "auto")
CAMERAS = ("far", "told", "untold")
# letter in tables: name of the quantity in readings and truths
QUANTITIES = {
    "P": "power",
    "B": "irregularity",
    "C": "symmetric_irregularity",
    "rms": "rms_irregularity",
    "ast": "astigmatism",
}
SIZE = (640, 600)
_USUAL_MM = 60.0  # diameter where the scene has none
_FAR = 30.0  # distance of a far camera, in diameters
_NEAREST = 3.0  # of one that is drawn, as the untold camera's doubt has it


@dataclass(frozen=True)
class Case:
    """A work to render and read.

    Attributes
    ----------
    family : str
        One of `FAMILIES`.
    perfect : bool
        A perfect sphere; else with the family's form.
    edge : {'given', 'auto'}
    camera : {'far', 'told', 'untold'}
        30 diameters off and told, or at 3 diameters or more and told or not.
    seed : int
    """

    family: str
    perfect: bool
    edge: str
    camera: str
    seed: int


@dataclass(frozen=True)
class Outcome:
    """What was read of a case: error and U by the quantity's letter [fringe]; or why not.

    `named` are the features of its form, in words; `accurate` says whether its power lies within
    the bar of the accuracy study.
    """

    case: Case
    errors: dict[str, float]
    u95: dict[str, float]
    warned: bool = False
    refused: str | None = None
    named: tuple[str, ...] = ()
    accurate: bool = False

    def ratio(self, letter: str) -> float:
        """Error over U: the interval holds the truth up to one."""
        return abs(self.errors[letter]) / max(self.u95[letter], 1e-12)

    def held(self, letter: str) -> bool:
        """Whether the interval holds the truth."""
        return self.ratio(letter) <= 1


def scene_of(case: Case, rng: np.random.Generator, size: tuple[int, int] = SIZE) -> Scene:
    """Draw the work, of the same glass and light for every edge and camera."""
    scene = random_scene(rng, case.family, size)
    if case.perfect:
        scene = replace(scene, form=replace(scene.form, zernike=(), turned_edge=0.0))
    diameter = scene.diameter_mm or _USUAL_MM
    drawn = scene.camera_distance_mm or _NEAREST * diameter / max(rng.random(), 1e-3)
    if case.camera == "far":
        return replace(
            scene, diameter_mm=diameter, camera_distance_mm=_FAR * diameter, perspective=False
        )
    return replace(scene, diameter_mm=diameter, camera_distance_mm=drawn)


def outcome(case: Case, size: tuple[int, int] = SIZE) -> Outcome:
    """Render a case, read it and compare."""
    rng = np.random.default_rng([case.seed, FAMILIES.index(case.family), case.perfect])
    scene = scene_of(case, rng, size)
    shot = render(scene, rng)
    told = case.camera != "untold"
    options = ReadOptions(
        scene.lamp,
        edge=scene.edge if case.edge == "given" else "auto",
        diameter_mm=scene.diameter_mm if told else None,
        camera_distance_mm=scene.camera_distance_mm if told else None,
    )
    try:
        reading = read(photo_from_array(shot.image, str(case.seed)), options)
    except Refused as refusal:
        return Outcome(case, {}, {}, refused=str(refusal))
    errors = {letter: _error(reading, shot.truth, name) for letter, name in QUANTITIES.items()}
    true_power = abs(reading.power_fringes or 0.0) - errors["P"]
    return Outcome(
        case,
        errors,
        {letter: float(getattr(reading, f"{n}_u95_fringes")) for letter, n in QUANTITIES.items()},
        warned=bool(reading.quality.warnings),
        named=tuple(one.text() for one in reading.features),
        accurate=abs(errors["P"]) <= 0.03 + 0.005 * true_power,
    )


def _error(reading: Reading, truth: dict[str, object], name: str) -> float:
    """Error of a magnitude: the sense of one photograph is mostly unknown [fringe]."""
    found, true = getattr(reading, f"{name}_fringes"), truth[f"{name}_fringes"]
    assert isinstance(found, float)
    assert isinstance(true, float)
    return abs(found) - abs(true)
