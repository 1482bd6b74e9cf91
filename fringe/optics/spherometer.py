"""The spherometer: from a sagitta on a ring, three legs or ball feet to a radius, and back.

A plunger in the middle of a circle of contact measures how far the surface stands out or in:
the sagitta h, from a zero taken on a flat. On a sphere of radius R,

    R = h/2 + a^2/(2 h)  + b   concave,        - b   convex,

with a the radius of the circle (of the balls' centres) and b the radius of the balls, zero
for sharp edges and points. A plain ring touches a convex surface with its inner edge and a
concave one with its outer edge. So equal readings on a convex and a concave surface do not
mean equal radii, unless the feet are points: with balls they differ by 2 b.

The relation is that of any sphere; the ball term follows from it, since the balls' centres
lie on a sphere that is smaller (concave) or larger (convex) by b.

No numpy here: `fringe sag` starts with this module.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from fringe.errors import BadInput

FORMS = ("convex", "concave")


@dataclass(frozen=True)
class Spherometer:
    """What the radius needs to know of a spherometer.

    Attributes
    ----------
    kind : {'ring', 'legs', 'balls'}
        Plain ring, pointed legs or ball feet.
    convex_contact_mm, concave_contact_mm : float
        Radius of the circle of contact, on a convex and on a concave surface [mm]. For
        ball feet both are the radius of the circle of the balls' centres.
    ball_radius_mm : float
        Radius of the balls [mm]; zero for sharp edges and points.
    u_contact_mm, u_ball_mm : float or None
        Standard uncertainties of the contact radius and the ball radius [mm].
    u_reading_mm : float or None
        Standard uncertainty of one reading that repeating does not better [mm].
    u_scale : float
        Relative standard uncertainty of the gauge's scale.
    calibrated : date or None
        When the gauge was last calibrated.
    u_drift_mm_per_year : float or None
        Standard uncertainty that its readings gain in a year since [mm].
    name : str
        As it is called in the shop.
    """

    kind: str
    convex_contact_mm: float
    concave_contact_mm: float
    ball_radius_mm: float = 0.0
    u_contact_mm: float | None = None
    u_ball_mm: float | None = None
    u_reading_mm: float | None = None
    u_scale: float = 0.0
    name: str = ""
    calibrated: date | None = None
    u_drift_mm_per_year: float | None = None

    def __post_init__(self) -> None:
        """Refuse sizes that no spherometer has."""
        for what in ("convex_contact_mm", "concave_contact_mm"):
            value = getattr(self, what)
            if not 0 < value < math.inf:
                raise BadInput(f"spherometer: {what} must be greater than zero, not {value:g}")
        if not 0 <= self.ball_radius_mm < min(self.convex_contact_mm, self.concave_contact_mm):
            raise BadInput(
                f"spherometer: balls of radius {self.ball_radius_mm:g} mm do not fit on a circle "
                f"of radius {self.convex_contact_mm:g} mm"
            )

    def contact_mm(self, form: str) -> float:
        """Radius of the circle of contact on a `convex` or `concave` surface [mm]."""
        _known_form(form)
        return self.convex_contact_mm if form == "convex" else self.concave_contact_mm


def ring(inner_diameter_mm: float, outer_diameter_mm: float | None = None) -> Spherometer:
    """Plain ring: its inner edge touches a convex surface, its outer edge a concave one.

    Parameters
    ----------
    inner_diameter_mm, outer_diameter_mm : float
        Diameters of the two edges [mm]; without the outer one, a knife edge.

    Returns
    -------
    Spherometer
    """
    outer = inner_diameter_mm if outer_diameter_mm is None else outer_diameter_mm
    if outer < inner_diameter_mm:
        raise BadInput(
            f"spherometer: the ring's outer edge {outer:g} mm is smaller than its inner edge "
            f"{inner_diameter_mm:g} mm"
        )
    return Spherometer("ring", inner_diameter_mm / 2, outer / 2)


def three_legs(spacings_mm: Sequence[float], ball_diameter_mm: float = 0.0) -> Spherometer:
    """Three legs by the distances between them; the plunger stands at the same distance of all.

    Parameters
    ----------
    spacings_mm : sequence of float
        One distance for an even triangle, or all three [mm]. For ball feet: of the centres.
    ball_diameter_mm : float
        Diameter of the ball feet [mm]; zero for points.

    Returns
    -------
    Spherometer
        Contact radius c/sqrt(3), or the radius of the circle through three uneven corners.
    """
    if len(spacings_mm) == 1:
        return circle_of_feet(2 * spacings_mm[0] / math.sqrt(3), ball_diameter_mm)
    if len(spacings_mm) != 3:
        raise BadInput("spherometer: give one spacing of the legs, or all three")
    p, q, r = sorted(spacings_mm)
    # Heron's formula in the order that keeps its digits (Kahan; from memory)
    square = (r + (q + p)) * (p - (r - q)) * (p + (r - q)) * (r + (q - p))
    if square <= 0:
        raise BadInput(f"spherometer: legs {p:g}, {q:g} and {r:g} mm apart make no triangle")
    return circle_of_feet(2 * p * q * r / math.sqrt(square), ball_diameter_mm)


def circle_of_feet(diameter_mm: float, ball_diameter_mm: float = 0.0) -> Spherometer:
    """Any number of feet on one circle of this diameter [mm], as points or balls."""
    kind = "balls" if ball_diameter_mm else "legs"
    return Spherometer(kind, diameter_mm / 2, diameter_mm / 2, ball_diameter_mm / 2)


def with_uncertainty(
    spherometer: Spherometer, u_contact_mm: float | None, u_ball_mm: float | None
) -> Spherometer:
    """Return the same spherometer with standard uncertainties of contact and ball radius [mm]."""
    return replace(spherometer, u_contact_mm=u_contact_mm, u_ball_mm=u_ball_mm)


def radius_from_reading_mm(
    sagitta_mm: float, contact_mm: float, form: str, ball_radius_mm: float = 0.0
) -> float:
    """Radius of the sphere from the spherometer's sagitta.

    Parameters
    ----------
    sagitta_mm : float
        Sagitta from the zero on a flat [mm], greater than zero.
    contact_mm : float
        Radius of the circle of contact [mm].
    form : {'convex', 'concave'}
        Form of the surface that was measured.
    ball_radius_mm : float
        Radius of the balls [mm].

    Returns
    -------
    float
        Radius [mm].

    Raises
    ------
    BadInput
        If no sphere has this sagitta on this circle.
    """
    if not 0 < sagitta_mm < math.inf:
        raise BadInput(
            f"sagitta {sagitta_mm:g} mm is not greater than zero: a flat, or a reading on the "
            "wrong side of the zero"
        )
    if sagitta_mm > contact_mm:
        raise BadInput(
            f"sagitta {sagitta_mm:g} mm is beyond the sphere: on a circle of radius "
            f"{contact_mm:g} mm no half sphere is deeper than that radius"
        )
    radius = sagitta_mm / 2 + contact_mm**2 / (2 * sagitta_mm) + _ball_mm(form, ball_radius_mm)
    if radius <= 0:
        raise BadInput(
            f"sagitta {sagitta_mm:g} mm would mean a convex surface smaller than the balls"
        )
    return radius


def reading_from_radius_mm(
    radius_mm: float, contact_mm: float, form: str, ball_radius_mm: float = 0.0
) -> float:
    """Sagitta that the spherometer reads on a sphere; inverse of `radius_from_reading_mm`.

    Parameters
    ----------
    radius_mm, contact_mm, ball_radius_mm : float
        Radius of the sphere, of the circle of contact and of the balls [mm].
    form : {'convex', 'concave'}
        Form of the surface.

    Returns
    -------
    float
        Sagitta from the zero on a flat [mm].

    Raises
    ------
    BadInput
        If the feet do not find the sphere.
    """
    of_centres = radius_mm - _ball_mm(form, ball_radius_mm)
    if of_centres < contact_mm:
        raise BadInput(
            f"radius {radius_mm:g} mm is too small for the spherometer, whose circle of contact "
            f"has radius {contact_mm:g} mm"
        )
    # not R - sqrt(R^2 - a^2), which loses the digits of a shallow sagitta
    return contact_mm**2 / (of_centres + math.sqrt(of_centres**2 - contact_mm**2))


def contact_from_radius_mm(
    radius_mm: float, sagitta_mm: float, form: str, ball_radius_mm: float = 0.0
) -> float:
    """Radius of the circle of contact, from a sphere of known radius and its sagitta.

    Parameters
    ----------
    radius_mm, sagitta_mm, ball_radius_mm : float
        Known radius, the sagitta read on it, and the radius of the balls [mm].
    form : {'convex', 'concave'}
        Form of the sphere.

    Returns
    -------
    float
        Contact radius [mm]: a^2 = h (2 R' - h), with R' the radius of the balls' centres.

    Raises
    ------
    BadInput
        If the sagitta is not that of a cap of this sphere.
    """
    of_centres = radius_mm - _ball_mm(form, ball_radius_mm)
    if not 0 < sagitta_mm <= of_centres:
        raise BadInput(
            f"sagitta {sagitta_mm:g} mm is beyond the sphere of radius {radius_mm:g} mm"
            if sagitta_mm > 0
            else f"sagitta {sagitta_mm:g} mm is not greater than zero"
        )
    return math.sqrt(sagitta_mm * (2 * of_centres - sagitta_mm))


def other_form(form: str) -> str:
    """`concave` for `convex` and the other way round."""
    _known_form(form)
    return "concave" if form == "convex" else "convex"


def _ball_mm(form: str, ball_radius_mm: float) -> float:
    _known_form(form)
    return ball_radius_mm if form == "concave" else -ball_radius_mm


def _known_form(form: str) -> None:
    if form not in FORMS:
        raise BadInput(f"form: {form!r} is neither convex nor concave")
