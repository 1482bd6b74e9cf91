"""Random scenes by family, for tests and for training.

========== ======================= ============= =========== ============================
family     power [fringe]          tilt [fringe] aberrations what else
========== ======================= ============= =========== ============================
clean      0.2 to 15, either sign  0 to 4        0.05 to 0.5 even light, little dirt
dirty      0.5 to 25               0 to 6        0.05 to 1   dust, hairs, glare, fingers,
                                                             clips, light uneven to 5:1
oval       0.5 to 25               0 to 4        0.05 to 0.5 seen at 3 to 25 degrees
led        2 to 18                 0 to 2        0.05 to 0.3 LED, 12 to 40 nm wide
high_power 20 to 150               0 to 30       0.05 to 2   large pictures
low_power  -1 to 1                 2 to 14       0.05 to 0.5 nearly straight fringes
field      edge outside the frame  0 to 6        0 to 0.5    a microscope's view: vignetted,
                                                             graticule, often pressed flat
mixed      any of these
========== ======================= ============= =========== ============================

Power, tilt and aberrations are scaled down together where the pixels would not resolve the
fringes: the local frequency stays under 0.35 cycle/px, or 0.45 in one scene of ten.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from fringe.errors import BadInput
from fringe.optics.lamps import Lamp, lamp
from fringe.synth.gap import gap_model
from fringe.synth.scene import Camera, Dirt, Form, Lighting, Scene, Term
from fringe.synth.truth import max_frequency

Rng = np.random.Generator
_TERMS = ((2, 2), (2, -2), (3, 1), (3, -1), (3, 3), (3, -3), (4, 0))
_HIGHER = ((4, 2), (4, -2), (4, 4), (5, 1), (5, -1), (6, 0), (6, 2))


def random_scene(rng: Rng, family: str = "mixed", size: tuple[int, int] | None = None) -> Scene:
    """Draw a scene.

    Parameters
    ----------
    rng : numpy Generator
    family : str
        A name of `FAMILIES`.
    size : (int, int), optional
        Width and height [px]; drawn when left out.

    Returns
    -------
    Scene

    Raises
    ------
    BadInput
        For an unknown family.
    """
    if family not in FAMILIES:
        raise BadInput(f"family: {family!r} is not one of {', '.join(FAMILIES)}")
    if family == "mixed":
        family = str(rng.choice([name for name in FAMILIES if name not in ("mixed", "field")]))
    scene = FAMILIES[family](rng)
    if size is not None:
        scale = min(size) / min(scene.width, scene.height)
        centre = scene.centre_px and (
            scene.centre_px[0] * size[0] / scene.width,
            scene.centre_px[1] * size[1] / scene.height,
        )
        radius = scene.radius_px and scene.radius_px * scale
        scene = replace(scene, width=size[0], height=size[1], centre_px=centre, radius_px=radius)
    return resolved(scene, 0.45 if rng.random() < 0.1 else 0.35)


def resolved(scene: Scene, limit: float = 0.35) -> Scene:
    """Scale the form down until no fringe is finer than `limit` [cycle/px]."""
    for _ in range(3):
        highest = max_frequency(scene, gap_model(scene))
        if highest <= limit:
            break
        scene = replace(scene, form=scene.form.times(0.97 * limit / highest))
    return scene


def _log_uniform(rng: Rng, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def _sign(rng: Rng) -> int:
    return 1 if rng.random() < 0.5 else -1


def _zernike(rng: Rng, low: float, high: float) -> tuple[Term, ...]:
    """A few low terms, now and then a higher one; the amplitudes' root sum square is drawn."""
    terms = [_TERMS[i] for i in rng.choice(len(_TERMS), rng.integers(1, 5), replace=False)]
    if rng.random() < 0.3:
        terms.append(_HIGHER[rng.integers(len(_HIGHER))])
    values = rng.normal(0, 1, len(terms))
    values *= _log_uniform(rng, low, high) / math.hypot(*values)
    return tuple((term, float(value)) for term, value in zip(terms, values, strict=True))


def _form(
    rng: Rng, power: tuple[float, float], tilt: tuple[float, float], aberration: tuple[float, float]
) -> Form:
    turned = rng.random() < 0.2
    return Form(
        power=_sign(rng) * _log_uniform(rng, *power),
        tilt=rng.uniform(*tilt),
        tilt_angle_deg=rng.uniform(-180, 180),
        zernike=_zernike(rng, *aberration),
        turned_edge=rng.uniform(0.05, 0.6) if turned else 0.0,
        turned_edge_width=rng.uniform(0.04, 0.15),
        min_gap_nm=rng.uniform(0, 500),
    )


