"""Plate and work on one spherometer: which is deeper, and what radius the work has.

The work's radius comes by one of two ways, whichever knows the plate's radius better:

* ``plate``: the plate's certified radius and its reading give the circle of contact, and
  that gives the work's radius. The size of the ring hardly matters.
* ``ring``: the sizes of the ring or the feet give both radii.

Either way the radius difference is that of the two readings, and is known far better than
the radii by the ring, since what the readings share cancels.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from statistics import fmean
from typing import Any

from fringe.errors import BadInput
from fringe.format import figures
from fringe.judge.spherometer.result import SagResult, text_of, trap_text
from fringe.judge.uncertainty.budget import Budget, independent_budget
from fringe.judge.uncertainty.model import Input
from fringe.optics.spheres import power_fringes
from fringe.optics.spherometer import (
    Spherometer,
    contact_from_radius_mm,
    other_form,
    radius_from_reading_mm,
    reading_from_radius_mm,
)

__all__ = [
    "SagResult",
    "SpherometerReadings",
    "compare",
    "reading_signs",
    "text_of",
    "trap_text",
]

UM_PER_MM = 1e3
# A ring whose size was given without an uncertainty is not blamed below this, relative to the
# radius (common practice, no source).
UNKNOWN_SIZE = 0.02


@dataclass(frozen=True)
class SpherometerReadings:
    """Readings of one visit, taken in turn, with their signs as the gauge shows them.

    Attributes
    ----------
    plate_mm, work_mm : tuple of float
        Repeated readings on the plate and on the work [mm].
    zero_mm : tuple of float
        Readings on a flat [mm]; empty: the gauge was set to zero there.
    u_reading_mm : float
        Standard uncertainty of a reading that repeating does not better: resolution, gauge
        [mm].
    u_drift_mm : float
        Standard uncertainty that the gauge gained since its calibration [mm]. Plate and work lie
        on opposite sides of the zero, and it is taken to make one deeper and the other
        shallower, as an error of the zero does: the worst that a drift can do.
    """

    plate_mm: tuple[float, ...]
    work_mm: tuple[float, ...]
    zero_mm: tuple[float, ...] = ()
    u_reading_mm: float = 0.0
    u_drift_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a piece without readings."""
        for name, readings in (("plate", self.plate_mm), ("work", self.work_mm)):
            if not readings:
                raise BadInput(f"spherometer: there is no reading of the {name}")

    @property
    def zero(self) -> float:
        """Mean reading on the flat [mm]."""
        return fmean(self.zero_mm) if self.zero_mm else 0.0


@dataclass(frozen=True)
class _Setup:
    """What the models of one comparison share."""

    readings: SpherometerReadings
    spherometer: Spherometer | None
    form: str
    plate_radius_mm: float | None
    u_plate_radius_mm: float | None
    signs: tuple[float, float] = (1.0, 1.0)
    method: str = "ring"
    notes: list[str] = field(default_factory=list)

    @property
    def plate_form(self) -> str:
        return other_form(self.form)


def compare(
    readings: SpherometerReadings,
    form: str,
    *,
    spherometer: Spherometer | None = None,
    plate_radius_mm: float | None = None,
    u_plate_radius_mm: float | None = None,
    diameter_mm: float | None = None,
    wavelength_nm: float | None = None,
    trials: int = 0,
) -> SagResult:
    """Compare the work with the plate by their spherometer readings.

    Parameters
    ----------
    readings : SpherometerReadings
        Of plate, work and zero.
    form : {'convex', 'concave'}
        Form of the work; the plate has the other one.
    spherometer : Spherometer, optional
        Without it the feet are taken as points, and the plate's radius is needed.
    plate_radius_mm, u_plate_radius_mm : float, optional
        Radius of the plate and its standard uncertainty [mm].
    diameter_mm : float, optional
        Diameter of the piece, over which the gap is quoted [mm].
    wavelength_nm : float, optional
        Wavelength that the gap's fringes are counted in [nm].
    trials : int
        Draws of the Monte Carlo check of each budget; zero leaves it out, and needs no numpy.

    Returns
    -------
    SagResult

    Raises
    ------
    BadInput
        If the numbers contradict one another: a sagitta beyond the sphere, a reading on the
        wrong side of zero, a ring larger than the piece, a radius smaller than the aperture.
    """
    notes: list[str] = []
    signs = reading_signs(readings, notes)
    if spherometer is None and plate_radius_mm is None:
        return _depth_alone(readings, form, signs, notes, trials)
    base = (readings, spherometer, form, plate_radius_mm, u_plate_radius_mm, signs)
    by_ring = None
    if spherometer is not None:
        by_ring = _budget(_Setup(*base, method="ring"), "plate radius", "mm", "plate")
    method = _method(by_ring, spherometer, plate_radius_mm, u_plate_radius_mm)
    setup = _Setup(*base, method=method, notes=notes)
    work = _budget(setup, "work radius", "mm", "work")
    if diameter_mm is not None:
        _check_sizes(setup, work.value, diameter_mm)
    if by_ring is not None and plate_radius_mm is not None:
        _hold_against_certificate(setup, by_ring, plate_radius_mm)
    result = _result(setup, work, diameter_mm, wavelength_nm)
    return _checked(result, setup, (diameter_mm, wavelength_nm), trials) if trials else result


