"""A plate smaller than the work: what its placements say of the whole aperture, zone by zone.

Each placement gives the power over its own circle, and with that the radius that the work has
there. Over a sphere all placements agree. A surface of revolution that is none, with the height

    s = p r^2 + q r^4,      r from 0 at the vertex to 1 at the rim,

shows a circle of radius a, its centre at d from the axis (both in semi-diameters), the power
that a sphere of p + q (4 d^2 + a^2) would have over the whole aperture: r^4 about a point at d
is 4 d^2 rho^2 on the average over all directions, plus rho^4, whose best-fitting sphere over
the circle is a^2 rho^2. The whole aperture, a = 1 and d = 0, has p + q.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fringe.errors import BadInput
from fringe.format import figures
from fringe.judge.tolerance.tolerance import Aperture
from fringe.optics.spheres import power_fringes, radius_difference_mm
from fringe.quantity import half_width

# What is taken for the zones that no placement saw: symmetric irregularity over the whole
# aperture, standard uncertainty, peak to valley [fringe]; it is |q| / 4. (Ours, no source.)
ZONES_U_FRINGES = 0.5
# a fit that is this improbable is not a surface of revolution, or not at rest
_IMPROBABLE = 0.01

# A circle may be wider than the aperture on record, by what a chamfer was narrower when the face
# was read; of the aperture's diameter.
_WIDEST = 1.1


@dataclass(frozen=True)
class Placement:
    """One placement of a plate, or one circle in a photograph.

    Attributes
    ----------
    power_fringes, u_fringes : float
        Power over the circle, signed, and its standard uncertainty, in fringes of the whole
        aperture's wavelength.
    diameter_mm : float
        Diameter of the circle [mm].
    offset_mm : float
        From the work's centre to the circle's [mm].
    """

    power_fringes: float
    u_fringes: float
    diameter_mm: float
    offset_mm: float = 0.0


@dataclass(frozen=True)
class Zone:
    """What one placement says of the radius where it lay.

    Attributes
    ----------
    offset_mm, diameter_mm : float
        Place and size of the circle [mm].
    radius_difference_mm, radius_difference_u95_mm : float
        Of the work there, less that of the plate; half-width of its 95 % interval [mm].
    """

    offset_mm: float
    diameter_mm: float
    radius_difference_mm: float
    radius_difference_u95_mm: float


@dataclass(frozen=True)
class Carried:
    """Power over the whole aperture, from placements of a smaller plate.

    Attributes
    ----------
    power_fringes, u_fringes : float
        Power over the whole aperture and its standard uncertainty [fringe].
    radius_difference_mm, u_radius_difference_mm : float
        R_work - R_plate of the best-fitting sphere, and its standard uncertainty [mm].
    zone_fringes, u_zone_fringes : float
        q: the power between vertex and rim that is not a sphere's, and its standard
        uncertainty [fringe].
    zones : tuple of Zone
        From the vertex outward.
    probability : float
        That placements of a surface of revolution lie this far apart, or farther.
    seen : float
        Share of the semi-diameter out to which a placement reached.
    notes : tuple of str
        What the person should know.
    """

    power_fringes: float
    u_fringes: float
    radius_difference_mm: float
    u_radius_difference_mm: float
    zone_fringes: float
    u_zone_fringes: float
    zones: tuple[Zone, ...]
    probability: float
    seen: float
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        """Return the numbers with 95 % half-widths, and the zones."""
        import dataclasses

        return {
            "power_fringes": self.power_fringes,
            "power_u95_fringes": half_width(self.u_fringes),
            "radius_difference_mm": self.radius_difference_mm,
            "radius_difference_u95_mm": half_width(self.u_radius_difference_mm),
            "zone_fringes": self.zone_fringes,
            "zone_u95_fringes": half_width(self.u_zone_fringes),
            "zones": [dataclasses.asdict(zone) for zone in self.zones],
            "probability": self.probability,
            "notes": list(self.notes),
        }


def carry(
    placements: Sequence[Placement],
    aperture: Aperture,
    zones_u_fringes: float = ZONES_U_FRINGES,
) -> Carried:
    """Carry the power of one or more placements to the whole aperture.

    Parameters
    ----------
    placements : sequence of Placement
        At least one; their errors are taken as independent.
    aperture : Aperture
        The whole aperture, with the plate's radius.
    zones_u_fringes : float
        Symmetric irregularity to allow for where no placement looked, standard uncertainty
        [fringe].

    Returns
    -------
    Carried

    Raises
    ------
    BadInput
        If there is no placement, or one lies beyond the aperture.
    """
    import numpy as np

    if not placements:
        raise BadInput("placements: there is none to carry to the whole aperture")
    semi = aperture.diameter_mm / 2
    for one in placements:
        _check(one, semi)
    steps = [_step(one.power_fringes, one, aperture) for one in placements]
    whole = np.array([_power(step, aperture) for step in steps])
    u = np.array([_u_of_whole(one, aperture) for one in placements])
    a = np.array([one.diameter_mm / 2 / semi for one in placements])
    d = np.array([one.offset_mm / semi for one in placements])
    # rows: the placements, and what is held of q before any is seen
    design = np.column_stack([np.ones(len(a)), 4 * d**2 + a**2])
    rows = np.vstack([design / u[:, None], [[0.0, 1 / (4 * zones_u_fringes)]]])
    values = np.append(whole / u, 0.0)
    covariance = np.linalg.inv(rows.T @ rows)
    p, q = covariance @ (rows.T @ values)
    power, u_power = float(p + q), float(math.sqrt(covariance.sum()))
    chi2 = float(np.sum((values - rows @ [p, q]) ** 2))
    # the row held beforehand pays for q: as many values as placements less one
    probability = _chi2_tail(chi2, len(placements) - 1)
    slope = (_difference(power + 1e-3, aperture) - _difference(power - 1e-3, aperture)) / 2e-3
    seen = max(one.offset_mm + one.diameter_mm / 2 for one in placements) / semi
    return Carried(
        power,
        u_power,
        _difference(power, aperture),
        abs(slope) * u_power,
        float(q),
        float(math.sqrt(covariance[1, 1])),
        _zones(placements, steps, aperture),
        probability,
        seen,
        _notes(placements, probability, seen),
    )


def _check(one: Placement, semi_mm: float) -> None:
    if not 0 < one.diameter_mm <= 2 * semi_mm * _WIDEST or one.offset_mm < 0:
        raise BadInput(
            f"placement: a circle {one.diameter_mm:g} mm across is none of an aperture of "
            f"{2 * semi_mm:g} mm"
        )
    if one.offset_mm >= semi_mm:
        raise BadInput(
            f"placement: {one.offset_mm:g} mm from the centre is off the work of {2 * semi_mm:g} mm"
        )
    if not one.u_fringes > 0:
        raise BadInput("placement: its power needs an uncertainty greater than zero")


def _step(power: float, one: Placement, aperture: Aperture) -> float:
    """R_work - R_plate that gives this power over the placement's circle [mm]."""
    return radius_difference_mm(
        power, aperture.radius_mm, one.diameter_mm, aperture.wavelength_nm, aperture.work
    )


