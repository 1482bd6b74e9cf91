"""Several frames of one contact: spread, error and coverage over repeated bursts.

    python tests/benchmarks/burst.py [--repeats 20] [--kind NAME]... [--edge given|auto] [--seed N]
                                       [--drift PX]

Each kind is one scene. A burst is eight frames of it with new steps, new leans and new noise;
it is rendered and read `--repeats` times. With `--drift` the camera stands up to so many pixels off
the first frame's place in each of the others. The table shows the bar: the spread of power over
the repeats stays below 0.005 fringe. Below it stands how many of the 95 % intervals hold the
truth, with the interval that 95 of 100 would give by chance.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import shift
from scipy.stats import binom

from fringe.errors import Refused
from fringe.optics.lamps import lamp
from fringe.orders.burst.read_burst import read_burst
from fringe.orders.options import ReadOptions
from fringe.parallel import in_order
from fringe.photo.load import photo_from_array
from fringe.synth import Camera, Dirt, Form, Lighting, Scene, render_sequence, shift_steps

BAR_FRINGES = 0.005
FRAMES = 8
SIDE = 600


@dataclass(frozen=True)
class Kind:
    """A scene, and how its bursts are taken."""

    scene: Scene
    tilt: float = 0.3
    exposure: float = 0.0
    pace: float = 0.25


def _scene(form: Form, **other: object) -> Scene:
    told: dict[str, object] = {"diameter_mm": 100.0, "camera_distance_mm": 800.0, "seed": 11}
    return Scene(SIDE, SIDE, form=form, **(told | other))  # type: ignore[arg-type]


ASTIGMATIC = (((2, 2), 0.12), ((3, 1), 0.06), ((4, 0), -0.08))
KINDS: dict[str, Kind] = {
    "half a fringe": Kind(_scene(Form(power=0.5, tilt=0.2, zernike=ASTIGMATIC[:1]))),
    "closed rings": Kind(_scene(Form(power=6.0, tilt=1.0, tilt_angle_deg=30))),
    "contact at edge": Kind(_scene(Form(power=-4.0, tilt=0.5, zernike=ASTIGMATIC))),
    "tilted": Kind(_scene(Form(power=1.5, tilt=7.0, tilt_angle_deg=-50, zernike=ASTIGMATIC))),
    "dusty": Kind(
        _scene(
            Form(power=9.0, tilt=2.5, zernike=ASTIGMATIC, turned_edge=0.2),
            bench=Lighting(contrast=0.4, unevenness=4.0, haze=0.02),
            dirt=Dirt(dust=90, hairs=3, scratches=5, glare=2, fingers=1, finger_reach=0.12),
            camera=Camera(noise=2.0, quality=70, exposure=0.95),
        )
    ),
    "many rings": Kind(_scene(Form(power=30.0, tilt=2.0))),
    "oblique": Kind(_scene(Form(power=5.0, tilt=1.0), view_angle_deg=18.0)),
    # one sensor, as a colour's filter moves a broad lamp's mean wavelength
    "broad LED": Kind(
        _scene(Form(power=5.0, tilt=1.0), lamp=lamp("led:525:30"), camera=Camera(colour="mono"))
    ),
    "unsteady light": Kind(_scene(Form(power=3.0, tilt=1.5)), exposure=0.03),
    "all beams": Kind(_scene(Form(power=2.0, tilt=0.5), bench=Lighting(multiple_beams=True))),
    "small steps": Kind(_scene(Form(power=5.0, tilt=1.0)), pace=0.1),
}


@dataclass(frozen=True)
class Repeat:
    """One burst, rendered and read."""

    error: float
    u95: float
    refused: str | None = None


def drifted(light: NDArray[np.float32], rng: np.random.Generator, most_px: float) -> Any:
    """A frame seen from elsewhere, resampled by splines of another order than the reader's."""
    return shift(light, rng.uniform(-1, 1, 2) * most_px / np.sqrt(2), order=5, mode="nearest")