def _depth_alone(
    readings: SpherometerReadings,
    form: str,
    signs: tuple[float, float],
    notes: list[str],
    trials: int,
) -> SagResult:
    """Compare the readings as they are: which is deeper needs no size, if the feet are points."""
    # any size will do: what is asked of the models is the difference of the sagittas alone
    highest = max(abs(one) for one in readings.plate_mm + readings.work_mm)
    setup = _Setup(readings, None, form, 1e3 * highest, 0.0, signs, "plate", notes)
    values = _values(setup, {one.name: one.value for one in _inputs(setup)})
    _missing_uncertainties(setup)
    notes.append("the radii need a size: the ring, the legs or the plate's radius")
    result = SagResult(
        form=form,
        method="reading",
        plate_sagitta_um=values["plate sagitta"] * UM_PER_MM,
        work_sagitta_um=values["work sagitta"] * UM_PER_MM,
        target_um=values["target"] * UM_PER_MM,
        depth_um=_budget(setup, "depth", "µm", "depth"),
        notes=tuple(notes),
    )
    return _checked(result, setup, (None, None), trials) if trials else result


def _result(
    setup: _Setup, work: Budget, diameter_mm: float | None, wavelength_nm: float | None
) -> SagResult:
    power = None
    if diameter_mm is not None and wavelength_nm is not None:
        power = _power_budget(setup, diameter_mm, wavelength_nm)
    values = _values(setup, {one.name: one.value for one in _inputs(setup)})
    _missing_uncertainties(setup)
    equal = (
        radius_from_reading_mm(
            values["plate sagitta"], values["work contact"], setup.form, _ball(setup)
        )
        - values["plate"]
    )
    return SagResult(
        form=setup.form,
        method=setup.method,
        plate_sagitta_um=values["plate sagitta"] * UM_PER_MM,
        work_sagitta_um=values["work sagitta"] * UM_PER_MM,
        target_um=values["target"] * UM_PER_MM,
        depth_um=_budget(setup, "depth", "µm", "depth"),
        work_radius_mm=work,
        plate_radius_mm=_budget(setup, "plate radius", "mm", "plate"),
        radius_difference_mm=_budget(setup, "radius difference", "mm", "difference"),
        power_fringes=power,
        # rounding alone would print 1e-13 mm for points
        equal_readings_mm=equal if abs(equal) > 1e-9 * values["plate"] else 0.0,
        notes=tuple(dict.fromkeys(setup.notes)),
    )


def _values(setup: _Setup, x: Mapping[str, Any]) -> dict[str, float]:
    """Everything that the inputs `x` determine [mm; depth um]."""
    stretch = 1.0 + x.get("gauge scale", 0.0)
    sign_plate, sign_work = setup.signs
    zero = setup.readings.zero
    shift = x["zero"] - zero + x.get("repeatability, zero", 0.0) + x.get("gauge drift", 0.0)
    # Plate and work lie on opposite sides of the zero even where the signs are not written,
    # so an error of the zero makes one deeper and the other shallower.
    way_plate = sign_plate if sign_plate != sign_work else -sign_work
    h_plate = sign_plate * (x["plate reading"] + x.get("repeatability, plate", 0.0) - zero)
    h_work = sign_work * (x["work reading"] + x.get("repeatability, work", 0.0) - zero)
    h_plate = (h_plate - way_plate * shift) * stretch
    h_work = (h_work - sign_work * shift) * stretch
    ball = x.get("ball size", 0.0)
    size_plate, size_work = _sizes(setup, x)
    if setup.method == "plate":
        plate = x["plate radius"]
        contact = contact_from_radius_mm(plate, h_plate, setup.plate_form, ball)
        # a plain ring touches plate and work on different edges
        of_work = math.sqrt(contact**2 + size_work**2 - size_plate**2)
    else:
        of_work = size_work
        plate = radius_from_reading_mm(h_plate, size_plate, setup.plate_form, ball)
    work = radius_from_reading_mm(h_work, of_work, setup.form, ball)
    target = reading_from_radius_mm(plate, of_work, setup.form, ball)
    return {
        "plate sagitta": h_plate,
        "work sagitta": h_work,
        "target": target,
        "plate": plate,
        "work": work,
        "difference": work - plate,
        "depth": (h_work - target) * UM_PER_MM,
        "work contact": of_work,
    }


