"""Several frames of one work: pressing, settling, and pairs that determine the sense."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.synth.rendering import Rendered, render
from fringe.synth.scene import MAX_VIEW_ANGLE_DEG, Scene

Rng = np.random.Generator


@dataclass(frozen=True)
class Step:
    """How one frame differs from the scene that the sequence starts from.

    Attributes
    ----------
    piston : float
        Added to the smallest gap [fringe].
    tilt_u, tilt_v : float
        Added to the tilt along +x and +y of the photograph [fringe].
    power : float
        Added to the power [fringe].
    time_s : float
        When the frame was taken [s].
    exposure : float
        Factor on the camera's exposure.
    """

    piston: float = 0.0
    tilt_u: float = 0.0
    tilt_v: float = 0.0
    power: float = 0.0
    time_s: float = 0.0
    exposure: float = 1.0


def shift_steps(
    frames: int, rng: Rng, *, tilt: float = 0.3, pace: float = 0.25, exposure: float = 0.0
) -> list[Step]:
    """Steps of a burst while the work is pressed or settles: about a quarter fringe a frame.

    Parameters
    ----------
    frames : int
    rng : numpy Generator
    tilt : float
        Standard deviation of the tilt along each axis [fringe].
    pace : float
        Mean step from frame to frame [fringe]; a fifth of it is their standard deviation.
    exposure : float
        Standard deviation of the frames' exposure, as a share.
    """
    steps = []
    for frame in range(frames):
        piston = max(pace * (frame + float(rng.normal(0, 0.2))), 0.0) if frame else 0.0
        lean = rng.normal(0, tilt, 2) if frame else np.zeros(2)
        light = math.exp(exposure * float(rng.normal())) if frame and exposure else 1.0
        steps.append(Step(piston, float(lean[0]), float(lean[1]), 0.0, 0.5 * frame, light))
    return steps


def settle_steps(times_s: Sequence[float], drift: float, time_constant_s: float) -> list[Step]:
    """Steps of a work that comes to temperature: its power drifts by `drift` exp(-t / tau).

    Parameters
    ----------
    times_s : sequence of float
        When frames are taken [s].
    drift : float
        Power at time zero less the settled one [fringe].
    time_constant_s : float
        tau [s].
    """
    if not time_constant_s > 0:
        raise BadInput(f"time constant: {time_constant_s} s is not greater than zero")
    return [Step(power=drift * math.exp(-t / time_constant_s), time_s=float(t)) for t in times_s]


def with_step(scene: Scene, step: Step) -> Scene:
    """Apply a step to a scene."""
    form = scene.form
    angle = math.radians(form.tilt_angle_deg)
    tilt_u = form.tilt * math.cos(angle) + step.tilt_u
    tilt_v = form.tilt * math.sin(angle) + step.tilt_v
    moved = replace(
        form,
        power=form.power + step.power,
        tilt=math.hypot(tilt_u, tilt_v),
        tilt_angle_deg=math.degrees(math.atan2(tilt_v, tilt_u)),
        min_gap_nm=form.min_gap_nm + step.piston * scene.lamp.wavelength_nm / 2,
    )
    camera = replace(scene.camera, exposure=scene.camera.exposure * step.exposure)
    return replace(scene, form=moved, camera=camera)


def render_sequence(scene: Scene, rng: Rng, steps: Sequence[Step]) -> list[Rendered]:
    """Render the frames of a sequence: the same dirt and light, new noise.

    Parameters
    ----------
    scene : Scene
        What the steps are relative to.
    rng : numpy Generator
        For the camera's noise.
    steps : sequence of Step

    Returns
    -------
    list of Rendered
        Each with `frame` in its truth: number, time and step.
    """
    frames = []
    for number, step in enumerate(steps):
        rendered = render(with_step(scene, step), rng)
        frame: dict[str, Any] = {
            "number": number,
            "time_s": step.time_s,
            "piston_fringes": step.piston,
            "tilt_u_fringes": step.tilt_u,
            "tilt_v_fringes": step.tilt_v,
            "power_change_fringes": step.power,
            "exposure": step.exposure,
        }
        frames.append(replace(rendered, truth=rendered.truth | {"frame": frame}))
    return frames


PAIRS = ("press", "eye", "lamp")
_SECOND = ("sodium", "mercury-green", "mercury-yellow", "hene")  # lamps of a pair


def render_series(
    scene: Scene, seed: int, *, frames: int | None = None, pair: str | None = None
) -> list[tuple[str, Rendered]]:
    """Render one picture, a burst of frames or a pair, each with the ending for its name.

    Raises
    ------
    BadInput
        For less than two frames, an unknown pair, or both at once.
    """
    rng = np.random.default_rng(seed)
    endings = series_endings(frames, pair)
    shots: Sequence[Rendered]
    if pair is not None:
        shots = sense_pair(scene, pair, rng)
    elif frames is None:
        shots = [render(scene, rng)]
    else:
        shots = render_sequence(scene, rng, shift_steps(frames, rng))
    return list(zip(endings, shots, strict=True))


def series_endings(frames: int | None, pair: str | None) -> list[str]:
    """Endings of the names of one picture, a burst of frames or a pair.

    Raises
    ------
    BadInput
        For less than two frames, too many, or frames and a pair at once.
    """
    if frames is not None and pair is not None:
        raise BadInput("frames and a pair at once: ask for one of them")
    if pair is not None:
        return ["-before", "-after"]
    if frames is None:
        return [""]
    if not 2 <= frames <= 999:
        raise BadInput(f"frames: {frames} lies outside 2 to 999")
    return [f"-{number}" for number in range(1, frames + 1)]


def sense_pair(scene: Scene, how: str, rng: Rng) -> tuple[Rendered, Rendered]:
    """Render a picture before and after a change that determines the sense.

    Parameters
    ----------
    scene : Scene
    how : str
        `press` (the middle is pressed gently: the film thins, and a gap at the centre closes a
        little), `eye` (the camera is lowered by 8 to 25 degrees) or `lamp` (a second lamp).
    rng : numpy Generator

    Returns
    -------
    before, after : Rendered
        With `pair` in their truth.
    """
    if how not in PAIRS:
        raise BadInput(f"pair: {how!r} is not one of {', '.join(PAIRS)}")
    before = scene
    if how == "press":
        before, after = _pressed(scene, rng)
    elif how == "eye":
        angle = min(scene.view_angle_deg + rng.uniform(8, 25), MAX_VIEW_ANGLE_DEG)
        after = replace(scene, view_angle_deg=angle)
    else:
        wavelength_nm = scene.lamp.wavelength_nm
        # a dozen nanometres apart or more: nearer ones keep too long in step
        others = [n for n in _SECOND if abs(lamp(n).wavelength_nm - wavelength_nm) > 10]
        after = _under(scene, str(rng.choice(others)))
    shots = []
    for when, frame in (("before", before), ("after", after)):
        rendered = render(frame, rng)
        pair = {"how": how, "when": when}
        shots.append(replace(rendered, truth=rendered.truth | {"pair": pair}))
    return shots[0], shots[1]


def _pressed(scene: Scene, rng: Rng) -> tuple[Scene, Scene]:
    """Pressing gently in the middle: the film thins by less than half a fringe.

    A gap in the middle closes as well, by a fraction of a fringe if the piece bends at all; no
    finger presses quite in the middle, so the tilt changes a little.
    """
    half_wave_nm = scene.lamp.wavelength_nm / 2
    thinning = rng.uniform(0.1, 0.37)
    thick_nm = max(rng.uniform(120, 450), (thinning + 0.05) * half_wave_nm)
    before = with_step(replace(scene, form=replace(scene.form, min_gap_nm=thick_nm)), Step())
    bend = 0.0
    if scene.form.power < 0 and rng.random() < 0.8:
        bend = min(rng.uniform(0.0, 0.6), -scene.form.power / 3)
    lean = rng.uniform(-0.03, 0.03, 2)
    press = Step(piston=-thinning, tilt_u=float(lean[0]), tilt_v=float(lean[1]), power=bend)
    return before, with_step(before, press)


def _under(scene: Scene, name: str) -> Scene:
    """The same gap [nm] under another lamp."""
    other = lamp(name)
    ratio = scene.lamp.wavelength_nm / other.wavelength_nm
    return replace(scene, lamp=other, form=scene.form.times(ratio))