def one(kind: Kind, seed: int, edge: str = "given", drift_px: float = 0.0) -> Repeat:
    """Render a burst and read it; the error is in fringes of power."""
    rng = np.random.default_rng(seed)
    scene = kind.scene
    steps = shift_steps(FRAMES, rng, tilt=kind.tilt, pace=kind.pace, exposure=kind.exposure)
    shots = render_sequence(scene, rng, steps)
    photos = [photo_from_array(shot.image, f"frame {k}") for k, shot in enumerate(shots, 1)]
    if drift_px:
        photos[1:] = [replace(one, light=drifted(one.light, rng, drift_px)) for one in photos[1:]]
    options = ReadOptions(
        scene.lamp,
        edge=scene.edge if edge == "given" else "auto",
        diameter_mm=scene.diameter_mm,
        camera_distance_mm=scene.camera_distance_mm,
        sense="centre" if scene.form.power > 0 else "edge",
    )
    truth = float(shots[0].truth["power_fringes"])
    try:
        reading = read_burst(photos, options)
    except Refused as refusal:
        return Repeat(np.nan, np.nan, str(refusal))
    assert reading.power_fringes is not None
    assert reading.power_u95_fringes is not None
    return Repeat(reading.power_fringes - truth, reading.power_u95_fringes)


def _run(task: tuple[str, int, str, float]) -> Repeat:
    name, seed, edge, drift_px = task
    return one(KINDS[name], seed, edge, drift_px)


def study(
    names: list[str],
    repeats: int,
    edge: str,
    seed: int,
    tell: Callable[[str], None] = print,
    drift_px: float = 0.0,
) -> bool:
    """Run the study and tell its table; whether every spread keeps to the bar."""
    tell(f"{FRAMES} frames of {SIDE} px, edge {edge}, {repeats} repeats; fringes of power")
    tell(f"{'kind':<16} {'spread':>8} {'bar':>6} {'mean':>8} {'worst':>8} {'U95':>7} held refused")
    kept, held, counted = True, 0, 0
    for place, name in enumerate(names):
        seeds = [seed + 1000 * place + k for k in range(repeats)]
        found = list(in_order(_run, [(name, each, edge, drift_px) for each in seeds]))
        error = np.array([each.error for each in found if each.refused is None])
        u95 = np.array([each.u95 for each in found if each.refused is None])
        spread = float(error.std(ddof=1)) if len(error) > 1 else np.nan
        inside = int((np.abs(error) <= u95).sum())
        held, counted = held + inside, counted + len(error)
        good = spread < BAR_FRINGES and len(error) == repeats
        kept = kept and good
        tell(
            f"{name:<16} {spread:8.4f} {BAR_FRINGES:6.3f} {error.mean():+8.4f}"
            f" {np.abs(error).max():8.4f} {np.median(u95):7.4f} {inside:>4}"
            f" {repeats - len(error):>7}{'' if good else '   misses'}"
        )
        for text in sorted({each.refused for each in found if each.refused}):
            tell(f"    {text}")
    low, high = binom.ppf((0.025, 0.975), counted, 0.95) / max(counted, 1)
    tell(
        f"95 % intervals that hold the truth: {held} of {counted}"
        f" ({100 * held / max(counted, 1):.1f} %; 95 % would show {100 * low:.1f} to"
        f" {100 * high:.1f} % by chance)"
    )
    return kept


def main() -> None:
    """Parse, run, exit with 1 when the bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--repeats", type=int, default=20)
    parser.add_argument("--kind", action="append", choices=list(KINDS))
    parser.add_argument("--edge", choices=["given", "auto"], default="given")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--drift", type=float, default=0.0, metavar="PX")
    asked = parser.parse_args()
    names = asked.kind or list(KINDS)
    kept = study(names, asked.repeats, asked.edge, asked.seed, drift_px=asked.drift)
    raise SystemExit(0 if kept else 1)


if __name__ == "__main__":
    main()