def _sizes(setup: _Setup, x: Mapping[str, Any]) -> tuple[float, float]:
    """Radius of the circle of contact on the plate and on the work [mm]."""
    if "inner edge" in x:
        inner, outer = x["inner edge"], x["outer edge"]
        return (outer, inner) if setup.form == "convex" else (inner, outer)
    size = x.get("ring size", 0.0)
    return size, size


def _inputs(setup: _Setup) -> list[Input]:
    """List the inputs of the models; those that a method does not need stay out."""
    readings = setup.readings
    gauge, source = readings.u_reading_mm, "resolution and gauge"
    inputs = [
        Input("plate reading", fmean(readings.plate_mm), gauge, "mm", source=source),
        Input("work reading", fmean(readings.work_mm), gauge, "mm", source=source),
        Input("zero", readings.zero, gauge, "mm", source=source),
        *_repeatability(readings),
    ]
    if readings.u_drift_mm:
        since = "time since the gauge's calibration"
        inputs.append(Input("gauge drift", 0.0, readings.u_drift_mm, "mm", source=since))
    if setup.method == "plate" and setup.plate_radius_mm is not None:
        u = setup.u_plate_radius_mm or 0.0
        inputs.append(Input("plate radius", setup.plate_radius_mm, u, "mm", source="certificate"))
    one = setup.spherometer
    if one is None:
        return inputs
    u = one.u_contact_mm or 0.0
    if one.convex_contact_mm != one.concave_contact_mm:
        inputs.append(Input("inner edge", one.convex_contact_mm, u, "mm", source="given"))
        inputs.append(Input("outer edge", one.concave_contact_mm, u, "mm", source="given"))
    elif setup.method == "ring":
        inputs.append(Input("ring size", one.convex_contact_mm, u, "mm", source="given"))
    if one.ball_radius_mm:
        ball_u = one.u_ball_mm or 0.0
        inputs.append(Input("ball size", one.ball_radius_mm, ball_u, "mm", source="given"))
    if one.u_scale:
        inputs.append(Input("gauge scale", 0.0, one.u_scale, "", source="given"))
    return inputs


def _repeatability(readings: SpherometerReadings) -> list[Input]:
    """Scatter of the repeated readings, pooled: one estimate for plate, work and zero."""
    groups = {"plate": readings.plate_mm, "work": readings.work_mm, "zero": readings.zero_mm}
    dof = sum(len(group) - 1 for group in groups.values() if group)
    if dof < 1:
        return []
    squares = sum((one - fmean(group)) ** 2 for group in groups.values() if group for one in group)
    deviation = math.sqrt(squares / dof)
    return [
        Input(
            f"repeatability, {name}",
            0.0,
            deviation / math.sqrt(max(len(group), 1)),
            "mm",
            dof=dof,
            dof_group="repeatability",
            source="scatter of the repeated readings",
        )
        for name, group in groups.items()
    ]


def _budget(setup: _Setup, name: str, unit: str, key: str) -> Budget:
    def model(x: Mapping[str, Any]) -> float:
        return _values(setup, x)[key]

    return independent_budget(name, unit, model, _inputs(setup))


def _power_budget(setup: _Setup, diameter_mm: float, wavelength_nm: float) -> Budget:
    def model(x: Mapping[str, Any]) -> float:
        return _power(setup, _values(setup, x), diameter_mm, wavelength_nm)

    return independent_budget("power", "fringes", model, _inputs(setup))


def _power(
    setup: _Setup, values: Mapping[str, float], diameter_mm: float, wavelength_nm: float
) -> float:
    return power_fringes(
        values["difference"], values["plate"], diameter_mm, wavelength_nm, setup.form
    )


def _checked(
    result: SagResult, setup: _Setup, over: tuple[float | None, float | None], trials: int
) -> SagResult:
    """Add to each budget of a result what a Monte Carlo run says of it."""
    import numpy as np

    from fringe.judge.uncertainty.montecarlo import check_first_order, draw_inputs

    found = {name: getattr(result, name) for name in _KEYS if getattr(result, name) is not None}
    inputs = _inputs(setup)
    draws = draw_inputs(inputs, np.eye(len(inputs)), trials, 1)
    sample = _sample(setup, list(found), over, draws.values)
    known = sample if draws.all_known else _sample(setup, list(found), over, draws.known)
    checks: dict[str, Any] = {
        name: replace(one, monte_carlo=check_first_order(one.value, one.u, (mine, plain), one.dof))
        for (name, one), mine, plain in zip(found.items(), sample.T, known.T, strict=True)
    }
    return replace(result, **checks)


