"""Rendered photographs whose sense is known, told by contrast or by a pair; for test and study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.options import ReadOptions
from fringe.orders.read import read
from fringe.orders.sense.two_photographs import Intervention, sense_of_pair
from fringe.photo.load import photo_from_array
from fringe.synth import Rendered, Scene, random_scene, render, sense_pair

Rng = np.random.Generator
SIZE = (420, 420)
PAIR_SIZE = (320, 320)
# Contact at the edge in soft pictures, that was once told as contact at the centre, cheapest
# first. In all but the first and the third the lamp is narrow whatever its label says; the fourth
# is misread.
ONCE_WRONG = (
    ("hostile", 2017112006),
    ("hostile", 41001),
    ("contrast", 41057),
    ("hostile", 41119),
    ("hostile", 52055),
)
INTERVENTIONS = {"press": "pressed-centre", "eye": "lower-eye", "lamp": "lamp"}


@dataclass(frozen=True)
class Case:
    """What became of one case.

    Attributes
    ----------
    kind, seed
        Which it was.
    end : str
        `right`, `wrong`, `unknown` or `refused`.
    note : str
        Power and evidence, for who looks into it.
    """

    kind: str
    seed: int
    end: str
    note: str


def run_case(kind: str, seed: int) -> Case:
    """Render and judge one case; the edge is given, to tell the sense and nothing else."""
    try:
        end, note = KINDS[kind](np.random.default_rng(seed))
    except Refused as error:
        end, note = "refused", str(error)
    return Case(kind, seed, end, note)


def _end(sense: str, rendered: Rendered) -> str:
    if sense == "unknown":
        return "unknown"
    return "right" if sense == rendered.truth["sense"] else "wrong"


def _contrast(rng: Rng) -> tuple[str, str]:
    """LEDs as they come, with a camera that is more or less sharp."""
    scene = random_scene(rng, "led", SIZE)
    form = replace(scene.form, power=_power(rng, 5, 15))
    scene = replace(
        scene,
        form=form,
        lamp=lamp(f"led:{rng.uniform(450, 640):.0f}:{rng.uniform(18, 40):.0f}"),
        camera=replace(scene.camera, blur_px=rng.uniform(0.4, 2.0)),
    )
    return _labelled(scene, scene.lamp.lines[0].fwhm_nm, rng)


def _hostile(rng: Rng) -> tuple[str, str]:
    """LEDs with everything that moves contrast: defocus, stray and uneven light, a thick film.

    The label's width is off by up to a fifth, and one in four lamps is narrow: there contrast
    has every other reason but the gap.
    """
    scene = random_scene(rng, "dirty" if rng.random() < 0.5 else "led", SIZE)
    width = rng.uniform(18, 40)
    true_width = width * rng.uniform(0.8, 1.2) if rng.random() < 0.75 else rng.uniform(0.1, 3)
    scene = replace(
        scene,
        centre_px=None,
        lamp=lamp(f"led:{rng.uniform(450, 640):.0f}:{true_width:.1f}"),
        form=replace(
            scene.form,
            power=_power(rng, 3, 15),
            tilt=rng.uniform(0, 10),
            min_gap_nm=rng.uniform(0, 1500),
        ),
        bench=replace(
            scene.bench,
            unevenness=rng.uniform(2, 8),
            ambient=rng.uniform(0.0, 0.4),
            camera_shadow=rng.uniform(0, 0.5),
            multiple_beams=bool(rng.random() < 0.5),
        ),
        camera=replace(scene.camera, blur_px=rng.uniform(0.4, 5.0)),
    )
    return _labelled(scene, width, rng)


def _power(rng: Rng, low: float, high: float) -> float:
    return float(rng.choice([-1, 1]) * rng.uniform(low, high))


def _labelled(scene: Scene, width: float, rng: Rng) -> tuple[str, str]:
    """Read with a lamp of the labelled width."""
    rendered = render(scene, rng)
    label = lamp(f"led:{scene.lamp.wavelength_nm:.0f}:{width:.0f}")
    options = ReadOptions(label, edge=scene.edge)
    sensed = read(photo_from_array(rendered.image, "rendered"), options)
    note = f"power {rendered.truth['power_fringes']:.2f}, {label.name}, read {sensed.power_fringes}"
    return _end(sensed.sense, rendered), note


def _pair(how: str) -> Callable[[Rng], tuple[str, str]]:
    def judge(rng: Rng) -> tuple[str, str]:
        scene = random_scene(rng, str(rng.choice(["clean", "dirty"])), PAIR_SIZE)
        form = replace(scene.form, power=_power(rng, 1, 11), turned_edge=0.0)
        pair = sense_pair(replace(scene, form=form), how, rng)
        readings = [
            read(
                photo_from_array(shot.image, shot.truth["pair"]["when"]),
                ReadOptions(shot.scene.lamp, edge=shot.scene.edge),
            )
            for shot in pair
        ]
        lamps = [shot.scene.lamp for shot in pair]
        sensed = sense_of_pair(*readings, Intervention(INTERVENTIONS[how], *lamps))
        names = " ".join(lamp_.name for lamp_ in lamps)
        power, least = (pair[0].truth[key] for key in ("power_fringes", "min_gap_nm"))
        note = f"power {power:.2f}, {names}, film {least:.0f} nm, {sensed}"
        return _end(sensed.sense, pair[0]), note

    return judge


KINDS: dict[str, Callable[[Rng], tuple[str, str]]] = {
    "contrast": _contrast,
    "hostile": _hostile,
    "press": _pair("press"),
    "eye": _pair("eye"),
    "lamp": _pair("lamp"),
}
