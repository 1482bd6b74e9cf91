"""What a perfect reading of a rendered scene would say, in the vocabulary of a reading."""

from __future__ import annotations

import contextlib
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.form import form_quantities_of_map, iso10110_text
from fringe.optics.spheres import radius_difference_mm, sphere_form
from fringe.synth.gap import GapModel, unboost
from fringe.synth.light import modulation
from fringe.synth.scene import Scene

Floats = NDArray[np.float64]
SCHEMA = "fringe-synth-1"
_RINGS, _SPOKES = 800, 72


def truth_of(scene: Scene, gap: GapModel) -> dict[str, Any]:
    """Compute the truth of a scene from its gap.

    Parameters
    ----------
    scene : Scene
    gap : GapModel
        Its gap.

    Returns
    -------
    dict
        Plain values. Power, tilt and irregularity are those of the gap as rendered (turned
        edge, pressed disc and all), by least squares over the aperture, at normal view.
    """
    u, v = _equal_areas()
    fringes = gap.fringes(u, v)
    shape = scene.plate_radius_mm, scene.diameter_mm
    form = form_quantities_of_map(u, v, fringes, *shape)
    symmetric = _symmetric_pv(u, v, fringes, *shape)
    sense = "centre" if form.power > 0 else "edge" if form.power < 0 else "unknown"
    edge, wavelength = scene.edge, scene.lamp.wavelength_nm
    return {
        "schema": SCHEMA,
        "power_fringes": form.power,
        "sense": sense,
        "wavelength_nm": wavelength,
        "tilt_fringes": form.tilt,
        "tilt_angle_deg": _tilt_angle(u, v, fringes),
        "astigmatism_fringes": form.astigmatism_pv,
        "irregularity_fringes": form.irregularity_pv,
        "symmetric_irregularity_fringes": symmetric,
        "rms_irregularity_fringes": form.rms_irregularity,
        "iso10110": iso10110_text(
            form.power, form.irregularity_pv, symmetric, wavelength
        ),
        "edge": {
            "cx": edge.cx, "cy": edge.cy, "a": edge.a, "b": edge.b, "angle_deg": edge.angle_deg,
        },
        "edge_in_view": edge_in_view(scene),
        **_ring_truth(scene, gap, form.power),
        "contrast": _contrast(scene, gap, u, v),
        "max_frequency_cycles_px": max_frequency(scene, gap),
        "min_gap_nm": scene.form.min_gap_nm,
        "max_gap_nm": float(max(gap.nm(u, v).max(), gap.nm(*_rim()).max())),
        "seed": scene.seed,
        "scene": scene.to_json(),
    }  # fmt: skip


def edge_in_view(scene: Scene) -> bool:
    """Whether most of the rim lies in the frame."""
    turns = np.linspace(0, 2 * math.pi, 360, endpoint=False)
    x, y = scene.edge.pixels(np.cos(turns), np.sin(turns))
    seen = (x >= 0) & (x < scene.width) & (y >= 0) & (y < scene.height)
    return bool(seen.mean() > 0.5)


def max_frequency(scene: Scene, gap: GapModel) -> float:
    """Highest local frequency of the fringes in the photograph [cycle/px]."""
    edge = scene.edge
    turns = np.linspace(0, 2 * math.pi, 73)
    rho = np.sqrt(np.linspace(0.01, 0.999, 60))[:, None]
    x, y = edge.pixels(rho * np.cos(turns), rho * np.sin(turns))
    step = 0.25

    def orders(dx: float, dy: float) -> Floats:
        u, v = unboost(scene, *edge.unit(x + dx, y + dy))
        return gap.opd_nm(u, v) / scene.lamp.wavelength_nm

    along_x = (orders(step, 0) - orders(-step, 0)) / (2 * step)
    along_y = (orders(0, step) - orders(0, -step)) / (2 * step)
    return float(np.hypot(along_x, along_y).max())


