"""The quantities of a perfect reading of a rendered scene."""

from __future__ import annotations

import contextlib
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fringe.errors import BadInput
from fringe.optics.form import form_quantities_of_map, iso10110_text
from fringe.optics.spheres import radius_difference_mm, sphere_form
from fringe.synth.gap import GapModel, pressed_gap, unboost, vertex
from fringe.synth.light import modulation
from fringe.synth.scene import Scene

Floats = NDArray[np.float64]
SCHEMA = "fringe-synth-1"
_RINGS, _SPOKES = 800, 72
_NO_POWER = 1e-6  # below this, only rounding is left


def truth_of(scene: Scene, gap: GapModel) -> dict[str, object]:
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
    sense = "unknown" if abs(form.power) < _NO_POWER else "centre" if form.power > 0 else "edge"
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
        "iso10110": iso10110_text(form.power, form.irregularity_pv, symmetric, wavelength),
        "edge": {
            "cx": edge.cx,
            "cy": edge.cy,
            "a": edge.a,
            "b": edge.b,
            "angle_deg": edge.angle_deg,
        },
        "edge_in_view": edge_in_view(scene),
        **_ring_truth(scene, gap, form.power),
        "contrast": _contrast(scene, gap, u, v),
        "max_frequency_cycles_px": max_frequency(scene, gap),
        "min_gap_nm": scene.form.min_gap_nm,
        "max_gap_nm": float(max(gap.nm(u, v).max(), gap.nm(*_rim()).max())),
        "seed": scene.seed,
        "scene": scene.to_json(),
    }


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


def _ring_truth(scene: Scene, gap: GapModel, power: float) -> dict[str, object]:
    """Ring counts and radii, where they apply."""
    wavelength = scene.lamp.wavelength_nm
    values: dict[str, Any] = {
        "rings": rings_crossed(gap),
        "ring_step_px2": ring_step_px2(gap, power),
        "effective_radius_mm": None,
        "radius_difference_mm": None,
    }
    if abs(power) < _NO_POWER:
        return values
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
    """Whole dark rings as seen, from the fringe centre to the rim or the frame's border.

    Along the straight line from the fringe centre that crosses the most. `None` when no
    fringe centre lies in view. It is where the gap is least (power > 0) or greatest.
    """
    rho, turn = np.sqrt(np.linspace(0, 1, 200))[:, None], np.linspace(0, 2 * math.pi, 181)
    u, v = rho * np.cos(turn), rho * np.sin(turn)
    orders = np.where(_in_frame(gap.scene, u, v), _orders(gap, u, v), math.inf)
    at = np.unravel_index(int(np.argmin(orders)), orders.shape)
    middle = float(u[at]), float(v[at])
    if rho[at[0], 0] > 0.995 or not _in_frame(gap.scene, *_nudged(middle)).all():
        return None
    rays = np.linspace(0, 2, 401)[:, None]
    u, v = middle[0] + rays * np.cos(turn), middle[1] + rays * np.sin(turn)
    seen = (u**2 + v**2 <= 1) & _in_frame(gap.scene, u, v)
    last = np.cumprod(seen, axis=0).sum(axis=0) - 1
    along = np.arange(turn.size)
    ends = _orders(gap, u[last, along], v[last, along])
    # dark where the order is a whole number; not the centre itself, not the very rim
    centre = math.floor(float(orders[at]) + 1e-6)
    return int(max(np.floor(ends.max() - 1e-6) - centre, 0))


def _orders(gap: GapModel, u: Floats, v: Floats) -> Floats:
    """Orders of interference as seen, growing away from the fringe centre."""
    sign = 1 if gap.scene.form.power >= 0 else -1
    return np.asarray(sign * gap.opd_nm(u, v) / gap.scene.lamp.wavelength_nm)


def _in_frame(scene: Scene, u: Floats, v: Floats) -> NDArray[np.bool_]:
    """Whether points of the disc lie in the photograph (perspective left aside)."""
    x, y = scene.edge.pixels(u, v)
    return (x >= 0) & (x <= scene.width - 1) & (y >= 0) & (y <= scene.height - 1)


def _nudged(middle: tuple[float, float]) -> tuple[Floats, Floats]:
    """Points close round a point of the disc: a centre at the frame's border is none."""
    turn = np.linspace(0, 2 * math.pi, 8)
    return middle[0] + 0.02 * np.cos(turn), middle[1] + 0.02 * np.sin(turn)


def ring_step_px2(gap: GapModel, power: float) -> float | None:
    """Growth of r^2 a ring [px^2]: a^2 / |power|, when the edge is a circle.

    Round a disc that is pressed flat, least squares through the dark rings in view: their
    steps come to that of the sphere only far out.
    """
    scene, edge = gap.scene, gap.scene.edge
    if edge.a != edge.b or abs(power) < _NO_POWER:
        return None
    pressed = scene.form.pressed_radius
    if pressed == 0:
        return edge.a**2 / abs(power)
    u0, v0 = vertex(scene.form)
    x, y = edge.pixels(u0, v0)
    border = min(float(x), float(y), scene.width - 1 - float(x), scene.height - 1 - float(y))
    rho = np.linspace(pressed, min(1 - math.hypot(u0, v0), border / edge.a), 4000)
    orders = (
        scene.form.power * pressed_gap(rho, pressed)
        + 2 * scene.form.min_gap_nm / scene.lamp.wavelength_nm
    )
    whole = np.arange(math.floor(orders[0]) + 1, math.floor(orders[-1]) + 1)
    if whole.size < 3:
        return edge.a**2 / scene.form.power
    squares = (edge.a * np.interp(whole, orders, rho)) ** 2
    return float(np.polyfit(whole, squares, 1)[0])


def _contrast(scene: Scene, gap: GapModel, u: Floats, v: Floats) -> float:
    """Median contrast of the fringes on the work, before the camera's blur."""
    bench = scene.bench
    opd = gap.opd_nm(u, v)[::8]
    peak = float(modulation(scene.lamp, np.zeros(1), scene)[0])
    lamp = bench.contrast * peak * float(np.median(scene.lamp.contrast(opd)))
    # white room light lifts the mean: 0.5 in the brightest channel, like the mean fringe level
    mean = 1 / (1 + bench.contrast)
    return lamp * mean / (mean + 0.5 * bench.ambient)
