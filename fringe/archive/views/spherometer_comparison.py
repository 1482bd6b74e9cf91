"""Plate and work on a spherometer, with what the archive's records know of the instruments."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fringe.archive.instrument_records import load_camera
from fringe.archive.instruments import find_lamp, instrument_record, spherometer_from_record
from fringe.archive.plates.known import plate_state
from fringe.errors import BadInput
from fringe.judge.spherometer.compare import SagResult, SpherometerReadings, compare
from fringe.judge.spherometer.drift import gauge_drift
from fringe.judge.spherometer.reach import Reach, reach, rings_by_camera, rings_by_lamp
from fringe.judge.spherometer.typed import TypedReadings
from fringe.optics import spherometer as optics
from fringe.optics.lamps import Lamp, light_nm
from fringe.units import TypedLength

TRIALS = 50_000  # draws of the check of a budget

Lists = tuple[tuple[TypedLength, ...], ...]


@dataclass(frozen=True)
class SpherometerSize:
    """Sizes of a spherometer as they are said; at most one of ring, legs and circle of feet.

    Attributes
    ----------
    ring : tuple of TypedLength or None
        Inner and perhaps outer diameter of a plain ring.
    legs : tuple of TypedLength or None
        Spacing of three legs, one or all three.
    foot_circle_mm, ball_mm : float or None
        Diameters of the circle that the feet are on, and of their balls [mm].
    size_u_mm, ball_u_mm : float or None
        Standard uncertainty of that size, and of the balls' diameter [mm].
    """

    ring: tuple[TypedLength, ...] | None = None
    legs: tuple[TypedLength, ...] | None = None
    foot_circle_mm: float | None = None
    ball_mm: float | None = None
    size_u_mm: float | None = None
    ball_u_mm: float | None = None

    def spherometer(self) -> optics.Spherometer | None:
        """Return the spherometer of that size; None where no size is said.

        Raises
        ------
        BadInput
            If the sizes are of no spherometer, or of two.
        """
        shapes = [name for name in ("ring", "legs", "foot_circle_mm") if getattr(self, name)]
        if len(shapes) > 1:
            raise BadInput("a spherometer is one of --ring, --legs and --foot-circle")
        if not shapes:
            if self.ball_mm:
                raise BadInput("--ball needs --legs or --foot-circle, where the balls sit")
            return None
        ball = self.ball_mm or 0.0
        share = 2.0
        if self.ring:
            if ball or len(self.ring) > 2:
                raise BadInput("--ring takes an inner and an outer diameter, and no balls")
            one = optics.ring(*(edge.mm for edge in self.ring))
        elif self.legs:
            one = optics.three_legs([leg.mm for leg in self.legs], ball)
            share = math.sqrt(3)
        else:
            assert self.foot_circle_mm is not None
            one = optics.circle_of_feet(self.foot_circle_mm, ball)
        size_u, ball_u = self.size_u_mm, self.ball_u_mm
        return optics.with_uncertainty(
            one,
            u_contact_mm=None if size_u is None else size_u / share,
            u_ball_mm=None if ball_u is None else ball_u / 2,
        )


@dataclass(frozen=True)
class SagRequest:
    """What is to be compared.

    Attributes
    ----------
    plate, work, zero : tuple of tuple of TypedLength
        Readings on plate, work and flat.
    form : {'convex', 'concave'}
        Form of the work.
    reading_u_mm : float or None
        Standard uncertainty of a reading [mm].
    plate_radius_mm, plate_radius_u_mm : float or None
        Radius of the plate and its standard uncertainty [mm].
    diameter_mm : float or None
        Aperture, for the gap in fringes [mm].
    lamp, wavelength_nm : str or None, float or None
        Light that they are counted in, by either.
    scale_px_per_mm : float or None
        Of the camera.
    archive : Path or None
        Where the records lie that the next three name.
    spherometer, plate_name, camera : str or None
        Instruments on record.
    budget : bool
        Check the budgets by a Monte Carlo run.
    """

    plate: Lists
    work: Lists
    zero: Lists = ()
    form: str = "convex"
    reading_u_mm: float | None = None
    plate_radius_mm: float | None = None
    plate_radius_u_mm: float | None = None
    diameter_mm: float | None = None
    lamp: str | None = None
    wavelength_nm: float | None = None
    scale_px_per_mm: float | None = None
    archive: Path | None = None
    spherometer: str | None = None
    plate_name: str | None = None
    camera: str | None = None
    budget: bool = False


@dataclass(frozen=True)
class SagAnswer:
    """What the readings say, and whether fringes can take over.

    Attributes
    ----------
    result : SagResult
        What the readings say.
    reach : Reach or None
        Whether fringes can take over; None without an aperture and a light.
    wavelength_nm, diameter_mm : float or None
        Light and aperture that the fringes are counted in and over [nm; mm].
    notes : tuple of str
        What was taken for granted, and what else the person should know.
    """

    result: SagResult
    reach: Reach | None
    wavelength_nm: float | None
    diameter_mm: float | None
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe sag --json`."""
        near, result = self.reach, self.result
        budgets = {
            "depth": result.depth_um,
            "work_radius": result.work_radius_mm,
            "radius_difference": result.radius_difference_mm,
        }
        overlap = near.overlap_fringes if near else None
        return {
            **result.to_json(),
            "wavelength_nm": self.wavelength_nm,
            "near_enough": near.near_enough if near else None,
            "rings_expected": near.rings_expected if near else None,
            "rings_expected_u95": near.rings_expected_u95 if near else None,
            "rings_readable": _finite(near.rings_readable) if near else None,
            "rings_limited_by": near.limited_by if near else None,
            "overlap_fringes": [_finite(end) for end in overlap] if overlap else None,
            "notes": list(self.notes),
            "budgets": {name: one.to_json() for name, one in budgets.items() if one is not None},
        }


