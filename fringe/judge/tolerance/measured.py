"""What was measured of a surface, as a tolerance can speak of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fringe.optics.feature import FormFeature
from fringe.quantity import Quantity, Source
from fringe.units import times

Parts = tuple[tuple[Source, float], ...]
# the source of an uncertainty whose sources were not recorded
_UNKNOWN = "reading"


@dataclass(frozen=True)
class Measured:
    """The values of a surface that a tolerance can speak of, with standard uncertainties.

    Attributes
    ----------
    power_fringes, power_u_fringes : float or None
        Power, as the height that its fringes stand for at `wavelength_nm` [fringe]; its
        magnitude when `sense` is `unknown`.
    sense : {'centre', 'edge', 'unknown'}
        Where the contact is.
    irregularity_fringes, irregularity_u_fringes : float or None
        Irregularity, peak to valley [fringe].
    radius_difference_mm, radius_difference_u_mm : float or None
        Radius difference [mm]; its magnitude when `sense` is `unknown`.
    wavelength_nm : float or None
        Wavelength that the fringes are counted in [nm].
    dof : float or None
        Degrees of freedom of the power's and the radius difference's uncertainty.
    irregularity_dof : float or None
        The same of the irregularity's uncertainty.
    source : str
        What measured: `fringes`, `eye` (fringes counted by eye) or `spherometer`; several
        joined by a comma.
    against : str or None
        The piece that the work was laid on, where it was not its plate.
    power_parts, radius_difference_parts, irregularity_parts : tuple of (Source, float)
        What each source contributes to these; empty where that was not recorded.
    photograph : str
        Digest of the photograph that it was read from; readings of one digest are one piece of
        evidence. Empty where there is none, or it is not known.
    features : tuple of FormFeature
        Zones, turned edges, holes and astigmatism that the form proves.
    """

    power_fringes: float | None = None
    power_u_fringes: float | None = None
    sense: str = "unknown"
    irregularity_fringes: float | None = None
    irregularity_u_fringes: float | None = None
    radius_difference_mm: float | None = None
    radius_difference_u_mm: float | None = None
    wavelength_nm: float | None = None
    dof: float | None = None
    irregularity_dof: float | None = None
    source: str = "fringes"
    against: str | None = None
    power_parts: Parts = ()
    radius_difference_parts: Parts = ()
    irregularity_parts: Parts = ()
    photograph: str = ""
    features: tuple[FormFeature, ...] = ()

    @property
    def power(self) -> Quantity | None:
        """Power by its sources; None without an uncertainty."""
        return self._quantity(
            self.power_fringes, self.power_u_fringes, "fringes", self.power_parts, self.dof
        )

    @property
    def radius_difference(self) -> Quantity | None:
        """Radius difference by its sources; None without an uncertainty."""
        parts = self.radius_difference_parts
        value, u = self.radius_difference_mm, self.radius_difference_u_mm
        return self._quantity(value, u, "mm", parts, self.dof)

    @property
    def irregularity(self) -> Quantity | None:
        """Irregularity by its sources; None without an uncertainty."""
        parts = self.irregularity_parts
        value, u = self.irregularity_fringes, self.irregularity_u_fringes
        return self._quantity(value, u, "fringes", parts, self.irregularity_dof)

    def _quantity(
        self, value: float | None, u: float | None, unit: str, parts: Parts, dof: float | None
    ) -> Quantity | None:
        if value is None or u is None:
            return None
        if not parts and u > 0:
            parts = ((Source(_UNKNOWN, self.source), u),)
        return Quantity(value, unit, parts, dof)

    def with_power(self, value: float | None, found: Quantity | None) -> Measured:
        """Take another power; a bare value where there is no quantity."""
        u, parts, dof = _taken(found)
        return replace(
            self,
            power_fringes=found.value if found else value,
            power_u_fringes=u,
            power_parts=parts,
            dof=dof if found else self.dof,
        )

    def with_radius_difference(self, value: float | None, found: Quantity | None) -> Measured:
        """Take another radius difference; its degrees of freedom are the power's."""
        u, parts, _ = _taken(found)
        return replace(
            self,
            radius_difference_mm=found.value if found else value,
            radius_difference_u_mm=u,
            radius_difference_parts=parts,
        )

    def with_irregularity(self, value: float | None, found: Quantity | None) -> Measured:
        """Take another irregularity; a bare value where there is no quantity."""
        u, parts, dof = _taken(found)
        return replace(
            self,
            irregularity_fringes=found.value if found else value,
            irregularity_u_fringes=u,
            irregularity_parts=parts,
            irregularity_dof=dof,
        )

    def scaled_fringes(self, factor: float, wavelength_nm: float) -> Measured:
        """The same heights counted in fringes of another light."""
        power, irregularity = self.power, self.irregularity
        made = self.with_power(times(self.power_fringes, factor), power and power * factor)
        made = made.with_irregularity(
            times(self.irregularity_fringes, factor), irregularity and irregularity * factor
        )
        features = tuple(one.at_wavelength(wavelength_nm) for one in self.features)
        return replace(made, wavelength_nm=wavelength_nm, features=features)


def measured_from_values(values: Mapping[str, Any]) -> Measured:
    """Undo :func:`dataclasses.asdict`, as by way of JSON; TypeError for what it did not write."""
    parts: dict[str, Any] = {
        name: tuple((Source(**source), float(c)) for source, c in values[name])
        for name in ("power_parts", "radius_difference_parts", "irregularity_parts")
    }
    parts["features"] = tuple(FormFeature(**one) for one in values["features"])
    return Measured(**{**values, **parts})


def _taken(found: Quantity | None) -> tuple[float | None, Parts, float | None]:
    return (None, (), None) if found is None else (found.u, found.parts, found.dof)
