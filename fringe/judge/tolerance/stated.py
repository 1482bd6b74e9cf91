"""A difference, a tolerance and a use as stated by a user: some of many fields."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fringe.errors import BadInput
from fringe.judge.tolerance.system import SystemTolerance, load_system, system_tolerance
from fringe.judge.tolerance.tolerance import (
    Aperture,
    Difference,
    FormTolerance,
    difference,
    form_tolerance,
)
from fringe.judge.tolerance.use import QUARTER_WAVE, Use
from fringe.optics.iso10110 import parse_iso10110
from fringe.optics.lamps import light_nm
from fringe.optics.spheres import convert_fringes


@dataclass(frozen=True)
class StatedDifference:
    """A difference of work and plate: exactly one field is given, each with its sign.

    Attributes
    ----------
    fringes : float or None
        Power [fringe].
    radius_difference_mm, work_radius_mm : float or None
        R_work - R_plate, or R_work [mm].
    percent : float or None
        R_work - R_plate as a share of the radius [%].
    sagitta_mm : float or None
        Sagitta of the work minus that of the plate [mm].
    gap_nm : float or None
        Gap at the rim minus that at the centre [nm].
    """

    fringes: float | None = None
    radius_difference_mm: float | None = None
    work_radius_mm: float | None = None
    percent: float | None = None
    sagitta_mm: float | None = None
    gap_nm: float | None = None

    def kind_and_value(self, plate_radius_mm: float) -> tuple[str, float]:
        """What is given, as :func:`fringe.judge.tolerance.tolerance.difference` takes it.

        Raises
        ------
        BadInput
            If none or several are given.
        """
        work = self.work_radius_mm
        kinds = {
            "--fringes": ("fringes", self.fringes),
            "--radius-difference": ("radius", self.radius_difference_mm),
            "--work-radius": ("radius", None if work is None else work - plate_radius_mm),
            "--percent": ("percent", self.percent),
            "--sagitta": ("sagitta", self.sagitta_mm),
            "--gap": ("gap", self.gap_nm),
        }
        given = [(kind, value) for kind, value in kinds.values() if value is not None]
        if len(given) != 1:
            raise BadInput(f"give one of {', '.join(kinds)}")
        return given[0]


@dataclass(frozen=True)
class Conversion:
    """One difference in all units, and its power in the fringes of other lamps.

    Attributes
    ----------
    difference : Difference
    also_fringes : mapping
        Name of a lamp: the power in its fringes.
    """

    difference: Difference
    also_fringes: Mapping[str, float]

    def to_json(self) -> dict[str, object]:
        """Return the keys of `fringe convert --json`."""
        also = {"power_fringes_also": dict(self.also_fringes)} if self.also_fringes else {}
        return {**self.difference.to_json(), **also}


def convert(stated: StatedDifference, aperture: Aperture, also: Sequence[str] = ()) -> Conversion:
    """Express a difference in all units, its power in the light of other lamps too.

    Raises
    ------
    BadInput
        If not exactly one quantity is stated, no sphere has it, or there is no such lamp.
    """
    found = difference(*stated.kind_and_value(aperture.radius_mm), aperture)
    light = aperture.wavelength_nm
    others = {
        name: convert_fringes(found.power_fringes, light, light_nm(name, None)) for name in also
    }
    return Conversion(found, others)


@dataclass(frozen=True)
class StatedTolerance:
    """Limits: one on power or none, one on irregularity or none; or a code for both.

    Attributes
    ----------
    power_fringes, irregularity_fringes : float or None
        Power and irregularity allowed [fringe].
    radius_tolerance_mm, percent, sagitta_mm, gap_nm : float or None
        Power, as a radius difference [mm; %], a sagitta [mm] or a gap [nm].
    wavefront_waves, focus_shift_mm : float or None
        Power, as what it does to the wavefront [wave, peak to valley] or the focus [mm].
    quarter_wave : bool
        A wavefront of a quarter wave.
    iso10110 : str or None
        A code of ISO 10110-5, as ``3/ 2(0.5)``.
    """

    power_fringes: float | None = None
    radius_tolerance_mm: float | None = None
    percent: float | None = None
    sagitta_mm: float | None = None
    gap_nm: float | None = None
    wavefront_waves: float | None = None
    quarter_wave: bool = False
    focus_shift_mm: float | None = None
    irregularity_fringes: float | None = None
    iso10110: str | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is limited."""
        return self == StatedTolerance()

    def limits(self) -> dict[str, float | str]:
        """What is given, as :func:`fringe.judge.tolerance.tolerance.form_tolerance` takes it."""
        wavefront = self.wavefront_waves
        if self.quarter_wave:
            if wavefront is not None:
                raise BadInput("--quarter-wave is a --wavefront of its own; give one of them")
            wavefront = QUARTER_WAVE
        values = {
            "fringes": self.power_fringes,
            "radius": self.radius_tolerance_mm,
            "percent": self.percent,
            "sagitta": self.sagitta_mm,
            "gap": self.gap_nm,
            "wavefront": wavefront,
            "focus": self.focus_shift_mm,
            "irregularity": self.irregularity_fringes,
            "iso": self.iso10110,
        }
        return {name: value for name, value in values.items() if value is not None}


