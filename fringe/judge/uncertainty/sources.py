"""Budgets of what fringes say: power, radius difference, the work's radius.

The inputs are the parts of a reading's own uncertainty (fit, edge, view angle), what repeated
readings scatter, and what the bench adds: plate radius and form, temperature, diameter and
wavelength.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, stdev
from typing import Any

from fringe.errors import BadInput
from fringe.judge.tolerance.verdict import Measured
from fringe.judge.uncertainty.budget import Budgets, budgets
from fringe.judge.uncertainty.model import Input, Model
from fringe.optics.spheres import fringes_from_nm, radius_difference_mm
from fringe.optics.thermal import bending_nm
from fringe.orders.reading import Reading
from fringe.student_t import coverage_factor

# how the parts of a reading are called in a budget
PART_NAMES = {"view": "view angle"}
# parts of power: errors of value zero that add to it
_ADDED = "added to power"


@dataclass(frozen=True)
class Bench:
    """What a reading of fringes does not know of the bench.

    Attributes
    ----------
    work : {'convex', 'concave'}
        Form of the work.
    diameter_mm, u_diameter_mm : float or None, float
        Diameter of the aperture and its standard uncertainty [mm].
    plate_radius_mm, u_plate_radius_mm : float or None, float
        Radius of the plate and its standard uncertainty [mm].
    u_wavelength_nm : float
        Standard uncertainty of the wavelength in use [nm].
    u_plate_form_nm : float
        Standard uncertainty of the plate's form, as power of its own [nm of height].
    u_axial_k : float
        Standard uncertainty of the temperature difference between the faces of work and
        plate, taken together [K].
    u_pieces_k : float
        Standard uncertainty of the temperature difference between work and plate [K].
    expansion_per_k : float
        Linear expansion of the glass [1/K].
    thickness_mm : float or None
        Thickness of the thinner piece [mm]; needed with `u_axial_k`.
    """

    work: str = "convex"
    diameter_mm: float | None = None
    u_diameter_mm: float = 0.0
    plate_radius_mm: float | None = None
    u_plate_radius_mm: float = 0.0
    u_wavelength_nm: float = 0.0
    u_plate_form_nm: float = 0.0
    u_axial_k: float = 0.0
    u_pieces_k: float = 0.0
    expansion_per_k: float = 0.0
    thickness_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse a temperature that nothing can be made of."""
        if self.u_axial_k and (not self.thickness_mm or not self.diameter_mm):
            raise BadInput(
                "temperature: bending needs the glass's thickness (--thickness) and the diameter"
            )
        if (self.u_axial_k or self.u_pieces_k) and not self.expansion_per_k:
            raise BadInput("temperature: it needs the glass (--glass), for its expansion")


def reading_budgets(
    readings: Sequence[Reading], bench: Bench, *, trials: int = 50_000, seed: int = 1
) -> Budgets:
    """Budgets of power and, where the sizes are known, of radius difference and radius.

    Several readings count as one visit: their mean. Fit, edge and view angle are taken as
    common to all of them, their scatter comes on top as repeatability.

    Parameters
    ----------
    readings : sequence of Reading
        At least one with a power; of one wavelength.
    bench : Bench
        What else is known.
    trials, seed : int
        Of the Monte Carlo check; no check with zero trials.

    Returns
    -------
    Budgets
        `power` [fringe], and with plate radius and diameter `radius difference` and
        `work radius` [mm]. Of unknown sense: the magnitude, as for contact at the centre.

    Raises
    ------
    BadInput
        If there is no power, the wavelengths differ, or the senses contradict one another.
    """
    powers, wavelength = _powers(readings)
    inputs = [Input("fringes read", fmean(powers), 0.0, "fringes"), *_added(readings, powers)]
    inputs += _bench_added(bench, wavelength)
    added = [one.name for one in inputs if one.source.startswith(_ADDED)]
    models: dict[tuple[str, str], Model] = {
        ("power", "fringes"): lambda x: x["fringes read"] + sum(x[name] for name in added)
    }
    if bench.plate_radius_mm is not None and bench.diameter_mm is not None:
        inputs += [
            Input("plate radius", bench.plate_radius_mm, bench.u_plate_radius_mm, "mm"),
            Input("diameter", bench.diameter_mm, bench.u_diameter_mm, "mm"),
            Input("wavelength", wavelength, bench.u_wavelength_nm, "nm"),
            _pieces(bench),
        ]
        power = models["power", "fringes"]

        def step(x: Mapping[str, Any]) -> Any:
            return (
                radius_difference_mm(
                    power(x), x["plate radius"], x["diameter"], x["wavelength"], bench.work
                )
                + x["temperature, pieces"]
            )

        models["radius difference", "mm"] = step
        models["work radius", "mm"] = lambda x: x["plate radius"] + step(x)
    return budgets(models, inputs, trials=trials, seed=seed)


