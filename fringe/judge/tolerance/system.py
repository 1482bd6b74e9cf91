"""A train of surfaces: what its wavefront allows each, how well a pair must match, what light.

The system file is TOML. Lengths are text with a unit::

    wavelength = "550nm"
    wavefront_waves = 0.25          # peak to valley; or focus_shift = "0.1mm" with f_number
    sharing = "rss"                 # how the allowance is shared: rss, linear or whole
    pair = ["primary", "corrector"] # convex and concave that must match, in any order

    [[surface]]
    name = "primary"
    kind = "reflection"             # or refraction, with index_before and index_after
    form = "concave"
    radius = "3048mm"
    diameter = "150mm"
    footprint = "140mm"             # beam on the surface, its longer way; or beam = "139mm",
                                    # its diameter before; the whole diameter otherwise
    incidence_deg = 5
    passes = 1
    reflectance = 0.91              # or transmittance
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fringe.errors import BadInput
from fringe.judge.tolerance.tolerance import Aperture, FormTolerance, form_tolerance
from fringe.judge.tolerance.use import NM_PER_MM, QUARTER_WAVE, Use, defocus_from_focus_shift_nm
from fringe.judge.tolerance.verdict import Tolerance
from fringe.optics.spheres import sagitta_mm
from fringe.units import positive_length_mm

SHARING = ("rss", "linear", "whole")
_SURFACE_KEYS = {
    "name",
    "kind",
    "form",
    "radius",
    "diameter",
    "footprint",
    "beam",
    "incidence_deg",
    "passes",
    "index_before",
    "index_after",
    "reflectance",
    "transmittance",
}
_SYSTEM_KEYS = {
    "wavelength",
    "wavefront_waves",
    "focus_shift",
    "f_number",
    "sharing",
    "pair",
    "surface",
}


@dataclass(frozen=True)
class TrainSurface:
    """One surface of the train.

    Attributes
    ----------
    name : str
        Its name in the file.
    form : {'convex', 'concave'}
        As the light meets it.
    radius_mm, diameter_mm : float
        Of the surface [mm].
    use : Use
        How the light uses it.
    throughput : float
        Share of the light that one pass lets through: reflectance or transmittance.
    """

    name: str
    form: str
    radius_mm: float
    diameter_mm: float
    use: Use
    throughput: float = 1.0

    @property
    def wavefront_per_radius(self) -> float:
        """Wavefront for a small change of the radius, signed [nm/mm].

        Along the normal a change dR is a height dR (1 - cos t) at the rim; convex and concave
        have opposite signs, so that one radius error common to a pair cancels.
        """
        height = sagitta_mm(self.radius_mm, self.diameter_mm / 2) / self.radius_mm
        sign = 1.0 if self.form == "convex" else -1.0
        return sign * height * NM_PER_MM * self.use.wavefront_per_height(self.diameter_mm)


@dataclass(frozen=True)
class System:
    """A train with what its wavefront is allowed.

    Attributes
    ----------
    surfaces : tuple of TrainSurface
        In the order of the light.
    wavelength_nm : float
        Wavelength of the use [nm].
    wavefront_nm : float
        Defocus allowed, peak to valley [nm].
    pair : (str, str) or None
        Names of the convex and the concave surface that must match.
    sharing : {'rss', 'linear', 'whole'}
        How the allowance is shared among the surfaces and the pair's mismatch.
    """

    surfaces: tuple[TrainSurface, ...]
    wavelength_nm: float
    wavefront_nm: float
    pair: tuple[str, str] | None = None
    sharing: str = "rss"

    @property
    def light(self) -> float:
        """Share of the light that comes through the whole train."""
        return math.prod(one.throughput**one.use.passes for one in self.surfaces)

    @property
    def shares(self) -> int:
        """Number of independent errors: each single surface, and the pair's mismatch as one."""
        return len(self.surfaces) - (1 if self.pair else 0)

    @property
    def allowance_nm(self) -> float:
        """Wavefront that one of the errors may use, after sharing [nm]."""
        part = {"rss": math.sqrt(self.shares), "linear": self.shares, "whole": 1}[self.sharing]
        return self.wavefront_nm / part

    def surface(self, name: str) -> TrainSurface:
        """Return a surface by its name."""
        return next(one for one in self.surfaces if one.name == name)


@dataclass(frozen=True)
class MatchTolerance:
    """How well the pair must match.

    Attributes
    ----------
    convex, concave : str
        Names of the two surfaces.
    radius_mm : float
        Largest difference of their radii [mm].
    form : FormTolerance
        The same over the smaller of the two apertures, in all its forms.
    common_radius_mm : float or None
        Largest error that both radii may have in common [mm]; None: it cancels.
    """

    convex: str
    concave: str
    radius_mm: float
    form: FormTolerance
    common_radius_mm: float | None

    def tolerance(self, rule: str = "guard95") -> Tolerance:
        """Return what a verdict on the pair takes."""
        return self.form.tolerance(rule)