def compare_readings(request: SagRequest, size: SpherometerSize) -> SagAnswer:
    """Compare work and plate by readings of a spherometer, and tell whether fringes come next.

    Raises
    ------
    BadInput
        If the numbers contradict one another, or a record is not there.
    """
    request = _with_records(request)
    one = _spherometer(request, size)
    typed = TypedReadings.of(request.plate, request.work, request.zero)
    u_reading, assumed = typed.u_mm(request.reading_u_mm, one)
    drift, remark = gauge_drift(one, date.today())
    lamp, wavelength_nm = _light(request)
    result = compare(
        SpherometerReadings(*typed.heights_mm, u_reading, drift),
        request.form,
        spherometer=one,
        plate_radius_mm=request.plate_radius_mm,
        u_plate_radius_mm=request.plate_radius_u_mm,
        diameter_mm=request.diameter_mm,
        wavelength_nm=wavelength_nm,
        trials=TRIALS if request.budget else 0,
    )
    limits = _limits(lamp, request)
    near = reach(result.power_fringes, limits) if result.power_fringes and limits else None
    notes = tuple(note for note in (assumed, remark) if note) + tuple(result.notes)
    return SagAnswer(result, near, wavelength_nm, request.diameter_mm, notes)


def _with_records(request: SagRequest) -> SagRequest:
    """Fill in what the archive's records know; what is said stays."""
    if request.archive is None:
        if request.spherometer or request.plate_name or request.camera:
            raise BadInput("instruments on record need --archive DIR, where the records lie")
        return request
    if request.plate_name:
        known = plate_state(request.archive, request.plate_name)
        if known.form == request.form:
            raise BadInput(
                f"the plate {request.plate_name} is {known.form}, so the work is of the "
                "other form: set --form"
            )
        if request.plate_radius_mm is None:
            request = dataclasses.replace(
                request,
                plate_radius_mm=known.radius_mm,
                plate_radius_u_mm=request.plate_radius_u_mm or known.u_mm,
            )
    if request.camera and request.scale_px_per_mm is None:
        assert request.archive is not None
        scale = load_camera(request.archive, request.camera).scale_px_per_mm
        request = dataclasses.replace(request, scale_px_per_mm=scale)
    return request


def _spherometer(request: SagRequest, size: SpherometerSize) -> optics.Spherometer | None:
    """The spherometer by its sizes, or by its record."""
    if not request.spherometer:
        return size.spherometer()
    if any(dataclasses.astuple(size)):
        raise BadInput("--spherometer brings its own size; leave the size options out")
    assert request.archive is not None
    return spherometer_from_record(
        instrument_record(request.archive, "spherometer", request.spherometer)
    )


def _light(request: SagRequest) -> tuple[Lamp | None, float | None]:
    """Lamp, if one was named, and its wavelength [nm]; neither without a light."""
    name, wavelength_nm = request.lamp, request.wavelength_nm
    if name is None and wavelength_nm is None:
        return None, None
    if request.diameter_mm is None:
        raise BadInput("fringes are counted over an aperture: give its --diameter")
    if name is None or wavelength_nm is not None:
        return None, light_nm(name, wavelength_nm)
    lamp = find_lamp(name, request.archive)
    return lamp, lamp.wavelength_nm


def _limits(lamp: Lamp | None, request: SagRequest) -> list[tuple[str, float]]:
    """How many rings the lamp and the camera allow."""
    limits = []
    if lamp is not None:
        limits.append(("lamp", rings_by_lamp(lamp)))
    if request.scale_px_per_mm is not None and request.diameter_mm is not None:
        if request.scale_px_per_mm <= 0:
            raise BadInput("--scale must be greater than zero")
        rings = rings_by_camera(request.diameter_mm, request.scale_px_per_mm)
        limits.append(("camera", rings))
    return limits


def _finite(value: float) -> float | None:
    """Return the value; None for a limit that is none, since JSON has no infinity."""
    return value if math.isfinite(value) else None
