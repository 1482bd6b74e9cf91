"""A scene from the options of a command line."""

from __future__ import annotations

import math
import re
import secrets
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fringe.errors import BadInput
from fringe.optics.lamps import lamp
from fringe.synth.families import random_scene
from fringe.synth.files import truth_path
from fringe.synth.gap import gap_model
from fringe.synth.scene import Form, Scene, Term
from fringe.synth.truth import max_frequency

NYQUIST = 0.5


def new_seed() -> int:
    """Return a seed that nobody chose."""
    return secrets.randbelow(2**31)


@dataclass(frozen=True)
class Request:
    """Options of a scene; `None` leaves the family's or the default value.

    Attributes
    ----------
    seed : int
        Of everything random.
    family : str or None
        Draw a random scene of this family first.
    power, tilt, turned_edge, zone, bump : float or None
        [fringe]
    astigmatism, coma, trefoil, spherical : float or None
        Peak to valley [fringe].
    angle_deg : float
        Direction of astigmatism, coma and trefoil [degree].
    sense : str or None
        `centre` or `edge`: where the contact is; gives the power its sign.
    min_gap_nm : float or None
        Smallest gap [nm]; drawn from 0 to 500 without a family.
    """

    seed: int = field(default_factory=new_seed)
    family: str | None = None
    size: str | None = None
    edge: str | None = None
    lamp: str | None = None
    power: float | None = None
    sense: str | None = None
    tilt: float | None = None
    tilt_angle: float | None = None
    astigmatism: float | None = None
    coma: float | None = None
    trefoil: float | None = None
    spherical: float | None = None
    angle_deg: float = 0.0
    turned_edge: float | None = None
    turned_edge_width: float | None = None
    zone: float | None = None
    zone_radius: float | None = None
    zone_width: float | None = None
    bump: float | None = None
    bump_width: float | None = None
    pressed: float | None = None
    min_gap_nm: float | None = None
    diameter_mm: float | None = None
    plate_radius_mm: float | None = None
    work: str | None = None
    camera_distance_mm: float | None = None
    view_angle: float | None = None
    view_direction: float | None = None
    perspective: bool = False
    contrast: float | None = None
    multiple_beams: bool = False
    reflectance: float | None = None
    uneven: float | None = None
    background: str | None = None
    noise: float | None = None
    blur: float | None = None
    exposure: float | None = None
    dust: int | None = None
    hairs: int | None = None
    scratches: int | None = None
    glare: int | None = None
    fingers: int | None = None
    clips: int | None = None
    graticule: bool = False
    grey: bool = False
    bits: int | None = None
    quality: int | None = None


def request_scene(request: Request) -> Scene:
    """Make the scene that was asked for.

    Raises
    ------
    BadInput
        For a value out of range, or values that contradict each other.
    """
    rng = np.random.default_rng(request.seed)
    size = None if request.size is None else parse_size(request.size)
    if request.family is None:
        scene = Scene(form=Form(min_gap_nm=float(rng.uniform(0, 500))))
        if size is not None:
            scene = replace(scene, width=size[0], height=size[1])
    else:
        scene = random_scene(rng, request.family, size)
    scene = replace(scene, seed=request.seed)
    scene = replace(
        scene,
        **_given(
            lamp=None if request.lamp is None else lamp(request.lamp),
            diameter_mm=request.diameter_mm,
            plate_radius_mm=request.plate_radius_mm,
            work=request.work,
            camera_distance_mm=request.camera_distance_mm,
            view_angle_deg=request.view_angle,
            view_direction_deg=request.view_direction,
            perspective=request.perspective or None,
        ),
        **({} if request.edge is None else _edge(request.edge)),
    )
    scene = replace(scene, form=_form(request, scene.form), **_looks(request, scene))
    _check_resolved(scene)
    return scene


def parse_size(text: str) -> tuple[int, int]:
    """Read `800x600` or `800` (square) as width and height [px]."""
    match = re.fullmatch(r"\s*(\d{1,6})\s*(?:[xX×]\s*(\d{1,6}))?\s*", text)
    if match is None:
        raise BadInput(
            f"--size: {text!r} is not a size; write WIDTHxHEIGHT or one number of pixels"
        )
    width = int(match[1])
    return width, int(match[2] or width)


def _edge(text: str) -> dict[str, Any]:
    try:
        cx, cy, radius = (float(part) for part in text.split(","))
    except ValueError:
        raise BadInput(f"--edge: {text!r} is not a circle; write CX,CY,R in pixels") from None
    return {"centre_px": (cx, cy), "radius_px": radius}


