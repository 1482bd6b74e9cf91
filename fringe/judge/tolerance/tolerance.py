"""One difference of two spheres, or one tolerance, in all the ways that people state it.

Radius, percent, sagitta, gap, fringes, the code of ISO 10110-5, wavefront, focus: any one of
them gives the others on the same aperture. No numpy: `fringe convert` and `fringe tolerance`
start with this module.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from fringe.errors import BadInput
from fringe.judge.tolerance.use import NM_PER_MM, Use, defocus_from_focus_shift_nm
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.iso10110 import iso10110_text, parse_iso10110, rounded_down
from fringe.optics.spheres import (
    difference_from_percent_mm,
    fringes_from_nm,
    nm_from_fringes,
    percent_of_radius,
    power_fringes,
    radius_difference_mm,
    sagitta_mm,
)
from fringe.units import LARGEST_MM

MOST_FRINGES = 1e6
KINDS = ("fringes", "radius", "percent", "sagitta", "gap")


@dataclass(frozen=True)
class Aperture:
    """The circle over which a difference is quoted, and the light that it is counted in.

    Attributes
    ----------
    radius_mm : float
        Radius of the plate, or the nominal one [mm].
    diameter_mm : float
        Diameter of the aperture [mm].
    wavelength_nm : float
        Wavelength in air [nm].
    work : {'convex', 'concave'}
        Form of the work.
    """

    radius_mm: float
    diameter_mm: float
    wavelength_nm: float
    work: str = "convex"

    def __post_init__(self) -> None:
        """Refuse an aperture that lies on no sphere."""
        if not 0 < self.wavelength_nm < math.inf:
            raise BadInput(f"a wavelength of {self.wavelength_nm:g} nm is not over zero")
        if not self.diameter_mm > 0:
            raise BadInput(f"a diameter of {self.diameter_mm:g} mm is not over zero")
        if self.diameter_mm >= 2 * self.radius_mm:
            raise BadInput(
                f"an aperture of {self.diameter_mm:g} mm does not lie on a sphere of radius "
                f"{self.radius_mm:g} mm: the radius is smaller than half the aperture"
            )

    @property
    def semi_mm(self) -> float:
        """Semi-diameter [mm]."""
        return self.diameter_mm / 2


@dataclass(frozen=True)
class Difference:
    """A difference between work and plate, in all its units, with its signs.

    Attributes
    ----------
    aperture : Aperture
        Where it is quoted.
    radius_difference_mm : float
        R_work - R_plate [mm].
    percent : float
        The same, as a share of the plate's radius [%].
    sagitta_um : float
        Sagitta of the work minus that of the plate over the aperture, along the axis [um];
        positive: the work is the deeper one, more curved.
    gap_nm : float
        Rim minus centre of the air gap along the plate's normal [nm]; positive: contact at
        the centre.
    power_fringes : float
        The same in fringes; positive: contact at the centre.
    """

    aperture: Aperture
    radius_difference_mm: float
    percent: float
    sagitta_um: float
    gap_nm: float
    power_fringes: float

    @property
    def plate_sagitta_um(self) -> float:
        """Sagitta of the plate over the aperture [um]."""
        return 1000 * sagitta_mm(self.aperture.radius_mm, self.aperture.semi_mm)

    @property
    def sense(self) -> str:
        """Where the two touch: `centre`, `edge`, or `everywhere`."""
        if self.power_fringes == 0:
            return "everywhere"
        return "centre" if self.power_fringes > 0 else "edge"

    def to_json(self) -> dict[str, object]:
        """Return the values under their own names, with the aperture."""
        one = self.aperture
        return {
            "radius_difference_mm": self.radius_difference_mm,
            "percent": self.percent,
            "work_radius_mm": one.radius_mm + self.radius_difference_mm,
            "sagitta_difference_um": self.sagitta_um,
            "plate_sagitta_um": self.plate_sagitta_um,
            "work_sagitta_um": self.plate_sagitta_um + self.sagitta_um,
            "gap_nm": self.gap_nm,
            "power_fringes": self.power_fringes,
            "sense": self.sense,
            "wavelength_nm": one.wavelength_nm,
            "radius_mm": one.radius_mm,
            "diameter_mm": one.diameter_mm,
            "work": one.work,
        }


def difference(kind: str, value: float, aperture: Aperture) -> Difference:
    """Express one difference in all units.

    Parameters
    ----------
    kind : {'radius', 'percent', 'sagitta', 'gap', 'fringes'}
        What `value` is: R_work - R_plate [mm], the same [%], sagitta of the work minus that
        of the plate [mm], gap rim minus centre [nm], or power [fringe].
    value : float
        Signed as in `Difference`.
    aperture : Aperture
        Where it is quoted.

    Returns
    -------
    Difference

    Raises
    ------
    BadInput
        If no sphere has that difference over the aperture.
    """
    one = aperture
    if kind == "radius":
        step = value
    elif kind == "percent":
        step = difference_from_percent_mm(value, one.radius_mm)
    elif kind == "sagitta":
        step = _radius_step_mm(value, one)
    elif kind in ("gap", "fringes"):
        fringes = fringes_from_nm(value, one.wavelength_nm) if kind == "gap" else value
        step = radius_difference_mm(
            fringes, one.radius_mm, one.diameter_mm, one.wavelength_nm, one.work
        )
    else:
        raise BadInput(f"no difference is stated as {kind!r}; use one of {', '.join(KINDS)}")
    if one.radius_mm + step <= one.semi_mm:
        raise BadInput(
            f"a radius of {one.radius_mm + step:g} mm is smaller than half the aperture of "
            f"{one.diameter_mm:g} mm"
        )
    if not one.radius_mm + step <= LARGEST_MM:
        raise BadInput("a radius difference without end: the work would be a flat")
    fringes = power_fringes(step, one.radius_mm, one.diameter_mm, one.wavelength_nm, one.work)
    return Difference(
        aperture=one,
        radius_difference_mm=step,
        percent=percent_of_radius(step, one.radius_mm),
        sagitta_um=1000 * _sagitta_step_mm(step, one),
        gap_nm=nm_from_fringes(fringes, one.wavelength_nm),
        power_fringes=fringes,
    )


@dataclass(frozen=True)
class FormTolerance:
    """A tolerance in all its forms; None where it does not speak.

    Where a limit of both signs is turned into another unit, the stricter side is taken, so
    that no form of it allows more than the one that was given.

    Attributes
    ----------
    aperture : Aperture
        Where it is quoted.
    power_fringes, radius_difference_mm, percent, sagitta_um, gap_nm : float or None
        Largest magnitude allowed of each.
    irregularity_fringes, symmetric_irregularity_fringes : float or None
        Irregularity and its symmetric part, peak to valley (B, C).
    rms_total_fringes, rms_irregularity_fringes, rms_asymmetry_fringes : float or None
        Root mean square of the whole deviation (RMSt), of the irregularity (RMSi), and of
        what is not rotationally symmetric in it (RMSa).
    wavefront_waves : float or None
        Defocus of the wavefront that the power makes, peak to valley, in waves of the use.
    irregularity_waves : float or None
        Wavefront, peak to valley, that the irregularity makes.
    focus_shift_mm : float or None
        Shift of the focus that the power makes, where a focal ratio was given [mm].
    use_wavelength_nm : float
        Wavelength of those waves [nm].
    astigmatism_waves : float or None
        Astigmatism that the power makes of an oblique beam: difference of the two meridians of
        the wavefront, peak to valley; None at normal incidence.
    code : str or None
        The code of ISO 10110-5 as it was given, where it states its own wavelength.
    """

    aperture: Aperture
    power_fringes: float | None
    radius_difference_mm: float | None
    percent: float | None
    sagitta_um: float | None
    gap_nm: float | None
    irregularity_fringes: float | None
    symmetric_irregularity_fringes: float | None
    rms_total_fringes: float | None
    rms_irregularity_fringes: float | None
    rms_asymmetry_fringes: float | None
    wavefront_waves: float | None
    irregularity_waves: float | None
    focus_shift_mm: float | None
    use_wavelength_nm: float
    astigmatism_waves: float | None = None
    code: str | None = None

    @property
    def iso10110(self) -> str:
        """The code in fringes, with its wavelength; as given where one was given in this light."""
        if self.code is not None and parse_iso10110(self.code).wavelength_nm == (
            self.aperture.wavelength_nm
        ):
            return self.code
        return iso10110_text(
            self.power_fringes,
            self.irregularity_fringes,
            self.symmetric_irregularity_fringes,
            self.aperture.wavelength_nm,
            rms=self._rms,
            limits=True,
        )

    @property
    def _rms(self) -> dict[str, float | None]:
        return {
            "t": self.rms_total_fringes,
            "i": self.rms_irregularity_fringes,
            "a": self.rms_asymmetry_fringes,
        }

    @property
    def iso10110_nm(self) -> str:
        """The code in nanometres, which the 2015 edition prefers."""
        wave = self.aperture.wavelength_nm

        def height(fringes: float | None) -> str:
            if fringes is None:
                return "-"
            return f"{rounded_down(nm_from_fringes(fringes, wave), 0)} nm"

        text = f"3/ {height(self.power_fringes)}"
        if self.irregularity_fringes is not None or self.symmetric_irregularity_fringes is not None:
            inner = height(self.irregularity_fringes)
            if self.symmetric_irregularity_fringes is not None:
                inner += f"/{height(self.symmetric_irregularity_fringes)}"
            text += f" ({inner})"
        limits = {kind: one for kind, one in self._rms.items() if one is not None}
        return "; ".join([text, *(f"RMS{kind} < {height(one)}" for kind, one in limits.items())])

    def tolerance(self, rule: str = "guard95") -> Tolerance:
        """Return what a verdict takes."""
        return Tolerance(
            power_fringes=self.power_fringes,
            irregularity_fringes=self.irregularity_fringes,
            wavelength_nm=self.aperture.wavelength_nm,
            rule=rule,
        )

    def to_json(self) -> dict[str, object]:
        """Return the values under their own names, with the aperture and the codes."""
        values = {
            name: getattr(self, name) for name in self.__dataclass_fields__ if name != "aperture"
        }
        return values | {
            "iso10110": self.iso10110,
            "iso10110_nm": self.iso10110_nm,
            "wavelength_nm": self.aperture.wavelength_nm,
            "radius_mm": self.aperture.radius_mm,
            "diameter_mm": self.aperture.diameter_mm,
        }


# how the limits are called in messages, where that is not their key
_SAID = {
    "fringes": "power",
    "radius": "radius tolerance",
    "focus": "focus shift",
    "iso": "an ISO 10110-5 code",
}
GIVEN = (*KINDS, "wavefront", "focus", "irregularity", "iso")


def form_tolerance(
    given: Mapping[str, float | str], aperture: Aperture, use: Use | None = None
) -> FormTolerance:
    """Turn a tolerance, however it was stated, into all its forms.

    Parameters
    ----------
    given : mapping
        At most one limit on power: `fringes`; `radius` [mm]; `percent`; `sagitta` [mm]; `gap`
        [nm]; `wavefront` [waves of the use, peak to valley]; `focus` [mm]. Beside it, or
        alone: `irregularity` [fringe]; or `iso`, a code of ISO 10110-5, for both.
    aperture : Aperture
        Where it is quoted.
    use : Use, optional
        How the system uses the surface; a mirror over its whole aperture otherwise.

    Returns
    -------
    FormTolerance

    Raises
    ------
    BadInput
        If nothing or too much is given, or a number makes no sense.
    """
    used = use or Use()
    use_wave = used.wavelength_nm or aperture.wavelength_nm
    per_height = abs(used.wavefront_per_height(aperture.diameter_mm))
    length = used.footprint_length_mm
    if length is not None and length > aperture.diameter_mm * (1 + 1e-9):
        raise BadInput(
            f"a footprint of {length:g} mm is larger than the aperture of "
            f"{aperture.diameter_mm:g} mm"
        )
    irregularity, symmetric = _number(given, "irregularity"), None
    rms: tuple[float | None, ...] = (None, None, None)
    power = [key for key in given if key not in ("irregularity", "iso")]
    limit: tuple[str, float] | None = None
    if "iso" in given:
        if len(given) > 1:
            raise BadInput("tolerance: a form code stands alone; leave the other limits out")
        limit, irregularity, symmetric, rms = _limits_of_code(str(given["iso"]), aperture)
    elif len(power) > 1:
        names = " and ".join(_SAID.get(key, key) for key in power)
        raise BadInput(f"tolerance: {names} are two limits on one power; give one")
    elif power:
        limit = _power_limit(power[0], float(given[power[0]]), used, use_wave, per_height)
    if limit is None and irregularity is None and symmetric is None and rms == (None,) * 3:
        names = ", ".join(_SAID.get(key, key) for key in GIVEN)
        raise BadInput(f"tolerance: nothing is limited; give one of {names}")
    sides = _strict(limit, aperture) if limit is not None else {}
    gap = sides.get("gap_nm")
    waves = None if gap is None else gap * per_height / use_wave
    focus = None
    if waves is not None and used.f_number is not None:
        focus = 8 * used.f_number**2 * waves * use_wave / NM_PER_MM
    irregularity_nm = _in_nm(irregularity, aperture)
    return FormTolerance(
        aperture=aperture,
        power_fringes=sides.get("power_fringes"),
        radius_difference_mm=sides.get("radius_difference_mm"),
        percent=sides.get("percent"),
        sagitta_um=sides.get("sagitta_um"),
        gap_nm=gap,
        irregularity_fringes=irregularity,
        symmetric_irregularity_fringes=symmetric,
        rms_total_fringes=rms[0],
        rms_irregularity_fringes=rms[1],
        rms_asymmetry_fringes=rms[2],
        wavefront_waves=waves,
        irregularity_waves=None
        if irregularity_nm is None
        else irregularity_nm * abs(used.path_per_height) * used.passes / use_wave,
        focus_shift_mm=focus,
        use_wavelength_nm=use_wave,
        astigmatism_waves=None
        if waves is None or used.incidence_deg == 0
        else waves * used.astigmatic_share,
        code=_as_given(given.get("iso")),
    )


def _limits_of_code(
    text: str, aperture: Aperture
) -> tuple[tuple[str, float] | None, float | None, float | None, tuple[float | None, ...]]:
    """Limits of a form code: on power as a gap [nm]; on B, C and each rms [fringe]."""
    code = parse_iso10110(text, aperture.wavelength_nm)
    if 0 in (code.power_nm, code.irregularity_nm, *code.rms_nm):
        raise BadInput(f"tolerance: {text!r} allows nothing; write - for no limit")
    irregularity = _in_fringes(code.irregularity_nm, aperture)
    symmetric = _in_fringes(code.symmetric_irregularity_nm, aperture)
    if irregularity is not None and symmetric is not None and symmetric > irregularity:
        raise BadInput(f"tolerance: {text!r} allows more to C, the symmetric part, than to B")
    limit = None if code.power_nm is None else ("gap", code.power_nm)
    return limit, irregularity, symmetric, tuple(_in_fringes(one, aperture) for one in code.rms_nm)


def _as_given(code: float | str | None) -> str | None:
    """A code as it was given, if it states its own wavelength."""
    if code is None:
        return None
    try:
        return str(code).strip() if parse_iso10110(str(code)).wavelength_nm else None
    except BadInput:  # in fringes, without a wavelength
        return None


def _power_limit(
    key: str, value: float, use: Use, use_wave: float, per_height: float
) -> tuple[str, float]:
    """A limit on power as a kind that `difference` knows."""
    if not 0 < value < math.inf:
        said = _SAID.get(key, key)
        raise BadInput(f"tolerance: {said} must be greater than zero, not {value:g}")
    if key == "wavefront":
        return "gap", value * use_wave / per_height
    if key == "focus":
        if use.f_number is None:
            raise BadInput("tolerance: a focus shift needs the focal ratio, --f-number")
        return "gap", defocus_from_focus_shift_nm(value, use.f_number) / per_height
    if key not in KINDS:
        raise BadInput(f"tolerance: no limit is stated as {key!r}; use {', '.join(GIVEN)}")
    return key, value


def _strict(limit: tuple[str, float], aperture: Aperture) -> dict[str, float]:
    """Both sides of a limit in all units, the stricter of each; what was given stays exact."""
    kind, value = limit
    sides = [difference(kind, sign * value, aperture) for sign in (1.0, -1.0)]
    names = ("power_fringes", "radius_difference_mm", "percent", "sagitta_um", "gap_nm")
    strict = {name: min(abs(getattr(side, name)) for side in sides) for name in names}
    given = {"fringes": 0, "radius": 1, "percent": 2, "sagitta": 3, "gap": 4}[kind]
    strict[names[given]] = value * 1000 if kind == "sagitta" else value
    return strict


def _radius_step_mm(sagitta_step_mm: float, aperture: Aperture) -> float:
    """Radius difference from the difference of the sagittas, without cancellation."""
    semi, sagitta = aperture.semi_mm, sagitta_mm(aperture.radius_mm, aperture.semi_mm)
    other = sagitta + sagitta_step_mm
    if not 0 < other <= semi:
        raise BadInput(
            f"a sagitta of {other:g} mm over {aperture.diameter_mm:g} mm is not a sphere: beyond a "
            "half sphere, or not above zero"
        )
    return sagitta_step_mm / 2 * (1 - semi**2 / (sagitta * other))


def _sagitta_step_mm(step_mm: float, aperture: Aperture) -> float:
    """Difference of the sagittas from the radius difference, without cancellation."""
    first, second = aperture.radius_mm, aperture.radius_mm + step_mm
    semi = aperture.semi_mm
    leg_first = math.sqrt((first - semi) * (first + semi))
    leg_second = math.sqrt((second - semi) * (second + semi))
    leg_step = step_mm * (first + second) / (leg_first + leg_second)
    return -(semi**2) * (step_mm + leg_step) / ((first + leg_first) * (second + leg_second))


def _number(given: Mapping[str, float | str], key: str) -> float | None:
    if key not in given:
        return None
    value = float(given[key])
    if not 0 < value < math.inf:
        raise BadInput(f"tolerance: {key} must be greater than zero, not {value:g}")
    if value > MOST_FRINGES:
        raise BadInput(f"tolerance: {key} of {value:g} fringes is more than any surface has")
    return value


def _in_fringes(height_nm: float | None, aperture: Aperture) -> float | None:
    return None if height_nm is None else fringes_from_nm(height_nm, aperture.wavelength_nm)


def _in_nm(fringes: float | None, aperture: Aperture) -> float | None:
    return None if fringes is None else nm_from_fringes(fringes, aperture.wavelength_nm)