@dataclass(frozen=True)
class SystemTolerance:
    """What a system allows.

    Attributes
    ----------
    system : System
        As it was read.
    match : MatchTolerance or None
        The pair's, if there is one.
    surfaces : dict
        From the name of each surface outside the pair to its FormTolerance.
    """

    system: System
    match: MatchTolerance | None
    surfaces: dict[str, FormTolerance]

    def to_json(self) -> dict[str, object]:
        """Return light, allowance, the pair's match and each surface's tolerance."""
        match = self.match
        return {
            "light": self.system.light,
            "wavelength_nm": self.system.wavelength_nm,
            "wavefront_nm": self.system.wavefront_nm,
            "wavefront_waves": self.system.wavefront_nm / self.system.wavelength_nm,
            "sharing": self.system.sharing,
            "shares": self.system.shares,
            "match": None
            if match is None
            else {
                "convex": match.convex,
                "concave": match.concave,
                "common_radius_mm": match.common_radius_mm,
                **match.form.to_json(),
            },
            "surfaces": {name: one.to_json() for name, one in self.surfaces.items()},
        }


def load_system(path: Path) -> System:
    """Read a system file.

    Raises
    ------
    BadInput
        If it cannot be read, is not TOML, or a value is missing, unknown or makes no sense.
    """
    import tomllib

    try:
        values = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: no TOML: {error}") from error
    try:
        return system_from(values)
    except BadInput as error:
        raise BadInput(f"{path}: {error}") from error


def system_from(values: Mapping[str, Any]) -> System:
    """Build a system from the values of its file; BadInput names what is wrong."""
    _only(values, _SYSTEM_KEYS, "a system")
    tables = values.get("surface")
    if not isinstance(tables, list) or not tables:
        raise BadInput("a system needs at least one [[surface]]")
    wavelength = _length(values, "wavelength", "the system") * NM_PER_MM
    surfaces = tuple(_surface(table, i) for i, table in enumerate(tables, 1))
    names = [one.name for one in surfaces]
    if len(set(names)) != len(names):
        raise BadInput("two surfaces have the same name")
    sharing = values.get("sharing", "rss")
    if sharing not in SHARING:
        raise BadInput(f"sharing is {sharing!r}, not one of {', '.join(SHARING)}")
    return System(
        surfaces=surfaces,
        wavelength_nm=wavelength,
        wavefront_nm=_allowed_nm(values, wavelength),
        pair=_pair(values.get("pair"), surfaces),
        sharing=sharing,
    )


def system_tolerance(system: System, wavelength_nm: float | None = None) -> SystemTolerance:
    """Share the wavefront among the surfaces and the pair's mismatch.

    Parameters
    ----------
    system : System
        The train.
    wavelength_nm : float, optional
        Wavelength that fringes are to be counted in at the bench [nm]; that of the use
        otherwise.

    Returns
    -------
    SystemTolerance
    """
    wave = wavelength_nm or system.wavelength_nm
    single = {
        one.name: form_tolerance(
            {"wavefront": system.allowance_nm / system.wavelength_nm},
            Aperture(one.radius_mm, one.diameter_mm, wave, one.form),
            _with_wavelength(one.use, system.wavelength_nm),
        )
        for one in system.surfaces
        if system.pair is None or one.name not in system.pair
    }
    return SystemTolerance(system, _match(system, wave), single)


def _match(system: System, wavelength_nm: float) -> MatchTolerance | None:
    if system.pair is None:
        return None
    convex, concave = (system.surface(name) for name in system.pair)
    slopes = convex.wavefront_per_radius, concave.wavefront_per_radius
    # the mismatch may sit on either piece; the one that the light feels more decides
    worse = max(slopes, key=abs)
    allowed = system.allowance_nm / abs(worse)
    common = abs(sum(slopes))
    smaller = min(convex, concave, key=lambda one: one.diameter_mm)
    aperture = Aperture(convex.radius_mm, smaller.diameter_mm, wavelength_nm, "convex")
    used = convex if worse == slopes[0] else concave
    form = form_tolerance(
        {"radius": allowed}, aperture, _with_wavelength(used.use, system.wavelength_nm)
    )
    return MatchTolerance(
        convex=convex.name,
        concave=concave.name,
        radius_mm=allowed,
        form=form,
        # what rounding leaves of two equal slopes allows anything
        common_radius_mm=system.allowance_nm / common if common > 1e-9 * abs(worse) else None,
    )