def _lamp(rng: Rng, *, narrow: bool = False) -> Lamp:
    names = ("sodium", "mercury-green", "helium", "hene", "mercury-yellow", "led")
    name = str(rng.choice(names, p=(0.5, 0.2, 0.06, 0.06, 0.06, 0.12)))
    if narrow and name == "led":
        name = "sodium"
    return _led(rng, 10, 25) if name == "led" else lamp(name)


def _led(rng: Rng, low_nm: float, high_nm: float) -> Lamp:
    return lamp(f"led:{rng.uniform(500, 640):.0f}:{rng.uniform(low_nm, high_nm):.0f}")


def _lighting(rng: Rng, contrast: tuple[float, float], unevenness: float) -> Lighting:
    kinds = ("dark", "paper", "bright", "textured", "plate")
    return Lighting(
        contrast=rng.uniform(*contrast),
        multiple_beams=bool(rng.random() < 0.2),
        unevenness=_log_uniform(rng, 1.05, unevenness),
        background=str(rng.choice(kinds, p=(0.4, 0.1, 0.05, 0.2, 0.25))),
        bevel_px=rng.uniform(1, 6),
        bevel_level=float(rng.choice([rng.uniform(0.0, 0.2), rng.uniform(0.6, 1.5)])),
        shadow=rng.uniform(0, 0.6),
        cast_shadow=rng.uniform(0.1, 0.5) if unevenness > 4 and rng.random() < 0.25 else 0.0,
        haze=_log_uniform(rng, 0.002, 0.03),
        ambient=_log_uniform(rng, 0.005, 0.1),
        camera_shadow=rng.uniform(0, 0.4) if rng.random() < 0.2 else 0.0,
    )


def _camera(rng: Rng, worst_quality: int, noise: float) -> Camera:
    return Camera(
        blur_px=rng.uniform(0.4, 1.4),
        exposure=rng.uniform(0.45, 1.0),
        full_well=_log_uniform(rng, 1500, 30_000),
        read_noise=rng.uniform(2, 15),
        colour_noise=rng.uniform(0, 0.006),
        noise=_log_uniform(rng, 0.3, noise),
        white_balance=(rng.uniform(1.3, 2.2), 1.0, rng.uniform(1.4, 2.2)),
        sharpen=rng.uniform(0, 0.8) if rng.random() < 0.4 else 0.0,
        quality=int(rng.integers(worst_quality, 97)),
    )


def _frame(rng: Rng, low: int, high: int) -> dict[str, Any]:
    """Size of the frame and place of the work in it."""
    width = int(rng.integers(low, high))
    height = int(width * rng.choice([1.0, 0.75, 4 / 3, 0.667]))
    radius = min(width, height) * rng.uniform(0.3, 0.46)
    room_x, room_y = width / 2 - radius - 4, height / 2 - radius - 4
    return {
        "width": width,
        "height": height,
        "radius_px": radius,
        "centre_px": (
            width / 2 + float(rng.uniform(-0.7, 0.7)) * room_x,
            height / 2 + float(rng.uniform(-0.7, 0.7)) * room_y,
        ),
        "seed": int(rng.integers(2**31)),
    }


def _clean(rng: Rng) -> Scene:
    return Scene(
        **_frame(rng, 480, 1300),
        form=_form(rng, (0.2, 15), (0, 4), (0.05, 0.5)),
        lamp=_lamp(rng),
        bench=_lighting(rng, (0.6, 0.95), 2.0),
        dirt=Dirt(dust=int(rng.integers(0, 8))),
        camera=_camera(rng, 85, 1.0),
    )


def _dirty(rng: Rng) -> Scene:
    dirt = Dirt(
        dust=int(rng.integers(15, 150)),
        hairs=int(rng.integers(0, 5)),
        scratches=int(rng.integers(0, 10)),
        glare=int(rng.integers(0, 4)),
        fingers=int(rng.choice([0, 0, 1, 2])),
        clips=int(rng.choice([0, 0, 1, 3])),
        finger_reach=rng.uniform(0.03, 0.3),
        crosshair=bool(rng.random() < 0.1),
    )
    frame = _frame(rng, 560, 1500)
    if rng.random() < 0.12:  # a work that the frame cuts
        inside = frame["radius_px"] * rng.uniform(0.7, 0.95)
        frame["centre_px"] = (inside, frame["centre_px"][1])
    return Scene(
        **frame,
        form=_form(rng, (0.5, 25), (0, 6), (0.05, 1.0)),
        lamp=_lamp(rng),
        bench=_lighting(rng, (0.25, 0.85), 5.0),
        dirt=dirt,
        camera=_camera(rng, 55, 2.5),
    )