def _given(**values: object) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _form(request: Request, form: Form) -> Form:
    power = form.power if request.power is None else request.power
    if request.sense is not None:
        wanted = 1 if request.sense == "centre" else -1
        if request.power is not None and request.power * wanted < 0:
            raise BadInput(
                f"--power {request.power:g} means contact at the "
                f"{'edge' if request.power < 0 else 'centre'}, not at the {request.sense}"
            )
        power = wanted * abs(power)
    changes = _given(
        tilt=request.tilt,
        tilt_angle_deg=request.tilt_angle,
        turned_edge=request.turned_edge,
        turned_edge_width=request.turned_edge_width,
        zone=request.zone,
        zone_radius=request.zone_radius,
        zone_width=request.zone_width,
        bump=request.bump,
        bump_width=request.bump_width,
        pressed_radius=request.pressed,
        min_gap_nm=request.min_gap_nm,
        zernike=_zernike(request),
    )
    return replace(form, power=power, **changes)


def _zernike(request: Request) -> tuple[Term, ...] | None:
    """Terms from peak to valley values: 2 for one lobe pair, 3/2 for spherical (4, 0)."""
    terms: list[Term] = []
    for value, order in (
        (request.astigmatism, (2, 2)),
        (request.coma, (3, 1)),
        (request.trefoil, (3, 3)),
    ):
        if value:
            n, m = order
            turn = math.radians(m * request.angle_deg)
            terms.append(((n, m), value / 2 * math.cos(turn)))
            terms.append(((n, -m), value / 2 * math.sin(turn)))
    if request.spherical:
        terms.append(((4, 0), request.spherical / 1.5))
    asked = (request.astigmatism, request.coma, request.trefoil, request.spherical)
    return None if all(value is None for value in asked) else tuple(terms)


def _looks(request: Request, scene: Scene) -> dict[str, Any]:
    bench = _given(
        contrast=request.contrast,
        unevenness=request.uneven,
        background=request.background,
        multiple_beams=request.multiple_beams or (request.reflectance is not None) or None,
        reflectance=request.reflectance,
    )
    dirt = _given(
        **{
            name: getattr(request, name)
            for name in ("dust", "hairs", "scratches", "glare", "fingers", "clips")
        },
        graticule=request.graticule or None,
    )
    camera = _given(
        noise=request.noise,
        blur_px=request.blur,
        exposure=request.exposure,
        bits=request.bits,
        quality=request.quality,
        colour="mono" if request.grey else None,
    )
    return {
        "bench": replace(scene.bench, **bench),
        "dirt": replace(scene.dirt, **dirt),
        "camera": replace(scene.camera, **camera),
    }


def _check_resolved(scene: Scene) -> None:
    highest = max_frequency(scene, gap_model(scene))
    if highest > NYQUIST:
        raise BadInput(
            f"fringes of up to {highest:.2f} cycles a pixel cannot be drawn (0.5 at most); "
            "lower the power or the tilt, or raise --size"
        )


def describe(truth: dict[str, Any]) -> str:
    """Say in words what a rendered photograph shows, and where it is."""
    power, tilt = _number(truth["power_fringes"]), _number(truth["tilt_fringes"])
    sense = truth["sense"]
    contact = (
        "contact not determined by the power" if sense == "unknown" else f"contact at the {sense}"
    )
    lines = [
        f"wrote {truth['photo']} and {truth_path(str(truth['photo']))}",
        f"power {power:+.3f} fringes at {_number(truth['wavelength_nm']):.1f} nm: {contact}",
        f"tilt {tilt:.3f} fringes edge to centre"
        + (f", toward {_number(truth['tilt_angle_deg']):.0f} degrees" if tilt >= 5e-4 else ""),
        f"irregularity {_number(truth['irregularity_fringes']):.3f} fringes peak to valley, of "
        f"which astigmatism {_number(truth['astigmatism_fringes']):.3f} and symmetric "
        f"{_number(truth['symmetric_irregularity_fringes']):.3f}",
    ]
    if truth["rings"] is not None:
        lines.append(f"{truth['rings']} whole dark rings from the fringe centre to the edge")
    if truth["radius_difference_mm"] is not None:
        difference = _number(truth["radius_difference_mm"])
        lines.append(f"radius of the work less that of the plate {difference:+.5f} mm")
    lines.append(f"contrast {_number(truth['contrast']):.2f}, seed {truth['seed']}")
    return "\n".join(lines)


def _number(value: object) -> float:
    assert isinstance(value, int | float)
    return float(value)