def measured_from_budgets(found: Budgets, readings: Sequence[Reading]) -> Measured:
    """Return what a verdict takes, with the uncertainties of the budgets."""
    power = found["power"]
    step = found.results.get("radius difference")
    b_values = [r.irregularity_fringes for r in readings if r.irregularity_fringes is not None]
    return Measured(
        power_fringes=power.value,
        power_u_fringes=power.u,
        sense=_sense(readings),
        irregularity_fringes=fmean(b_values) if b_values else None,
        irregularity_u_fringes=_irregularity_u(readings),
        radius_difference_mm=step.value if step else None,
        radius_difference_u_mm=step.u if step else None,
        wavelength_nm=readings[0].wavelength_nm,
        dof=power.dof,
    )


@dataclass(frozen=True)
class Link:
    """One piece of a chain, tested by contact against the piece before it.

    Attributes
    ----------
    name : str
        Of the piece.
    form : {'convex', 'concave'}
        Its form; the piece before it has the other one.
    power_fringes : float
        Power read between the two [fringe].
    u_parts : mapping
        From the name of a part to its standard uncertainty [fringe].
    diameter_mm, u_diameter_mm : float
        Diameter of the aperture and its standard uncertainty [mm].
    wavelength_nm, u_wavelength_nm : float
        Wavelength in air and its standard uncertainty [nm].
    lamp : str
        Links of one lamp share its error of wavelength.
    """

    name: str
    form: str
    power_fringes: float
    u_parts: Mapping[str, float]
    diameter_mm: float
    wavelength_nm: float
    u_diameter_mm: float = 0.0
    u_wavelength_nm: float = 0.0
    lamp: str = ""
    dof: Mapping[str, float] = field(default_factory=dict)


def chain_budgets(
    plate_radius_mm: float,
    u_plate_radius_mm: float,
    links: Sequence[Link],
    *,
    trials: int = 50_000,
    seed: int = 1,
) -> Budgets:
    """Radii along the chain plate, convex, concave, and each mismatch, correlations kept.

    All radii hang on the one plate, so its uncertainty enters each of them and is shared; a
    mismatch is read by contact and does not inherit it.

    Parameters
    ----------
    plate_radius_mm, u_plate_radius_mm : float
        Radius of the plate and its standard uncertainty [mm].
    links : sequence of Link
        Pieces in their order, each tested against the one before; the first against the plate.
    trials, seed : int
        Of the Monte Carlo check; no check with zero trials.

    Returns
    -------
    Budgets
        For each link its radius, `NAME radius`, and `NAME mismatch`, its radius minus that of
        the piece before it [mm].
    """
    names = [link.name for link in links]
    if len(set(names)) != len(names):
        raise BadInput("chain: two pieces have the same name")
    inputs = [Input("plate radius", plate_radius_mm, u_plate_radius_mm, "mm")]
    for link in links:
        inputs += _link_inputs(link, {one.name for one in inputs})
    models: dict[tuple[str, str], Model] = {}
    before: Model = _plate
    for link in links:
        mismatch = _mismatch(link, before)
        models[f"{link.name} mismatch", "mm"] = mismatch
        before = _sum(before, mismatch)
        models[f"{link.name} radius", "mm"] = before
    return budgets(models, inputs, trials=trials, seed=seed)


def _plate(x: Mapping[str, Any]) -> Any:
    return x["plate radius"]


def _sum(first: Model, second: Model) -> Model:
    return lambda x: first(x) + second(x)


def _mismatch(link: Link, before: Model) -> Model:
    parts = [f"{link.name}, {part}" for part in link.u_parts]

    def model(x: Mapping[str, Any]) -> Any:
        power = x[f"{link.name}, fringes read"] + sum(x[part] for part in parts)
        return radius_difference_mm(
            power, before(x), x[f"{link.name}, diameter"], x[_light(link)], link.form
        )

    return model


