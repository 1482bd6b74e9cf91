"""Budgets of what fringes say: power, radius difference, the work's radius.

The inputs are the parts of a reading's own uncertainty (fit, edge, view angle), what repeated
readings scatter, and what the bench adds: plate radius and form, temperature, diameter and
wavelength.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fringe.errors import BadInput
from fringe.judge.state.combine import combine
from fringe.judge.tolerance.measured import Measured
from fringe.judge.uncertainty.budget import Budgets, budgets
from fringe.judge.uncertainty.model import Input, Model
from fringe.optics.spheres import fringes_from_nm, radius_difference_mm, radius_differences_mm
from fringe.optics.thermal import bending_nm
from fringe.orders.lengths import (
    Lengths,
    at_stated_wavelength,
    radius_difference,
    wavelength_of,
)
from fringe.orders.reading import Reading
from fringe.quantity import Quantity, Source

# how the parts of a reading are called in a budget
PART_NAMES = {"view": "view angle", "plate_form": "plate form", "plate_back": "plate back"}
# the same of irregularity
_FORM_NAMES = {
    "form": "form as read",
    "plate_map": "plate map",
    "repeatability": "repeatability, form",
}
# parts of power: errors of value zero that add to it
_ADDED = "added to power"
_WARMER = "work warmer than plate"


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
    plate, lamp : str
        Their names: what is read on one plate, and in one lamp, shares its errors.
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
    plate: str = ""
    lamp: str = ""

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
        `irregularity` [fringe], where the plate's map was taken out.

    Raises
    ------
    BadInput
        If there is no power, the wavelengths differ, or the senses contradict one another.
    """
    mean = visit_measured(readings, bench)
    found, wavelength = mean.power, mean.wavelength_nm
    if found is None or wavelength is None:
        raise BadInput("budget: the readings state no uncertainty")
    inputs = [Input("fringes read", found.value, 0.0, "fringes"), *_added(found, len(readings))]
    added = [one.name for one in inputs if one.source.startswith(_ADDED)]
    share = found.u_of("wavelength") / abs(found.value) if found.value else 0.0
    lamp = bench.lamp or readings[0].lamp
    inputs.append(Input("wavelength", wavelength, share * wavelength, "nm", of=lamp))

    def counted(x: Mapping[str, Any]) -> Any:
        return x["fringes read"] + sum(x[name] for name in added)

    models: dict[tuple[str, str], Model] = {
        ("power", "fringes"): lambda x: counted(x) * (x["wavelength"] / wavelength)
    }
    if bench.plate_radius_mm is not None and bench.diameter_mm is not None:
        inputs += [
            Input(
                "plate radius",
                bench.plate_radius_mm,
                bench.u_plate_radius_mm,
                "mm",
                of=bench.plate,
            ),
            Input("diameter", bench.diameter_mm, bench.u_diameter_mm, "mm"),
            Input("temperature, pieces", 0.0, _u_pieces_mm(bench), "mm", source=_WARMER),
        ]

        def step(x: Mapping[str, Any]) -> Any:
            sizes = x["plate radius"], x["diameter"], x["wavelength"]
            # of all draws at once, where each by itself would take longer than all else
            many = getattr(x["plate radius"], "ndim", 0)
            difference = radius_differences_mm if many else radius_difference_mm
            return difference(counted(x), *sizes, bench.work) + x["temperature, pieces"]

        models["radius difference", "mm"] = step
        models["work radius", "mm"] = lambda x: x["plate radius"] + step(x)
    dof: dict[str, float | None] = {name: found.dof for name, _ in models}
    form = mean.irregularity
    if form is not None and form.u_of("plate_map"):
        errors = _of_form(form)
        inputs += [Input("irregularity read", form.value, 0.0, "fringes"), *errors]
        models["irregularity", "fringes"] = lambda x: (
            (x["irregularity read"] + sum(x[one.name] for one in errors))
            * (x["wavelength"] / wavelength)
        )
        dof["irregularity"] = form.dof
    made = budgets(models, inputs, trials=trials, seed=seed)
    # few readings stand on fewer degrees of freedom than their parts tell, see `combine`
    results = {name: replace(one, dof=dof[name]) for name, one in made.results.items()}
    return replace(made, results=results)


def visit_measured(readings: Sequence[Reading], bench: Bench) -> Measured:
    """What readings of one contact and the bench measured together.

    Raises
    ------
    BadInput
        If there is no power, the wavelengths differ, or the senses contradict one another.
    """
    read = [one for one in readings if one.power_fringes is not None]
    if not read:
        raise BadInput("budget: no reading has a power")
    wavelength = read[0].wavelength_nm
    if any(abs(one.wavelength_nm - wavelength) > 1e-6 * wavelength for one in read):
        raise BadInput("budget: the readings are in different light; take those of one lamp")
    if len({one.sense for one in read} - {"unknown"}) > 1:
        raise BadInput("budget: one reading has its contact at the centre, another at the edge")
    return combine([measured_of(one, bench) for one in read], wavelength)