def _power(step_mm: float, aperture: Aperture) -> float:
    return power_fringes(
        step_mm, aperture.radius_mm, aperture.diameter_mm, aperture.wavelength_nm, aperture.work
    )


def _difference(power: float, aperture: Aperture) -> float:
    return radius_difference_mm(
        power, aperture.radius_mm, aperture.diameter_mm, aperture.wavelength_nm, aperture.work
    )


def _u_of_whole(one: Placement, aperture: Aperture) -> float:
    """The placement's standard uncertainty as power over the whole aperture [fringe]."""
    up, down = (
        _power(_step(one.power_fringes + way * one.u_fringes, one, aperture), aperture)
        for way in (1.0, -1.0)
    )
    return abs(up - down) / 2


def _zones(
    placements: Sequence[Placement], steps: Sequence[float], aperture: Aperture
) -> tuple[Zone, ...]:
    zones = []
    for one, step in zip(placements, steps, strict=True):
        ends = [_step(one.power_fringes + way * one.u_fringes, one, aperture) for way in (1, -1)]
        u95 = half_width(abs(ends[0] - ends[1]) / 2)
        zones.append(Zone(one.offset_mm, one.diameter_mm, step, u95))
    return tuple(sorted(zones, key=lambda zone: zone.offset_mm))


def _chi2_tail(chi2: float, dof: int) -> float:
    if dof < 1:
        return 1.0
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2))


def _notes(placements: Sequence[Placement], probability: float, seen: float) -> tuple[str, ...]:
    notes = []
    if seen < 0.9:
        notes.append(
            f"no placement reached beyond {figures(100 * seen, 2)} % of the semi-diameter; what "
            "lies outside is taken as a sphere within what is allowed for"
        )
    if probability < _IMPROBABLE:
        notes.append(
            "the placements contradict each other: the work is not a surface of revolution, or it "
            "had not settled"
        )
    if len(placements) == 1:
        notes.append("one placement shows no zones: lay the plate nearer to the edge as well")
    return tuple(notes)