def _equal_areas() -> tuple[Floats, Floats]:
    """Points of the disc that each stand for the same area."""
    rho = np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS)[:, None]
    turn = (2 * math.pi / _SPOKES) * np.arange(_SPOKES)[None, :]
    return rho * np.cos(turn), rho * np.sin(turn)


def _rim() -> tuple[Floats, Floats]:
    turn = np.linspace(0, 2 * math.pi, 721)
    return np.cos(turn), np.sin(turn)


def _symmetric_pv(
    u: Floats, v: Floats, fringes: Floats, radius_mm: float | None, diameter_mm: float | None
) -> float:
    """Peak to valley of the ring means without piston and sphere; no smoothing of a turned edge."""
    mean = fringes.mean(axis=1)
    sphere = sphere_form(u, v, radius_mm, diameter_mm)[:, 0]
    design = np.stack([np.ones_like(sphere), sphere], axis=1)
    rest = mean - design @ np.linalg.lstsq(design, mean, rcond=None)[0]
    return float(np.ptp(rest))


def _tilt_angle(u: Floats, v: Floats, fringes: Floats) -> float:
    """Direction of the best-fit plane; u and v are orthogonal to all else on the disc."""
    return math.degrees(math.atan2(float((v * fringes).sum()), float((u * fringes).sum())))


def _ring_truth(scene: Scene, gap: GapModel, power: float) -> dict[str, Any]:
    """Ring counts and radii, where they apply."""
    edge, wavelength = scene.edge, scene.lamp.wavelength_nm
    values: dict[str, Any] = {
        "rings": rings_crossed(gap),
        "ring_step_px2": None,
        "effective_radius_mm": None,
        "radius_difference_mm": None,
    }
    if power == 0:
        return values
    if edge.a == edge.b:
        values["ring_step_px2"] = edge.a**2 / abs(power)
    if scene.diameter_mm is not None:
        # r^2 = m lambda R_eff, and the rim is at order |power|
        semi = scene.diameter_mm / 2
        values["effective_radius_mm"] = semi**2 / (abs(power) * wavelength * 1e-6)
    if scene.plate_radius_mm is not None and scene.diameter_mm is not None:
        # no sphere may have that power; the picture is good all the same
        with contextlib.suppress(BadInput):
            values["radius_difference_mm"] = radius_difference_mm(
                power, scene.plate_radius_mm, scene.diameter_mm, wavelength, work=scene.work
            )
    return values


def rings_crossed(gap: GapModel) -> int | None:
    """Whole dark rings from the fringe centre to the rim along the radius with the most.

    `None` when the gap has no turning point on the disc, so that no ring is closed. The
    fringe centre is where the gap is least (power > 0) or greatest (power < 0).
    """
    rho = np.sqrt(np.linspace(0, 1, 200))[:, None]
    turn = np.linspace(0, 2 * math.pi, 181)[None, :]
    u, v = rho * np.cos(turn), rho * np.sin(turn)
    fringes = gap.fringes(u, v) * (1 if gap.scene.form.power >= 0 else -1)
    at = np.unravel_index(int(np.argmin(fringes)), fringes.shape)
    if rho[at[0], 0] > 0.995:
        return None
    centre, rim = float(fringes[at]), fringes[-1]
    # dark where the gap is a whole number of fringes; not the centre itself
    return int(max(np.floor(rim.max()) - math.floor(centre + 1e-9), 0))


def _contrast(scene: Scene, gap: GapModel, u: Floats, v: Floats) -> float:
    """Median contrast of the fringes on the work, before the camera's blur."""
    bench = scene.bench
    opd = gap.opd_nm(u, v)[::8]
    peak = float(modulation(scene.lamp, np.zeros(1), scene)[0])
    lamp = bench.contrast * peak * float(np.median(scene.lamp.contrast(opd)))
    # white room light lifts the mean: 0.5 in the brightest channel, like the mean fringe level
    mean = 1 / (1 + bench.contrast)
    return lamp * mean / (mean + 0.5 * bench.ambient)