def _oval(rng: Rng) -> Scene:
    diameter = rng.uniform(40, 250)
    near = rng.random() < 0.5
    return Scene(
        **_frame(rng, 560, 1400),
        form=_form(rng, (0.5, 25), (0, 4), (0.05, 0.5)),
        lamp=_lamp(rng),
        view_angle_deg=rng.uniform(3, 25),
        view_direction_deg=rng.uniform(-180, 180),
        diameter_mm=diameter,
        camera_distance_mm=diameter * rng.uniform(3, 12) if near else None,
        perspective=bool(near and rng.random() < 0.3),
        bench=_lighting(rng, (0.5, 0.95), 3.0),
        dirt=Dirt(dust=int(rng.integers(0, 30)), scratches=int(rng.integers(0, 3))),
        camera=_camera(rng, 75, 1.5),
    )


def _led_family(rng: Rng) -> Scene:
    return Scene(
        **_frame(rng, 700, 1400),
        form=_form(rng, (2, 18), (0, 2), (0.05, 0.3)),
        lamp=_led(rng, 12, 40),
        bench=_lighting(rng, (0.6, 0.95), 2.5),
        dirt=Dirt(dust=int(rng.integers(0, 20))),
        camera=_camera(rng, 80, 1.2),
    )


def _high_power(rng: Rng) -> Scene:
    return Scene(
        **_frame(rng, 1100, 2400),
        form=_form(rng, (20, 150), (0, 30), (0.05, 2.0)),
        lamp=lamp(str(rng.choice(["sodium", "mercury-green", "helium"]))),
        bench=_lighting(rng, (0.5, 0.95), 3.0),
        dirt=Dirt(dust=int(rng.integers(0, 30))),
        camera=replace(_camera(rng, 85, 1.2), blur_px=rng.uniform(0.3, 0.7)),
    )


def _low_power(rng: Rng) -> Scene:
    form = _form(rng, (0.05, 1.0), (2, 14), (0.05, 0.5))
    return Scene(
        **_frame(rng, 480, 1300),
        form=form,
        lamp=_lamp(rng),
        bench=_lighting(rng, (0.5, 0.95), 3.0),
        dirt=Dirt(dust=int(rng.integers(0, 30)), scratches=int(rng.integers(0, 3))),
        camera=_camera(rng, 80, 1.5),
    )


def _field(rng: Rng) -> Scene:
    width = int(rng.integers(480, 1300))
    height = int(width * rng.choice([1.0, 0.75, 4 / 3]))
    radius = math.hypot(width, height) * rng.uniform(0.55, 0.8)
    form = replace(
        _form(rng, (12, 90), (0, 6), (0.02, 0.5)), turned_edge=0.0, min_gap_nm=rng.uniform(0, 40)
    )
    if rng.random() < 0.6:
        pressed = rng.uniform(0.05, 0.2)
        form = replace(form, power=abs(form.power), pressed_radius=pressed, zernike=())
    return Scene(
        width=width,
        height=height,
        radius_px=radius,
        centre_px=(width * rng.uniform(0.4, 0.6), height * rng.uniform(0.4, 0.6)),
        form=form,
        lamp=_lamp(rng, narrow=True),
        bench=replace(
            _lighting(rng, (0.4, 0.9), 6.0),
            unevenness=rng.uniform(1.5, 6),
            vignette=rng.uniform(0.3, 0.97),
        ),
        dirt=Dirt(dust=int(rng.integers(3, 25)), graticule=bool(rng.random() < 0.6)),
        camera=_camera(rng, 70, 2.0),
        seed=int(rng.integers(2**31)),
    )


FAMILIES: dict[str, Callable[[Rng], Scene]] = {
    "clean": _clean,
    "dirty": _dirty,
    "oval": _oval,
    "led": _led_family,
    "high_power": _high_power,
    "low_power": _low_power,
    "field": _field,
    "mixed": _clean,  # drawn from the others before it is called
}