# results, and what they are called among the values
_KEYS = {
    "depth_um": "depth",
    "work_radius_mm": "work",
    "plate_radius_mm": "plate",
    "radius_difference_mm": "difference",
    "power_fringes": "power",
}


def _sample(
    setup: _Setup,
    names: list[str],
    over: tuple[float | None, float | None],
    draws: Mapping[str, Any],
) -> Any:
    """Results of all draws, shape (trials, names); nan where spheres do not allow a draw."""
    import numpy as np

    columns = np.column_stack(list(draws.values())).tolist()
    samples = np.full((len(columns), len(names)), np.nan)
    for row, drawn in zip(samples, columns, strict=True):
        try:
            values = _values(setup, dict(zip(draws, drawn, strict=True)))
            if "power_fringes" in names and over[0] is not None and over[1] is not None:
                values["power"] = _power(setup, values, over[0], over[1])
        except (BadInput, ValueError):  # a draw outside what spheres allow
            continue
        row[:] = [values[_KEYS[name]] for name in names]
    return samples


def reading_signs(readings: SpherometerReadings, notes: list[str]) -> tuple[float, float]:
    """Which way each piece moves the gauge from its zero.

    A convex and a concave surface lie on opposite sides of the zero; many gauges are read
    without the sign, and then both numbers stand on the same side.
    """
    zero = readings.zero
    signs = []
    for name, group in (("plate", readings.plate_mm), ("work", readings.work_mm)):
        if any(one == zero for one in group):
            raise BadInput(
                f"spherometer: a reading of the {name} equals the zero: a flat, or not yet read"
            )
        sides = {math.copysign(1.0, one - zero) for one in group}
        if len(sides) != 1:
            raise BadInput(f"spherometer: the readings of the {name} lie on both sides of the zero")
        signs.append(sides.pop())
    if signs[0] == signs[1] < 0:
        raise BadInput(
            "spherometer: plate and work both read below the zero; one is convex and one concave, "
            "so give both their signs, or both without"
        )
    if signs[0] == signs[1] and zero != 0:
        notes.append("readings without signs: the zero is taken off both")
    return signs[0], signs[1]


def _method(
    by_ring: Budget | None,
    spherometer: Spherometer | None,
    plate_radius_mm: float | None,
    u_plate_radius_mm: float | None,
) -> str:
    """Pick the way that knows the plate's radius better; never by what the readings gave."""
    if plate_radius_mm is None:
        return "ring"
    if by_ring is None or spherometer is None or spherometer.u_contact_mm is None:
        return "plate"
    return "ring" if (u_plate_radius_mm or 0.0) > by_ring.u else "plate"


def _check_sizes(setup: _Setup, radius_mm: float, diameter_mm: float) -> None:
    one = setup.spherometer
    if one is not None:
        across = 2 * max(one.convex_contact_mm, one.concave_contact_mm)
        if across > diameter_mm:
            raise BadInput(
                f"the spherometer's ring, {across:.4g} mm across, is larger than the piece, "
                f"{diameter_mm:.4g} mm"
            )
    if radius_mm < diameter_mm / 2:
        raise BadInput(
            f"the radius {radius_mm:.4g} mm is smaller than half the aperture of "
            f"{diameter_mm:.4g} mm: check the readings, the ring and the diameter"
        )


def _hold_against_certificate(setup: _Setup, by_ring: Budget, certified_mm: float) -> None:
    """Say where the ring's size and the plate's certificate contradict each other."""
    spread = math.hypot(by_ring.u, setup.u_plate_radius_mm or 0.0)
    if setup.spherometer is None or setup.spherometer.u_contact_mm is None:
        spread = max(spread, UNKNOWN_SIZE * by_ring.value)
    if spread and abs(by_ring.value - certified_mm) > 2 * spread:
        setup.notes.append(
            f"by the ring's size the plate's radius is {by_ring.text}, and "
            f"{figures(certified_mm, 6)} mm by what was given: check ring, zero and certificate"
        )


def _missing_uncertainties(setup: _Setup) -> None:
    one = setup.spherometer
    if setup.method == "plate" and setup.u_plate_radius_mm is None:
        setup.notes.append("the plate's radius is taken as exact: no uncertainty was given")
    if setup.method == "ring" and one is not None and one.u_contact_mm is None:
        setup.notes.append("the ring's size is taken as exact: no uncertainty was given")
    if one is not None and one.ball_radius_mm and one.u_ball_mm is None:
        setup.notes.append("the balls' size is taken as exact: no uncertainty was given")
    if one is None:
        setup.notes.append("the feet are taken as points: no spherometer was given")
    if setup.readings.u_reading_mm == 0 and not _repeatability(setup.readings):
        setup.notes.append("the readings are taken as exact: no uncertainty and no repeats")


def _ball(setup: _Setup) -> float:
    return setup.spherometer.ball_radius_mm if setup.spherometer else 0.0