@dataclass(frozen=True)
class StatedUse:
    """How a system uses the surface, as far as it is said; see :class:`Use`."""

    f_number: float | None = None
    use_wavelength_nm: float | None = None
    footprint_mm: float | None = None
    beam_mm: float | None = None
    incidence_deg: float | None = None
    index_after: float | None = None
    passes: int | None = None

    @property
    def first_option(self) -> str | None:
        """The first of them that is said, as the command line calls it; None without any."""
        names = (
            "--f-number",
            "--use-wavelength",
            "--footprint",
            "--beam",
            "--incidence",
            "--index",
        )
        values = dataclasses.astuple(self)
        given = zip((*names, "--passes"), values, strict=True)
        return next((name for name, value in given if value is not None), None)

    def use(self) -> Use:
        """Return the use; what is not said is that of a mirror over its whole aperture."""
        return Use(
            incidence_deg=self.incidence_deg or 0.0,
            footprint_mm=self.footprint_mm,
            beam_mm=self.beam_mm,
            index_after=self.index_after,
            passes=self.passes or 1,
            wavelength_nm=self.use_wavelength_nm,
            f_number=self.f_number,
        )


@dataclass(frozen=True)
class StatedAperture:
    """The aperture that a tolerance is quoted over, and its light, as far as they are said."""

    radius_mm: float | None = None
    diameter_mm: float | None = None
    form: str = "convex"
    lamp: str | None = None
    wavelength_nm: float | None = None

    def aperture(self, iso10110: str | None) -> Aperture:
        """Return the aperture; a code that states its own wavelength needs no other."""
        if self.radius_mm is None or self.diameter_mm is None:
            raise BadInput("give --radius and --diameter of the aperture, or a --system file")
        stated = None
        if self.lamp is None and self.wavelength_nm is None and iso10110 is not None:
            stated = parse_iso10110(iso10110).wavelength_nm
        light = light_nm(self.lamp, self.wavelength_nm) if stated is None else stated
        return Aperture(self.radius_mm, self.diameter_mm, light, self.form)


def stated_tolerance(
    limits: StatedTolerance, over: StatedAperture, use: StatedUse
) -> FormTolerance:
    """Turn a tolerance into all its forms.

    Raises
    ------
    BadInput
        If too little or too much is stated.
    """
    aperture = over.aperture(limits.iso10110)
    return form_tolerance(limits.limits(), aperture, use.use())


def stated_system(
    path: Path, limits: StatedTolerance, over: StatedAperture, use: StatedUse
) -> SystemTolerance:
    """Work out what a system's file allows; only the bench's light may be stated beside it.

    Raises
    ------
    BadInput
        If something is stated that the file says, or the file describes no system.
    """
    if over.radius_mm is not None or over.diameter_mm is not None:
        raise BadInput("--system brings its own radii and diameters; leave yours out")
    if not limits.is_empty:
        raise BadInput("--system brings its own limit; leave the others out")
    if use.first_option is not None:
        raise BadInput(f"--system says how each surface is used; leave {use.first_option} out")
    bench = None
    if over.lamp is not None or over.wavelength_nm is not None:
        bench = light_nm(over.lamp, over.wavelength_nm)
    return system_tolerance(load_system(path), bench)