def measured_of(reading: Reading, bench: Bench) -> Measured:
    """What one reading measured, with all that its sources and the bench contribute.

    Everything that judges a reading takes it from here, so that one photograph and one record
    have one uncertainty, whoever asks.

    Parameters
    ----------
    reading : Reading
        As read, or as logged.
    bench : Bench
        What the record knows of plate, aperture, lamp and temperature.

    Returns
    -------
    Measured
        Power is the height that its fringes stand for at the reading's wavelength, so that the
        wavelength counts.
    """
    u_wave = bench.u_wavelength_nm or reading.u_wavelength_nm
    lamp = bench.lamp or reading.lamp
    wavelength = wavelength_of(reading.wavelength_nm, u_wave, lamp)
    made = Measured(
        sense=reading.sense,
        wavelength_nm=reading.wavelength_nm,
        photograph=reading.photograph,
        features=reading.features,
    )
    irregularity = reading.irregularity
    if irregularity is not None:
        irregularity = at_stated_wavelength(irregularity, wavelength)
    made = made.with_irregularity(reading.irregularity_fringes, irregularity)
    power, step = reading.power, reading.radius_difference
    if power is not None:
        power = _on_the_bench(power, bench, reading.wavelength_nm)
        if reading.radius_difference_mm is not None:
            step = _radius_difference(power, reading, bench, wavelength) or step
        power = at_stated_wavelength(power, wavelength)
    made = made.with_power(reading.power_fringes, power)
    return made.with_radius_difference(reading.radius_difference_mm, step)


def _on_the_bench(power: Quantity, bench: Bench, wavelength_nm: float) -> Quantity:
    """Add to a power what plate and temperature do to it."""
    form = fringes_from_nm(bench.u_plate_form_nm, wavelength_nm)
    # every contact on the plate is seen through the same back
    power = Quantity.of(
        power.value,
        power.unit,
        {
            Source(source.what, bench.plate) if source.what == "plate_back" else source: c
            for source, c in power.parts
        },
    )
    made = power.added(Source("plate_form", bench.plate), form)
    if not (bench.u_axial_k and bench.diameter_mm and bench.thickness_mm):
        return made
    height = bending_nm(
        bench.expansion_per_k, bench.u_axial_k, bench.diameter_mm, bench.thickness_mm
    )
    return made.added(Source("temperature"), abs(fringes_from_nm(height, wavelength_nm)))


def _radius_difference(
    counted: Quantity, reading: Reading, bench: Bench, wavelength: Quantity
) -> Quantity | None:
    """Radius difference over the record's sizes, of the value that was read; None without."""
    if bench.plate_radius_mm is None or bench.diameter_mm is None:
        return None
    radius = Source("plate_radius", bench.plate), bench.u_plate_radius_mm
    lengths = Lengths(
        Quantity.of(bench.plate_radius_mm, "mm", dict([radius])),
        Quantity.of(bench.diameter_mm, "mm", {Source("diameter"): bench.u_diameter_mm}),
        wavelength,
        bench.work,
    )
    found = radius_difference(counted, lengths)
    found = found.added(Source("temperature, pieces"), _u_pieces_mm(bench))
    found = abs(found) if reading.sense == "unknown" else found
    value = reading.radius_difference_mm
    return found if value is None else replace(found, value=value)


def _added(power: Quantity, count: int) -> list[Input]:
    """What adds to the fringes that were read: the sources of their power, and the bench's."""
    found = {source: c for source, c in power.parts if source.what != "wavelength"}
    kinds = {source.what for source in found}
    # inputs that were not stated stay in the table
    found |= {Source(what): 0.0 for what in ("plate_form", "temperature") if what not in kinds}
    whence = {
        "repeatability": f"scatter of {count} readings",
        "plate_form": "plate's record",
        "temperature": "bending",
    }
    return [
        _error(PART_NAMES, source, c, f"{_ADDED}: {whence.get(source.what, 'of the reading')}")
        for source, c in found.items()
    ]


def _of_form(irregularity: Quantity) -> list[Input]:
    """What adds to the irregularity that was read."""
    return [
        _error(_FORM_NAMES, source, c, "added to irregularity")
        for source, c in irregularity.parts
        if source.what != "wavelength"
    ]


def _error(names: Mapping[str, str], source: Source, contribution: float, whence: str) -> Input:
    """An error of value zero, by its source [fringe]."""
    name, u = names.get(source.what, source.what), abs(contribution)
    return Input(name, 0.0, u, "fringes", dof=source.dof, source=whence, of=source.of)


def _u_pieces_mm(bench: Bench) -> float:
    """Unequal temperatures of work and plate, as radius difference."""
    radius = bench.plate_radius_mm or 0.0
    return radius * abs(bench.expansion_per_k) * bench.u_pieces_k