def _surface(table: Any, number: int) -> TrainSurface:
    if not isinstance(table, Mapping):
        raise BadInput(f"surface {number} is not a table")
    name = str(table.get("name", f"surface {number}"))
    _only(table, _SURFACE_KEYS, name)
    kind, form = table.get("kind", "reflection"), table.get("form")
    if kind not in ("reflection", "refraction"):
        raise BadInput(f"{name}: kind is {kind!r}, not reflection or refraction")
    if form not in ("convex", "concave"):
        raise BadInput(f"{name}: form is {form!r}, not convex or concave")
    if (kind == "refraction") != ("index_after" in table):
        raise BadInput(f"{name}: index_after belongs to a refraction, and only there")
    footprint = _length(table, "footprint", name) if "footprint" in table else None
    passes = _number(table, "passes", name, 1)
    if passes != int(passes):
        raise BadInput(f"{name}: passes must be a whole number")
    one = TrainSurface(
        name=name,
        form=form,
        radius_mm=_length(table, "radius", name),
        diameter_mm=_length(table, "diameter", name),
        use=Use(
            incidence_deg=_number(table, "incidence_deg", name, 0.0),
            footprint_mm=footprint,
            beam_mm=_length(table, "beam", name) if "beam" in table else None,
            index_before=_number(table, "index_before", name, 1.0),
            index_after=_number(table, "index_after", name, 1.0) if kind == "refraction" else None,
            passes=int(passes),
        ),
        throughput=_throughput(table, name, kind),
    )
    if one.diameter_mm >= 2 * one.radius_mm:
        raise BadInput(
            f"{name}: {one.diameter_mm:g} mm do not lie on a radius of {one.radius_mm:g}"
        )
    length = one.use.footprint_length_mm
    if length is not None and length > one.diameter_mm * (1 + 1e-9):
        raise BadInput(f"{name}: the footprint is larger than the surface")
    return one


def _throughput(table: Mapping[str, Any], name: str, kind: str) -> float:
    key, other = "reflectance", "transmittance"
    if kind == "refraction":
        key, other = other, key
    if other in table:
        raise BadInput(f"{name}: a {kind} has a {key}, not a {other}")
    value = _number(table, key, name, 1.0)
    if not 0 < value <= 1:
        raise BadInput(f"{name}: {key} {value:g} is not above 0 and at most 1")
    return value


def _allowed_nm(values: Mapping[str, Any], wavelength_nm: float) -> float:
    if "focus_shift" in values:
        if "wavefront_waves" in values or "f_number" not in values:
            raise BadInput("a focus_shift needs f_number, and no wavefront_waves beside it")
        f_number = _number(values, "f_number", "the system", 0.0)
        if f_number <= 0:
            raise BadInput("f_number must be greater than zero")
        return defocus_from_focus_shift_nm(_length(values, "focus_shift", "the system"), f_number)
    waves = _number(values, "wavefront_waves", "the system", QUARTER_WAVE)
    if waves <= 0:
        raise BadInput("wavefront_waves must be greater than zero")
    return waves * wavelength_nm


def _pair(names: Any, surfaces: tuple[TrainSurface, ...]) -> tuple[str, str] | None:
    """Names of the convex and the concave surface, in that order."""
    if names is None:
        return None
    known = {one.name: one for one in surfaces}
    if not isinstance(names, list) or len(names) != 2 or not all(one in known for one in names):
        raise BadInput(f"pair must name two surfaces out of {', '.join(known)}")
    by_form = {known[name].form: name for name in names}
    if set(by_form) != {"convex", "concave"}:
        raise BadInput("a pair is one convex and one concave surface")
    return by_form["convex"], by_form["concave"]


def _with_wavelength(use: Use, wavelength_nm: float) -> Use:
    return replace(use, wavelength_nm=wavelength_nm)


def _length(table: Mapping[str, Any], key: str, where: str) -> float:
    if key not in table:
        raise BadInput(f'{where} needs {key}, as {key} = "150mm"')
    if not isinstance(table[key], str):
        raise BadInput(f'{where}: {key} must be text with a unit, as "150mm"')
    return positive_length_mm(table[key], f"{where}: {key}")


def _number(table: Mapping[str, Any], key: str, where: str, default: float) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadInput(f"{where}: {key} must be a number, not {value!r}")
    return float(value)


def _only(table: Mapping[str, Any], known: set[str], where: str) -> None:
    unknown = set(table) - known
    if unknown:
        raise BadInput(f"{where}: unknown {', '.join(sorted(unknown))}")