def _light(link: Link) -> str:
    return f"wavelength {link.lamp}" if link.lamp else f"{link.name}, wavelength"


def _link_inputs(link: Link, known: set[str]) -> list[Input]:
    inputs = [
        Input(f"{link.name}, fringes read", link.power_fringes, 0.0, "fringes"),
        Input(f"{link.name}, diameter", link.diameter_mm, link.u_diameter_mm, "mm"),
    ]
    inputs += [
        Input(f"{link.name}, {part}", 0.0, u, "fringes", dof=link.dof.get(part))
        for part, u in link.u_parts.items()
    ]
    if _light(link) not in known:
        inputs.append(Input(_light(link), link.wavelength_nm, link.u_wavelength_nm, "nm"))
    return inputs


def _powers(readings: Sequence[Reading]) -> tuple[list[float], float]:
    """Powers with one sign, and their wavelength."""
    read = [one for one in readings if one.power_fringes is not None]
    if not read:
        raise BadInput("budget: no reading has a power")
    wavelength = read[0].wavelength_nm
    if any(abs(one.wavelength_nm - wavelength) > 1e-6 * wavelength for one in read):
        raise BadInput("budget: the readings are in different light; take those of one lamp")
    sense = _sense(read)
    sign = -1.0 if sense == "edge" else 1.0
    values = [float(one.power_fringes or 0.0) for one in read]
    if all(one.sense == sense for one in read):
        return values if sense != "unknown" else [abs(one) for one in values], wavelength
    return [sign * abs(one) for one in values], wavelength


def _sense(readings: Sequence[Reading]) -> str:
    senses = {one.sense for one in readings if one.power_fringes is not None} - {"unknown"}
    if len(senses) > 1:
        raise BadInput("budget: one reading has its contact at the centre, another at the edge")
    return senses.pop() if senses else "unknown"


def _added(readings: Sequence[Reading], powers: Sequence[float]) -> list[Input]:
    """Parts of the readings' own uncertainty, and their scatter."""
    read = [one for one in readings if one.power_fringes is not None]
    names = dict.fromkeys(name for one in read for name in _parts(one))
    inputs = [
        Input(
            PART_NAMES.get(name, name),
            0.0,
            fmean(_parts(one).get(name, 0.0) for one in read),
            "fringes",
            source=f"{_ADDED}: of the reading",
        )
        for name in names
    ]
    count = len(powers)
    if count > 1:
        scatter, source = stdev(powers) / math.sqrt(count), f"{_ADDED}: scatter of {count} readings"
        inputs.append(Input("repeatability", 0.0, scatter, "fringes", dof=count - 1, source=source))
    return inputs


def _parts(reading: Reading) -> dict[str, float]:
    if reading.power_u_parts:
        return reading.power_u_parts
    if reading.power_u95_fringes is None:
        return {}
    return {"reading": reading.power_u95_fringes / coverage_factor()}


def _bench_added(bench: Bench, wavelength_nm: float) -> list[Input]:
    """What plate and temperature add to power."""
    form = fringes_from_nm(bench.u_plate_form_nm, wavelength_nm)
    inputs = [Input("plate form", 0.0, form, "fringes", source=f"{_ADDED}: plate's record")]
    bend = 0.0
    if bench.u_axial_k and bench.diameter_mm and bench.thickness_mm:
        height = bending_nm(
            bench.expansion_per_k, bench.u_axial_k, bench.diameter_mm, bench.thickness_mm
        )
        bend = abs(fringes_from_nm(height, wavelength_nm))
    inputs.append(Input("temperature", 0.0, bend, "fringes", source=f"{_ADDED}: bending"))
    return inputs


def _pieces(bench: Bench) -> Input:
    """Unequal temperatures of work and plate, as radius difference."""
    radius = bench.plate_radius_mm or 0.0
    u = radius * abs(bench.expansion_per_k) * bench.u_pieces_k
    return Input("temperature, pieces", 0.0, u, "mm", source="work warmer than plate")


def _irregularity_u(readings: Sequence[Reading]) -> float | None:
    from fringe.judge.tolerance.verdict import irregularity_u_fringes

    values = [irregularity_u_fringes(one.form) for one in readings if one.form is not None]
    return fmean(values) if values else None
