"""What tells a plate's radius: certificates and spherometer readings; contacts beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean

from fringe.errors import BadInput
from fringe.optics.spherometer import Spherometer, radius_from_reading_mm
from fringe.quantity import half_width, slope, standard

# no gauge repeats better than this (ours, no source)
_LEAST_SCATTER_UM = 0.01
UM_PER_MM = 1e3


@dataclass(frozen=True)
class PlateCertificate:
    """A certified radius.

    Attributes
    ----------
    plate, label : str
        Whose it is, and what it is called to the person.
    radius_mm, u_mm : float, float or None
        Radius and its standard uncertainty; without one it is no evidence [mm].
    on : date or None
        Of the certificate.
    by : str
        Who issued it; empty: not said.
    visit : int or None
        Of the plate; None: the plate's record.
    """

    plate: str
    label: str
    radius_mm: float
    u_mm: float | None = None
    on: date | None = None
    by: str = ""
    visit: int | None = None


@dataclass(frozen=True)
class PlateSagitta:
    """Readings of a spherometer on a plate, and on a flat.

    Attributes
    ----------
    plate, form, label : str
        Whose they are, its form, and what they are called to the person.
    height_um, zero_um : tuple of float
        On the plate and on the flat; without the latter the gauge was set to zero there [um].
    spherometer : Spherometer
        Its sizes with their uncertainties.
    u_reading_um, u_drift_um : float
        Standard uncertainty of a single reading that repeating does not better, and what it
        gained since the gauge's calibration [um].
    visit : int or None
        Of the plate.
    """

    plate: str
    form: str
    label: str
    height_um: tuple[float, ...]
    zero_um: tuple[float, ...]
    spherometer: Spherometer
    u_reading_um: float = 0.0
    u_drift_um: float = 0.0
    visit: int | None = None

    def __post_init__(self) -> None:
        """Refuse readings that no sphere gives."""
        if not self.height_um:
            raise BadInput("spherometer: there is no reading of the plate")
        zero = fmean(self.zero_um) if self.zero_um else 0.0
        if len({math.copysign(1.0, one - zero) for one in self.height_um}) > 1:
            raise BadInput("spherometer: the readings of the plate lie on both sides of the zero")

    @property
    def sagitta_um(self) -> float:
        """Mean reading from the mean zero, as a height [um]."""
        return abs(fmean(self.height_um) - (fmean(self.zero_um) if self.zero_um else 0.0))

    @property
    def u_gauge_um(self) -> float:
        """Of the two readings, on plate and on flat, that repeating does not better [um]."""
        return math.sqrt(2.0) * self.u_reading_um

    def u_scatter_um(self, scatter: Scatter) -> float:
        """Of the mean by the scatter of the single readings, widened for few of them [um]."""
        shares = 1 / len(self.height_um) + (1 / len(self.zero_um) if self.zero_um else 0.0)
        u = scatter.deviation_um * math.sqrt(shares)
        return max(standard(half_width(u, scatter.dof or None)), _LEAST_SCATTER_UM)

    def radius(self) -> tuple[float, float]:
        """Radius by this alone, and its standard uncertainty with all that it shares [mm].

        Raises
        ------
        BadInput
            If no sphere gives these readings.
        """
        one, form = self.spherometer, self.form
        u_size = one.u_contact_mm or 0.0
        scatter = Scatter.of([self])
        u_height = math.hypot(self.u_scatter_um(scatter), self.u_gauge_um, self.u_drift_um)
        height = self.sagitta_um / UM_PER_MM
        at = [height, one.contact_mm(form), one.ball_radius_mm]
        u_height_mm = math.hypot(u_height / UM_PER_MM, height * one.u_scale)
        us = [u_height_mm, u_size, one.u_ball_mm or 0.0]

        def radius(h: float, contact: float, ball: float) -> float:
            return radius_from_reading_mm(h, contact, form, ball)

        parts = [slope(radius, at, i, u) * u for i, u in enumerate(us)]
        return radius(*at), math.hypot(*parts)


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of single readings of one spherometer [um], and what stands behind it."""

    deviation_um: float
    dof: int

    @staticmethod
    def of(sagittas: Sequence[PlateSagitta]) -> Scatter:
        """Pooled over all groups of repeated readings; zero where nothing was repeated."""
        groups = [group for one in sagittas for group in (one.height_um, one.zero_um) if group]
        dof = sum(len(group) - 1 for group in groups)
        squares = sum((x - fmean(group)) ** 2 for group in groups for x in group)
        return Scatter(math.sqrt(squares / dof) if dof else 0.0, dof)


def standing(certificates: Sequence[PlateCertificate]) -> tuple[PlateCertificate, ...]:
    """Certificates that count: of each plate the latest that each issuer gave.

    A later one supersedes those before it by the same issuer: it is the same procedure anew, and
    the mean of both would count its systematic error twice. Of two of one day, the later in order.
    """
    latest: dict[tuple[str, str], PlateCertificate] = {}
    for one in sorted(certificates, key=lambda c: c.on or date.min):
        latest[one.plate, one.by.strip().casefold()] = one
    return tuple(one for one in certificates if one in latest.values())
